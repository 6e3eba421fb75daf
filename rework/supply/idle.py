"""Where a tube of an amplifier on the bench stands at idle: each unit against its ratings, each
grid's leak against the most that the tube allows.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.rules.facts import Facts
from rework.supply.bench import AmplifierBench, Work, rated


@dataclass(frozen=True, slots=True)
class IdlePoint:
    """A tube unit at idle: volts to the cathode, amps, watts; ``over`` lists (what, value, unit,
    rating), ``unrated`` what has no rating.
    """

    unit: str
    plate_volts: float
    screen_volts: float | None
    grid_volts: float
    plate_amps: float
    screen_amps: float | None
    plate_watts: float
    screen_watts: float | None
    plate_watts_rating: float | None
    screen_watts_rating: float | None
    screen_volts_rating: float | None
    over: tuple[tuple[str, float, str, float], ...]
    unrated: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Leak:
    """The grid's resistance to its return in ohms, the most that is allowed (None: not in the
    library), and which limit that is.
    """

    unit: str
    ohms: float
    most: float | None
    way: str


def points(bench: AmplifierBench, name: str) -> tuple[IdlePoint, ...]:
    """Return where every unit of a tube stands at idle."""
    return tuple(_point(one) for one in bench.work(bench.point[None]) if one.part == name)


def _point(one: Work) -> IdlePoint:
    loads = [(what, float(values[0]), unit, limit) for what, values, unit, limit in one.loads]
    limits = {what: limit for what, _, _, limit in loads}
    found = {what: value for what, value, _, _ in loads}
    return IdlePoint(
        one.unit,
        float(one.plate_volts[0]),
        found.get("screen volts"),
        float(one.grid_volts[0]),
        float(one.plate_amps[0]),
        None if one.screen_amps is None else float(one.screen_amps[0]),
        found["plate watts"],
        found.get("screen watts"),
        limits["plate watts"],
        limits.get("screen watts"),
        limits.get("screen volts"),
        tuple(
            (what, value, unit, limit)
            for what, value, unit, limit in loads
            if limit is not None and value > limit
        ),
        tuple(what for what, _, _, limit in loads if limit is None and what != "cathode amps"),
    )


def leaks(bench: AmplifierBench, facts: Facts, name: str) -> tuple[Leak, ...]:
    """Return each unit's grid leak against the limit for its way of bias; with back bias the
    stricter of the two counts.
    """
    backed = any(one.tube == name for one in facts.back_biased)
    found = []
    for one in bench.work(bench.point[None]):
        if one.part == name:
            ways = {
                "cathode bias": _most(one, "grid_leak_ohms_cathode_bias"),
                "fixed bias": _most(one, "grid_leak_ohms_fixed"),
            }
            way = "fixed bias" if backed and ways["fixed bias"] is not None else "cathode bias"
            found.append(Leak(one.unit, bench.grid_ohms(name, one.unit), ways[way], way))
    return tuple(found)


def _most(one: Work, name: str) -> float | None:
    return rated(one.tube, one.unit, name)
