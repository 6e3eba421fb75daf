"""Which fuse of the list protects a transformer: one home for new supplies and isolating
transformers.

A slow fuse of 1.5 to 2 times the current it carries (M. Blencowe, valvewizard.co.uk/fuses.html),
and never more than the check allows for the transformer behind it (``safety/protection.py``).
"""

from __future__ import annotations

from math import inf

from rework.circuit.preferred import FUSES, rating
from rework.safety.protection import MOST_TIMES
from rework.supply.stock import Shelf, StockFuse

#: A fuse is this many times the current it carries; one up to the second figure is looked for that
#: stands the switch.
FUSE_TIMES, FUSE_MOST = 1.5, 2.0
#: What a fuse may be asked to let through at the switch, of its melting I2t: half, for the next
#: thousand times (common practice, no source).
FUSE_SHARE = 0.5


def line_fuse(
    shelf: Shelf | None, carried: float, primary: float, volts: float, i2t: float = 0.0
) -> StockFuse:
    """Return the slow fuse for a line that carries ``carried`` amps RMS at most, on ``volts``.

    ``primary`` is the full-load current of the transformers behind it in amps, infinite where the
    line feeds something else as well; ``i2t`` (A2s) is what goes through it at the switch.
    """
    return _fuse(shelf, carried, MOST_TIMES * primary, "slow", volts, i2t)


def bplus_fuse(shelf: Shelf | None, carried: float, volts: float) -> StockFuse:
    """Return the fuse for B+, rated for its ``volts`` of direct current."""
    return _fuse(shelf, carried, inf, "", volts, 0.0)


def _fuse(
    shelf: Shelf | None, carried: float, most: float, speed: str, volts: float, i2t: float
) -> StockFuse:
    """Return the least fuse of the list between 1.5 times what it carries and ``most``: within
    twice that one that stands the switch, if there is one; else the one to order.
    """
    least = FUSE_TIMES * carried
    fits = [
        item
        for item in (shelf.of(StockFuse) if shelf else ())
        if least <= item.amps <= most
        and item.speed == (speed or item.speed)
        and item.volts >= volts
    ]
    if fits:
        stands = [
            item
            for item in fits
            if item.amps <= FUSE_MOST * carried and item.i2t and FUSE_SHARE * item.i2t >= i2t
        ]
        return min(stands or fits, key=lambda item: (item.amps, item.cost, item.name))
    return StockFuse(
        volts=250.0 if volts <= 250 else 500.0,
        amps=rating(least, FUSES) or FUSES[-1],
        speed=speed or "slow",
    )
