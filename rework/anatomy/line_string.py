"""The heater string across the line: which heaters are in it, and which parts in series."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from rework.anatomy.heaters import HEATER_LIMIT, wired_heater
from rework.anatomy.units import tube_of
from rework.anatomy.wiring import Wiring
from rework.circuit.parts import Part
from rework.tubes.elements import HEATER
from rework.tubes.tubetype import HeaterWay, TubeType

#: Two-terminal parts that can be in a heater string; so can the winding of a motor.
_SERIES = frozenset({"resistor", "thermistor", "lamp", "fuse", "switch", "choke"})
#: Words by which a resistor says that it makes up the volts of a heater string.
DROPPER_WORDS = frozenset({"dropper", "ballast", "line-cord"})
#: Steps after which the search for ways along the string ends; a string of twenty heaters with
#: lamps needs a few hundred.
_MOST_STEPS = 20_000


@dataclass(frozen=True, slots=True)
class StringSection:
    """A stretch of one tube's heater, or a part that could be in series with one."""

    part: str
    start: str
    end: str
    is_heater: bool


class LineString:
    """The heaters that are in series across the line, and the parts in series with them: what a
    conversion takes apart. Fuses and switches count as parts of it.

    Parameters
    ----------
    wiring
        The points of the circuit.
    sides
        The sides of the line.
    neutral
        Points that many heaters share without being in series: common, chassis, earth.
    """

    def __init__(
        self, wiring: Wiring, sides: tuple[frozenset[str], ...], neutral: frozenset[str]
    ) -> None:
        self.wiring = wiring
        self.circuit = wiring.circuit
        self.sides = sides
        self.neutral = neutral

    def ends(self, part: Part) -> tuple[str, str] | None:
        """Return the two points that feed a tube's heater, or None where one end is on nothing or
        the type is not known.
        """
        tube = tube_of(part)
        if tube is None:
            return None
        first, second = (self._point(part, tube, name) for name in HEATER)
        tap = self._point(part, tube, "heater-tap")
        if first is not None and first == second and tap is not None:
            return first, tap
        if first is None or second is None or first == second:
            return None
        return first, second

    def _point(self, part: Part, tube: TubeType, name: str) -> str | None:
        pins = dict.fromkeys(pin for pin, carried in tube.elements if name in carried)
        return next(
            (point for pin in pins if (point := self.wiring.of(part, pin)) is not None), None
        )

    def way(self, part: Part) -> HeaterWay | None:
        """Return the way in which a tube's heater is fed as it is wired, or None where no printed
        way is like it; where an end of the heater is on nothing it is the ordinary way.
        """
        tube = tube_of(part)
        if tube is None:
            return None
        if any(self._point(part, tube, name) is None for name in HEATER):
            return next(
                (feed for feed in tube.heater.ways if feed.volts == tube.heater.volts), None
            )
        heater = wired_heater(part, self.wiring.point)
        return None if heater is None else heater.way

    def is_for(self, part: Part, volts: float) -> bool:
        """Return whether a tube's heater as wired is one for so many volts, within a tenth."""
        feed = self.way(part)
        return feed is not None and abs(feed.volts.value - volts) <= HEATER_LIMIT * volts

    @cached_property
    def sections(self) -> tuple[StringSection, ...]:
        """Every stretch of heater and every two-terminal part that could be in series with one."""
        sections: list[StringSection] = []
        for part in self.circuit.parts:
            if part.kind == "tube":
                sections += self._tube_sections(part)
            elif part.kind in _SERIES and len(part.ends) == 2:
                first, second = self.wiring.ends(part)
                if first != second:
                    sections.append(StringSection(part.name, first, second, False))
            elif part.kind == "motor" and part.node("tap") is None:
                near, far = (self.wiring.of(part, end) for end in ("1", "2"))
                if near is not None and far is not None and near != far:
                    sections.append(StringSection(part.name, near, far, False))
        return tuple(sections)

    def _tube_sections(self, part: Part) -> Iterator[StringSection]:
        tube = tube_of(part)
        if tube is None:
            return
        first, second = (self._point(part, tube, name) for name in HEATER)
        tap = self._point(part, tube, "heater-tap") or self._point(part, tube, "lamp-tap")
        chain = [point for point in (first, tap, second) if point is not None]
        for here, there in pairwise(chain):
            if here != there:
                yield StringSection(part.name, here, there, True)

    @cached_property
    def parts(self) -> frozenset[str]:
        """The names of the tubes and parts in a heater string.

        In it is what lies on a way from one side of the line to the other that passes a heater; and
        a tube whose heater has exactly one of its two points in common with the heater of another
        tube, common, chassis and earth left out.
        """
        return self._across_the_line() | self._sharing()

    def _sharing(self) -> frozenset[str]:
        ends = {
            part.name: pair for part in self.circuit.parts if (pair := self.ends(part)) is not None
        }
        sharing: set[str] = set()
        for start, here in ends.items():
            for other, there in ends.items():
                shared = set(here) & set(there)
                if start < other and len(shared) == 1 and not shared & self.neutral:
                    sharing |= {start, other}
        points = {point for name in sharing for point in ends[name]}
        for part in self.circuit.parts:
            marked = DROPPER_WORDS & set(part.words) or part.kind == "thermistor"
            if marked and any(end in points - self.neutral for end in self.wiring.ends(part)):
                sharing.add(part.name)
        return frozenset(sharing)

    def _across_the_line(self) -> frozenset[str]:
        side_of = {
            point: f"line {number}" for number, side in enumerate(self.sides) for point in side
        }
        joined: dict[str, list[tuple[StringSection, str]]] = {}
        for section in self.sections:
            near = side_of.get(section.start, section.start)
            other = side_of.get(section.end, section.end)
            if near != other:
                joined.setdefault(near, []).append((section, other))
                joined.setdefault(other, []).append((section, near))
        starts = [f"line {number}" for number in range(len(self.sides))]
        return frozenset(
            section.part
            for start in starts
            for sections in _ways(start, frozenset(starts), joined)
            if any(section.is_heater for section in sections)
            for section in sections
        )

    @cached_property
    def points(self) -> frozenset[str]:
        """The points inside the string, common, chassis and earth left in."""
        return frozenset(
            point
            for section in self.sections
            if section.part in self.parts
            for point in (section.start, section.end)
        )


def _ways(
    start: str, ends: frozenset[str], joined: dict[str, list[tuple[StringSection, str]]]
) -> Iterator[tuple[StringSection, ...]]:
    """Yield the ways from a start to any end that pass no point twice, up to a number of steps."""
    stack: list[tuple[str, tuple[str, ...], tuple[StringSection, ...]]] = [(start, (start,), ())]
    for _ in range(_MOST_STEPS):
        if not stack:
            return
        point, passed, sections = stack.pop()
        if sections and point in ends:
            yield sections
            continue
        stack += [
            (other, (*passed, other), (*sections, section))
            for section, other in joined.get(point, ())
            if other not in passed
        ]
