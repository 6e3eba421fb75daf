"""Where B+ may come from: every transformer of the list with every rectifier that suits it, and
what a tube's sheet prints for its feed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import sqrt

from rework.circuit.preferred import at_least
from rework.solve.cold import HIGH_LINE
from rework.solve.fit import NoData, fitted
from rework.supply.forms import (
    FILTERS,
    RECTIFIERS,
    back_to_back_ohms,
    silicon_volts,
    source_ohms,
)
from rework.supply.needs import Needs
from rework.supply.stock import (
    Shelf,
    StockBridge,
    StockDiode,
    StockResistor,
    StockSilicon,
    StockTransformer,
    StockTube,
    StockWinding,
)
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: The line may be this much off the primary's own volts, low and high: over it the core saturates
#: (common practice, no source).
LINE_LOW, LINE_HIGH = 0.90, 1.06
#: Heater volts may be this much off, unloaded winding against the heaters' own (they sag under
#: load; the exact solution decides).
HEATER_LOW, HEATER_HIGH = 0.94, 1.16
#: Largest first capacitor behind a tube that prints none (etoysbox.jp, 15_Tube, part 3).
FIRST_CAPACITOR = 50e-6
#: A winding gives B+ only where its RMS volts are at least this share of it.
LEAST_SHARE = 0.35
#: A resistor of the list serves as surge resistor up to this many times the ohms that are lacking.
SURGE_MOST = 1.5
#: Isolation transformers and heater transformers looked at for each other, the smallest first.
PAIRED = 24


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the user asked for besides the needs: rectifiers and filters allowed, balance of the
    heaters ("" any), a fuse in B+, a soft start; two transformers back to back or side by side.
    """

    rectifiers: tuple[str, ...] = tuple(RECTIFIERS)
    filters: tuple[str, ...] = tuple(FILTERS)
    balance: str = ""
    bplus_fuse: bool = False
    soft_start: bool = False
    back_to_back: bool = True


@dataclass(frozen=True)
class RectifierSource:
    """One transformer with one rectifier: RMS volts to a plate (nominal line, unloaded), ohms
    before it, the tube's perveance (0 silicon), ohms of a surge resistor that its sheet wants.
    """

    transformer: StockTransformer
    winding: str
    heater_winding: str
    rectifier: str
    valve: StockTube | StockSilicon
    rms: float
    ohms: float
    perveance: float = 0.0
    second: StockTransformer | None = None
    filament: StockTransformer | None = None
    rectifier_winding: str = ""
    added_ohms: float = 0.0
    tube: TubeType | None = field(default=None, compare=False)

    @property
    def pulses(self) -> int:
        """Charges of the first capacitor in a line period."""
        return 1 if self.rectifier == "half-wave" else 2

    @property
    def drop(self) -> float:
        """Volts lost in silicon at a time."""
        return silicon_volts(self.rectifier)

    @property
    def open_volts(self) -> float:
        """The most the first capacitor can ever see: the unloaded peak on the high line."""
        return sqrt(2) * self.rms * HIGH_LINE

    @property
    def heater(self) -> StockWinding:
        """The winding that feeds the amplifier's heaters."""
        return (self.filament or self.transformer).named(self.heater_winding)

    @property
    def price(self) -> float:
        """The sum of the prices of its transformers, 0 for one without."""
        iron = (self.transformer, self.second, self.filament)
        return sum(item.price or 0.0 for item in iron if item)


def printed_ohms(tube: TubeType, rms: float) -> float:
    """Return the least ohms of each plate's feed that a tube's sheet prints for some RMS volts,
    between its rows in a straight line, 0 where none.
    """
    rows = sorted(
        (float(name.split("_")[3]), figure.value)
        for name, figure in tube.ratings.items()
        if name.startswith("supply_ohms_at_")
    )
    if not rows:
        return tube.ratings["supply_ohms"].value if "supply_ohms" in tube.ratings else 0.0
    if rms <= rows[0][0]:
        return rows[0][1] * rms / rows[0][0]
    for (low, a), (high, b) in pairwise(rows):
        if rms <= high:
            return a + (b - a) * (rms - low) / (high - low)
    return rows[-1][1] * rms / rows[-1][0]


