"""Where a tube of an amplifier on the bench is at idle: each unit against its ratings, each grid's
leak against the most that the tube allows.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.rules.facts import Facts
from rework.solve.stress import Stress, tube_rating
from rework.supply.bench import AmplifierBench, Work, unrated


@dataclass(frozen=True, slots=True)
class IdlePoint:
    """A tube unit at idle: volts to the cathode, amps, watts; ``over`` are the stresses over
    their rating, ``unrated`` those without one.
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
    over: tuple[Stress, ...]
    unrated: tuple[Stress, ...]


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
    """Return where every unit of a tube is at idle."""
    return tuple(_point(work) for work in bench.work(bench.point[None]) if work.part == name)


def _point(work: Work) -> IdlePoint:
    loads = {stress.key: stress for stress, _ in work.loads}
    plate, screen = loads["plate_watts"], loads.get("screen_watts")
    on_screen = loads.get("screen_volts")
    return IdlePoint(
        work.unit,
        float(work.plate_volts[0]),
        None if on_screen is None else on_screen.amount,
        float(work.grid_volts[0]),
        float(work.plate_amps[0]),
        None if work.screen_amps is None else float(work.screen_amps[0]),
        plate.amount,
        None if screen is None else screen.amount,
        plate.rating,
        None if screen is None else screen.rating,
        None if on_screen is None else on_screen.rating,
        tuple(s for s in loads.values() if s.rating is not None and s.amount > s.rating),
        unrated(work.loads),
    )


def leaks(bench: AmplifierBench, facts: Facts, name: str) -> tuple[Leak, ...]:
    """Return each unit's grid leak against the limit for its way of bias; with back bias the
    stricter of the two counts.
    """
    backed = any(back_bias.tube == name for back_bias in facts.back_biased)
    rows = []
    for work in bench.work(bench.point[None]):
        if work.part == name:
            ways = {
                "cathode bias": _most(work, "grid_leak_ohms_cathode_bias"),
                "fixed bias": _most(work, "grid_leak_ohms_fixed"),
            }
            bias = "fixed bias" if backed and ways["fixed bias"] is not None else "cathode bias"
            rows.append(Leak(work.unit, bench.grid_ohms(name, work.unit), ways[bias], bias))
    return tuple(rows)


def _most(work: Work, name: str) -> float | None:
    return tube_rating(work.tube, name, work.unit)
