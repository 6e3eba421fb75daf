"""Transformers at line frequency: winding resistance, coupling by turns, and the capacitance that insulation leaves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, pairwise

from rework.circuit.parts import Part, strands
from rework.safety.current.element import Element
from rework.safety.links import groups


def wound(build, part: Part) -> Iterator[Element]:
    """Return the elements of a transformer, an output transformer or an autotransformer.

    Each segment of a winding is coupled without stray field to the first primary: ``y (v - n v1)`` of current at a
    segment voltage ``v``, primary voltage ``v1`` and turns ratio ``n``, and ``-n`` times that in the primary.
    """
    runs = [run for run in strands(part) if run != ("core",)]
    values = dict(part.windings)
    screens = [run[0] for run in runs if len(run) == 1]
    windings = [run for run in runs if len(run) > 1]
    primary = next((run for run in windings if run[0].startswith("primary")), None)
    yield from _unproved(build, part)
    for run in windings:
        name = run[0].split(".")[0]
        ohms = next((v.amount for v in values.get(name, ()) if v.dimension == "resistance" and v.role == "dcr"), None)
        each = (ohms or build.assumed["winding_ohm"]) / (len(run) - 1)
        ratio = None if primary is None else _ratio(part, values, primary[0].split(".")[0], name)
        for one, other in pairwise(run):
            ends = (part.node(one), part.node(other))
            label = f"{part.name} {one} to {other.rpartition('.')[2]}"
            if run is primary and len(run) == 2:
                yield Element(part.name, label, ends, build.constant(1 / build.assumed["magnetising_ohm"]), kind="winding")
            elif ratio is None:
                build.unknown.append(f"{part.name}.{name}: its volts against the primary are not written, "
                                     "so the winding is also taken as joined to it")
                build.unknown_parts.add(part.name)
                yield Element(part.name, label, ends, build.constant(1 / each), kind="winding")
                if primary is not None and run is not primary:
                    yield build.pair(part, primary[0], one, build.either(), f"{part.name} unproved {primary[0]} to {one}", kind="unproved")
            else:
                n = ratio / (len(run) - 1)
                both = (*ends, part.node(primary[0]), part.node(primary[-1]))
                yield Element(part.name, label, both, build.constant(1 / each), (1.0, -1.0, -n, n), kind="winding")
    yield from _insulation(build, part, windings, screens)


def _ratio(part: Part, values: dict, primary: str, name: str) -> float | None:
    """Return the turns of a winding over those of the primary, from volts, or from load impedances."""
    def of(winding: str, dimension: str, roles: tuple[str, ...]) -> float | None:
        return next((v.amount for v in values.get(winding, ()) if v.dimension == dimension and v.role in roles), None)

    volts = of(name, "voltage", ("",)), of(primary, "voltage", ("",))
    if all(volts):
        return volts[0] / volts[1]
    loads = of(name, "resistance", ("load", "")), of(primary, "resistance", ("load", ""))
    if all(loads):
        return math.sqrt(loads[0] / loads[1])
    return 1.0 if name == primary else None


def _unproved(build, part: Part) -> Iterator[Element]:
    """Return a path across insulation between windings that does not count as isolation."""
    metal = {"core"}
    for group in groups(part):
        if group.how == "unproved" and not group.metal:
            firsts = list({terminal.split(".")[0]: terminal for terminal in reversed(group.terminals)}.values())[::-1]
            if part.kind == "autotransformer" or not any(t.startswith("primary") for t in firsts):
                for one, other in pairwise([terminal for terminal in firsts if terminal not in metal]):
                    yield build.pair(part, one, other, build.either(), f"{part.name} unproved {one} to {other}", kind="unproved")


def _insulation(build, part: Part, windings: list[tuple[str, ...]], screens: list[str]) -> Iterator[Element]:
    """Return the capacitance between windings, to a screen and to the core: half of it at each end."""
    def between(one: tuple[str, ...], other: tuple[str, ...], farads: float) -> Iterator[Element]:
        for a, b in zip(*((run[0], run[-1]) for run in (one, other)), strict=True):
            yield build.pair(part, a, b, build.constant(0.0), f"{part.name} insulation {a} to {b}", farads=farads / 2, kind="insulation")

    for one, other in combinations(windings, 2):
        apart = one[0].startswith("primary") != other[0].startswith("primary")
        screened = apart and any(part.node(screen) is not None for screen in screens)
        yield from between(one, other, build.assumed["screened_farad" if screened else "interwinding_farad"])
    for run in windings:
        for screen in screens:
            yield from between(run, (screen, screen), build.assumed["interwinding_farad"])
        if part.node("core") is not None:
            yield from between(run, ("core", "core"), build.assumed["core_farad"])
