"""Transformers at line frequency: winding resistance, coupling by turns, and the capacitance that
insulation leaves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, pairwise

from rework.anatomy.links import groups
from rework.circuit.parts import Part, Value, strands
from rework.safety.net import Net
from rework.safety.ties import blade_nodes
from rework.touch.element import Axis, Element

#: Insulation between windings that is no isolation.
BETWEEN_WINDINGS = Axis("insulation", "between windings")


def wound(build, part: Part) -> Iterator[Element]:
    """Return the elements of a transformer, an output transformer or an autotransformer.

    Each segment of a winding is coupled without stray field to the first primary: ``y (v - n v1)``
    of current at a segment voltage ``v``, primary voltage ``v1`` and turns ratio ``n``, and ``-n``
    times that in the primary. The segments of an autotransformer are coupled to its first one.
    """
    runs = [run for run in strands(part) if run != ("core",)]
    values = dict(part.windings)
    screens = [run[0] for run in runs if len(run) == 1]
    windings = [run for run in runs if len(run) > 1]
    primary = next((run for run in windings if run[0].startswith("primary")), None)
    yield from _unproved(build, part)
    for run in windings:
        name = run[0].split(".")[0]
        ohms = _amount(values.get(name, ()), "resistance", "dcr")
        each = max((ohms or build.assumed["winding_ohm"]) / (len(run) - 1), 1e-3)
        if part.kind == "autotransformer":
            yield from _auto(build, part, run, each, _amount(values.get(name, ()), "voltage", ""))
            continue
        ratio = None if primary is None else _ratio(values, primary[0].split(".")[0], name)
        for one, other in pairwise(run):
            ends = (part.node(one), part.node(other))
            label = _label(part, one, other)
            if run is primary and len(run) == 2:
                yield Element(
                    part.name, label, ends, 1 / build.assumed["magnetising_ohm"], kind="winding"
                )
            elif ratio is None:
                build.missing(
                    part,
                    f"{part.name}.{name}: its volts against the primary are not written, so the"
                    " winding is also taken as joined to it",
                )
                yield Element(part.name, label, ends, 1 / each, kind="winding")
                if primary is not None and run is not primary:
                    yield build.maybe(
                        part,
                        primary[0],
                        one,
                        BETWEEN_WINDINGS,
                        f"{part.name} unproved {primary[0]} to {one}",
                        kind="unproved",
                    )
            else:
                n = ratio / (len(run) - 1)
                both = (*ends, part.node(primary[0]), part.node(primary[-1]))
                turned = (
                    (1.0, -1.0, n, -n)
                    if part.kind == "transformer" and not name.startswith("primary")
                    else ()
                )
                yield Element(
                    part.name,
                    label,
                    both,
                    1 / each,
                    (1.0, -1.0, -n, n),
                    kind="winding",
                    turned=turned,
                )
    yield from _insulation(build, part, windings, screens, values)


def _label(part: Part, one: str, other: str) -> str:
    return f"{part.name} {one} to {other.rpartition('.')[2]}"


def _amount(values: tuple[Value, ...], dimension: str, role: str) -> float | None:
    return next(
        (value.amount for value in values if value.dimension == dimension and value.role == role),
        None,
    )


def _ratio(values: dict, primary: str, name: str) -> float | None:
    """Return the turns of a winding over those of the primary, from volts, or from load impedances."""

    def of(winding: str, dimension: str, *roles: str) -> float | None:
        return next(
            (
                found
                for role in roles
                if (found := _amount(values.get(winding, ()), dimension, role))
            ),
            None,
        )

    volts = of(name, "voltage", ""), of(primary, "voltage", "")
    if all(volts):
        return volts[0] / volts[1]
    loads = of(name, "resistance", "load", ""), of(primary, "resistance", "load", "")
    if all(loads):
        return math.sqrt(loads[0] / loads[1])
    return 1.0 if name == primary else None


def _auto(
    build, part: Part, run: tuple[str, ...], each: float, volts: float | None
) -> Iterator[Element]:
    """Return the segments of an autotransformer's winding, each coupled to the first one of those
    on the line.

    Those between the two blades share the mains volts; the others share what the winding has beyond
    them. Where that cannot be told, the winding counts as not written: its segments are joined and
    the verdict stays open.
    """
    line, mains = (
        _blade_groups(build.circuit, [part.node(terminal) for terminal in run]),
        build.circuit.mains,
    )
    fed = [place for place, blade in enumerate(line) if blade is not None]
    if not volts or mains is None or len(fed) < 2 or line[fed[0]] == line[fed[-1]]:
        build.missing(
            part,
            f"{part.name}: "
            + (
                "no volts of its winding are written"
                if not volts or mains is None
                else "which of its taps are on the line is not clear"
            )
            + ", so what it steps up to is not known",
        )
        shares = [1.0] * (len(run) - 1)
    else:
        inside = fed[-1] - fed[0]
        outside = max(len(run) - 1 - inside, 1)
        # With all of it on the line the taps lie between; without a figure for each they are taken
        # as even.
        shares = [
            (
                mains.volts / inside
                if fed[0] <= place < fed[-1]
                else max(volts - mains.volts, 0.0) / outside
            )
            for place in range(len(run) - 1)
        ]
    first = fed[0] if fed and fed[0] < len(run) - 1 else 0
    reference = (part.node(run[first]), part.node(run[first + 1]))
    for place, (one, other) in enumerate(pairwise(run)):
        label, ends = _label(part, one, other), (part.node(one), part.node(other))
        if place == first:
            yield Element(
                part.name, label, ends, 1 / build.assumed["magnetising_ohm"], kind="winding"
            )
        else:
            n = shares[place] / shares[first]
            yield Element(
                part.name, label, (*ends, *reference), 1 / each, (1.0, -1.0, -n, n), kind="winding"
            )


def _blade_groups(circuit, nodes: list[str]) -> list[str | None]:
    """Return for each node the name of the blade that it is joined to by conductors, fuses and
    contacts, or None.
    """
    net = Net(circuit)
    group = net.groups_of(circuit.nodes, net.is_closed)
    blades = {group[node]: blade for node, (_, blade) in blade_nodes(circuit).items()}
    return [blades.get(group[node]) for node in nodes]


def _unproved(build, part: Part) -> Iterator[Element]:
    """Return a path across insulation between windings that does not count as isolation: there or
    not, whichever is worse.
    """
    for group in groups(part):
        if group.how == "unproved" and not group.metal:
            firsts = list(
                {
                    terminal.split(".")[0]: terminal for terminal in reversed(group.terminals)
                }.values()
            )[::-1]
            for one, other in pairwise([terminal for terminal in firsts if terminal != "core"]):
                yield build.maybe(
                    part,
                    one,
                    other,
                    BETWEEN_WINDINGS,
                    f"{part.name} unproved {one} to {other}",
                    kind="unproved",
                )


def _insulation(
    build, part: Part, windings: list[tuple[str, ...]], screens: list[str], values: dict
) -> Iterator[Element]:
    """Return the capacitance between windings, to a screen and to the core: half of it at each end.

    A winding may state its own (``to-primary 200p to-core 300p``); what is not stated is assumed,
    the same for all.
    """

    def between(one: tuple[str, ...], other: tuple[str, ...], farads: float) -> Iterator[Element]:
        for a, b in zip(*((run[0], run[-1]) for run in (one, other)), strict=True):
            yield Element(
                part.name,
                f"{part.name} insulation {a} to {b}",
                (part.node(a), part.node(b)),
                0.0,
                farads=farads / 2,
                kind="insulation",
            )

    def written(run: tuple[str, ...], role: str, otherwise: str) -> float:
        found = _amount(values.get(run[0].split(".")[0], ()), "capacitance", role)
        return build.assumed[otherwise] if found is None else found

    for one, other in combinations(windings, 2):
        apart = one[0].startswith("primary") != other[0].startswith("primary")
        far = other if one[0].startswith("primary") else one
        yield from between(
            one,
            other,
            (
                written(
                    far,
                    "to-primary",
                    "screened_farad" if apart and screens else "interwinding_farad",
                )
                if apart
                else build.assumed["interwinding_farad"]
            ),
        )
    for run in windings:
        for screen in screens:
            yield from between(run, (screen, screen), build.assumed["interwinding_farad"])
        if part.node("core") is not None:
            yield from between(run, ("core", "core"), written(run, "to-core", "core_farad"))
