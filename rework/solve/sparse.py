"""What is sparse in the equations of a large circuit: most parts are linear, constant and touch two
nodes; the devices are few.

Conductances, storage and device slopes are on one pattern and cost what they hold. ``dense.Dense``
has the same methods for small circuits.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np
from scipy.sparse import csc_array, csr_array
from scipy.sparse.linalg import splu

from rework.solve.arrays import Floats
from rework.solve.network import Network


class Factors(Protocol):
    """What a sparse factorisation can do."""

    def solve(self, rhs: Floats, trans: str = "N") -> Any:  # noqa: ANN401  real or complex
        """Return the solution, of the transposed matrix with ``trans`` "T"."""


class Sparse:
    """The equations of a network on one pattern: ``g`` and ``c`` hold what is there,
    ``devices`` what slopes add, ``ohmic`` what siemens add.
    """

    def __init__(self, network: Network) -> None:
        self.n = n = network.n
        self.network = network
        reads = network.reads
        ends = [np.nonzero(row)[0] for row in reads]
        stamps = [
            (j * n + i, e, reads[p, i] * reads[q, j])
            for e, (p, q) in enumerate(zip(*network.entries, strict=True))
            for i in ends[p]
            for j in ends[q]
        ]
        parts = [
            (int(j) * n + int(i), k, row[i] * row[j])
            for k, row in enumerate(network.ohmic_at)
            for at in [np.nonzero(row)[0]]
            for i in at
            for j in at
        ]
        still = np.flatnonzero((network.g.T != 0) | (network.c.T != 0))
        self.keys = np.unique(
            np.concatenate(
                [still, [key for key, _, _ in stamps + parts], np.arange(n) * (n + 1)]
            ).astype(np.int64)
        )
        self.rows, self.columns = self.keys % n, self.keys // n
        self.starts = np.searchsorted(self.columns, np.arange(n + 1))
        self.g, self.c = network.g[self.rows, self.columns], network.c[self.rows, self.columns]

        def added(entries: Sequence[tuple[int, int, float]], width: int) -> csr_array:
            keys, at, values = zip(*entries, strict=True) if entries else ((), (), ())
            return csr_array(
                (
                    np.array(values, float),
                    (np.searchsorted(self.keys, np.array(keys, np.int64)), np.array(at, np.int64)),
                ),
                shape=(len(self.keys), width),
            )

        self.devices, self.ohmic = (
            added(stamps, len(network.entries[0])),
            added(parts, len(network.ohmic)),
        )
        self.reads = csr_array(reads)
        self.into = csr_array(
            (np.ones(len(self.keys)), (self.rows, np.arange(len(self.keys)))),
            shape=(n, len(self.keys)),
        )

    def factored(self, data: Floats) -> Factors:
        """Return what solves the matrix of these entries.

        Raises LinAlgError where it has no inverse.
        """
        try:
            factors: Factors = splu(
                csc_array((data, self.rows, self.starts), shape=(self.n, self.n)),
                permc_spec="MMD_AT_PLUS_A",
            )
            return factors
        except RuntimeError as error:
            raise np.linalg.LinAlgError(str(error)) from error

    def conductances(self, factors: Floats | None, samples: int) -> Floats:
        """Return the entries of G for every sample (samples, entries), as ``Network.conductances``
        has them.
        """
        if factors is None:
            return np.broadcast_to(self.g, (samples, len(self.g)))
        network, count = self.network, len(self.network.ohmic)
        siemens = 1 / np.array([branch.value for branch in network.ohmic])
        data: Floats = self.g + (self.ohmic @ (siemens / factors[:, :count] - siemens).T).T
        if factors.shape[1] > count:
            rows = np.array([network.rows[coil.row] for coil in network.coils], np.int64)
            data[:, np.searchsorted(self.keys, rows * (self.n + 1))] -= (
                factors[:, count:] - 1
            ) * np.array([coil.ohms for coil in network.coils])
        return data

    def diagonal(self, values: Floats) -> Floats:
        """Return what adds these to the diagonal."""
        data = np.zeros(len(self.keys))
        data[self.rows == self.columns] = values
        return data

    def times(self, data: Floats, x: Floats, currents: Floats) -> Floats:
        """Return what each sample's conductances take at its unknowns (samples, n), and its device
        currents (samples, m) with it.
        """
        taken: Floats = (self.into @ (data * x[:, self.columns]).T + self.reads.T @ currents.T).T
        return taken

    def steps(self, data: Floats, slopes: Floats, excess: Floats) -> Floats:
        """Return the Newton step of every sample for its device slopes (samples, entries).

        Raises LinAlgError where a matrix has no inverse.
        """
        whole = data + (self.devices @ slopes.T).T
        return np.stack(
            [
                self.factored(matrix).solve(right)
                for matrix, right in zip(whole, excess, strict=True)
            ]
        )
