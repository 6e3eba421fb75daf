"""The coarse sieve: every transformer with every rectifier and filter on the list, at once, by ideal rectifiers; the best of each form go on.

What it keeps is solved exactly afterwards, so here a rating counts as met within a tenth.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import log, sqrt

from rework.solve.devices import SILICON
from rework.solve.fit import NoData, fitted
from rework.supply.forms import FILTERS, RECTIFIERS, Choice, source_ohms
from rework.supply.ideal import after_filter, capacitor_input, choke_input, choke_ripple, critical_henries
from rework.supply.needs import Needs
from rework.supply.preferred import E12, WATTS, at_least, at_most, rating
from rework.supply.shelf import Item, Shelf
from rework.tubes import library
from rework.tubes.library import TubeType

#: The line may be this much off the primary's own volts, low and high: over it the core saturates (common practice, no source).
LINE_LOW, LINE_HIGH = 0.90, 1.06
#: Heater volts may be this much off, unloaded winding against the heaters' own (they sag under load; the exact solution decides).
HEATER_LOW, HEATER_HIGH = 0.94, 1.16
#: The line in the worst case against nominal.
HIGH_LINE = 1.1
#: Seconds to 60 V that the bleeder is chosen for, and the volts: the tool's own choice; no standard names a time for what is inside a closed chassis.
BLEED_SECONDS, BLEED_VOLTS = 60.0, 60.0
#: Largest first capacitor behind a tube that prints none (etoysbox.jp, 15_Tube, part 3).
FIRST_CAPACITOR = 50e-6
#: A rating counts as met within this share here.
SLACK = 0.10
#: So many of each form are kept, and so many in all.
EACH, ALL = 2, 8
#: So many pairs of source and filter are worked out at a time.
CHUNK = 40_000
#: A series resistor of a C-R-C under or over this many ohms is no filter, or heats the cabinet.
SERIES = (47.0, 10e3)


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the user asked for besides the needs: rectifiers and filters allowed, balance of the heaters ("" any), and two fuses' worth of options."""

    rectifiers: tuple[str, ...] = tuple(RECTIFIERS)
    filters: tuple[str, ...] = tuple(FILTERS)
    balance: str = ""
    bplus_fuse: bool = False
    soft_start: bool = False
    back_to_back: bool = True


@dataclass(frozen=True)
class Source:
    """One transformer with one rectifier: RMS volts to a plate (nominal line, unloaded), ohms before it, the tube's perveance (0 silicon)."""

    transformer: Item
    winding: str
    heater_winding: str
    rectifier: str
    valve: Item
    rms: float
    ohms: float
    perveance: float
    second: Item | None = None
    rectifier_winding: str = ""
    tube: TubeType | None = field(default=None, compare=False)

    @property
    def pulses(self) -> int:
        """Charges of the first capacitor in a line period."""
        return 1 if self.rectifier == "half-wave" else 2

    @property
    def drop(self) -> float:
        """Volts lost in silicon at a time."""
        return SILICON.offset * {"tube": 0, "bridge": 2}.get(self.rectifier, 1)

    @property
    def open_volts(self) -> float:
        """The most the first capacitor can ever see: the unloaded peak on the high line."""
        return sqrt(2) * self.rms * HIGH_LINE

    @property
    def least_ohms(self) -> float:
        """The least limiting resistance of each plate that the tube's sheet prints for these volts, 0 where none is printed."""
        return printed_ohms(self.tube, self.rms) if self.tube else 0.0

    @property
    def added_ohms(self) -> float:
        """The surge resistor that makes it up, a preferred value, 0 where none is wanted."""
        lacking = self.least_ohms - self.ohms
        return at_least(lacking) if lacking > 0.02 * max(self.least_ohms, 1.0) else 0.0


@dataclass(frozen=True)
class Behind:
    """One filter: which capacitors by farads, and which choke. The second capacitor and a series resistor are found for each source."""

    filter: str
    farads: float
    choke: Item | None = None


@dataclass(frozen=True)
class Rough:
    """A pair that went through the sieve: what it comes to by ideal rectifiers, and by how much it misses, 0 nothing."""

    source: Source
    behind: Behind
    bplus: float
    hum: float
    c2: float
    series: float
    winding_amps: float
    volt_amps: float
    miss: float
    score: float


