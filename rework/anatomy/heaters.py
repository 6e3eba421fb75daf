"""Heaters: how each one is wired, which of them are in series, and what feeds them.

The figures of the tubes are the library's, each with its source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal

from rework.anatomy.links import closed_contacts, coils
from rework.anatomy.units import tube_of
from rework.anatomy.wiring import Wiring
from rework.circuit.graph import Merged
from rework.circuit.kinds import Passes
from rework.circuit.parts import Part, drawn_position, strands, switch_style
from rework.tubes.elements import HEATER, HEATER_TAPS
from rework.tubes.tubetype import HeaterWay, TubeType

#: A resistor of more ohms than this carries no heater current to speak of: it is a bleeder or a
#: reference.
NO_HEATER_CURRENT = 5000.0
#: A heater is said to be for some voltage when it is within this much of it, and heaters are run
#: within this much of their rating (M. J. Darby, The Radio Constructor, April 1962, and the common
#: rule of tube manuals).
HEATER_LIMIT = 0.1
#: Two-terminal parts that take volts of a heater string.
_TAKES_VOLTS = ("resistor", "thermistor", "lamp")
#: Kinds that take current of their own from a point, so that a string may branch there.
_BRANCHES = frozenset(
    {
        "plug",
        "transformer",
        "autotransformer",
        "output transformer",
        "choke",
        "diode",
        "selenium",
        "bridge",
        "motor",
        "pot",
        "speaker",
        "dummy load",
    }
)
_HEATER_PINS = frozenset({*HEATER, "heater-tap"})


@dataclass(frozen=True, slots=True)
class WiredHeater:
    """The heater of one tube as it is wired.

    ``way`` is the printed way it is wired in and ``ends`` its two points, None where it is wired in
    none. ``taps`` pairs each wired tap that is not part of the way with its point. ``loose`` are
    heater pins on nothing.
    """

    part: str
    way: HeaterWay | None
    ends: tuple[str, str] | None
    taps: tuple[tuple[str, str], ...]
    loose: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeaterElement:
    """What takes heater current between two points: a heater with its way, or a part in series."""

    part: Part
    ends: tuple[str, str]
    way: HeaterWay | None = None

    @property
    def amps(self) -> float | None:
        """The printed heater current, None for a part in series."""
        return self.way.amps.value if self.way else None


@dataclass(frozen=True, slots=True)
class HeaterSource:
    """Where heater current comes from: the line (``part`` None), or a winding whole or by halves.

    ``volts`` RMS lie between the two ``ends``; ``amps`` is what the winding may give, None where
    that is not said.
    """

    part: Part | None
    winding: str
    span: Literal["line", "whole", "half"]
    ends: tuple[str, str]
    volts: float
    amps: float | None


@dataclass(frozen=True, slots=True)
class HeaterString:
    """An unbranched run of heaters and the parts in series with them, from the first end of its
    source on; a single heater on a winding is a string of one.
    """

    elements: tuple[HeaterElement, ...]
    ends: tuple[str, str]

    @property
    def tubes(self) -> tuple[HeaterElement, ...]:
        """The heaters of the run."""
        return tuple(element for element in self.elements if element.way)


def wired_heater(part: Part, point: Callable[[str], str]) -> WiredHeater | None:
    """Return how the heater of a tube is wired, None for an unknown type.

    ``point`` gives the point of a node. Where several printed ways are like the wiring, the one
    that names the most pins is it.
    """
    tube = tube_of(part)
    if tube is None:
        return None
    at = {pin: point(node) for pin, node in part.pins}
    loose = tuple(
        pin for pin, names in tube.elements if _HEATER_PINS & set(names) and pin not in at
    )
    for feed in sorted(tube.heater.ways, key=lambda feed: -sum(map(len, feed.between))):
        sides = [{at.get(pin) for pin in pins} for pins in feed.between]
        first, second = sides[0].pop(), sides[1].pop()
        if not sides[0] and not sides[1] and first and second and first != second:
            pins = feed.between[0] | feed.between[1]
            return WiredHeater(part.name, feed, (first, second), _taps(tube, at, pins), loose)
    return WiredHeater(part.name, None, None, _taps(tube, at, frozenset()), loose)


def _taps(
    tube: TubeType, at: dict[str, str], without: frozenset[str]
) -> tuple[tuple[str, str], ...]:
    return tuple(
        (pin, at[pin])
        for pin, names in tube.elements
        if set(HEATER_TAPS) & set(names) and pin in at and pin not in without
    )


def working_position(part: Part) -> str:
    """Return the position of a switch in a set that is on: as drawn, its last where that is OFF."""
    drawn = drawn_position(part)
    return switch_style(part).positions[-1] if drawn == "OFF" else drawn


def closed_points(wiring: Wiring, positions: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return every point with the one it becomes when fuses are whole and the switches are on, the
    coils of line filters counted as conductors.

    ``positions`` says where switches, by their names, stand otherwise.
    """
    turned = positions or {}
    merged = Merged()
    for part in wiring.circuit.parts:
        if part.traits.is_overcurrent:
            for near, far in pairwise(wiring.ends(part)):
                merged.join(near, far)
        elif part.traits.is_switch:
            for contacts in closed_contacts(part, turned.get(part.name) or working_position(part)):
                for here, there in pairwise(contacts):
                    merged.join(wiring.point(part.at(here)), wiring.point(part.at(there)))
        elif part.traits.passes is Passes.FILTER:
            for here, there in coils(part):
                merged.join(wiring.point(part.at(here)), wiring.point(part.at(there)))
    first: dict[str, str] = {}
    points = sorted(set(wiring.points_of.values()))
    for point in points:
        first.setdefault(merged.find(point), point)
    return {point: first[merged.find(point)] for point in points}


