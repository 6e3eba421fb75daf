"""A part against its rating over the B+, as an answer."""

from __future__ import annotations

from dataclasses import dataclass

from rework.supply.bench import RatingLimit


@dataclass(frozen=True, slots=True)
class Rated:
    """A part against a rating, the unit of a bulb in ``of``; ``volts`` is the B+ at which it
    reaches it.
    """

    part: str
    of: str
    type: str
    key: str
    value: float
    rating: float
    unit: str
    volts: float | None
    over: bool


def rated(limit: RatingLimit) -> Rated:
    """Return a limit as an answer."""
    stress = limit.stress
    return Rated(
        stress.part,
        stress.of,
        stress.type,
        stress.key,
        stress.amount,
        limit.rating,
        stress.unit,
        limit.volts,
        limit.is_over,
    )