def printed_ohms(tube: TubeType, rms: float) -> float:
    """Return the least ohms of each plate's feed that a tube's sheet prints for some RMS volts, between its rows in a straight line, 0 where none."""
    rows = sorted((float(name.split("_")[3]), figure.value) for name, figure in tube.ratings.items() if name.startswith("supply_ohms_at_"))
    if not rows:
        return tube.ratings["supply_ohms"].value if "supply_ohms" in tube.ratings else 0.0
    if rms <= rows[0][0]:
        return rows[0][1] * rms / rows[0][0]
    for (low, a), (high, b) in pairwise(rows):
        if rms <= high:
            return a + (b - a) * (rms - low) / (high - low)
    return rows[-1][1] * rms / rows[-1][0]


def sources(shelf: Shelf, needs: Needs, wishes: Wishes) -> tuple[tuple[Source, ...], tuple[str, ...]]:
    """Return every transformer and rectifier of the list that could do together, and why whole rectifiers were left out."""
    told: list[str] = []
    tubes = []
    for item in shelf.of("tube") if "tube" in wishes.rectifiers else ():
        tube = library.find(item.name)
        try:
            law = fitted(tube.type).law
        except NoData:
            told.append(f"{tube.type} is left out: no voltage drop of it is known, so it has no numbers")
            continue
        if {"plate1", "plate2"} <= set(tube.element_names()):
            tubes.append((item, tube, law.perveance))
    found = [source for transformer in shelf.of("transformer") for source in _of_one(transformer, tubes, shelf, needs, wishes)]
    if wishes.back_to_back and "bridge" in wishes.rectifiers:
        found += _pairs(shelf, needs)
    return tuple(found), tuple(told)


def _line(transformer: Item, needs: Needs) -> float | None:
    """Return the line over the primary's volts, None where the transformer is not for this line."""
    share = needs.mains.volts / transformer.winding("primary").volts
    return share if LINE_LOW <= share <= LINE_HIGH else None


def _of_one(transformer: Item, tubes, shelf: Shelf, needs: Needs, wishes: Wishes) -> Iterator[Source]:
    line = _line(transformer, needs)
    if line is None:
        return
    heaters = [w for w in transformer.windings if w.name.startswith(("heater", "secondary", "rectifier"))
               and HEATER_LOW <= w.volts * line / needs.heater_volts <= HEATER_HIGH and (wishes.balance != "tap" or w.tapped)]
    heater = next((w for w in sorted(heaters, key=lambda w: (not w.name.startswith("heater"), w.amps or 0.0)) if (w.amps or 0.0) >= needs.heater_amps), None)
    if heater is None:
        return
    for winding in transformer.windings:
        if winding.name.startswith("primary") or winding.name == heater.name or winding.volts * line < 0.35 * needs.bplus:
            continue
        sag = _sag(transformer, heater, needs)
        for rectifier, item in (*(("bridge", _silicon(shelf, "bridge", winding.volts * line, needs)),) * ("bridge" in wishes.rectifiers),
                                *(("half-wave", _silicon(shelf, "diode", winding.volts * line * 2, needs)),) * ("half-wave" in wishes.rectifiers),
                                *(("silicon", _silicon(shelf, "diode", winding.volts * line, needs)),) * ("silicon" in wishes.rectifiers and winding.tapped)):
            if item is not None:
                half = rectifier == "silicon"
                yield Source(transformer, winding.name, heater.name, rectifier, item, winding.volts * line * sag * (0.5 if half else 1.0),
                             source_ohms(transformer, winding, halves=half), 0.0)
        for item, tube, perveance in tubes if winding.tapped else ():
            rms = winding.volts * line * sag / 2
            own = _rectifier_winding(transformer, tube, winding.name, heater, line, rms, needs)
            most = tube.ratings.get("plate_rms_volts_choke_input") or tube.ratings.get("plate_rms_volts")
            if own and not (most and rms > most.value):
                yield Source(transformer, winding.name, heater.name, "tube", item, rms, source_ohms(transformer, winding, halves=True), perveance, None, own, tube)