def sources(
    shelf: Shelf, needs: Needs, wishes: Wishes
) -> tuple[tuple[RectifierSource, ...], tuple[str, ...]]:
    """Return every transformer and rectifier of the list that could do together, and why whole
    rectifiers were left out.
    """
    finder = _Finder(shelf, needs, wishes)
    rectifier_sources: list[RectifierSource] = []
    reasons: dict[str, int] = {}
    for transformer in shelf.of(StockTransformer):
        alone = list(finder.of(transformer))
        rectifier_sources += alone
        if not alone:
            why = finder.why_not(transformer)
            reasons[why] = reasons.get(why, 0) + 1
    total = len(shelf.of(StockTransformer))
    left_out = [
        f"{count} of {total} transformers on their own: {why}"
        for why, count in sorted(reasons.items(), key=lambda pair: (-pair[1], pair[0]))
    ]
    if wishes.back_to_back:
        rectifier_sources += finder.side_by_side()
        if "bridge" in wishes.rectifiers:
            rectifier_sources += finder.back_to_back()
    return tuple(rectifier_sources), (*finder.left_out, *left_out)


@dataclass(frozen=True)
class _Valve:
    """A rectifier tube of the list with what is known of it."""

    item: StockTube
    tube: TubeType
    perveance: float


class _Finder:
    """Transformers and rectifiers of one list for one amplifier."""

    def __init__(self, shelf: Shelf, needs: Needs, wishes: Wishes) -> None:
        self.shelf, self.needs, self.wishes = shelf, needs, wishes
        self.left_out: list[str] = []
        self.tubes = list(self._tubes()) if "tube" in wishes.rectifiers else []

    def _tubes(self) -> Iterator[_Valve]:
        for item in self.shelf.of(StockTube):
            tube = library.find(item.name)
            if tube is None or not tube.is_rectifier:
                continue
            try:
                law = fitted(tube.type).law
            except NoData:
                self.left_out.append(
                    f"{tube.type} is left out: no voltage drop of it is known, so it has no numbers"
                )
                continue
            if {"plate1", "plate2"} <= set(tube.element_names()):
                yield _Valve(item, tube, law.perveance)

    def line(self, transformer: StockTransformer) -> float | None:
        """Return the line over the primary's volts, None where it is not for this line."""
        share = self.needs.mains.volts / transformer.primary.volts
        return share if LINE_LOW <= share <= LINE_HIGH else None

    def heaters(self, transformer: StockTransformer, line: float) -> list[StockWinding]:
        """Return the windings that could heat the amplifier's tubes, the least that has the amps
        first.
        """
        fits = [
            winding
            for winding in transformer.secondaries
            if winding.name.startswith(("heater", "secondary", "rectifier"))
            and HEATER_LOW <= winding.volts * line / self.needs.heater_volts <= HEATER_HIGH
            and (winding.amps or 0.0) >= self.needs.heater_amps
            and (self.wishes.balance != "tap" or winding.tapped)
        ]
        return sorted(fits, key=lambda each: (not each.name.startswith("heater"), each.amps or 0.0))

    def why_not(self, transformer: StockTransformer) -> str:
        """Return why a transformer gives no source."""
        line = self.line(transformer)
        if line is None:
            return f"the primary is not for {self.needs.mains.volts:g} V"
        if not self.heaters(transformer, line):
            volts, amps = self.needs.heater_volts, self.needs.heater_amps
            tap = " and has a middle tap" if self.wishes.balance == "tap" else ""
            return f"no winding gives {volts:g} V at {amps:.3g} A{tap}"
        return "no winding gives B+ through any rectifier that is allowed and on the list"

    def of(self, transformer: StockTransformer) -> Iterator[RectifierSource]:
        """Yield the sources that one transformer alone makes."""
        line = self.line(transformer)
        heater = next(iter(self.heaters(transformer, line)), None) if line is not None else None
        if line is None or heater is None:
            return
        for winding in transformer.secondaries:
            if (
                winding.name != heater.name
                and winding.volts * line >= LEAST_SHARE * self.needs.bplus
            ):
                yield from self._silicon_sources(transformer, winding, heater, line)
                if winding.tapped:
                    yield from self._tube_sources(transformer, winding, heater, line)

    def _silicon_sources(
        self,
        transformer: StockTransformer,
        winding: StockWinding,
        heater: StockWinding,
        line: float,
        filament: StockTransformer | None = None,
    ) -> Iterator[RectifierSource]:
        sag = 1.0 if filament else self._sag(transformer, heater)
        for rectifier in ("bridge", "half-wave", "silicon"):
            halves = rectifier == "silicon"
            if rectifier not in self.wishes.rectifiers or (halves and not winding.tapped):
                continue
            item = self.silicon(rectifier, winding.volts * line)
            if item is not None:
                yield RectifierSource(
                    transformer,
                    winding.name,
                    heater.name,
                    rectifier,
                    item,
                    winding.volts * line * sag * (0.5 if halves else 1.0),
                    source_ohms(transformer, winding, halves=halves),
                    filament=filament,
                )

    def _tube_sources(
        self,
        transformer: StockTransformer,
        winding: StockWinding,
        heater: StockWinding,
        line: float,
    ) -> Iterator[RectifierSource]:
        rms = winding.volts * line * self._sag(transformer, heater) / 2
        ohms = source_ohms(transformer, winding, halves=True)
        for valve in self.tubes:
            feed = self._rectifier_winding(transformer, valve.tube, winding.name, heater, line, rms)
            ratings = valve.tube.ratings
            most = ratings.get("plate_rms_volts_choke_input") or ratings.get("plate_rms_volts")
            if feed and not (most and rms > most.value):
                yield RectifierSource(
                    transformer,
                    winding.name,
                    heater.name,
                    "tube",
                    valve.item,
                    rms,
                    ohms,
                    valve.perveance,
                    rectifier_winding=feed,
                    added_ohms=self._surge(printed_ohms(valve.tube, rms), ohms),
                    tube=valve.tube,
                )

    def _surge(self, least: float, ohms: float) -> float:
        """Return the ohms of the surge resistor that makes up the least a sheet prints: one of the
        list where it has one, else a preferred value; 0 where none is wanted.
        """
        lacking = least - ohms
        if lacking <= 0.02 * max(least, 1.0):
            return 0.0
        stocked = [
            item.ohms
            for item in self.shelf.of(StockResistor)
            if lacking <= item.ohms <= SURGE_MOST * lacking
        ]
        return min(stocked, default=at_least(lacking))

    def _sag(self, transformer: StockTransformer, heater: StockWinding) -> float:
        """Return what the heater current leaves of the volts behind the primary's ohms."""
        primary = transformer.primary
        amps = self.needs.heater_amps * heater.volts / primary.volts
        return 1 - primary.ohms * amps / self.needs.mains.volts

    def silicon(self, rectifier: str, rms: float) -> StockSilicon | None:
        """Return the least diode or bridge that stands the inverse volts of a winding of ``rms`` on
        a high line, with half as much again, and the amps.
        """
        inverse = 2.0 if rectifier == "half-wave" else 1.0
        wanted = sqrt(2) * rms * inverse * HIGH_LINE * 1.5
        amps = 2 * max(self.needs.idle_amps, self.needs.full_amps)
        listed: tuple[StockSilicon, ...] = (
            self.shelf.of(StockBridge) if rectifier == "bridge" else self.shelf.of(StockDiode)
        )
        fits = [item for item in listed if item.volts >= wanted and item.amps >= amps]
        return min(fits, key=lambda item: (item.cost, item.volts, item.name), default=None)

    def _rectifier_winding(
        self,
        transformer: StockTransformer,
        tube: TubeType,
        used: str,
        heater: StockWinding,
        line: float,
        rms: float,
    ) -> str:
        """Return the winding for a rectifier tube's heater, "" where there is none: one of its own,
        else the amplifier's where the tube's insulation stands it.
        """
        volts, amps = tube.heater.volts.value, tube.heater.amps.value
        for winding in transformer.secondaries:
            if (
                winding.name not in (used, heater.name)
                and (winding.amps or 0.0) >= amps
                and HEATER_LOW <= winding.volts * line / volts <= HEATER_HIGH
            ):
                return winding.name
        joined = any(
            set(tube.elements_of(pin)) >= {"cathode", "heater2"} for pin in tube.socket_pins
        )
        stands = tube.ratings.get("heater_cathode_volts")
        shares = (
            not tube.heater.directly_heated
            and not joined
            and volts == self.needs.heater_volts
            and stands is not None
            and stands.value >= sqrt(2) * rms * HIGH_LINE
            and (heater.amps or 0.0) >= amps + self.needs.heater_amps
        )
        return heater.name if shares else ""

    # two transformers

    def _heater_transformers(self) -> list[tuple[StockTransformer, StockWinding, float]]:
        """Return the transformers with one low winding for the heaters, with the line over their
        primary, the smallest first.
        """
        heater_transformers = [
            (item, winding, line)
            for item in self.shelf.of(StockTransformer)
            if (line := self.line(item)) is not None and len(item.secondaries) == 1
            for winding in self.heaters(item, line)
        ]
        return sorted(heater_transformers, key=lambda row: (row[0].va, row[0].name))[:PAIRED]

    def side_by_side(self) -> Iterator[RectifierSource]:
        """Yield isolation transformers for B+, each with a transformer of its own for the heaters:
        both primaries on the line.
        """
        watts = self.needs.bplus * self.needs.idle_amps
        for transformer in self.shelf.of(StockTransformer):
            line = self.line(transformer)
            if line is None or len(transformer.secondaries) != 1 or transformer.va < watts:
                continue
            winding = transformer.secondaries[0]
            if winding.volts * line < LEAST_SHARE * self.needs.bplus:
                continue
            for filament, heater, _ in self._heater_transformers():
                yield from self._silicon_sources(transformer, winding, heater, line, filament)

    def back_to_back(self) -> Iterator[RectifierSource]:
        """Yield two transformers back to back: the first makes heater volts, the second, the wrong
        way round, makes B+ from them.
        """
        needs = self.needs
        seconds = [
            (item, winding)
            for item in self.shelf.of(StockTransformer)
            if len(item.secondaries) == 1
            for winding in item.secondaries
            if 0.8 <= winding.volts / needs.heater_volts <= 1.3
        ]
        seconds.sort(key=lambda row: (row[0].va, row[0].name))
        watts = needs.bplus * needs.idle_amps
        for first, low, line in self._heater_transformers():
            if first.va < watts + needs.heater_volts * needs.heater_amps:
                continue
            for second, other in seconds[:PAIRED]:
                rms = low.volts * line * second.primary.volts / other.volts * self._sag(first, low)
                item = self.silicon("bridge", rms)
                if item is None or rms < LEAST_SHARE * needs.bplus or second.va < watts:
                    continue
                # the heaters' own current drops volts in the winding that both are fed from
                rms *= 1 - low.ohms * needs.heater_amps / low.volts
                yield RectifierSource(
                    first,
                    low.name,
                    low.name,
                    "bridge",
                    item,
                    rms,
                    back_to_back_ohms(first, low, second),
                    second=second,
                )
