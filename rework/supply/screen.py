"""The coarse sieve: every transformer with every rectifier and filter on the list, at once, by
ideal rectifiers; the best of each form go on.

What it keeps is solved exactly afterwards, so here a rating counts as met within a tenth.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

from rework.supply.ideal import (
    after_filter,
    capacitor_input,
    choke_input,
    choke_ripple,
    critical_henries,
)
from rework.supply.needs import Needs
from rework.supply.preferred import E12
from rework.supply.shelf import Item, Shelf
from rework.supply.sources import FIRST_CAPACITOR, Source, Wishes, sources

#: Seconds to 60 V that the bleeder is chosen for, and the volts: the tool's own choice; no standard
#: names a time for what is inside a closed chassis.
BLEED_SECONDS, BLEED_VOLTS = 60.0, 60.0
#: A rating counts as met within this share here.
SLACK = 0.10
#: So many of each form are kept, and so many in all.
EACH, ALL = 2, 8
#: So many pairs of source and filter are worked out at a time.
CHUNK = 40_000
#: A series resistor of a C-R-C under or over this many ohms is no filter, or heats the cabinet.
SERIES = (47.0, 10e3)


@dataclass(frozen=True)
class Behind:
    """One filter: which capacitors by farads, and which choke.

    The second capacitor and a series resistor are found for each source.
    """

    filter: str
    farads: float
    choke: Item | None = None


@dataclass(frozen=True)
class Rough:
    """A pair that went through the sieve: what it comes to by ideal rectifiers, and by how much it
    misses, 0 nothing.
    """

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


def filters(shelf: Shelf, wishes: Wishes) -> tuple[Behind, ...]:
    """Return every filter that the list allows: first capacitors by farads, each alone, with a
    resistor, and with each choke.
    """
    farads = sorted(
        {
            item.value
            for item in shelf.of("electrolytic")
            if item.volts >= 100 and item.value >= 4e-6
        }
    )
    found = [
        Behind(name, value) for name in ("C", "C-R-C") if name in wishes.filters for value in farads
    ]
    found += [
        Behind("C-L-C", value, choke)
        for value in farads
        for choke in shelf.of("choke")
        if "C-L-C" in wishes.filters
    ]
    found += [Behind("L-C", 0.0, choke) for choke in shelf.of("choke") if "L-C" in wishes.filters]
    return tuple(found)


def bleeder_ohms(farads, volts):
    """Return the most ohms that bring ``farads`` from ``volts`` to 60 V within the time of
    ``BLEED_SECONDS``: t = R C ln(V/60).
    """
    import numpy as np

    return BLEED_SECONDS / (farads * np.log(np.maximum(volts / BLEED_VOLTS, 1.05)))


def sieve(
    shelf: Shelf, needs: Needs, wishes: Wishes, step: Callable[[int], None] | None = None
) -> tuple[tuple[Rough, ...], int, tuple[str, ...]]:
    """Return the best pairs of each form, the best first, how many pairs there were, and what was
    left out. ``step`` gets pairs done.
    """
    import numpy as np

    found, told = sources(shelf, needs, wishes)
    behind = filters(shelf, wishes)
    if not found or not behind:
        return (), 0, told
    second = sorted(
        {
            item.value
            for item in shelf.of("electrolytic")
            if item.volts >= 100 and item.value >= 4e-6
        }
    )
    stands = {
        value: max(item.volts for item in shelf.of("electrolytic") if item.value == value)
        for value in second
    }
    stocked = np.array(
        sorted(
            {
                item.value
                for item in shelf.of("resistor")
                if item.watts >= 2 and SERIES[0] <= item.value <= SERIES[1]
            }
        )
    )
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
            if len(group) < EACH and not any(
                part[other // len(behind)] is source for other in group
            ):
                group.append(int(k))
        kept += [
            Rough(
                part[k // len(behind)],
                behind[k % len(behind)],
                *(
                    float(worked[name][k])
                    for name in (
                        "bplus",
                        "hum",
                        "c2",
                        "series",
                        "winding_amps",
                        "volt_amps",
                        "miss",
                        "score",
                    )
                ),
            )
            for group in best.values()
            for k in group
        ]
        if step:
            step(len(part) * len(behind))
    groups: dict[tuple, list[Rough]] = {}
    for rough in sorted(kept, key=lambda rough: rough.score):
        groups.setdefault(
            (rough.source.rectifier, rough.behind.filter, rough.source.second is not None), []
        ).append(rough)
    first = sorted((group[0] for group in groups.values()), key=lambda rough: rough.score)
    rest = sorted(
        (rough for group in groups.values() for rough in group[1:EACH]),
        key=lambda rough: rough.score,
    )
    return (
        tuple(sorted([*first, *rest][:ALL], key=lambda rough: rough.score)),
        len(found) * len(behind),
        told,
    )


def _worked(part, behind, second, stands, stocked, needs: Needs) -> dict:
    """Return arrays over every pair of some sources and all filters: what each comes to, how far it
    misses, and its score.
    """
    import numpy as np

    def across(values):
        return np.repeat(np.array(values, float), len(behind))

    def along(values):
        return np.tile(np.array(values, float), len(part))

    rms, ohms, perveance, drop, pulses = (
        across([getattr(one, name) for one in part])
        for name in ("rms", "ohms", "perveance", "drop", "pulses")
    )
    added, opened = (
        across([one.added_ohms for one in part]),
        across([one.open_volts for one in part]),
    )
    farads = along([one.farads or 1e-6 for one in behind])
    henries, copper, most_amps = (
        along([getattr(one.choke, name) if one.choke else 0.0 for one in behind])
        for name in ("value", "ohms", "amps")
    )
    chokes, resistive = (
        along([one.filter == "L-C" for one in behind]) > 0,
        along([one.filter == "C-R-C" for one in behind]) > 0,
    )
    two = along([one.filter != "C" for one in behind]) > 0
    hertz = needs.mains.hertz
    bleed = bleeder_ohms(farads * (1 - chokes) + two * 47e-6, opened)
    aimed = np.full_like(rms, needs.bplus)
    wanted = float(needs.amps_at(needs.bplus)) + aimed / bleed

    def load(volts):
        return needs.amps_at(volts) + volts / bleed

    fed = {
        count: capacitor_input(
            sqrt(2) * rms - drop,
            ohms + added,
            perveance,
            farads,
            0.0 * rms,
            hertz,
            lambda volts: np.where(
                resistive, wanted, load(np.maximum(volts - wanted * copper, 1.0))
            ),
            count,
        )
        for count in ((1, 2) if (pulses == 1).any() else (2,))
    }
    volts, ripple, each, peak, amps = (
        np.where(pulses == 1, getattr(fed.get(1, fed[2]), name), getattr(fed[2], name))
        for name in ("volts", "ripple", "rms", "peak", "amps")
    )
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
    winding = np.where(
        chokes,
        amps * np.where(centre, sqrt(0.5), 1.0),
        each * np.where(centre | (pulses == 1), 1.0, sqrt(2)),
    )
    shape = across([_rated(one) for one in part])
    volt_amps = rms * winding * np.where(centre, 2.0, 1.0) + across(
        [_heater_watts(one, needs) for one in part]
    )
    excess = [
        np.maximum(needs.low - bplus, 0) / needs.bplus,
        np.maximum(bplus - needs.high, 0) / needs.bplus,
        np.maximum(np.log(np.maximum(hum, 1e-12) / needs.hum), 0) / 3,
        _over(winding, shape),
        np.maximum(0.99 * opened / needs.open_limit - 1, 0.0),
        _over(volt_amps, across([one.transformer.va for one in part])),
        _over(np.where(two & (henries > 0), amps, 0.0), np.where(most_amps > 0, most_amps, 1.0)),
        _over(
            np.where(chokes, critical_henries(bplus / amps, hertz), 0.0), np.maximum(henries, 1e-9)
        ),
        _over(
            np.where(chokes, amps, peak), across([_tube_rated(one, "peak_amps") for one in part])
        ),
        _over(amps, across([_tube_rated(one, "dc_amps") for one in part])),
    ]
    no_way = (
        (chokes & (pulses == 1))
        | (~chokes & (along([stands.get(one.farads, 0.0) for one in behind]) < opened))
        | (two & (c2 == 0))
    )
    no_way |= resistive & ((raw < SERIES[0]) | (raw > SERIES[1])) | (
        ~chokes & (farads > across([_first_capacitor(one) for one in part]) * 1.001)
    )
    no_way |= ~chokes & (rms > across([_tube_rated(one, "plate_rms_volts") for one in part]))
    miss = sum(excess)
    price = across(
        [
            (one.transformer.price or 0.0) + (one.second.price or 0.0 if one.second else 0.0)
            for one in part
        ]
    ) + along([one.choke.price or 0.0 if one.choke else 0.0 for one in behind])
    score = (
        10 * miss
        + np.abs(np.log(np.maximum(bplus, 1.0) / needs.bplus))
        + 0.05 * price / max(float(price.max()), 1.0)
        + 0.05 * (pulses == 1)
    )
    return {
        "bplus": bplus,
        "hum": hum,
        "c2": c2,
        "series": series,
        "winding_amps": winding,
        "volt_amps": volt_amps,
        "miss": miss,
        "score": np.where(no_way, 1e9, score),
    }


def _over(value, most):
    import numpy as np

    return np.maximum(value / most - 1 - SLACK, 0.0)


def _preferred(ohms, stocked):
    """Return for many ohms the value in stock that comes within a tenth, else the nearest of E12; 0
    for less than one ohm.
    """
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
    winding = (source.second or source.transformer).winding(
        "primary" if source.second else source.winding
    )
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
