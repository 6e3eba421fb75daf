"""Ratings that parts reach as B+ rises, in words once."""

from __future__ import annotations

from collections.abc import Sequence

from rework.solve.stress_words import stress_name
from rework.supply.bench import RatingLimit


def limit_words(limit: RatingLimit) -> str:
    """Return which rating a part reaches, in words."""
    stress, name = limit.stress, stress_name(limit.stress)
    unit, scale = ("mA", 1e3) if stress.unit == "A" else (stress.unit, 1.0)
    rated = f"its {scale * limit.rating:g} {unit}"
    if stress.key == "high_line_volts":
        return f"{name}, on a line a tenth high, is at {rated}"
    element, _, quantity = stress.key.rpartition("_")
    return (
        f"{f'the {element} of ' if element else ''}{name}"
        f" {'is at' if quantity == 'volts' else 'takes'} {rated}"
    )


def over_words(limits: Sequence[RatingLimit]) -> list[str]:
    """Return what is over its rating, parts at the same figure together."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for limit in limits:
        stress = limit.stress
        figures = f"{stress.amount:.3g}", f"{limit.rating:g} {stress.unit}"
        groups.setdefault((stress.key, *figures), []).append(stress_name(stress))
    said = [
        f"{', '.join(parts)} {'volts' if key == 'cold_volts' else key.replace('_', ' ')}"
        f" {value} of {rating}"
        for (key, value, rating), parts in groups.items()
    ]
    cold = (
        " (capacitors: tubes cold, line 10 % high)"
        if any(limit.stress.key == "cold_volts" for limit in limits)
        else ""
    )
    return [f"over rating: {'; '.join(said)}{cold}"] if said else []
