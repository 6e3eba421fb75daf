"""Where along a winding its taps are, as far as the file states it: by volts, turns or per cent."""

from __future__ import annotations

from rework.circuit.parts import Part, Value

#: The role of the value that states a tap, in the order of the chain: tap, tap2, tap3.
ROLE = "tap"


def role(number: int) -> str:
    """Return the role of the value of the tap of that number, counted from 1."""
    return ROLE if number == 1 else f"{ROLE}{number}"


def tap_shares(part: Part, winding: str) -> tuple[float | None, ...]:
    """Return how far along a winding each of its taps is, in the order of its terminals: 0 at the
    start, 1 at the finish, None where the file does not state it.

    A tap is stated in volts or turns, like the whole winding, or in per cent of it. A single tap on
    a winding written as two halves (``250-0-250 V``) is in the middle.
    """
    stated = dict(part.windings).get(winding, ())
    taps = [pin for pin, _ in part.pins if pin.startswith(f"{winding}.tap")]
    if len(taps) == 1 and any("-0-" in value.text for value in stated):
        return (0.5,)
    whole = {value.dimension: value.amount for value in stated if not value.role}
    by_role = {value.role: value for value in stated}
    numbers = [int(tap.removeprefix(f"{winding}.tap") or 1) for tap in taps]
    return tuple(_share(by_role.get(role(number)), whole) for number in numbers)


def _share(value: Value | None, whole: dict[str, float]) -> float | None:
    if value is None:
        return None
    if value.dimension == "fraction":
        return value.amount
    total = whole.get(value.dimension)
    return value.amount / total if total else None
