"""The signal's ways between units: a graph of what passes alternating current, cut at everything
that stands still (B+, common, chassis, line).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from rework.anatomy.blocks import Edge, on_the_way
from rework.anatomy.units import TubeUnit
from rework.anatomy.wiring import Wiring
from rework.circuit.kinds import KINDS, METALWORK, Law
from rework.circuit.parts import Part, strands, switch_style

#: Laws of parts with two ends that a signal gets through.
_PASSES = frozenset(
    {Law.RESISTANCE, Law.CAPACITANCE, Law.COIL, Law.THERMISTOR, Law.LAMP, Law.LINK, Law.JUNCTION}
)
#: Laws of parts with two ends that direct current gets through.
PASSES_DIRECT = frozenset({Law.RESISTANCE, Law.COIL, Law.THERMISTOR, Law.LAMP, Law.LINK})
_NOT_WOUND = ("core", "screen", "shield")


def is_signal_transformer(part: Part) -> bool:
    """Return whether a transformer carries a signal: an output transformer, one that says
    interstage, or one with no volts on any winding.
    """
    if part.kind == "output transformer":
        return True
    if part.kind != "transformer":
        return False
    return "interstage" in part.words or not any(
        value.dimension == "voltage" for _, values in part.windings for value in values
    )


class SignalWays:
    """What passes a signal in one circuit.

    Parameters
    ----------
    wiring, units
        The points and the tubes of the circuit.
    still
        Points that carry no signal: B+, common, B-, chassis, earth, line.
    mains
        Names of the transformers that are on the line, whatever they say they are.
    """

    def __init__(
        self,
        wiring: Wiring,
        units: tuple[TubeUnit, ...],
        still: frozenset[str],
        mains: frozenset[str] = frozenset(),
    ) -> None:
        self.wiring = wiring
        self.units = tuple(unit for unit in units if unit.amplifies)
        self.transformers = tuple(
            part
            for part in wiring.circuit.parts
            if is_signal_transformer(part) and part.name not in mains
        )
        self.still = still | frozenset(self._returns(still))

    def _returns(self, still: frozenset[str]) -> Iterator[str]:
        """Yield the return of every secondary that is on no point that stands still: its tap, else
        the busier of its ends.
        """
        for part in self.transformers:
            for run in strands(part):
                points = [self.wiring.point(part.at(terminal)) for terminal in run]
                name = run[0].split(".")[0]
                if len(run) < 2 or name.startswith(("primary", *_NOT_WOUND)):
                    continue
                if not still.intersection(points):
                    yield (
                        points[1]
                        if len(points) == 3
                        else max(reversed(points), key=lambda p: len(self.wiring.at.get(p, ())))
                    )

    # points by what they are

    @cached_property
    def plates(self) -> frozenset[str]:
        """Points of plates that carry a signal."""
        return frozenset(p for unit in self.units for p in unit.plates) - self.still

    @cached_property
    def grids(self) -> dict[str, tuple[TubeUnit, ...]]:
        """Points of grids that carry a signal, with the units whose grid is there."""
        by_grid: dict[str, list[TubeUnit]] = {}
        for unit in self.units:
            for element in ("grid", "signal-grid"):
                point = unit.at(element)
                if point is not None and point not in self.still:
                    by_grid.setdefault(point, []).append(unit)
        return {point: tuple(units) for point, units in by_grid.items()}

    @cached_property
    def cathodes(self) -> frozenset[str]:
        """Points of cathodes that are not still."""
        return frozenset(p for u in self.units if (p := u.at("cathode")) is not None) - self.still

    def to_still(self, start: str, kinds: frozenset[str] = frozenset({"resistor"})) -> Between:
        """Return the parts of some kinds, and the points that carry a signal, on any way from a
        point to one that stands still; plates, grids, secondaries and other cathodes are not
        passed.
        """
        barred = (self.plates | self.secondaries | self.grids.keys() | self.cathodes) - {start}
        edges = []
        for part in self.wiring.circuit.parts:
            ends = self.wiring.ends(part)
            if part.kind not in kinds or len(ends) != 2 or barred.intersection(ends):
                continue
            first, second = ("" if end in self.still else end for end in ends)
            edges.append((part.name, first, second))
        parts, points = on_the_way(edges, start, "")
        return Between(parts, points - {""})

    def cathode_leg(self, unit: TubeUnit) -> tuple[str, ...]:
        """Return the cathode's point and those between the resistors that lead from it to a point
        that stands still; none where the cathode itself does.
        """
        return self._legs.get(unit.label, ())

    @cached_property
    def _legs(self) -> dict[str, tuple[str, ...]]:
        legs = {}
        for unit in self.units:
            cathode = unit.at("cathode")
            if cathode is not None and cathode not in self.still:
                points = self.to_still(cathode).points
                legs[unit.label] = (cathode, *sorted(points - {cathode}))
        return legs

    @cached_property
    def legs(self) -> frozenset[str]:
        """The points of all cathode legs."""
        return frozenset(point for leg in self._legs.values() for point in leg)

    @cached_property
    def secondaries(self) -> frozenset[str]:
        """Points of secondaries that carry a signal."""
        return frozenset(
            point
            for part in self.transformers
            for point in self.windings(part, primary=False)
            if point not in self.still
        )

    def windings(self, part: Part, *, primary: bool) -> tuple[str, ...]:
        """Return the points on the primaries, or on the other windings, of a transformer."""
        return tuple(
            self.wiring.point(node)
            for terminal, node in part.pins
            if not terminal.startswith(_NOT_WOUND) and terminal.startswith("primary") == primary
        )

    # edges

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """What passes a signal between two points that are not still, transformers left out."""
        return tuple(
            edge
            for part in self.wiring.circuit.parts
            for edge in self._edges_of(part)
            if edge[1] != edge[2] and edge[1] not in self.still and edge[2] not in self.still
        )

    def _edges_of(self, part: Part) -> Iterator[Edge]:
        for first, second in passing_pairs(part):
            yield part.name, self.wiring.point(part.at(first)), self.wiring.point(part.at(second))

    @cached_property
    def at(self) -> dict[str, tuple[tuple[str, str], ...]]:
        """Every point with the (part, other point) pairs that a signal leaves it by."""
        joined: dict[str, dict[tuple[str, str], None]] = {}
        for name, first, second in self.edges:
            joined.setdefault(first, {})[name, second] = None
            joined.setdefault(second, {})[name, first] = None
        return {point: tuple(pairs) for point, pairs in joined.items()}

    # ways

    def forward(self, start: Iterable[str], *, into_loads: bool = False) -> dict[str, SignalStep]:
        """Return every point a signal reaches from some points without passing a tube, with the
        step that led there.

        It never enters a plate, a cathode leg, or a secondary but by its transformer, and never
        leaves a change-over switch by another throw. Behind a transformer that feeds a load it goes
        on only where ``into_loads`` is set.
        """
        reached = {point: SignalStep(None, "") for point in dict.fromkeys(start)}
        barred = self.plates | self.secondaries | (self.legs - self.grids.keys())
        line = deque(reached)
        while line:
            point = line.popleft()
            came = reached[point].part
            for name, other in self.at.get(point, ()):
                if (
                    other in reached
                    or other in barred
                    or (name == came and self.wiring.circuit.by_name[name].kind == "switch")
                ):
                    continue
                reached[other] = SignalStep(point, name)
                line.append(other)
            for part in self.transformers:
                if point in self.windings(part, primary=True) and (
                    into_loads or part.name not in self.output_transformers
                ):
                    for other in self.windings(part, primary=False):
                        if other not in reached and other not in self.still:
                            reached[other] = SignalStep(point, part.name)
                            line.append(other)
        return reached

    @cached_property
    def output_transformers(self) -> frozenset[str]:
        """Names of the transformers whose secondary leads to a speaker, a dummy load or a jack that
        says speaker or output.
        """
        names = set()
        for part in self.transformers:
            points = [p for p in self.windings(part, primary=False) if p not in self.still]
            near = self._near(points)
            if part.kind == "output transformer" or any(
                is_load(other) for point in near for other, _ in self.wiring.at.get(point, ())
            ):
                names.add(part.name)
        for part in self.transformers:  # one that drives a grid is none
            points = [p for p in self.windings(part, primary=False) if p not in self.still]
            if self._near(points) & self.grids.keys() and part.kind != "output transformer":
                names.discard(part.name)
        return frozenset(names)

    def _near(self, points: list[str]) -> set[str]:
        seen = set(points)
        line = [(point, "") for point in points]
        while line:
            point, came = line.pop()
            for name, other in self.at.get(point, ()):
                changed = name == came and self.wiring.circuit.by_name[name].kind == "switch"
                if other not in seen and other not in self.plates and not changed:
                    seen.add(other)
                    line.append((other, name))
        return seen

    def between(self, start: str, end: str, *, without: frozenset[str] = frozenset()) -> Between:
        """Return the parts and the points on any way of the signal from one point to another.

        Plates, secondaries and cathode legs other than the two ends are left out, and so are the
        parts named.
        """
        barred = (self.plates | self.secondaries | self.legs) - {start, end}
        edges = [
            edge
            for edge in self.edges
            if edge[0] not in without and edge[1] not in barred and edge[2] not in barred
        ]
        parts, points = on_the_way(edges, start, end)
        return Between(parts, points)


@dataclass(frozen=True, slots=True)
class SignalStep:
    """How a point was reached: from which point, through which part; None and "" at the start."""

    before: str | None
    part: str


@dataclass(frozen=True, slots=True)
class Between:
    """The parts and points on any way between two points."""

    parts: frozenset[str]
    points: frozenset[str]


def passing_pairs(part: Part) -> Iterator[tuple[str, str]]:
    """Yield the pairs of bound terminals between which a part passes a signal; transformers, tubes
    and sources yield none.
    """
    law = KINDS[part.kind].law
    bound = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    if law in _PASSES and len(bound) == 2:
        yield bound[0], bound[1]
    elif law == Law.TRACK:
        inner = [lug for lug in ("wiper", "tap") if lug in bound]
        ends = [lug for lug in ("ccw", "cw") if lug in bound]
        yield from product(inner, ends)
        for lugs in (inner, ends if not inner else []):
            if len(lugs) > 1:
                yield lugs[0], lugs[1]
    elif law == Law.POLES:
        for pole in switch_style(part).contacts:
            for throw in pole[1:]:
                if pole[0] in bound and throw in bound:
                    yield pole[0], throw
    elif law == Law.BREAK_CONTACT and "tip" in bound and "break" in bound:
        yield "tip", "break"


def is_load(part: Part) -> bool:
    """Return whether a part takes the output: a speaker, a dummy load, a jack for one."""
    return part.kind in ("speaker", "dummy load") or (
        part.kind == "jack" and bool({"speaker", "output"} & set(part.words))
    )


def way_back(reached: dict[str, SignalStep], end: str) -> tuple[tuple[str, str], ...]:
    """Return the (part, point) steps from the start to a point reached, in the order of the
    signal.
    """
    steps: list[tuple[str, str]] = []
    step = reached[end]
    while step.before is not None:
        steps.append((step.part, end))
        end = step.before
        step = reached[end]
    return tuple(reversed(steps))
