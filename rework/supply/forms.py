"""The forms a supply may take, and the parts that make one up."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.solve.devices import SILICON
from rework.supply.stock import (
    StockCapacitor,
    StockChoke,
    StockConnector,
    StockFuse,
    StockItem,
    StockPot,
    StockResistor,
    StockSilicon,
    StockSwitch,
    StockThermistor,
    StockTransformer,
    StockTube,
    StockWinding,
)

#: Rectifiers, and what is behind them. A choke comes first only behind a full-wave rectifier.
RECTIFIERS = {
    "tube": "full-wave tube on a tapped winding",
    "silicon": "full-wave silicon on a tapped winding",
    "bridge": "silicon bridge",
    "half-wave": "one silicon diode",
}
FILTERS = {
    "C": "one capacitor",
    "C-L-C": "capacitor, choke, capacitor",
    "C-R-C": "capacitor, resistor, capacitor",
    "L-C": "choke input, capacitor",
}
#: How the heaters are balanced to common against hum.
BALANCES = {
    "tap": "middle tap of the winding",
    "resistors": "two resistors",
    "pot": "a pot, set by ear",
    "elevated": "two resistors, held some 40 V above common",
}
#: Ohms of each balance resistor and of the balance pot, volts of an elevated heater (common
#: practice, no source).
BALANCE_OHMS, ELEVATED, ELEVATED_OHMS = 100.0, 40.0, 47e3


@dataclass(frozen=True, slots=True)
class Iron:
    """A transformer in its place: its name in the circuit, whether it is the wrong way round."""

    part: str
    item: StockTransformer
    reversed: bool = False

    def name_of(self, winding: StockWinding) -> str:
        """Return what a winding is called in the circuit."""
        if not self.reversed:
            return winding.name
        return "hv" if winding.name.startswith("primary") else "primary"


@dataclass(frozen=True)
class Choice:
    """One supply: which parts in which form.

    ``second`` is the reversed transformer of two back to back; ``filament`` is a transformer of its
    own for the heaters, beside an isolation transformer for B+.

    ``winding`` names the winding for B+, ``heater_winding`` that for the amplifier's heaters,
    ``rectifier_winding`` that for a rectifier tube: one of its own, tied to its cathode, or the
    heaters' own. ``series`` is the resistor of a C-R-C.
    """

    transformer: StockTransformer
    winding: str
    heater_winding: str
    rectifier: str
    valve: StockTube | StockSilicon
    filter: str
    fuse: StockFuse
    c1: StockCapacitor | None
    c2: StockCapacitor | None
    choke: StockChoke | None = None
    series: StockResistor | None = None
    second: StockTransformer | None = None
    filament: StockTransformer | None = None
    rectifier_winding: str = ""
    balance: str = "resistors"
    surge: StockResistor | None = None
    soft_start: StockThermistor | None = None
    bplus_fuse: StockFuse | None = None
    bleeder: StockResistor | None = None
    connector: StockConnector | None = None
    pot: StockPot | None = None
    switch: StockSwitch | None = None

    @property
    def form(self) -> str:
        """The form in a word or two: the rectifier, the filter, and how many transformers."""
        beside = ", back to back" if self.second else ""
        beside += ", isolation and filament transformer" if self.filament else ""
        return f"{self.rectifier} {self.filter}{beside}"

    @property
    def capacitors(self) -> tuple[StockCapacitor, ...]:
        """The filter capacitors, the first in front."""
        return tuple(item for item in (self.c1, self.c2) if item is not None)

    @property
    def path_ohms(self) -> float:
        """Ohms of choke and series resistor between the capacitors."""
        choke = self.choke.ohms if self.choke else 0.0
        return choke + (self.series.ohms if self.series else 0.0)

    @property
    def heater(self) -> StockWinding:
        """The winding that feeds the amplifier's heaters."""
        return (self.filament or self.transformer).named(self.heater_winding)

    def iron(self) -> Iterator[Iron]:
        """Yield the transformers with their names in the circuit."""
        yield Iron("T1", self.transformer)
        if self.second is not None:
            yield Iron("T2", self.second, reversed=True)
        if self.filament is not None:
            yield Iron("T2", self.filament)

    @property
    def line_va(self) -> float:
        """Rated volt-amperes of the transformers whose primaries are on the line."""
        return self.transformer.va + (self.filament.va if self.filament else 0.0)

    def items(self) -> tuple[StockItem, ...]:
        """Return every part to buy but what every bench has: plug, wire, balance resistors; a
        tapped winding's two diodes both.
        """
        diodes = 2 if self.rectifier == "silicon" else 1
        parts = [
            self.transformer,
            self.second,
            self.filament,
            *[self.valve] * diodes,
            self.c1,
            self.choke,
            self.series,
            self.c2,
            self.surge,
            self.soft_start,
            self.fuse,
            self.bplus_fuse,
            self.bleeder,
            self.connector,
            self.pot,
            self.switch,
        ]
        return tuple(item for item in parts if item is not None)

    @property
    def price(self) -> float | None:
        """The sum of the prices, None where one is not on the list."""
        prices = [item.price for item in self.items()]
        known = [price for price in prices if price is not None]
        return sum(known) if len(known) == len(prices) else None

    @property
    def to_order(self) -> int:
        """How many of the parts are not on the list."""
        return sum(not item.listed for item in self.items())

    def hv(self) -> StockWinding:
        """The winding for B+: of two back to back, the former primary of the second."""
        return self.second.primary if self.second else self.transformer.named(self.winding)


