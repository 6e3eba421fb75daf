"""Names for the arrays of this room, whose shapes are in the docstrings, and their percentiles."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


def percentiles(values: Floats, shares: Sequence[float]) -> Floats:
    """Return percentiles of values (samples), as ``numpy.percentile`` does, which loads masked
    arrays for it: they take longer than most of our sums.
    """
    ordered = np.sort(values)
    places = np.array(shares) / 100 * (len(ordered) - 1)
    between: Floats = np.interp(places, np.arange(len(ordered)), ordered)
    return between