def _sag(transformer: Item, heater, needs: Needs) -> float:
    """Return what the heater current leaves of the volts behind the primary's ohms."""
    primary = transformer.winding("primary")
    return 1 - primary.ohms * needs.heater_amps * (heater.volts / primary.volts) / needs.mains.volts


def _silicon(shelf: Shelf, kind: str, rms: float, needs: Needs) -> Item | None:
    """Return the least diode or bridge that stands the inverse volts of a winding of ``rms`` on a high line, with half as much again, and the amps."""
    wanted = sqrt(2) * rms * HIGH_LINE * 1.5
    fits = [item for item in shelf.of(kind) if item.volts >= wanted and item.amps >= 2 * max(needs.idle_amps, needs.full_amps)]
    return min(fits, key=lambda item: (item.price if item.price is not None else 1e9, item.volts, item.name), default=None)


def _rectifier_winding(transformer: Item, tube: TubeType, used: str, heater, line: float, rms: float, needs: Needs) -> str:
    """Return the winding for a rectifier tube's heater, "" where there is none: one of its own, else the amplifier's where the tube's insulation stands it."""
    volts, amps = tube.heater.volts.value, tube.heater.amps.value
    for winding in transformer.windings:
        if (winding.name not in (used, heater.name) and not winding.name.startswith("primary") and (winding.amps or 0.0) >= amps
                and HEATER_LOW <= winding.volts * line / volts <= HEATER_HIGH):
            return winding.name
    joined = any(set(tube.elements_of(pin)) >= {"cathode", "heater2"} for pin in tube.socket_pins)
    stands = tube.ratings.get("heater_cathode_volts")
    shares = (not tube.heater.directly_heated and not joined and volts == needs.heater_volts and stands is not None and stands.value >= sqrt(2) * rms * HIGH_LINE
              and (heater.amps or 0.0) >= amps + needs.heater_amps)
    return heater.name if shares else ""


def _pairs(shelf: Shelf, needs: Needs) -> Iterator[Source]:
    """Yield two transformers back to back: the first makes heater volts, the second, the wrong way round, makes B+ from them."""
    low = [(item, w, line) for item in shelf.of("transformer") if (line := _line(item, needs)) is not None and len(item.windings) == 2
           for w in item.windings[1:] if HEATER_LOW <= w.volts * line / needs.heater_volts <= HEATER_HIGH and not w.name.startswith("primary")]
    seconds = [(item, w) for item in shelf.of("transformer") if len(item.windings) == 2 for w in item.windings
               if not w.name.startswith("primary") and 0.8 <= w.volts / needs.heater_volts <= 1.3]
    watts = needs.bplus * needs.idle_amps
    for one, first, line in sorted(low, key=lambda row: (row[0].va, row[0].name))[:24]:
        for other, second in sorted(seconds, key=lambda row: (row[0].va, row[0].name))[:24]:
            primary = other.winding("primary")
            rms = first.volts * line * primary.volts / second.volts * _sag(one, first, needs)
            item = _silicon(shelf, "bridge", rms, needs)
            if item is not None and one.va >= watts + needs.heater_volts * needs.heater_amps and rms >= 0.35 * needs.bplus and other.va >= watts:
                # the heaters' own current drops volts in the winding that both hang on
                rms *= 1 - first.ohms * needs.heater_amps / first.volts
                yield Source(one, first.name, first.name, "bridge", item, rms, source_ohms(one, primary, halves=False, second=other, low=first.name), 0.0, other)


def filters(shelf: Shelf, wishes: Wishes) -> tuple[Behind, ...]:
    """Return every filter that the list allows: first capacitors by farads, each alone, with a resistor, and with each choke."""
    farads = sorted({item.value for item in shelf.of("electrolytic") if item.volts >= 100 and item.value >= 4e-6})
    found = [Behind(name, value) for name in ("C", "C-R-C") if name in wishes.filters for value in farads]
    found += [Behind("C-L-C", value, choke) for value in farads for choke in shelf.of("choke") if "C-L-C" in wishes.filters]
    found += [Behind("L-C", 0.0, choke) for choke in shelf.of("choke") if "L-C" in wishes.filters]
    return tuple(found)


