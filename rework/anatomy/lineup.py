"""The tubes of a set as its label names them, and what usually follows: which heaters are in series
on the line, in which order, and the dropper that makes up the rest.

What is usual here is common practice, no source, unless one is named. A set is traced, not guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Literal

from rework.anatomy.heaters import HEATER_LIMIT
from rework.circuit.circuit import Mains
from rework.circuit.preferred import E24, WATTS, nearest, rating
from rework.tubes.tubetype import HeaterWay, TubeType

#: Heater currents and volts agree when they are within this share of one another.
_SAME = 0.05
#: Where less than this share of the line is left, there is no dropper.
_LEAST_DROP = 0.03
#: A dropper is rated for this many times the watts in it.
_MARGIN = 1.5
#: A pentode of so many plate watts, or heater watts where none are printed, is an output tube.
_OUTPUT_PLATE_WATTS, _OUTPUT_HEATER_WATTS = 4.0, 2.3


class Duty(StrEnum):
    """What a tube, or a unit of one, usually does in a set."""

    RECTIFIER = "rectifier"
    OUTPUT = "output stage"
    PENTODE = "pentode stage"
    TRIODE = "triode stage"
    CONVERTER = "converter"
    INTERMEDIATE = "intermediate frequency"


class HeaterLayout(StrEnum):
    """How the heaters are fed."""

    SERIES = "series"
    CURRENTS = "currents"  # in several strings, for their currents differ
    VOLTS = "volts"  # in several strings, for they need more volts than the line has
    TRANSFORMER = "transformer"  # in parallel: they have one voltage and several currents


@dataclass(frozen=True, slots=True)
class PlannedSocket:
    """One tube of a line-up: its part name, the type as it was written, and its data."""

    name: str
    written: str
    tube: TubeType

    @property
    def is_output(self) -> bool:
        """Whether it, or a unit of it, drives a speaker."""
        tube = self.tube
        if tube.kind == "beam tetrode" or any("load_ohms" in row for row in tube.typical):
            return True
        if tube.kind not in ("pentode", "triode pentode"):
            return False
        # a European type number names the units behind its first letter; L is an output pentode
        if named := re.match(r"[A-Z]([A-Z]+)[0-9]", tube.type):
            return "L" in named[1]
        watts = tube.ratings.get("plate_watts")
        if watts is not None:
            return watts.value >= _OUTPUT_PLATE_WATTS
        return tube.heater.volts.value * tube.heater.amps.value >= _OUTPUT_HEATER_WATTS


@dataclass(frozen=True, slots=True)
class PlannedUnit:
    """One unit of a seat; ``name`` is that of the library, "" for a bulb with one."""

    seat: PlannedSocket
    name: str
    duty: Duty


@dataclass(frozen=True, slots=True)
class Dropper:
    """What takes the volts that heaters in series leave.

    ``exact`` are the ohms that make up the line, ``ohms`` the preferred value nearest to them, with
    the ``watts`` in that one; ``rated`` is None where no resistor of so many watts is made.
    """

    volts: float
    exact: float
    ohms: float
    watts: float
    rated: float | None


@dataclass(frozen=True, slots=True)
class Heated:
    """A seat with the way its heater is fed."""

    seat: PlannedSocket
    way: HeaterWay


@dataclass(frozen=True, slots=True)
class PlannedString:
    """Heaters in series, the line end first; in parallel on a winding where the layout says so.

    ``volts`` is their sum, that of the winding in parallel; ``amps`` the current, likewise.
    """

    heated: tuple[Heated, ...]
    volts: float
    amps: float
    dropper: Dropper | None


@dataclass(frozen=True)
class LineUp:
    """The tubes of a set, those nearest to the input first, and the line it is for."""

    mains: Mains
    seats: tuple[PlannedSocket, ...]

    @cached_property
    def is_radio(self) -> bool:
        """Whether a converter is among the tubes."""
        kinds = " ".join(seat.tube.kind for seat in self.seats)
        return "converter" in kinds or "heptode" in kinds

    @cached_property
    def from_the_line(self) -> tuple[PlannedSocket, ...]:
        """The seats in the usual order of their heaters: rectifier at the line, output stage, the
        others; next to common, where hum counts most, the detector of a radio or the first stage.
        """

        def place(numbered: tuple[int, PlannedSocket]) -> tuple[int, int]:
            number, seat = numbered
            detects = self.is_radio and "diode triode" in seat.tube.kind
            rank = (
                0 if seat.tube.has_rectifier_unit else 1 if seat.is_output else 3 if detects else 2
            )
            return rank, -number

        return tuple(seat for _, seat in sorted(enumerate(self.seats), key=place))

    @property
    def layout(self) -> HeaterLayout:
        """How the heaters are fed, as far as their figures tell."""
        if self._in_parallel:
            return HeaterLayout.TRANSFORMER
        if self._currents_differ:
            return HeaterLayout.CURRENTS
        return HeaterLayout.SERIES if len(self.strings) == 1 else HeaterLayout.VOLTS

    @cached_property
    def strings(self) -> tuple[PlannedString, ...]:
        """The heater strings, those with more tubes first; the windings where the layout is that of
        a transformer.
        """
        groups: list[list[Heated]] = []
        parallel = self._in_parallel
        most = self.mains.volts * (1 + HEATER_LIMIT)
        for heated in self._heated:
            feed = heated.way
            for group in groups:
                first = group[0].way
                if parallel:
                    fits = _agree(feed.volts.value, first.volts.value)
                else:
                    volts = sum(heated.way.volts.value for heated in group) + feed.volts.value
                    fits = _agree(feed.amps.value, first.amps.value) and volts <= most
                if fits:
                    group.append(heated)
                    break
            else:
                groups.append([heated])
        groups.sort(key=len, reverse=True)
        return tuple(self._string(tuple(group)) for group in groups)

    @property
    def over_the_line(self) -> tuple[PlannedSocket, ...]:
        """The seats whose heater alone needs more volts than the line has."""
        most = self.mains.volts * (1 + HEATER_LIMIT)
        return tuple(heated.seat for heated in self._heated if heated.way.volts.value > most)

    @cached_property
    def units(self) -> tuple[PlannedUnit, ...]:
        """Every unit of every seat: those nearest to the input first, then output stages, then
        rectifiers.
        """
        order = {Duty.OUTPUT: 1, Duty.RECTIFIER: 2}
        units = [unit for seat in self.seats for unit in self._units(seat)]
        return tuple(sorted(units, key=lambda unit: order.get(unit.duty, 0)))

    @cached_property
    def _heated(self) -> tuple[Heated, ...]:
        """Every seat with the way its heater is fed, the line end first."""
        return self._fed("volts" if self._in_parallel else "amps")

    @cached_property
    def _currents_differ(self) -> bool:
        amps = [heated.way.amps.value for heated in self._fed("amps")]
        return any(not _agree(current, amps[0]) for current in amps)

    @cached_property
    def _in_parallel(self) -> bool:
        """Whether the heaters are those of a set with a power transformer: a full-wave rectifier is
        among them, or they have one voltage and several currents.
        """
        volts = [heated.way.volts.value for heated in self._fed("volts")]
        one_voltage = all(_agree(voltage, volts[0]) for voltage in volts)
        return (self._currents_differ and one_voltage) or any(
            seat.tube.kind == "full-wave rectifier" for seat in self.seats
        )

    def _fed(self, same: Literal["volts", "amps"]) -> tuple[Heated, ...]:
        """Return every seat with the way whose volts or amps most of the tubes have."""
        seats = self.from_the_line

        def shared(feed: HeaterWay) -> int:
            return sum(
                any(_agree(_of(feed, same), _of(other, same)) for other in seat.tube.heater.ways)
                for seat in seats
            )

        return tuple(Heated(seat, max(seat.tube.heater.ways, key=shared)) for seat in seats)

    def _string(self, heated: tuple[Heated, ...]) -> PlannedString:
        volts = [heater.way.volts.value for heater in heated]
        amps = [heater.way.amps.value for heater in heated]
        if self._in_parallel:
            return PlannedString(heated, volts[0], sum(amps), None)
        return PlannedString(heated, sum(volts), amps[0], dropper(self.mains, sum(volts), amps[0]))

    def _units(self, seat: PlannedSocket) -> Iterable[PlannedUnit]:
        tube = seat.tube
        if tube.is_rectifier:
            return [PlannedUnit(seat, name, Duty.RECTIFIER) for name in tube.units or ("",)]
        amplifying = [name for name in tube.units if not name.startswith("diode")]
        if "triode" in amplifying and "heptode" in amplifying:
            amplifying = ["heptode"]  # the triode is its oscillator
        return [PlannedUnit(seat, name, self._duty(seat, name)) for name in amplifying or ("",)]

    def _duty(self, seat: PlannedSocket, name: str) -> Duty:
        kind = seat.tube.kind
        if name == "rectifier":
            return Duty.RECTIFIER
        if "converter" in kind or name == "heptode":
            return Duty.CONVERTER
        if name.startswith("triode") or kind.endswith("triode"):
            return Duty.TRIODE
        if seat.is_output:
            return Duty.OUTPUT
        if self.is_radio and (kind.startswith("remote") or "diode" in kind):
            return Duty.INTERMEDIATE
        return Duty.PENTODE


def line_up(tubes: Iterable[tuple[str, TubeType]], mains: Mains) -> LineUp:
    """Return a line-up of pairs of the type as written and its data, input first."""
    seats = (PlannedSocket(f"V{number}", *pair) for number, pair in enumerate(tubes, 1))
    return LineUp(mains, tuple(seats))


def dropper(mains: Mains, volts: float, amps: float) -> Dropper | None:
    """Return the resistor in series with heaters of so many volts and amps; None where they take
    the line as it is.
    """
    left = mains.volts - volts
    if left < _LEAST_DROP * mains.volts:
        return None
    ohms = nearest(left / amps, E24)
    current = mains.volts / (ohms + volts / amps)
    watts = current**2 * ohms
    return Dropper(left, left / amps, ohms, watts, rating(_MARGIN * watts, WATTS))


def _of(feed: HeaterWay, what: Literal["volts", "amps"]) -> float:
    return (feed.volts if what == "volts" else feed.amps).value


def _agree(first: float, second: float) -> bool:
    return abs(first - second) <= _SAME * second
