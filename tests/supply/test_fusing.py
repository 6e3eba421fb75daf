"""The fuse of a new supply: large enough for what it carries, small enough for what is behind it."""

from __future__ import annotations

from math import inf

import pytest

from rework.supply.fusing import bplus_fuse, line_fuse
from rework.supply.stock import Shelf, StockFuse


def shelf(*fuses: tuple[float, str, float]) -> Shelf:
    return Shelf(
        tuple(
            StockFuse(name=f"F {amps}", amps=amps, speed=speed, volts=volts, price=1.0)
            for amps, speed, volts in fuses
        )
    )


@pytest.mark.parametrize(
    ("listed", "carried", "primary", "amps"),
    [
        ((0.315, 0.5, 1.0), 0.2, 0.3, 0.315),  # 1.5 times what it carries, no less
        ((0.25, 0.5), 0.2, 0.3, 0.5),
        ((1.5,), 0.2, 0.5, 1.5),  # three times the primary current, the NEC's limit, no more
        ((1.6,), 0.2, 0.5, 0.315),  # to be ordered
        ((2.0,), 0.2, inf, 2.0),  # a motor hangs on the line too: no limit is known
        ((), 0.2, 0.3, 0.315),
    ],
)
def test_the_line_fuse_is_the_least_that_the_transformer_bears(listed, carried, primary, amps):
    on_hand = shelf(*((each, "slow", 250.0) for each in listed))
    assert line_fuse(on_hand, carried, primary, 117.0).amps == amps


def test_one_of_too_few_volts_or_too_quick_stays_on_the_shelf():
    on_hand = shelf((0.5, "slow", 125.0), (0.5, "fast", 250.0))
    assert not line_fuse(on_hand, 0.2, 0.3, 230.0).listed
    assert not bplus_fuse(on_hand, 0.1, 300.0).listed
    assert bplus_fuse(on_hand, 0.1, 200.0).listed
