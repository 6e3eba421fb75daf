"""What the parts around each stage do: loads, leaks, bypasses, couplings, feedback, tone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from rework.anatomy.amplifier import Anatomy
from rework.anatomy.blocks import Edge, on_the_way
from rework.anatomy.role import PartRole, Role
from rework.anatomy.signal import PASSES_DIRECT, Between, passing_pairs
from rework.anatomy.stages import Coupling
from rework.anatomy.units import TubeUnit
from rework.circuit.kinds import KINDS, Law
from rework.circuit.parts import Part, strands

# the parts of one unit


def _ways(anatomy: Anatomy, start: str, ends: frozenset[str], kinds: frozenset[str]) -> Between:
    """Return the parts of some kinds on any way from a point to any of some others that passes no
    element of another tube.
    """
    signal = anatomy.signal
    barred = (signal.plates | signal.secondaries | signal.grids.keys() | signal.cathodes) - {start}
    edges: list[Edge] = []
    for part in anatomy.circuit.parts:
        if part.kind not in kinds:
            continue
        pairs = _primary_pairs(part) if "transformer" in part.kind else passing_pairs(part)
        for first, second in pairs:
            points = [anatomy.wiring.point(part.at(end)) for end in (first, second)]
            if barred.isdisjoint(points) and not (set(points) & anatomy.still - ends):
                here, there = ("" if point in ends else point for point in points)
                edges.append((part.name, here, there))
    parts, passed = on_the_way(edges, start, "")
    return Between(parts, passed - {""})


def _primary_pairs(part: Part) -> Iterator[tuple[str, str]]:
    for run in strands(part):
        if run[0].startswith("primary"):
            yield from pairwise(run)


def _plates(anatomy: Anatomy) -> Iterator[PartRole]:
    signal = anatomy.signal
    kinds = frozenset({"resistor", "choke", "fuse", "output transformer", "transformer"})
    wound = {
        point
        for part in signal.transformers
        for point in signal.windings(part, primary=True)
        if point not in anatomy.still
    }
    for unit in signal.units:
        for plate in unit.plates:
            if plate not in signal.plates:
                continue
            for name in sorted(_ways(anatomy, plate, anatomy.rail, kinds).parts):
                part = anatomy.circuit.by_name[name]
                ends = set(anatomy.wiring.ends(part))
                if part.kind in ("resistor", "choke"):
                    stops = part.kind == "resistor" and ends & (wound - {plate})
                    role = Role.PLATE_STOPPER if stops else Role.PLATE_LOAD
                    yield PartRole(name, role, unit.label)
            through = {unit.at("cathode"), unit.at("screen")}
            for part in anatomy.wiring.parts_at(plate):
                ends = set(anatomy.wiring.ends(part)) - {plate}
                if part.kind == "capacitor" and ends and ends <= anatomy.still | through | wound:
                    yield PartRole(part.name, Role.PLATE_SHUNT, unit.label)


def _cathodes(anatomy: Anatomy) -> Iterator[PartRole]:
    signal = anatomy.signal
    kinds = frozenset({"resistor", "choke", "pot"})
    for unit in signal.units:
        leg = signal.cathode_leg(unit)
        if not leg:
            continue
        low = anatomy.still - anatomy.rail - anatomy.line | anatomy.common
        for name in sorted(_ways(anatomy, leg[0], low, kinds).parts):
            yield PartRole(name, Role.CATHODE_RESISTOR, unit.label)
        for point in leg:
            for part in anatomy.wiring.parts_at(point):
                ends = set(anatomy.wiring.ends(part))
                law = KINDS[part.kind].law
                if law == Law.CAPACITANCE and len(ends) == 2 and ends <= low | set(leg):
                    yield PartRole(part.name, Role.CATHODE_BYPASS, unit.label)


def _screens(anatomy: Anatomy) -> Iterator[PartRole]:
    kinds = frozenset({"resistor", "choke", "pot"})
    low = anatomy.common | anatomy.b_minus | anatomy.chassis
    for unit in anatomy.signal.units:
        screen = unit.at("screen")
        if screen is None or screen in anatomy.still or screen in unit.plates:
            continue
        for name in sorted(_ways(anatomy, screen, anatomy.rail, kinds).parts):
            yield PartRole(name, Role.SCREEN_DROPPER, unit.label)
        below = low | {point for point in [unit.at("cathode")] if point is not None}
        for part in anatomy.wiring.parts_at(screen):
            ends = set(anatomy.wiring.ends(part)) - {screen}
            law = KINDS[part.kind].law
            if len(ends) == 1 and ends <= below:
                if law == Law.CAPACITANCE:
                    yield PartRole(part.name, Role.SCREEN_BYPASS, unit.label)
                elif law == Law.RESISTANCE:
                    yield PartRole(part.name, Role.SCREEN_BLEEDER, unit.label)


# the signal's way


def _couplings(anatomy: Anatomy) -> Iterator[PartRole]:
    for coupling in anatomy.couplings:
        on_way = {name for name, _ in coupling.way}
        for name in sorted(coupling.parts, key=lambda name: name not in on_way):
            part = anatomy.circuit.by_name[name]
            role = _on_the_way(anatomy, part, coupling, main=name in on_way)
            yield PartRole(name, role, coupling.target)


def _on_the_way(anatomy: Anatomy, part: Part, coupling: Coupling, *, main: bool) -> Role:
    law = KINDS[part.kind].law
    if law == Law.TRACK:
        ends = {anatomy.wiring.of(part, end) for end in ("ccw", "cw")}
        return Role.VOLUME if main and ends & anatomy.still else Role.TONE
    if law == Law.CAPACITANCE:
        return Role.COUPLING if main else Role.TONE
    if law == Law.POLES:
        return Role.SIGNAL_SWITCH
    ends = set(anatomy.wiring.ends(part))
    if coupling.end in ends and main:
        others = {
            other.name
            for other in anatomy.wiring.parts_at(coupling.end)
            if other.kind not in ("tube", "connector")
        }
        if others == {part.name}:
            return Role.GRID_STOPPER
    return Role.SERIES


def _leaks(anatomy: Anatomy) -> Iterator[PartRole]:
    signal = anatomy.signal
    forward = frozenset(name for coupling in anatomy.couplings for name in coupling.parts)
    for unit in signal.units:
        grid = unit.at("grid")
        if grid is None or grid in anatomy.still:
            continue
        near = _direct_group(anatomy, grid, forward)
        leg = set(signal.cathode_leg(unit))
        for point in sorted(near):
            if point != grid and point in signal.grids:
                continue  # the leak there is that of the other grid, as of an inverter's divider
            for part in anatomy.wiring.parts_at(point):
                ends = set(anatomy.wiring.ends(part)) - near
                if part.name in forward or part.kind != "resistor" or len(ends) != 1:
                    continue
                (other,) = ends
                if other in anatomy.still or other in leg or _leads_on(anatomy, other, part):
                    yield PartRole(part.name, Role.GRID_LEAK, unit.label)
                    if other not in anatomy.still and other not in leg:
                        yield from _bias_behind(anatomy, other, unit)


def _leads_on(anatomy: Anatomy, point: str, leak: Part) -> bool:
    """Return whether a point behind a leak carries no signal and more than capacitors are on it: a
    resistor before nothing else is of a tone or loudness network.
    """
    others = (part for part in anatomy.wiring.parts_at(point) if part.name != leak.name)
    return not _carries(anatomy, point) and not all(part.traits.is_capacitor for part in others)


def _carries(anatomy: Anatomy, point: str) -> bool:
    signal = anatomy.signal
    return (
        point in signal.plates
        or point in signal.secondaries
        or point in signal.grids
        or point in signal.cathodes
    )


def _direct_group(anatomy: Anatomy, start: str, parts: frozenset[str]) -> set[str]:
    """Return the points joined to a point by those of the named parts that pass direct current."""
    seen = {start}
    line = [start]
    while line:
        for name, other in anatomy.signal.at.get(line.pop(), ()):
            law = KINDS[anatomy.circuit.by_name[name].kind].law
            passes = law in PASSES_DIRECT or law in (Law.TRACK, Law.POLES)
            if name in parts and passes and other not in seen and not _is_output(anatomy, other):
                seen.add(other)
                line.append(other)
    return seen


def _is_output(anatomy: Anatomy, point: str) -> bool:
    return point in anatomy.signal.plates or point in anatomy.signal.secondaries


def _bias_behind(anatomy: Anatomy, point: str, unit: TubeUnit) -> Iterator[PartRole]:
    """Yield the resistors and capacitors of the bias network whose middle is a point."""
    between = anatomy.signal.to_still(point)
    for name in sorted(between.parts):
        yield PartRole(name, Role.BIAS, unit.label)
    for inside in sorted(between.points | {point}):
        for part in anatomy.wiring.parts_at(inside):
            ends = set(anatomy.wiring.ends(part))
            law = KINDS[part.kind].law
            if law == Law.CAPACITANCE and ends <= anatomy.still | between.points | {point}:
                yield PartRole(part.name, Role.BIAS, unit.label)


def _input_loads(anatomy: Anatomy) -> Iterator[PartRole]:
    forward = frozenset(name for coupling in anatomy.couplings for name in coupling.parts)
    for port in anatomy.inputs:
        if port.hot in anatomy.still:
            continue
        near = _direct_group(anatomy, port.hot, forward)
        targets = [c.target for c in anatomy.couplings if c.source == port.part]
        for point in sorted(near):
            for part in anatomy.wiring.parts_at(point):
                ends = set(anatomy.wiring.ends(part)) - near
                if part.kind == "resistor" and len(ends) == 1 and ends <= anatomy.still:
                    yield PartRole(part.name, Role.INPUT_LOAD, targets[0] if targets else "")


def _feedbacks(anatomy: Anatomy) -> Iterator[PartRole]:
    for feedback in anatomy.feedbacks:
        for name in sorted(feedback.parts):
            yield PartRole(name, Role.FEEDBACK, feedback.target)


def hung_on(anatomy: Anatomy, claimed: frozenset[str]) -> Iterator[PartRole]:
    """Yield what is on the signal's way and leads nowhere: with a pot or a switch in it tone,
    else a shunt.
    """
    free = [
        part
        for part in anatomy.circuit.parts
        if part.name not in claimed and any(True for _ in passing_pairs(part))
    ]
    owner = {
        point: unit.label
        for unit in anatomy.signal.units
        for _, _, point in unit.elements
        if point not in anatomy.still
    }
    for group in _hanging_together(anatomy, free):
        points = {p for part in group for p in anatomy.wiring.ends(part)} - anatomy.still
        if not points:
            continue
        turns = any(KINDS[part.kind].law in (Law.TRACK, Law.POLES) for part in group)
        stage = next((owner[point] for point in sorted(points) if point in owner), "")
        for part in group:
            yield PartRole(part.name, Role.TONE if turns else Role.SHUNT, stage)


def _hanging_together(anatomy: Anatomy, parts: Iterable[Part]) -> list[list[Part]]:
    """Return parts in groups that share a point on which nothing else than them passes a signal."""
    ends = {part.name: set(anatomy.wiring.ends(part)) - anatomy.still for part in parts}
    trunk = {
        point
        for point in {p for points in ends.values() for p in points}
        if any(
            part.name not in ends and part.kind not in ("connector",)
            for part in anatomy.wiring.parts_at(point)
        )
    }
    groups: list[tuple[set[str], list[Part]]] = []
    for part in parts:
        inner = ends[part.name] - trunk
        touching = [group for group in groups if group[0] & inner]
        groups = [group for group in groups if not group[0] & inner]
        groups.append(
            (
                inner.union(*(group[0] for group in touching)),
                [*(other for group in touching for other in group[1]), part],
            )
        )
    return [group for _, group in groups]


#: What yields the roles of parts around the stages, in the order in which they are asked.
AROUND_STAGES = (
    _couplings,
    _plates,
    _cathodes,
    _screens,
    _leaks,
    _feedbacks,
    _input_loads,
)
