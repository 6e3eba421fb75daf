"""The equations of a small network as stacks of square matrices: quicker than sparse ones under
``LARGE`` unknowns.

What is for larger ones (``sparse``, ``turn``) is imported where it is needed: scipy takes longer to
load than most sets to solve.
"""

from __future__ import annotations

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.network import Network

#: Unknowns from which a circuit counts as large.
LARGE = 64


class Dense:
    """Stacks of square matrices with the methods of ``sparse.Sparse``."""

    def __init__(self, network: Network) -> None:
        self.network = network

    def conductances(self, factors: Floats | None, samples: int) -> Floats:
        """Return G for every sample (samples, n, n)."""
        return np.broadcast_to(
            self.network.conductances(factors), (samples, self.network.n, self.network.n)
        )

    def diagonal(self, values: Floats) -> Floats:
        """Return what adds these to the diagonal."""
        return np.diag(values)

    def times(self, g: Floats, x: Floats, currents: Floats) -> Floats:
        """Return what each sample's conductances take at its unknowns (samples, n), and its device
        currents (samples, m) with it.
        """
        taken: Floats = np.einsum("sij,sj->si", g, x) + currents @ self.network.reads
        return taken

    def steps(self, g: Floats, slopes: Floats, excess: Floats) -> Floats:
        """Return the Newton step of every sample for its device slopes (samples, entries).

        Raises LinAlgError where a matrix has no inverse.
        """
        reads = self.network.reads
        jac = g + reads.T @ (self.network.squares(slopes) @ reads)
        step = np.linalg.solve(jac, excess[:, :, None])[:, :, 0]
        return step.astype(np.float64, copy=False)
