"""Transformers at line frequency: winding resistance, coupling by turns, and the capacitance of
their insulation.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations, pairwise

from rework.anatomy.links import groups
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value, strands
from rework.safety.net import Net
from rework.safety.ties import blade_nodes
from rework.touch.builder import LEAST_OHMS, Builder
from rework.touch.element import EitherWay, Element

#: Insulation between windings that is no isolation.
BETWEEN_WINDINGS = EitherWay("insulation", "between windings")

Run = tuple[str, ...]
WindingValues = Mapping[str, tuple[Value, ...]]


def wound(build: Builder, part: Part) -> Iterator[Element]:
    """Return the elements of a transformer, an output transformer or an autotransformer.

    Each segment of a winding is coupled without stray field to the first primary: ``y (v - n v1)``
    of current at a segment voltage ``v``, primary voltage ``v1`` and turns ratio ``n``, and ``-n``
    times that in the primary. The segments of an autotransformer are coupled to its first one.
    """
    runs = [run for run in strands(part) if run != ("core",)]
    values = dict(part.windings)
    windings = [run for run in runs if len(run) > 1]
    primary = next((run for run in windings if run[0].startswith("primary")), None)
    yield from _unproved(build, part)
    for run in windings:
        written = values.get(_winding(run[0]), ())
        ohms = _amount(written, "resistance", "dcr") or build.assumed["winding_ohm"]
        each = max(ohms / (len(run) - 1), LEAST_OHMS)
        if part.kind == "autotransformer":
            yield from _auto(build, part, run, each, _amount(written, "voltage", ""))
        else:
            yield from _segments(build, part, run, primary, each, values)
    screens = [run[0] for run in runs if len(run) == 1]
    yield from _insulation(build, part, windings, screens, values)


def _segments(
    build: Builder, part: Part, run: Run, primary: Run | None, each: float, values: WindingValues
) -> Iterator[Element]:
    """Return the segments of one winding, each of ``each`` ohms and coupled to the primary."""
    name = _winding(run[0])
    ratio = None if primary is None else _ratio(values, _winding(primary[0]), name)
    for first, second in pairwise(run):
        ends = (part.at(first), part.at(second))
        label = _label(part, first, second)
        if run is primary and len(run) == 2:
            yield Element(
                part.name, label, ends, 1 / _magnetising_ohms(build, part, values), kind="winding"
            )
        elif ratio is None or primary is None:
            build.missing(
                f"{part.name}.{name}: its volts against the primary are not written, so the"
                " winding is also taken as joined to it",
            )
            yield Element(part.name, label, ends, 1 / each, kind="winding")
            if primary is not None and run is not primary:
                yield _perhaps_joined(build, part, primary[0], first)
        else:
            n = ratio / (len(run) - 1)
            turned = part.kind == "transformer" and not name.startswith("primary")
            yield Element(
                part.name,
                label,
                (*ends, part.at(primary[0]), part.at(primary[-1])),
                1 / each,
                (1.0, -1.0, -n, n),
                kind="winding",
                turned=(1.0, -1.0, n, -n) if turned else (),
            )


def _magnetising_ohms(build: Builder, part: Part, values: WindingValues) -> float:
    """Return the ohms of an unloaded primary: by its size where the transformer states its volts
    and volt-amperes, and never more than what is assumed of one that does not.

    A laminated transformer draws 1.1 VA^-0.45 of its rated current unloaded (from memory; a toroid
    draws far less). A core driven beyond its rated volts draws more; that is not counted.
    """
    assumed = build.assumed["magnetising_ohm"]
    rated = part.value("apparent-power")
    volts = _amount(values.get("primary", ()), "voltage", "")
    if not rated or not volts or "toroid" in part.words:
        return assumed
    ohms: float = volts**2 / (1.1 * rated**0.55)
    return min(assumed, ohms)


def _winding(terminal: str) -> str:
    """Return the winding that a terminal belongs to."""
    return terminal.split(".")[0]


def _label(part: Part, first: str, second: str) -> str:
    return f"{part.name} {first} to {second.rpartition('.')[2]}"


def _perhaps_joined(build: Builder, part: Part, first: str, second: str) -> Element:
    """Return a path across insulation that no standard vouches for: there or not."""
    name = f"{part.name} unproved {first} to {second}"
    return build.maybe(
        build.pair(part, first, second, name=name, kind="unproved"), BETWEEN_WINDINGS
    )


def _amount(values: Sequence[Value], dimension: str, role: str) -> float | None:
    return next(
        (value.amount for value in values if value.dimension == dimension and value.role == role),
        None,
    )


def _ratio(values: WindingValues, primary: str, name: str) -> float | None:
    """Return the turns of a winding over those of the primary, from volts or load impedances."""

    def of(winding: str, dimension: str, *roles: str) -> float | None:
        amounts = (_amount(values.get(winding, ()), dimension, role) for role in roles)
        return next(filter(None, amounts), None)

    volts, line = of(name, "voltage", ""), of(primary, "voltage", "")
    if volts and line:
        return volts / line
    load, reflected = of(name, "resistance", "load", ""), of(primary, "resistance", "load", "")
    if load and reflected:
        return math.sqrt(load / reflected)
    return 1.0 if name == primary else None


def _auto(
    build: Builder, part: Part, run: Run, each: float, volts: float | None
) -> Iterator[Element]:
    """Return the segments of an autotransformer's winding, each coupled to the first one of those
    on the line.

    Those between the two blades share the mains volts; the others share what the winding has beyond
    them. Where that cannot be computed, the winding counts as not written: its segments are joined
    and the verdict stays open.
    """
    line = _blade_groups(build.circuit, [part.at(terminal) for terminal in run])
    mains = build.circuit.mains
    fed = [place for place, blade in enumerate(line) if blade is not None]
    if not volts or mains is None or len(fed) < 2 or line[fed[0]] == line[fed[-1]]:
        why = (
            "no volts of its winding are written"
            if not volts or mains is None
            else "which of its taps are on the line is not clear"
        )
        build.missing(f"{part.name}: {why}, so what it steps up to is not known")
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
    reference = (part.at(run[first]), part.at(run[first + 1]))
    for place, (near, far) in enumerate(pairwise(run)):
        label, ends = _label(part, near, far), (part.at(near), part.at(far))
        if place == first:
            yield Element(
                part.name, label, ends, 1 / build.assumed["magnetising_ohm"], kind="winding"
            )
        else:
            n = shares[place] / shares[first]
            yield Element(
                part.name, label, (*ends, *reference), 1 / each, (1.0, -1.0, -n, n), kind="winding"
            )


def _blade_groups(circuit: Circuit, nodes: Sequence[str]) -> list[str | None]:
    """Return for each node the name of the blade that it is joined to by conductors, fuses and
    contacts, or None.
    """
    net = Net(circuit)
    group = net.groups_of(circuit.nodes, net.is_closed)
    blades = {group[node]: blade for node, (_, blade) in blade_nodes(circuit).items()}
    return [blades.get(group[node]) for node in nodes]


def _unproved(build: Builder, part: Part) -> Iterator[Element]:
    """Return the paths across insulation between windings that does not count as isolation."""
    for group in groups(part):
        if group.how == "unproved" and not group.metal:
            firsts: dict[str, str] = {}
            for terminal in group.terminals:
                firsts.setdefault(_winding(terminal), terminal)
            for first, second in pairwise([name for name in firsts.values() if name != "core"]):
                yield _perhaps_joined(build, part, first, second)


def _insulation(
    build: Builder,
    part: Part,
    windings: Sequence[Run],
    screens: Sequence[str],
    values: WindingValues,
) -> Iterator[Element]:
    """Return the capacitance between windings, to a screen and to the core: half of it at each end.

    A winding may state its own (``to-primary 200p to-core 300p``); what is not stated is assumed,
    the same for all.
    """

    def between(first: Run, second: Run, farads: float) -> Iterator[Element]:
        for a, b in ((first[0], second[0]), (first[-1], second[-1])):
            yield Element(
                part.name,
                f"{part.name} insulation {a} to {b}",
                (part.at(a), part.at(b)),
                0.0,
                farads=farads / 2,
                kind="insulation",
            )

    def written(run: Run, role: str, otherwise: str) -> float:
        farads = _amount(values.get(_winding(run[0]), ()), "capacitance", role)
        return build.assumed[otherwise] if farads is None else farads

    for first, second in combinations(windings, 2):
        apart = first[0].startswith("primary") != second[0].startswith("primary")
        far = second if first[0].startswith("primary") else first
        past = "screened_farad" if apart and screens else "interwinding_farad"
        farads = written(far, "to-primary", past) if apart else build.assumed["interwinding_farad"]
        yield from between(first, second, farads)
    for run in windings:
        for screen in screens:
            yield from between(run, (screen, screen), build.assumed["interwinding_farad"])
        if part.node("core") is not None:
            yield from between(run, ("core", "core"), written(run, "to-core", "core_farad"))
