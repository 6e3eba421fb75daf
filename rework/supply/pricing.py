"""Which item of the stock list is a part of a circuit, and so what the part costs."""

from __future__ import annotations

from math import isclose

from rework.circuit.parts import Part
from rework.supply.stock import (
    Shelf,
    StockCapacitor,
    StockChoke,
    StockConnector,
    StockFuse,
    StockItem,
    StockPot,
    StockResistor,
    StockSilicon,
    StockSundry,
    StockSwitch,
    StockThermistor,
    StockTransformer,
    StockTube,
    kind_of,
)
from rework.tubes import library

#: A value on the list is the one wanted within this share.
SAME = 0.01
#: A capacitor or resistor no further off in value than this may take its place (common practice, no
#: source: new electrolytics come in other values than old ones).
NEAR_VALUE = 0.2

_Stated = tuple[tuple[str, float | None], ...]


def item_for(part: Part, shelf: Shelf | None, *, within: float = SAME) -> StockItem | None:
    """Return the item that is a part: one that the part's remark names, else the cheapest priced
    one that serves; None where the list has none.

    Values may be off by the share ``within``; ratings are no lower.
    """
    if shelf is None:
        return None
    alike = [item for item in shelf.of_kind(part.kind) if item.price is not None]
    named = [item for item in alike if item.name and item.name in part.remark]
    serving = named or [item for item in alike if serves(item, part, within)]
    return min(serving, key=lambda item: (item.cost, item.name), default=None)


def serves(item: StockItem, part: Part, within: float) -> bool:
    """Return whether an item can be a part, its values off by the share ``within`` at most."""
    if kind_of(item) != part.kind:
        return False
    if isinstance(item, StockTube):
        return library.find(part.type) is not None and (
            library.find(item.name) is library.find(part.type)
        )
    if isinstance(item, StockSilicon) and part.type and item.name == part.type:
        return True
    if isinstance(item, StockTransformer) and not _wound_alike(part, item):
        return False
    if (
        isinstance(item, StockFuse)
        and item.speed not in part.words
        and {"slow", "fast"} & set(part.words)
    ):
        return False
    if isinstance(item, StockSundry) and part.type and item.name != part.type:
        return False
    exact, least = _stated(item)
    return all(_is_near(part.value(name), amount, within) for name, amount in exact) and all(
        _is_enough(part.value(name), amount) for name, amount in least
    )


def _is_near(wanted: float | None, amount: float | None, within: float) -> bool:
    return wanted is not None and amount is not None and isclose(wanted, amount, rel_tol=within)


def _is_enough(wanted: float | None, amount: float | None) -> bool:
    return wanted is None or (amount is not None and amount >= wanted * (1 - SAME))


def _stated(item: StockItem) -> tuple[_Stated, _Stated]:
    """Return what of an item has to agree with the part, and what to be enough, by dimension."""
    match item:
        case StockCapacitor():
            return (("capacitance", item.farads),), (("voltage", item.volts),)
        case StockResistor() | StockPot():
            return (("resistance", item.ohms),), (("power", item.watts),)
        case StockThermistor():
            return (), (("current", item.amps),)
        case StockChoke():
            return (("inductance", item.henries),), (("current", item.amps),)
        case StockFuse():
            return (("current", item.amps),), (("voltage", item.volts),)
        case StockSilicon() | StockConnector() | StockSwitch():
            return (), (("voltage", item.volts), ("current", item.amps))
        case StockTransformer():
            return (), (("apparent-power", item.va),)
        case StockSundry():
            exact = (("capacitance", item.farads),) if item.farads else ()
            rated = (("voltage", item.volts), ("current", item.amps), ("power", item.watts))
            return exact, tuple(pair for pair in rated if pair[1] is not None)
    return (), ()


def _wound_alike(part: Part, item: StockTransformer) -> bool:
    """Return whether the item has every winding the part has, of those volts and amps."""
    for name, values in part.windings:
        amount = {value.dimension: value.amount for value in values}
        winding = item.winding(name)
        if winding is None or not _is_near(amount.get("voltage"), winding.volts, SAME):
            return False
        if not _is_enough(amount.get("current"), winding.amps or 0.0):
            return False
    return True
