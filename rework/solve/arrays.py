"""Names for the arrays of this room; shapes are in the docstrings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