class Heaters:
    """The heaters of one circuit, between points at which fuses and closed switches count as
    conductors.

    Parameters
    ----------
    wiring
        The points of the circuit.
    positions
        Where switches, by their names, are otherwise than drawn.
    """

    def __init__(self, wiring: Wiring, positions: Mapping[str, str] | None = None) -> None:
        self.wiring = wiring
        self.circuit = wiring.circuit
        self._positions = positions

    @cached_property
    def _closed(self) -> dict[str, str]:
        return closed_points(self.wiring, self._positions)

    def point(self, node: str) -> str:
        """Return the point of a node, fuses and closed switches counted as conductors."""
        return self.closed(self.wiring.point(node))

    def closed(self, point: str) -> str:
        """Return what a point of the wiring is with fuses and closed switches as conductors."""
        return self._closed.get(point, point)

    @cached_property
    def wired(self) -> dict[str, WiredHeater]:
        """Every tube of a known type, by its name, with how its heater is wired."""
        return {
            part.name: heater
            for part in self.circuit.parts
            if part.kind == "tube" and (heater := wired_heater(part, self.point)) is not None
        }

    @cached_property
    def elements(self) -> tuple[HeaterElement, ...]:
        """The heaters that are wired, then the parts that can be in series with one."""
        heater_elements = [
            HeaterElement(self.circuit.by_name[name], heater.ends, heater.way)
            for name, heater in self.wired.items()
            if heater.ends is not None
        ]
        for part in self.circuit.parts if heater_elements else ():
            ends = tuple(map(self.point, part.ends))
            if (
                part.kind in _TAKES_VOLTS
                and len(ends) == 2
                and ends[0] != ends[1]
                and (part.value("resistance") or 0) < NO_HEATER_CURRENT
            ):
                heater_elements.append(HeaterElement(part, (ends[0], ends[1])))
        return tuple(heater_elements)

    @cached_property
    def crowded(self) -> frozenset[str]:
        """The points at which current may branch: more than two elements, or anything else that
        takes current.
        """
        count: dict[str, int] = {}
        for element in self.elements:
            for end in element.ends:
                count[end] = count.get(end, 0) + 1
        crowded = {point for point, number in count.items() if number != 2}
        for part in self.circuit.parts:
            if part.kind in _BRANCHES:
                crowded.update(self.point(node) for _, node in part.pins)
        return frozenset(crowded)

    @cached_property
    def strings(self) -> tuple[HeaterString, ...]:
        """Every unbranched run with at least one heater in it, from the first end of its source."""
        at: dict[str, list[HeaterElement]] = {}
        for element in self.elements:
            for end in element.ends:
                at.setdefault(end, []).append(element)
        seen: set[str] = set()
        heater_strings = []
        for start in self.elements:
            if start.way is None or start.part.name in seen:
                continue
            run, ends = [start], list(start.ends)
            seen.add(start.part.name)
            for side in (0, 1):
                while ends[side] not in self.crowded:
                    onward = next(
                        (
                            heater_element
                            for heater_element in at[ends[side]]
                            if heater_element.part.name not in seen
                        ),
                        None,
                    )
                    if onward is None:
                        break
                    seen.add(onward.part.name)
                    run.insert(0 if side == 0 else len(run), onward)
                    ends[side] = onward.ends[1] if onward.ends[0] == ends[side] else onward.ends[0]
            source = self.source_of((ends[0], ends[1]))
            if source is not None and source.ends[0] == ends[1]:
                run, ends = run[::-1], ends[::-1]
            heater_strings.append(HeaterString(tuple(run), (ends[0], ends[1])))
        return tuple(heater_strings)

    @cached_property
    def sources(self) -> tuple[HeaterSource, ...]:
        """The line, and every winding of a transformer that says its volts, whole and by halves
        where it has a middle tap.
        """
        plugs = (part for part in self.circuit.parts if part.kind == "plug")
        heater_sources = [source for plug in plugs if (source := self._line(plug)) is not None]
        for part in self.circuit.parts:
            if part.kind == "transformer":
                heater_sources += self._windings(part)
        return tuple(heater_sources)

    def _line(self, plug: Part) -> HeaterSource | None:
        ends = [self.point(node) for terminal, node in plug.pins if terminal != "earth"]
        if len(ends) != 2 or self.circuit.mains is None:
            return None
        return HeaterSource(None, "", "line", (ends[0], ends[1]), self.circuit.mains.volts, None)

    def _windings(self, part: Part) -> Iterator[HeaterSource]:
        values = dict(part.windings)
        for run in strands(part):
            name = run[0].split(".")[0]
            said = {v.dimension: v.amount for v in values.get(name, ()) if not v.role}
            if name.startswith("primary") or "voltage" not in said or len(run) < 2:
                continue
            points = [self.point(part.at(terminal)) for terminal in run]
            volts, amps = said["voltage"], said.get("current")
            yield HeaterSource(part, name, "whole", (points[0], points[-1]), volts, amps)
            if len(run) == 3:
                for first, second in pairwise(points):
                    yield HeaterSource(part, name, "half", (first, second), volts / 2, amps)

    def source_of(self, ends: tuple[str, str]) -> HeaterSource | None:
        """Return what feeds two points, None where nothing lies between just these."""
        return next((source for source in self.sources if set(source.ends) == set(ends)), None)

    @cached_property
    def on_taps(self) -> dict[str, tuple[str, ...]]:
        """Every tube with a tap in use, and the parts other than itself on that tap's point: lamps,
        and what takes its current from there.
        """
        at: dict[str, dict[str, None]] = {}
        for part in self.circuit.parts:
            for _, node in part.pins if not part.is_conductor else ():
                at.setdefault(self.point(node), {})[part.name] = None
        return {
            name: others
            for name, heater in self.wired.items()
            if (
                others := tuple(
                    part
                    for _, point in heater.taps
                    for part in at.get(point, {})
                    if part != name and not (heater.ends and point in heater.ends)
                )
            )
        }
