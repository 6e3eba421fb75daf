"""Back bias: output tubes whose cathode is on the common and whose grid is returned below it, by
resistors to B-.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from rework.circuit.parts import Part
from rework.rules.facts import Facts
from rework.tubes.tubetype import TubeType

#: Resistors in a row between the cathode's point and the negative return; published circuits have
#: one to three.
_LONGEST = 4
#: Steps of that search after which it ends: a set has a few dozen resistors on its common, no set
#: has thousands.
_MOST_STEPS = 50_000


@dataclass(frozen=True, slots=True)
class BackBias:
    """The network of one output tube: where its cathode is, the negative returns, and every part of
    the network.
    """

    tube: str
    cathode: str
    returns: frozenset[str]
    parts: frozenset[str]


class Bias:
    """The back-biased output stages of one circuit."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts

    @cached_property
    def stages(self) -> tuple[BackBias, ...]:
        """Every back-biased output stage, in the order of the file."""
        found = []
        for part, tube in self.facts.tubes():
            if tube is not None:
                found += [
                    stage
                    for unit in self._output_units(part, tube)
                    if (stage := self._stage(part, tube, unit))
                ]
        return tuple(found)

    def _output_units(self, part: Part, tube: TubeType) -> list[str]:
        units = []
        for terminal, _ in part.pins:
            unit, _, element = (
                tube.element(terminal).rpartition(".")
                if terminal in tube.socket_pins
                else ("", "", "")
            )
            point = self.facts.of(part, terminal)
            if element.startswith("plate") and any(
                other.kind == "output transformer" and end.startswith("primary")
                for other, end in self.facts.at.get(point, ())
            ):
                units.append(unit)
        return list(dict.fromkeys(units))

    def _element_point(self, part: Part, tube: TubeType, unit: str, element: str) -> str | None:
        pins = tube.pins_of(f"{unit}.{element}" if unit else element)
        return next(
            (point for pin in pins if (point := self.facts.of(part, pin)) is not None), None
        )

    def _stage(self, part: Part, tube: TubeType, unit: str) -> BackBias | None:
        cathode = self._element_point(part, tube, unit, "cathode")
        grid = self._element_point(part, tube, unit, "grid")
        if cathode is None or grid is None or cathode not in self.facts.common | self.facts.metal:
            return None
        resistors = [
            (other, self._ends(other))
            for other in self.facts.circuit.parts
            if other.kind == "resistor" and len(other.pins) == 2
        ]
        grid_side = self._reach(grid, resistors, {cathode})
        returns, parts = set(), {other.name for other, _ in resistors if "back-bias" in other.words}
        for way, end in self._ways(cathode, resistors):
            negative = self._is_negative(end) and end not in self.facts.common
            passed = {point for _, point in way}
            if (
                (negative or end in grid_side)
                and grid not in passed
                and (passed & grid_side or self._has_filter_minus(end))
            ):
                returns.add(end)
                parts.update(name for name, _ in way)
        if not parts:
            return None
        inside = {point for other, ends in resistors if other.name in parts for point in ends}
        ends = self._outermost(returns, resistors, parts)
        for other in self.facts.circuit.parts:
            points = (
                set(self._ends(other))
                if len(other.pins) == 2 and other.kind in ("resistor", "capacitor", "electrolytic")
                else set()
            )
            if (points and points <= inside and not self.facts.is_filter(other)) or (
                other.kind == "resistor"
                and points & ends
                and points & ({grid} | grid_side - inside)
            ):
                parts.add(other.name)
        return BackBias(part.name, cathode, frozenset(ends), frozenset(parts))

    def _outermost(self, returns: set[str], resistors: list, parts: set[str]) -> frozenset[str]:
        """Return the returns at the far end of the chain: the line side, or where no further bias
        resistor goes on.
        """
        negative = frozenset(
            point for point in returns if self._is_negative(point) or self._has_filter_minus(point)
        )
        if negative:
            return negative
        count = {
            point: sum(point in ends and other.name in parts for other, ends in resistors)
            for point in returns
        }
        return frozenset(point for point, number in count.items() if number == 1)

    def _ends(self, part: Part) -> tuple[str, ...]:
        return tuple(self.facts.point(node) for _, node in part.pins)

    def _is_negative(self, point: str) -> bool:
        return point in self.facts.line or self._has_filter_minus(point)

    def _has_filter_minus(self, point: str) -> bool:
        return any(
            terminal == "minus" and (part.kind == "bridge" or self.facts.is_filter(part))
            for here in sorted(self.facts.through_contacts(point))
            for part, terminal in self.facts.at.get(here, ())
        )

    def _reach(self, start: str, resistors: list, stop: set[str]) -> set[str]:
        seen, wanted = set(), [start]
        while wanted:
            point = wanted.pop()
            if point in seen or point in stop:
                continue
            seen.add(point)
            for _, ends in resistors:
                if point in ends:
                    wanted += [other for other in ends if other != point]
        return seen - {start}

    def _ways(self, start: str, resistors: list):
        """Yield every way from the cathode's point through up to four resistors, with the point it
        ends on.
        """
        stack: list[tuple[str, tuple[tuple[str, str], ...]]] = [(start, ())]
        for _ in range(_MOST_STEPS):
            if not stack:
                return
            point, way = stack.pop()
            if way:
                yield way, point
            if len(way) < _LONGEST and (not way or point not in self.facts.line):
                for other, ends in resistors:
                    if point in ends:
                        onward = next((end for end in ends if end != point), point)
                        if onward != start and onward not in [seen for _, seen in way]:
                            stack.append((onward, (*way, (other.name, onward))))
