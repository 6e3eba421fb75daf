"""The person: measuring networks, body impedance, limits, and what the netlist does not say.

Figures are in TOML.
"""

from __future__ import annotations

import math
import tomllib
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Limit:
    """A published limit: amperes or volts, of which kind, in which case, from which standard, seen
    or from memory.
    """

    name: str
    kind: str
    case: str
    standard: str
    mark: str
    source: str
    amps: float = 0.0
    volts: float = 0.0

    @property
    def rms_amps(self) -> float:
        """The amperes as a root mean square, of a sine where the limit is a peak."""
        return self.amps / math.sqrt(2) if self.kind == "AC peak" else self.amps


@dataclass(frozen=True, slots=True)
class MeasuringNetwork:
    """A measuring network: (series ohm parallel farad), then the body ohm with the filter across
    it, of one step or two in a row.

    With no body resistance it is the service network, read as volts across it. ``caution`` says
    what its reading is no measure of.
    """

    name: str
    words: str
    mark: str
    source: str
    series_ohm: float
    series_farad: float
    body_ohm: float
    filter_ohm: float = 0.0
    filter_farad: float = 0.0
    second_ohm: float = 0.0
    second_farad: float = 0.0
    caution: str = ""

    def impedance(self, hertz: float) -> complex:
        """Return the impedance between the two probes, in ohm."""
        w = 2 * math.pi * hertz
        return 1 / (1 / self.series_ohm + 1j * w * self.series_farad) + self._body(w)

    def _body(self, w: float) -> complex:
        if not self.body_ohm or not self.filter_ohm or w == 0:
            return complex(self.body_ohm)
        return 1 / (1 / self.body_ohm + 1 / (self.filter_ohm + self._shunt(w)))

    def _shunt(self, w: float) -> complex:
        """Return the impedance behind the first resistor of the filter."""
        shunt = 1j * w * self.filter_farad
        if self.second_ohm:
            shunt += 1 / (self.second_ohm + 1 / (1j * w * self.second_farad))
        return 1 / shunt

    def _passed(self, w: float) -> float:
        """Return the volts behind the filter over those across the body."""
        if not self.filter_ohm or w == 0:
            return 1.0
        second = 1 / abs(1 + 1j * w * self.second_ohm * self.second_farad)
        return abs(self._shunt(w) / (self.filter_ohm + self._shunt(w))) * second

    def reading(self, amps: complex, hertz: float) -> float:
        """Return what the instrument says, in amperes rms, when ``amps`` flow through the network.

        The volts behind the filter over 500 ohm for the weighted networks, U1/500 ohm for the
        unweighted one (IEC 60990, rule as printed in IEC 60065 Annex D); for the service network
        the volts over 1500 ohm, so that 0.75 V is 0.5 mA.
        """
        return abs(amps) * self.per_ampere(hertz)

    def per_ampere(self, hertz: float) -> float:
        """Return the reading in amperes for one ampere through the network."""
        w = 2 * math.pi * hertz
        if not self.body_ohm:
            return abs(self.impedance(hertz)) / self.series_ohm
        return abs(self._body(w)) * self._passed(w) / self.body_ohm


@cache
def _figures() -> Mapping[str, Any]:
    return tomllib.loads((HERE / "limits.toml").read_text(encoding="utf-8"))


@cache
def limits() -> tuple[Limit, ...]:
    """Return every limit in the table."""
    return tuple(Limit(**row) for row in _figures()["limit"])


@cache
def limit(name: str) -> Limit:
    """Return one limit by its name. Raises KeyError where there is none."""
    return {row.name: row for row in limits()}[name]


@cache
def networks() -> Mapping[str, MeasuringNetwork]:
    """Return the measuring networks by name."""
    return {row["name"]: MeasuringNetwork(**row) for row in _figures()["network"]}


@cache
def _feelings() -> tuple[tuple[float, str], ...]:
    return tuple((row["from_amps"], row["words"]) for row in _figures()["feeling"])


def feels(amps: float) -> str:
    """Return what an alternating current through the body from hand to hand may feel like, in a few
    words.

    The borders are those of limits.toml, each with its source; what one person does not notice
    throws another off a ladder.
    """
    return next(words for border, words in reversed(_feelings()) if amps >= border)


def body_ohm(volts: float, *, percent: int = 5, wet: bool = False) -> float:
    """Return the impedance of a body hand to hand at a touch voltage, not exceeded by so many
    percent of people, in ohm.

    IEC 60479-1 (the table as seen, 1984 and 1994 editions), between its points straight on a
    logarithmic volt axis; below 25 V the value of 25 V, which is less than the true one. Raises
    KeyError for another percentage than 5, 50, 95.
    """
    table = _figures()["body"]
    at, ohms = table["volts"], table[f"percent{percent}"]
    spot = min(max(volts, at[0]), at[-1])
    upper = bisect_left(at, spot)
    if upper == 0:
        dry = float(ohms[0])
    else:
        share = math.log(spot / at[upper - 1]) / math.log(at[upper] / at[upper - 1])
        dry = ohms[upper - 1] + share * (ohms[upper] - ohms[upper - 1])
    return dry * table["wet"] if wet else dry


def body_amps(
    volts: float, ohms: complex, *, percent: int = 5, wet: bool = False
) -> tuple[float, float]:
    """Return (amperes, touch volts) of a body on a source of so many volts open circuit and ohms
    inside.

    The impedance falls with the touch voltage, so the two are found together, by halving: touch
    volts over their body impedance rise with the voltage, what the source has left falls.
    """
    low, high = 0.0, abs(volts)
    for _ in range(50):
        middle = (low + high) / 2
        body = body_ohm(middle, percent=percent, wet=wet)
        if abs(volts) * body / abs(ohms + body) > middle:
            low = middle
        else:
            high = middle
    return high / body_ohm(high, percent=percent, wet=wet), high


@cache
def _assumed_rows() -> Mapping[str, Mapping[str, Any]]:
    return tomllib.loads((HERE / "assumed.toml").read_text(encoding="utf-8"))


def assumed(changes: tuple[tuple[str, float], ...] = ()) -> dict[str, float]:
    """Return what the netlist does not say, by name, with changes of one's own.

    Raises KeyError for an unknown name.
    """
    values = {name: float(row["value"]) for name, row in _assumed_rows().items()}
    for name, value in changes:
        if name not in values:
            raise KeyError(name)
        values[name] = value
    return values


def why_assumed(name: str) -> str:
    """Return why a figure was assumed, with its mark."""
    row = _assumed_rows()[name]
    return f"{row['why']} ({row['mark']})"
