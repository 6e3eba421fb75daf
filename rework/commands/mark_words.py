"""Figures, limits and stock items of a designed supply, each in words once."""

from __future__ import annotations

from dataclasses import replace

from rework.report.figures import number, shown
from rework.supply.evaluate import Candidate
from rework.supply.mark_names import mark_words
from rework.supply.marks import Mark
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
)

#: Units that take no prefix, as they are written.
PLAIN = {"degC": "°C", "A2s": "A²s", "VA": "VA"}


def amount(value: float, unit: str, digits: int = 3) -> str:
    """Return a figure with its unit."""
    if unit in PLAIN:
        return f"{number(value, digits=digits)} {PLAIN[unit]}"
    return shown(value, unit, digits)


def amps_words(value: float) -> str:
    """Return rated amps as a list has them."""
    return f"{value:g} A" if value >= 1 else f"{1e3 * value:g} mA"


def missed_words(mark: Mark) -> str:
    """Return by how much a figure misses its limit."""
    if mark.most is not None and mark.value > mark.most:
        return (
            f"{mark_words(mark)}: {amount(mark.value, mark.unit)},"
            f" {amount(mark.value - mark.most, mark.unit, 2)} over the"
            f" {amount(mark.most, mark.unit)} allowed"
        )
    least = mark.least or 0.0
    return (
        f"{mark_words(mark)}: {amount(mark.value, mark.unit)},"
        f" {amount(least - mark.value, mark.unit, 2)} under the"
        f" {amount(least, mark.unit)} wanted"
    )


def near_words(mark: Mark) -> str:
    """Return a figure beside the limit that it is near to."""
    end = mark.most if mark.most is not None else mark.least
    return f"{mark_words(mark)}: {amount(mark.value, mark.unit)} of {amount(end or 0.0, mark.unit)}"


def merged(marks: tuple[Mark, ...]) -> list[Mark]:
    """Return marks by what they share, fullest first; capacitors of the amplifier that are at the
    same volts of the same rating as one.
    """
    groups: dict[tuple[object, ...], list[Mark]] = {}
    for mark in sorted(marks, key=lambda mark: -mark.share):
        alike = mark.key == "capacitor_volts"
        same = (round(mark.value), mark.most) if alike else (mark.part, mark.of)
        groups.setdefault((mark.key, *same), []).append(mark)
    return [
        replace(group[0], part=", ".join(mark.part for mark in group)) for group in groups.values()
    ]


def merged_unmet(candidate: Candidate) -> list[Mark]:
    """Return what a candidate misses, the needs first."""
    needs = [mark for mark in candidate.unmet if mark.kind == "need"]
    return [*needs, *merged(tuple(mark for mark in candidate.unmet if mark.kind != "need"))]


def item_words(item: StockItem) -> str:
    """Return an item as a person would ask for it over the counter."""
    said = [item.name] if item.name and item.listed else []
    said += _values(item)
    return ", ".join(
        [*said[:1], *(each for each in dict.fromkeys(said[1:]) if each not in said[0])]
    )


def _values(item: StockItem) -> list[str]:
    match item:
        case StockTransformer():
            return [f"{item.va:g} VA"]
        case StockChoke():
            return [amount(item.henries, "H"), amps_words(item.amps), f"{item.ohms:g} ohm"]
        case StockCapacitor():
            return [amount(item.farads, "F"), f"{item.volts:g} V"]
        case StockFuse():
            return [f"{item.volts:g} V", amps_words(item.amps), item.speed]
        case StockResistor():
            volts = [f"{item.volts:g} V"] if item.volts else []
            return [amount(item.ohms, "ohm"), *volts, f"{item.watts:g} W"]
        case StockPot():
            return [amount(item.ohms, "ohm"), f"{item.watts:g} W"]
        case StockThermistor():
            return [amount(item.cold_ohms, "ohm"), amps_words(item.amps)]
        case StockSilicon() | StockConnector() | StockSwitch():
            return [f"{item.volts:g} V", amps_words(item.amps)]
    return []
