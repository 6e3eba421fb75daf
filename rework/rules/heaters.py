"""The heater string: which heaters stand in series, what stands in series with them, and how a
heater is fed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from rework.circuit.parts import Part
from rework.rules.facts import Facts
from rework.tubes import library
from rework.tubes.tubetype import HeaterWay, TubeType

#: Two-terminal parts that can stand in a heater string.
_SERIES_KINDS = frozenset({"resistor", "thermistor", "lamp", "fuse", "switch", "choke"})
#: Words by which a resistor says that it makes up the volts of a heater string.
_DROPPER_WORDS = frozenset({"dropper", "ballast", "line-cord"})
#: Steps after which the search for ways along the string ends; a string of twenty heaters with
#: lamps needs a few hundred.
_MOST_STEPS = 20_000
#: A heater is said to be for some voltage when it is within this much of it: the limits in which
#: heaters are run (10 % either way, printed in tube manuals; see rework/safety).
_HEATER_LIMIT = 0.1


@dataclass(frozen=True, slots=True)
class Section:
    """A stretch of one tube's heater, or a part in series, between two points."""

    part: str
    one: str
    other: str
    is_heater: bool


class Heaters:
    """The heaters of one circuit."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts

    def ends(self, part: Part) -> tuple[str, str] | None:
        """Return the two points that feed a tube's heater, or None where one end is on nothing or
        the type is not known.
        """
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            return None
        one, other = (self._point(part, tube, name) for name in ("heater1", "heater2"))
        tap = self._point(part, tube, "heater-tap")
        if one is not None and one == other and tap is not None:
            return one, tap
        if one is None or other is None or one == other:
            return None
        return one, other

    def _point(self, part: Part, tube: TubeType, name: str) -> str | None:
        pins = dict.fromkeys(pin for pin, carried in tube.elements if name in carried)
        return next(
            (point for pin in pins if (point := self.facts.of(part, pin)) is not None), None
        )

    def way(self, part: Part) -> HeaterWay | None:
        """Return the way in which a tube's heater is fed as it is wired, or None where no printed
        way is like it.

        Where an end of the heater is on nothing it is the ordinary way.
        """
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            return None
        if any(self._point(part, tube, name) is None for name in ("heater1", "heater2")):
            return next((way for way in tube.heater.ways if way.volts == tube.heater.volts), None)
        for way in sorted(tube.heater.ways, key=lambda way: -sum(map(len, way.between))):
            sides = [{self.facts.of(part, pin) for pin in pins} for pins in way.between]
            if all(len(side) == 1 and None not in side for side in sides) and sides[0] != sides[1]:
                return way
        return None

    def is_for(self, part: Part, volts: float) -> bool:
        """Return whether a tube's heater as it is wired is one for so many volts, within a tenth."""
        way = self.way(part)
        return way is not None and abs(way.volts.value - volts) <= _HEATER_LIMIT * volts

    @cached_property
    def sections(self) -> tuple[Section, ...]:
        """Every stretch of heater and every two-terminal part that could be in series with one."""
        found = []
        for part in self.facts.circuit.parts:
            if part.kind == "tube":
                found += self._tube_sections(part)
            elif part.kind in _SERIES_KINDS and len(part.pins) == 2:
                one, other = (self.facts.point(node) for _, node in part.pins)
                if one != other:
                    found.append(Section(part.name, one, other, False))
        return tuple(found)

    def _tube_sections(self, part: Part) -> Iterator[Section]:
        tube = library.find(part.type)
        if tube is None:
            return
        one, other = (self._point(part, tube, name) for name in ("heater1", "heater2"))
        tap = self._point(part, tube, "heater-tap") or self._point(part, tube, "lamp-tap")
        chain = [point for point in (one, tap, other) if point is not None]
        for here, there in pairwise(chain):
            if here != there:
                yield Section(part.name, here, there, True)

    @cached_property
    def string(self) -> frozenset[str]:
        """The names of the tubes and parts in a heater string.

        In it is what lies on a way from one side of the line to the other that passes a heater; and
        a tube whose heater has exactly one of its two points in common with the heater of another
        tube, common and earth left out.
        """
        return self._across_the_line() | self._sharing()

    def _sharing(self) -> frozenset[str]:
        ends = {
            part.name: pair
            for part in self.facts.circuit.parts
            if (pair := self.ends(part)) is not None
        }
        neutral = self.facts.common | self.facts.earthed | self.facts.metal
        found = set()
        for one, here in ends.items():
            for other, there in ends.items():
                shared = set(here) & set(there)
                if one < other and len(shared) == 1 and not shared & neutral:
                    found |= {one, other}
        points = {point for name in found for point in ends[name]}
        for part in self.facts.circuit.parts:
            marked = _DROPPER_WORDS & set(part.words) or part.kind == "thermistor"
            if marked and any(self.facts.point(node) in points - neutral for _, node in part.pins):
                found.add(part.name)
        return frozenset(found)

    def _across_the_line(self) -> frozenset[str]:
        sides = self.facts.line_sides
        side_of = {point: f"line {number}" for number, side in enumerate(sides) for point in side}
        joined: dict[str, list[tuple[Section, str]]] = {}
        for section in self.sections:
            one, other = (
                side_of.get(section.one, section.one),
                side_of.get(section.other, section.other),
            )
            if one != other:
                joined.setdefault(one, []).append((section, other))
                joined.setdefault(other, []).append((section, one))
        found: set[str] = set()
        starts = [f"line {number}" for number in range(len(sides))]
        for start in starts:
            steps = 0
            stack: list[tuple[str, tuple[str, ...], tuple[Section, ...]]] = [(start, (start,), ())]
            while stack and steps < _MOST_STEPS:
                point, passed, way = stack.pop()
                steps += 1
                if way and point in starts:
                    if any(section.is_heater for section in way):
                        found.update(section.part for section in way)
                    continue
                stack += [
                    (other, (*passed, other), (*way, section))
                    for section, other in joined.get(point, ())
                    if other not in passed
                ]
        return frozenset(found)

    @cached_property
    def string_points(self) -> frozenset[str]:
        """The points inside the heater string, common left out."""
        inside = {
            point
            for section in self.sections
            if section.part in self.string
            for point in (section.one, section.other)
        }
        return frozenset(inside) - self.facts.common
