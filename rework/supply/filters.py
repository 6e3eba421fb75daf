"""The filters that the stock list allows, and the bleeder across them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.supply.sources import Wishes
from rework.supply.stock import Shelf, StockCapacitor, StockChoke

Floats = NDArray[np.float64]
#: Seconds to 60 V that the bleeder is chosen for, and the volts: the tool's own choice; no standard
#: names a time for what is inside a closed chassis.
BLEED_SECONDS, BLEED_VOLTS = 60.0, 60.0
#: Filter capacitors are at least of these volts and farads.
LEAST_VOLTS, LEAST_FARADS = 100.0, 4e-6


@dataclass(frozen=True)
class Behind:
    """One filter: which capacitors by farads, and which choke.

    The second capacitor and a series resistor are found for each source.
    """

    filter: str
    farads: float
    choke: StockChoke | None = None


def filter_capacitors(shelf: Shelf) -> dict[float, float]:
    """Return the farads that filter capacitors are on the list with, and the most volts of each."""
    volts: dict[float, float] = {}
    for item in shelf.of(StockCapacitor):
        if item.volts >= LEAST_VOLTS and item.farads >= LEAST_FARADS:
            volts[item.farads] = max(item.volts, volts.get(item.farads, 0.0))
    return dict(sorted(volts.items()))


def filters(shelf: Shelf, wishes: Wishes) -> tuple[Behind, ...]:
    """Return every filter that the list allows: first capacitors by farads, each alone, with a
    resistor, and with each choke.
    """
    farads = tuple(filter_capacitors(shelf))
    chokes = shelf.of(StockChoke)
    behinds = [Behind(name, each) for name in ("C", "C-R-C") for each in farads]
    behinds += [Behind("C-L-C", each, choke) for each in farads for choke in chokes]
    behinds += [Behind("L-C", 0.0, choke) for choke in chokes]
    return tuple(behind for behind in behinds if behind.filter in wishes.filters)


def bleeder_ohms(farads: float | Floats, volts: float | Floats) -> Floats:
    """Return the most ohms that bring ``farads`` from ``volts`` to 60 V within the time of
    ``BLEED_SECONDS``: t = R C ln(V/60).
    """
    return np.asarray(BLEED_SECONDS / (farads * np.log(np.maximum(volts / BLEED_VOLTS, 1.05))))
