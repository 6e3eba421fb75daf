"""Where along a winding or the track of a pot its taps are, as far as the file states it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

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


#: Where the tap of a pot is taken to be on its track where the file does not say (own choice, no
#: source).
TRACK_TAP = 0.5


@dataclass(frozen=True, slots=True)
class TrackPiece:
    """A piece of the track of a pot: ``ccw`` or ``cw`` where it ends there, else ``tap``; the two
    terminals it is between, and which share of the whole track it is.
    """

    name: str
    first: str
    second: str
    share: float


def track_tap(part: Part) -> float | None:
    """Return which share of the track of a pot is between ccw and its tap; None where the file does
    not state it.
    """
    fraction, ohms = part.value("fraction", role=ROLE), part.value("resistance", role=ROLE)
    track = part.value("resistance")
    if fraction is not None:
        return fraction
    return ohms / track if ohms is not None and track else None


def track(part: Part, wiper: float) -> tuple[TrackPiece, ...]:
    """Return the pieces of the track of a pot from ccw to cw, between what is connected, with its
    wiper at a share of the track.
    """
    stated = track_tap(part)
    tap = TRACK_TAP if stated is None else stated
    places = {"ccw": 0.0, "wiper": wiper, "tap": tap, "cw": 1.0}
    lugs = sorted(
        (lug for lug in places if part.node(lug) is not None), key=lambda lug: places[lug]
    )
    return tuple(
        TrackPiece(
            "ccw" if first == "ccw" else "cw" if second == "cw" else "tap",
            first,
            second,
            places[second] - places[first],
        )
        for first, second in pairwise(lugs)
    )


def _share(value: Value | None, whole: dict[str, float]) -> float | None:
    if value is None:
        return None
    if value.dimension == "fraction":
        return value.amount
    total = whole.get(value.dimension)
    return value.amount / total if total else None
