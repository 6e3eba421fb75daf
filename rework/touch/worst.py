"""The worst of every fault at every place where a person can touch, kept while states are tried."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from rework.touch.network import Floats, Integers, Numbers
from rework.touch.search import ALIKE

Flags: TypeAlias = NDArray[np.bool_]


class WorstOfFaults:
    """The worst of every fault at every port so far, (faults, ports): the outcome of it, amperes,
    volts, ohms, and the state.
    """

    def __init__(self, faults: int, ports: int) -> None:
        shape = (faults, ports)
        self.rank, self.amps, self.volts = np.full(shape, -1), np.full(shape, -1.0), np.zeros(shape)
        self.ohms = np.zeros(shape, complex)
        self.row, self.combo, self.feed = (np.zeros(shape, int) for _ in range(3))
        self.line_amps, self.fuse_amps = np.zeros(shape), np.zeros(shape)
        self.fuse = np.full(shape, -1)

    def keep(
        self,
        at: tuple[Integers, Integers],
        rank: Integers,
        amps: Floats,
        volts: Floats,
        ohms: Numbers | None = None,
    ) -> tuple[Flags, tuple[Integers, ...]]:
        """Keep what is worse; arrays are (rows, combinations, faults, ports, feeds), and ``at`` are
        the places of these faults (faults, 1) and ports (ports).

        Return which changed, and their places.
        """
        shape = rank.shape
        highest = rank.max(axis=(0, 1, 4))
        mine = np.where(rank == highest[:, :, None], amps, -1.0)
        alike = mine >= mine.max(axis=(0, 1, 4))[:, :, None] * (1 - ALIKE)
        first = np.moveaxis(alike, (2, 3), (0, 1)).reshape(*shape[2:4], -1).argmax(axis=2)
        row, combo, feed = np.unravel_index(first, (shape[0], shape[1], shape[4]))
        where = (row, combo, *np.ogrid[: shape[2], : shape[3]], feed)
        value = mine[where]
        known, was = self.rank[at], self.amps[at]
        better: Flags = (highest > known) | (highest == known) & (value > was * (1 + ALIKE))
        pairs: list[tuple[NDArray[Any], NDArray[Any]]] = [
            (self.rank, highest),
            (self.amps, value),
            (self.volts, np.broadcast_to(volts, shape)[where]),
        ]
        if ohms is not None:
            pairs.append((self.ohms, np.broadcast_to(ohms, shape)[where]))
        for array, new in pairs:
            array[at] = np.where(better, new, array[at])
        return better, (row, combo, feed)
