"""The windings of a transformer as one cell of the stock list states them."""

from __future__ import annotations

import re
from collections.abc import Callable

from rework.circuit.kinds import WINDING_NAMES
from rework.language.quantity import QuantityError, read_value
from rework.supply.stock import StockWinding

#: Takes a mistake: the character of the cell it is at (None: the whole cell), message, expectation,
#: hint.
Fault = Callable[[int | None, str, str, str], None]

_PIECE = re.compile(r"(tap)\b|([\d./-]+)\s*([A-Za-z\u2126\u03a9]+)|(\S+)")
_SAID = {"voltage": "volts", "resistance": "ohms", "current": "amps"}


def read_windings(text: str, fault: Fault) -> tuple[StockWinding, ...]:
    """Return the windings a cell states, joined by ``+``; mistakes go to ``fault``."""
    windings: list[StockWinding] = []
    for piece in re.finditer(r"[^+]+", text):
        at = piece.start() + len(piece[0]) - len(piece[0].lstrip())
        winding = _winding(piece[0].split(), at, fault)
        if winding is None:
            continue
        if winding.name in [each.name for each in windings]:
            fault(
                at,
                f"two windings are called {winding.name}",
                "a name of its own for each, such as heater and heater2",
                "",
            )
        windings.append(winding)
    primaries = [each for each in windings if each.name.startswith("primary")]
    if windings and len(primaries) != 1:
        fault(
            None,
            f"{'more than one' if primaries else 'no'} winding is called primary",
            "one primary: give the taps in use, a line for each line voltage",
            "",
        )
    return tuple(windings)


def _winding(words: list[str], at: int, fault: Fault) -> StockWinding | None:
    name = words[0].lower() if words else ""
    is_name = re.fullmatch(r"[a-z]+\d*", name) and name.startswith(WINDING_NAMES)
    if not is_name or name.startswith("screen"):
        fault(
            at,
            f"{name or 'nothing'} is no name of a winding",
            "a name such as primary, hv, heater, rectifier or secondary, then its volts, amps and"
            " ohms",
            "",
        )
        return None
    try:
        amounts, tapped = _amounts(name, " ".join(words[1:]))
    except QuantityError as error:
        fault(at, str(error), "volts, amps and ohms, such as hv 240-0-240 V 60 mA 420 ohm", "")
        return None
    needed = [
        dimension for dimension in _SAID if dimension != "current" or not name.startswith("primary")
    ]
    lost = [_SAID[dimension] for dimension in needed if not amounts.get(dimension)]
    if lost:
        fault(
            at,
            f"the {name} winding does not say its {' and '.join(lost)}",
            "volts, amps and ohms of every winding; the primary needs no amps",
            "measure the ohms with a meter: without them nothing can be computed"
            if "ohms" in lost
            else "",
        )
        return None
    return StockWinding(
        name, amounts["voltage"], amounts.get("current"), amounts["resistance"], tapped
    )


def _amounts(name: str, text: str) -> tuple[dict[str, float], bool]:
    """Return what a winding says by dimension, over its whole length, and whether it is tapped.

    Raises QuantityError for what a winding cannot say.
    """
    amounts: dict[str, float] = {}
    tapped = False
    for piece in _PIECE.finditer(text):
        if piece[1]:
            tapped = True
            continue
        halves = re.fullmatch(r"([\d.]+)-0-([\d.]+)", piece[2] or "")
        if piece[4] or (halves and halves[1] != halves[2]):
            raise QuantityError(f"a winding cannot say {piece[0]}")
        tapped = tapped or halves is not None
        value = read_value(f"{halves[1] if halves else piece[2]} {piece[3]}")
        if value.dimension not in _SAID or value.dimension in amounts:
            raise QuantityError(f"{piece[0]} is one value too many in the {name} winding")
        amounts[value.dimension] = value.amount * (2 if halves else 1)
    return amounts, tapped