def low_winding(item: StockTransformer) -> StockWinding:
    """Return the low winding of a heater transformer."""
    return item.winding("heater") or item.named("secondary")


def silicon_volts(rectifier: str) -> float:
    """Return the volts lost in the silicon that conducts at a time: 0.65 V each (as the solver has
    it), none in a tube.
    """
    return {"tube": 0, "bridge": 2}.get(rectifier, 1) * SILICON.offset


def fed_volts(choice: Choice, line: float) -> float:
    """Return the RMS volts a rectifier is fed, each half of a tapped winding, with nothing
    connected, on a line of ``line`` volts.
    """
    volts = (
        choice.hv().volts
        * line
        / choice.transformer.primary.volts
        * (0.5 if choice.rectifier in ("tube", "silicon") else 1.0)
    )
    if choice.second is not None:
        volts *= choice.heater.volts / choice.second.secondaries[0].volts
    return volts


def source_ohms(transformer: StockTransformer, winding: StockWinding, *, halves: bool) -> float:
    """Return ohms a rectifier sees: the winding (or half of it) and the primary before it, by the
    square of the turns.

    The sum a rectifier sheet calls the limiting resistance of each plate (Mazda EZ80, 1963).
    """
    primary = transformer.primary
    share = 0.5 if halves else 1.0
    return winding.ohms * share + primary.ohms * (winding.volts * share / primary.volts) ** 2


def back_to_back_ohms(
    first: StockTransformer, low: StockWinding, second: StockTransformer
) -> float:
    """Return ohms a rectifier sees behind two transformers back to back, ``low`` of the first
    feeding the low winding of the second.
    """
    other, out = low_winding(second), second.primary
    feed = low.ohms + first.primary.ohms * (low.volts / first.primary.volts) ** 2
    return out.ohms + (feed + other.ohms) * (out.volts / other.volts) ** 2


def choice_ohms(choice: Choice) -> float:
    """Return ohms the rectifier of a choice sees, a surge resistor included."""
    surge = choice.surge.ohms if choice.surge else 0.0
    if choice.second is not None:
        return surge + back_to_back_ohms(choice.transformer, choice.heater, choice.second)
    halves = choice.rectifier in ("tube", "silicon")
    return surge + source_ohms(choice.transformer, choice.hv(), halves=halves)