def capacitor_for(shelf: Shelf, farads: float, volts: float) -> Item | None:
    """Return the cheapest electrolytic of some farads that stands some volts, None where the list has none."""
    fits = [item for item in shelf.of("electrolytic") if item.value == farads and item.volts >= volts]
    return min(fits, key=lambda item: (item.price if item.price is not None else 1e9, item.volts, item.name), default=None)


def bleeder_ohms(farads, volts):
    """Return the most ohms that bring ``farads`` from ``volts`` to 60 V within the time of ``BLEED_SECONDS``: t = R C ln(V/60)."""
    import numpy as np

    return BLEED_SECONDS / (farads * np.log(np.maximum(volts / BLEED_VOLTS, 1.05)))


def bleeder_for(shelf: Shelf, farads: float, volts: float) -> Item:
    """Return the bleeder: of the list the largest that is quick enough and stands twice its watts and the volts, else the one to order."""
    most = float(bleeder_ohms(farads, volts))
    fits = [item for item in shelf.of("resistor") if 0.1 * most <= item.value <= most and item.watts >= 2 * volts**2 / item.value and (item.volts or 0.0) >= volts]
    if fits:
        return max(fits, key=lambda item: (item.value, -(item.price or 0.0), item.name))
    ohms = at_most(most)
    return Item("resistor", "not on the list", ohms, rating(volts, (350.0, 500.0, 750.0, 1000.0)), watts=rating(2 * volts**2 / ohms, WATTS) or WATTS[-1])


