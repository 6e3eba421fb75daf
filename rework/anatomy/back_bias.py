"""Back bias: output tubes whose cathode is on the common and whose grid is returned below it, by
resistors to B-, or by a field coil that all current of the set returns through.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.anatomy.amplifier import Anatomy, of
from rework.anatomy.units import TubeUnit, tube_of
from rework.circuit.parts import Part

#: Parts in a row between the cathode's point and the negative return; published circuits have one
#: to three.
_LONGEST = 4
#: Steps of that search after which it ends: a set has a few dozen resistors on its common, no set
#: has thousands.
_MOST_STEPS = 50_000
_DROPS = ("resistor", "choke")

#: A part that drops volts, and the points of its two ends.
_Drop = tuple[Part, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class BackBias:
    """The network of one output tube: where its cathode is, the negative returns, and every part of
    the network.
    """

    tube: str
    cathode: str
    returns: frozenset[str]
    parts: frozenset[str]


def back_biased(anatomy: Anatomy) -> tuple[BackBias, ...]:
    """Return every back-biased output stage, in the order of the file."""
    search = _ReturnSearch(anatomy)
    stages = (search.stage(unit) for unit in anatomy.units if search.drives_output(unit))
    return tuple(stage for stage in stages if stage is not None)


class _ReturnSearch:
    def __init__(self, anatomy: Anatomy) -> None:
        self.anatomy = anatomy
        self.wiring = anatomy.wiring
        self.mated = of(anatomy.circuit).wiring
        self.drops: tuple[_Drop, ...] = tuple(
            (part, self.wiring.ends(part))
            for part in anatomy.circuit.parts
            if part.kind in _DROPS
            and len(part.ends) == 2
            and not self._heaters().intersection(self.wiring.ends(part))
        )
        self.minus = frozenset(
            self.mated.point(part.at("minus"))
            for part in anatomy.circuit.parts
            if part.node("minus") is not None
            and (part.kind == "bridge" or anatomy.is_filter(part.name))
        )

    def _heaters(self) -> frozenset[str]:
        """Return the points within the heater string: a resistor there is a dropper, whatever else
        its other end is on.
        """
        points = {
            self.wiring.point(part.at(pin))
            for part in self.anatomy.circuit.parts
            if (tube := tube_of(part)) is not None
            for element in ("heater1", "heater2")
            for pin in tube.pins_of(element)
            if part.node(pin) is not None
        }
        return frozenset(points - self.anatomy.line - self.anatomy.common)

    def drives_output(self, unit: TubeUnit) -> bool:
        """Return whether a plate of a unit is on the primary of an output transformer."""
        return unit.amplifies and any(
            other.kind == "output transformer" and end.startswith("primary")
            for plate in unit.plates
            for other, end in self.wiring.at.get(plate, ())
        )

    def stage(self, unit: TubeUnit) -> BackBias | None:
        """Return the bias network of an output unit, None where it has no back bias."""
        cathode, grid = unit.at("cathode"), unit.at("grid")
        common = self.anatomy.common
        if cathode is None or grid is None or cathode not in common | self.anatomy.metal:
            return None
        grid_side = self._reach(grid, {cathode})
        returns: set[str] = set()
        parts = {part.name for part, _ in self.drops if "back-bias" in part.words}
        for steps, end in self._ways(cathode):
            passed = {point for _, point in steps}
            below = (self._is_negative(end) and end not in common) or end in grid_side
            if below and grid not in passed and (passed & grid_side or self._has_filter_minus(end)):
                returns.add(end)
                parts.update(name for name, _ in steps)
        if not parts:
            return None
        ends = self._outermost(returns, parts)
        return BackBias(
            unit.part, cathode, ends, frozenset(parts | self._around(parts, ends, grid, grid_side))
        )

    def _around(
        self, parts: set[str], ends: frozenset[str], grid: str, grid_side: set[str]
    ) -> set[str]:
        """Return what else is of the network: parts between its points, and the resistors from its
        far end to the grid.
        """
        inside = {point for part, points in self.drops if part.name in parts for point in points}
        around = set()
        for part in self.anatomy.circuit.parts:
            if len(part.ends) != 2 or part.kind not in (*_DROPS, "capacitor", "electrolytic"):
                continue
            points = set(self.wiring.ends(part))
            between = points <= inside and not self.anatomy.is_filter(part.name)
            to_grid = points & ends and points & ({grid} | grid_side - inside)
            if between or (part.kind == "resistor" and to_grid):
                around.add(part.name)
        return around

    def _outermost(self, returns: set[str], parts: set[str]) -> frozenset[str]:
        """Return the returns at the far end of the chain: the line side, or where no further bias
        resistor goes on.
        """
        negative = frozenset(point for point in returns if self._is_negative(point))
        if negative:
            return negative
        count = {
            point: sum(point in ends and part.name in parts for part, ends in self.drops)
            for point in returns
        }
        return frozenset(point for point, number in count.items() if number == 1)

    def _is_negative(self, point: str) -> bool:
        return point in self.anatomy.line or self._has_filter_minus(point)

    def _has_filter_minus(self, point: str) -> bool:
        return self.mated.point(point) in self.minus

    def _reach(self, start: str, stop: set[str]) -> set[str]:
        seen: set[str] = set()
        wanted = [start]
        while wanted:
            point = wanted.pop()
            if point in seen or point in stop:
                continue
            seen.add(point)
            for part, ends in self.drops:
                if part.kind == "resistor" and point in ends:
                    wanted += [other for other in ends if other != point]
        return seen - {start}

    def _ways(self, start: str) -> Iterator[tuple[tuple[tuple[str, str], ...], str]]:
        """Yield every way from the cathode's point through up to four parts, with the point it ends
        on.
        """
        stack: list[tuple[str, tuple[tuple[str, str], ...]]] = [(start, ())]
        for _ in range(_MOST_STEPS):
            if not stack:
                return
            point, steps = stack.pop()
            if steps:
                yield steps, point
            if len(steps) < _LONGEST and (not steps or point not in self.anatomy.line):
                for part, ends in self.drops:
                    if point in ends:
                        onward = next((end for end in ends if end != point), point)
                        if onward != start and onward not in [seen for _, seen in steps]:
                            stack.append((onward, (*steps, (part.name, onward))))
