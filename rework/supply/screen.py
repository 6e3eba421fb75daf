"""The coarse sieve: every transformer with every rectifier and filter on the list, at once, by
ideal rectifiers; the best of each form go on.

What it keeps is solved exactly afterwards, so here a rating counts as met within a tenth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from rework.circuit.preferred import E12
from rework.supply.filters import Behind, bleeder_ohms, filter_capacitors, filters
from rework.supply.ideal import (
    after_filter,
    capacitor_input,
    choke_input,
    choke_ripple,
    critical_henries,
)
from rework.supply.needs import Needs
from rework.supply.sources import FIRST_CAPACITOR, RectifierSource, Wishes, sources
from rework.supply.stock import Shelf, StockResistor

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: A rating counts as met within this share here.
SLACK = 0.10
#: So many of each form are kept, and so many in all.
EACH, ALL = 2, 8
#: So many pairs of source and filter are worked out at a time.
CHUNK = 40_000
#: A series resistor of a C-R-C under or over this many ohms is no filter, or heats the cabinet.
SERIES = (47.0, 10e3)
#: The score of a pair that cannot be built.
NEVER = 1e9


@dataclass(frozen=True)
class Rough:
    """A pair that went through the sieve: what it comes to by ideal rectifiers, and by how much it
    misses, 0 nothing.
    """

    source: RectifierSource
    behind: Behind
    bplus: float
    hum: float
    c2: float
    series: float
    winding_amps: float
    volt_amps: float
    miss: float
    score: float

    @property
    def form(self) -> tuple[str, str, bool, bool]:
        """What makes two pairs of one form: rectifier, filter, and how many transformers."""
        source = self.source
        two = source.second is not None, source.filament is not None
        return (source.rectifier, self.behind.filter, *two)


def sieve(
    shelf: Shelf, needs: Needs, wishes: Wishes, step: Callable[[int], None] | None = None
) -> tuple[tuple[Rough, ...], int, tuple[str, ...]]:
    """Return the best pairs of each form, the best first, how many pairs there were, and what was
    left out. ``step`` gets pairs done.
    """
    rectifier_sources, left_out = sources(shelf, needs, wishes)
    behind = filters(shelf, wishes)
    if not rectifier_sources or not behind:
        return (), 0, left_out
    kept: list[Rough] = []
    size = max(CHUNK // len(behind), 1)
    for start in range(0, len(rectifier_sources), size):
        pairs = _Pairs(rectifier_sources[start : start + size], behind, shelf, needs)
        kept += pairs.best()
        if step:
            step(pairs.count)
    return _first_of_each(kept), len(rectifier_sources) * len(behind), left_out


def _first_of_each(kept: list[Rough]) -> tuple[Rough, ...]:
    """Return the best of every form, then others, as many as are solved, by score."""
    groups: dict[tuple[str, str, bool, bool], list[Rough]] = {}
    for rough in sorted(kept, key=lambda rough: rough.score):
        groups.setdefault(rough.form, []).append(rough)
    first = sorted((group[0] for group in groups.values()), key=lambda rough: rough.score)
    others = [rough for group in groups.values() for rough in group[1:EACH]]
    rest = sorted(others, key=lambda rough: rough.score)
    return tuple(sorted([*first, *rest][:ALL], key=lambda rough: rough.score))


class _Pairs:
    """Every pair of some sources and all filters, as arrays over the pairs: sources vary slowly,
    filters fast.
    """

    def __init__(
        self, part: Sequence[RectifierSource], behind: Sequence[Behind], shelf: Shelf, needs: Needs
    ) -> None:
        self.part, self.behind, self.needs = part, behind, needs
        self.count = len(part) * len(behind)
        self.hertz = needs.mains.hertz
        self.seconds = filter_capacitors(shelf)
        amps = max(needs.idle_amps, needs.full_amps)
        self.stocked: Floats = np.array(
            sorted(
                {
                    item.ohms
                    for item in shelf.of(StockResistor)
                    if SERIES[0] <= item.ohms <= SERIES[1] and item.watts >= 2 * item.ohms * amps**2
                }
            )
        )

    # what is given

    def across(self, values: Sequence[float]) -> Floats:
        """Return a figure of each source over the pairs."""
        return np.repeat(np.array(values, float), len(self.behind))

    def along(self, values: Sequence[float]) -> Floats:
        """Return a figure of each filter over the pairs."""
        return np.tile(np.array(values, float), len(self.part))

    @cached_property
    def rms(self) -> Floats:
        return self.across([source.rms for source in self.part])

    @cached_property
    def opened(self) -> Floats:
        return self.across([source.open_volts for source in self.part])

    @cached_property
    def drop(self) -> Floats:
        return self.across([source.drop for source in self.part])

    @cached_property
    def perveance(self) -> Floats:
        return self.across([source.perveance for source in self.part])

    @cached_property
    def ohms(self) -> Floats:
        return self.across([source.ohms for source in self.part])

    @cached_property
    def single(self) -> Flags:
        """Where one half-cycle alone charges the capacitor."""
        return np.asarray(self.across([source.pulses for source in self.part]) == 1)

    @cached_property
    def farads(self) -> Floats:
        return self.along([each.farads or 1e-6 for each in self.behind])

    @cached_property
    def henries(self) -> Floats:
        return self.along([each.choke.henries if each.choke else 0.0 for each in self.behind])

    @cached_property
    def copper(self) -> Floats:
        """Ohms of the chokes."""
        return self.along([each.choke.ohms if each.choke else 0.0 for each in self.behind])

    @cached_property
    def choke_first(self) -> Flags:
        return self._is("L-C")

    @cached_property
    def resistive(self) -> Flags:
        return self._is("C-R-C")

    @cached_property
    def two(self) -> Flags:
        """Where something is between two capacitors, or before one."""
        return np.asarray(~self._is("C"))

    def _is(self, form: str) -> Flags:
        return np.asarray(self.along([each.filter == form for each in self.behind]) > 0)

    @cached_property
    def bleed(self) -> Floats:
        return bleeder_ohms(self.farads * (1 - self.choke_first) + self.two * 47e-6, self.opened)

    def load(self, volts: Floats) -> Floats:
        """Return amps of the amplifier and the bleeder at some B+."""
        return np.asarray(self.needs.amps_at(volts) + volts / self.bleed)

    # what it comes to

    @cached_property
    def wanted_amps(self) -> Floats:
        return float(self.needs.amps_at(self.needs.bplus)) + self.needs.bplus / self.bleed

    def _fed(self, pulses: int) -> tuple[Floats, ...]:
        """Return volts, amps, ripple, RMS and peak of a diode of capacitor inputs."""
        wanted = self.wanted_amps

        def amps_at(volts: Floats) -> Floats:
            behind = self.load(np.maximum(volts - wanted * self.copper, 1.0))
            return np.where(self.resistive, wanted, behind)

        added = self.across([source.added_ohms for source in self.part])
        fed = capacitor_input(
            sqrt(2) * self.rms - self.drop,
            self.ohms + added,
            self.perveance,
            self.farads,
            np.zeros(self.count),
            self.hertz,
            amps_at,
            pulses,
        )
        return fed.volts, fed.amps, fed.ripple, fed.rms, fed.peak

    @cached_property
    def fed(self) -> tuple[Floats, ...]:
        twice = self._fed(2)
        if not self.single.any():
            return twice
        once = self._fed(1)
        return tuple(np.where(self.single, a, b) for a, b in zip(once, twice, strict=True))

    @cached_property
    def series_wanted(self) -> Floats:
        """Ohms that a series resistor would have to have."""
        excess = np.maximum(self.fed[0] - self.needs.bplus, 0.0) / self.wanted_amps
        return np.where(self.resistive, excess, 0.0)

    @cached_property
    def series(self) -> Floats:
        """The series resistor: of the list where that keeps B+ within its band, else preferred."""
        preferred = _preferred(self.series_wanted)
        if not len(self.stocked):
            return np.where(self.resistive, preferred, 0.0)
        borders = np.sqrt(self.stocked[:-1] * self.stocked[1:])
        have = self.stocked[np.searchsorted(borders, self.series_wanted)]
        volts = self.fed[0] - self.wanted_amps * have
        serves = (volts >= self.needs.low) & (volts <= self.needs.high)
        return np.where(self.resistive, np.where(serves, have, preferred), 0.0)

    @cached_property
    def bplus(self) -> Floats:
        volts, amps = self.fed[0], self.fed[1]
        choked = choke_input(
            self.rms, self.drop, self.ohms + self.copper, self.perveance, self.load
        )
        return np.where(self.choke_first, choked, volts - amps * (self.series + self.copper))

    @cached_property
    def amps(self) -> Floats:
        return np.where(self.choke_first, self.load(self.bplus), self.fed[1])

    @cached_property
    def hum_and_c2(self) -> tuple[Floats, Floats]:
        """The hum at the speaker, and the least second capacitor that gets it under the need."""
        ripple = np.where(self.choke_first, choke_ripple(self.rms), self.fed[2])
        tone = np.where(self.single, 1.0, 2.0) * self.hertz
        once, twice = self.needs.hum_of_ripple
        path = np.where(self.single, once, twice)
        hum, c2, good = ripple * path, np.zeros(self.count), np.asarray(~self.two)
        for farads, stands in self.seconds.items():
            rest = after_filter(ripple, tone, self.henries, self.series + self.copper, farads)
            take = self.two & ~good & (stands >= self.opened)
            hum, c2 = np.where(take, rest * path, hum), np.where(take, farads, c2)
            good = good | (take & (rest * path <= 0.8 * self.needs.hum))
        return hum, c2

    @cached_property
    def centre(self) -> Flags:
        """Where the winding is used half by half."""
        halves = [source.rectifier in ("tube", "silicon") for source in self.part]
        return np.asarray(self.across(halves) > 0)

    @cached_property
    def winding_amps(self) -> Floats:
        choked = self.amps * np.where(self.centre, sqrt(0.5), 1.0)
        charged = self.fed[3] * np.where(self.centre | self.single, 1.0, sqrt(2))
        return np.where(self.choke_first, choked, charged)

    @cached_property
    def volt_amps(self) -> Floats:
        heaters = self.across([_heater_watts(source, self.needs) for source in self.part])
        return self.rms * self.winding_amps * np.where(self.centre, 2.0, 1.0) + heaters

    @cached_property
    def miss(self) -> Floats:
        """By how much a pair misses needs and ratings, in all."""
        needs = self.needs
        hum, _ = self.hum_and_c2
        behind = self.behind
        most_amps = self.along([each.choke.amps if each.choke else 1.0 for each in behind])
        choke_amps = np.where(self.two & (self.henries > 0), self.amps, 0.0)
        least_henries = critical_henries(self.bplus / self.amps, self.hertz)
        peak = np.where(self.choke_first, self.amps, self.fed[4])
        misses = (
            np.maximum(needs.low - self.bplus, 0) / needs.bplus,
            np.maximum(self.bplus - needs.high, 0) / needs.bplus,
            np.maximum(np.log(np.maximum(hum, 1e-12) / needs.hum), 0) / 3,
            _over(self.winding_amps, self.across([_rated(source) for source in self.part])),
            np.maximum(0.99 * self.opened / needs.open_limit - 1, 0.0),
            _over(self.volt_amps, self.across([source.transformer.va for source in self.part])),
            _over(choke_amps, most_amps),
            _over(np.where(self.choke_first, least_henries, 0.0), np.maximum(self.henries, 1e-9)),
            _over(peak, self._tube_rating("peak_amps")),
            _over(self.amps, self._tube_rating("dc_amps")),
        )
        return np.asarray(sum(misses))

    def _tube_rating(self, name: str) -> Floats:
        return self.across([_tube_rated(source, name) for source in self.part])

    @cached_property
    def impossible(self) -> Flags:
        """Pairs that cannot be built at all."""
        _, c2 = self.hum_and_c2
        stands = self.along([self.seconds.get(each.farads, 0.0) for each in self.behind])
        largest = self.across([_first_capacitor(source) for source in self.part])
        wanted = self.series_wanted
        no_way = (
            (self.choke_first & self.single)
            | (~self.choke_first & (stands < self.opened))
            | (self.two & (c2 == 0))
            | (self.resistive & ((wanted < SERIES[0]) | (wanted > SERIES[1])))
            | (~self.choke_first & (self.farads > largest * 1.001))
            | (~self.choke_first & (self.rms > self._tube_rating("plate_rms_volts")))
        )
        return np.asarray(no_way)

    @cached_property
    def score(self) -> Floats:
        price = self.across([source.price for source in self.part]) + self.along(
            [each.choke.price or 0.0 if each.choke else 0.0 for each in self.behind]
        )
        score = (
            10 * self.miss
            + np.abs(np.log(np.maximum(self.bplus, 1.0) / self.needs.bplus))
            + 0.05 * price / max(float(price.max()), 1.0)
            + 0.05 * self.single
        )
        return np.where(self.impossible, NEVER, score)

    def best(self) -> list[Rough]:
        """Return the best pairs of each form, from different sources."""
        groups: dict[tuple[str, str, bool, bool], list[Rough]] = {}
        for at in np.argsort(self.score, kind="stable"):
            if self.score[at] >= NEVER:
                break
            rough = self._rough(int(at))
            group = groups.setdefault(rough.form, [])
            if len(group) < EACH and all(other.source is not rough.source for other in group):
                group.append(rough)
        return [rough for group in groups.values() for rough in group]

    def _rough(self, at: int) -> Rough:
        hum, c2 = self.hum_and_c2
        return Rough(
            self.part[at // len(self.behind)],
            self.behind[at % len(self.behind)],
            float(self.bplus[at]),
            float(hum[at]),
            float(c2[at]),
            float(self.series[at]),
            float(self.winding_amps[at]),
            float(self.volt_amps[at]),
            float(self.miss[at]),
            float(self.score[at]),
        )


def _over(value: Floats, most: Floats) -> Floats:
    return np.maximum(value / most - 1 - SLACK, 0.0)


def _preferred(ohms: Floats) -> Floats:
    """Return for many ohms the nearest of E12, 0 for less than one ohm."""
    steps = np.array([*E12, 100.0])
    power = np.floor(np.log10(np.maximum(ohms, 1.0)))
    digits = np.maximum(ohms, 1.0) / 10 ** (power - 1)
    place = np.searchsorted(np.sqrt(steps[:-1] * steps[1:]), digits)
    return np.where(ohms < 1, 0.0, steps[place] * 10 ** (power - 1))


def _rated(source: RectifierSource) -> float:
    """Return the amps that the winding for B+ is made for."""
    item = source.second or source.transformer
    winding = item.primary if source.second else item.named(source.winding)
    return winding.amps or item.va / winding.volts


def _heater_watts(source: RectifierSource, needs: Needs) -> float:
    """Return the watts of heaters that the transformer for B+ gives too."""
    tube = source.tube.heater.volts.value * source.tube.heater.amps.value if source.tube else 0.0
    return tube + (0.0 if source.filament else needs.heater_volts * needs.heater_amps)


def _tube_rated(source: RectifierSource, name: str) -> float:
    figure = source.tube.ratings.get(name) if source.tube else None
    return figure.value if figure else 1e9


def _first_capacitor(source: RectifierSource) -> float:
    if source.tube is None:
        return 1.0
    figure = source.tube.ratings.get("first_capacitor_farads")
    return figure.value if figure else FIRST_CAPACITOR