def sieve(shelf: Shelf, needs: Needs, wishes: Wishes, step: Callable[[int], None] | None = None) -> tuple[tuple[Rough, ...], int, tuple[str, ...]]:
    """Return the best pairs of each form, the best first, how many pairs there were, and what was left out. ``step`` gets pairs done."""
    import numpy as np

    found, told = sources(shelf, needs, wishes)
    behind = filters(shelf, wishes)
    if not found or not behind:
        return (), 0, told
    second = sorted({item.value for item in shelf.of("electrolytic") if item.volts >= 100 and item.value >= 4e-6})
    stands = {value: max(item.volts for item in shelf.of("electrolytic") if item.value == value) for value in second}
    stocked = np.array(sorted({item.value for item in shelf.of("resistor") if item.watts >= 2 and SERIES[0] <= item.value <= SERIES[1]}))
    kept: list[Rough] = []
    each = max(CHUNK // len(behind), 1)
    for start in range(0, len(found), each):
        part = found[start : start + each]
        worked = _worked(part, behind, second, stands, stocked, needs)
        best: dict[tuple, list[int]] = {}
        for k in np.argsort(worked["score"], kind="stable"):
            source, after = part[k // len(behind)], behind[k % len(behind)]
            if worked["score"][k] >= 1e6:
                break
            group = best.setdefault((source.rectifier, after.filter, source.second is not None), [])
            if len(group) < EACH and not any(part[other // len(behind)] is source for other in group):
                group.append(int(k))
        kept += [Rough(part[k // len(behind)], behind[k % len(behind)], *(float(worked[name][k]) for name in
                       ("bplus", "hum", "c2", "series", "winding_amps", "volt_amps", "miss", "score"))) for group in best.values() for k in group]
        if step:
            step(len(part) * len(behind))
    groups: dict[tuple, list[Rough]] = {}
    for rough in sorted(kept, key=lambda rough: rough.score):
        groups.setdefault((rough.source.rectifier, rough.behind.filter, rough.source.second is not None), []).append(rough)
    first = sorted((group[0] for group in groups.values()), key=lambda rough: rough.score)
    rest = sorted((rough for group in groups.values() for rough in group[1:EACH]), key=lambda rough: rough.score)
    return tuple(sorted([*first, *rest][:ALL], key=lambda rough: rough.score)), len(found) * len(behind), told


def _worked(part, behind, second, stands, stocked, needs: Needs) -> dict:
    """Return arrays over every pair of some sources and all filters: what each comes to, how far it misses, and its score."""
    import numpy as np

    def across(values):
        return np.repeat(np.array(values, float), len(behind))

    def along(values):
        return np.tile(np.array(values, float), len(part))

    rms, ohms, perveance, drop, pulses = (across([getattr(one, name) for one in part]) for name in ("rms", "ohms", "perveance", "drop", "pulses"))
    added, opened = across([one.added_ohms for one in part]), across([one.open_volts for one in part])
    farads = along([one.farads or 1e-6 for one in behind])
    henries, copper, most_amps = (along([getattr(one.choke, name) if one.choke else 0.0 for one in behind]) for name in ("value", "ohms", "amps"))
    chokes, resistive = along([one.filter == "L-C" for one in behind]) > 0, along([one.filter == "C-R-C" for one in behind]) > 0
    two = along([one.filter != "C" for one in behind]) > 0
    hertz = needs.mains.hertz
    bleed = bleeder_ohms(farads * (1 - chokes) + two * 47e-6, opened)
    aimed = np.full_like(rms, needs.bplus)
    wanted = float(needs.amps_at(needs.bplus)) + aimed / bleed

    def load(volts):
        return needs.amps_at(volts) + volts / bleed

    fed = {count: capacitor_input(sqrt(2) * rms - drop, ohms + added, perveance, farads, 0.0 * rms,
                                  hertz, lambda volts: np.where(resistive, wanted, load(np.maximum(volts - wanted * copper, 1.0))), count)
           for count in ((1, 2) if (pulses == 1).any() else (2,))}
    volts, ripple, each, peak, amps = (np.where(pulses == 1, getattr(fed.get(1, fed[2]), name), getattr(fed[2], name)) for name in ("volts", "ripple", "rms", "peak", "amps"))
    raw = np.where(resistive, np.maximum(volts - needs.bplus, 0.0) / wanted, 0.0)
    series = np.where(resistive, _preferred(raw, stocked), 0.0)
    choked = choke_input(rms, drop, ohms + copper, perveance, load)
    bplus = np.where(chokes, choked, volts - amps * (series + copper))
    amps = np.where(chokes, load(bplus), amps)
    ripple = np.where(chokes, choke_ripple(rms), ripple)
    tone = np.where(pulses == 1, 1.0, 2.0) * hertz
    path = np.where(pulses == 1, *needs.hum_of_ripple)
    hum, c2 = ripple * path, np.zeros_like(rms)
    good = ~two
    for value in second:
        now = after_filter(ripple, tone, henries, series + copper, value) * path
        take = two & ~good & (np.array([stands[value]]) >= opened)
        hum, c2 = np.where(take, now, hum), np.where(take, value, c2)
        good = good | take & (now <= 0.8 * needs.hum)
    centre = across([one.rectifier in ("tube", "silicon") for one in part]) > 0
    winding = np.where(chokes, amps * np.where(centre, sqrt(0.5), 1.0), each * np.where(centre | (pulses == 1), 1.0, sqrt(2)))
    shape = across([_rated(one) for one in part])
    volt_amps = rms * winding * np.where(centre, 2.0, 1.0) + across([_heater_watts(one, needs) for one in part])
    excess = [np.maximum(needs.low - bplus, 0) / needs.bplus, np.maximum(bplus - needs.high, 0) / needs.bplus, np.maximum(np.log(hum / needs.hum), 0) / 3,
              _over(winding, shape), np.maximum(0.99 * opened / needs.open_limit - 1, 0.0), _over(volt_amps, across([one.transformer.va for one in part])),
              _over(np.where(two & (henries > 0), amps, 0.0), np.where(most_amps > 0, most_amps, 1.0)), _over(np.where(chokes, critical_henries(bplus / amps, hertz), 0.0), np.maximum(henries, 1e-9)),
              _over(np.where(chokes, amps, peak), across([_tube_rated(one, "peak_amps") for one in part])), _over(amps, across([_tube_rated(one, "dc_amps") for one in part]))]
    no_way = (chokes & (pulses == 1)) | (~chokes & (along([stands.get(one.farads, 0.0) for one in behind]) < opened)) | (two & (c2 == 0))
    no_way |= resistive & ((raw < SERIES[0]) | (raw > SERIES[1])) | (~chokes & (farads > across([_first_capacitor(one) for one in part]) * 1.001))
    no_way |= ~chokes & (rms > across([_tube_rated(one, "plate_rms_volts") for one in part]))
    miss = sum(excess)
    price = across([(one.transformer.price or 0.0) + (one.second.price or 0.0 if one.second else 0.0) for one in part]) + along([one.choke.price or 0.0 if one.choke else 0.0 for one in behind])
    score = 10 * miss + np.abs(np.log(bplus / needs.bplus)) + 0.05 * price / max(float(price.max()), 1.0) + 0.05 * (pulses == 1)
    return {"bplus": bplus, "hum": hum, "c2": c2, "series": series, "winding_amps": winding, "volt_amps": volt_amps, "miss": miss, "score": np.where(no_way, 1e9, score)}


def _over(value, most):
    import numpy as np

    return np.maximum(value / most - 1 - SLACK, 0.0)


def _preferred(ohms, stocked):
    """Return for many ohms the value in stock that comes within a tenth, else the nearest of E12; 0 for less than one ohm."""
    import numpy as np

    steps = np.array([*E12, 100.0])
    power = np.floor(np.log10(np.maximum(ohms, 1.0)))
    digits = np.maximum(ohms, 1.0) / 10 ** (power - 1)
    place = np.searchsorted(np.sqrt(steps[:-1] * steps[1:]), digits)
    made = steps[place] * 10 ** (power - 1)
    if len(stocked):
        have = stocked[np.searchsorted(np.sqrt(stocked[:-1] * stocked[1:]), ohms)]
        made = np.where(np.abs(np.log(np.maximum(ohms, 1.0) / have)) < 0.1, have, made)
    return np.where(ohms < 1, 0.0, made)


def _rated(source: Source) -> float:
    winding = (source.second or source.transformer).winding("primary" if source.second else source.winding)
    if winding.amps:
        return winding.amps
    return (source.second or source.transformer).va / winding.volts


def _heater_watts(source: Source, needs: Needs) -> float:
    tube = source.tube.heater.volts.value * source.tube.heater.amps.value if source.tube else 0.0
    return needs.heater_volts * needs.heater_amps + tube


def _tube_rated(source: Source, name: str) -> float:
    figure = source.tube.ratings.get(name) if source.tube else None
    return figure.value if figure else 1e9


def _first_capacitor(source: Source) -> float:
    if source.tube is None:
        return 1.0
    figure = source.tube.ratings.get("first_capacitor_farads")
    return figure.value if figure else FIRST_CAPACITOR


def choice_of(rough: Rough, shelf: Shelf, wishes: Wishes, needs: Needs) -> Choice:
    """Return the parts of a pair that went through the sieve; fuse and connector come with the exact solution."""
    source, behind = rough.source, rough.behind
    opened = source.open_volts
    first = capacitor_for(shelf, behind.farads, opened) if behind.farads else None
    last = capacitor_for(shelf, rough.c2, opened) if rough.c2 else None
    farads = sum(item.value for item in (first, last) if item)
    series = _series(shelf, rough, needs) if rough.series else None
    heater = source.transformer.winding(source.heater_winding)
    balance = wishes.balance or ("tap" if heater.tapped and source.second is None else "resistors")
    if source.second is not None and balance == "tap":
        balance = "resistors"
    surge = None
    if source.added_ohms and behind.filter != "L-C":
        watts = source.added_ohms * (1.5 * max(needs.idle_amps, needs.full_amps)) ** 2
        surge = _resistor(shelf, source.added_ohms, watts)
    elif wishes.soft_start:
        surge = max(shelf.of("thermistor"), key=lambda item: (item.value, item.name), default=None)
    return Choice(source.transformer, source.winding, source.heater_winding, source.rectifier, source.valve, behind.filter, first, last, behind.choke, series,
                  source.second, source.rectifier_winding, balance, surge, bleeder=bleeder_for(shelf, farads, opened))


def _series(shelf: Shelf, rough: Rough, needs: Needs) -> Item:
    return _resistor(shelf, float(f"{rough.series:.3g}"), rough.series * max(needs.idle_amps, needs.full_amps) ** 2)


def _resistor(shelf: Shelf, ohms: float, watts: float) -> Item:
    """Return a resistor of the list of some ohms with twice the watts, else the one to order."""
    fits = [item for item in shelf.of("resistor") if abs(log(item.value / ohms)) < 1e-6 and item.watts >= 2 * watts]
    if fits:
        return min(fits, key=lambda item: (item.watts, item.price or 0.0, item.name))
    return Item("resistor", "not on the list", ohms, watts=rating(2 * watts, WATTS) or WATTS[-1])
