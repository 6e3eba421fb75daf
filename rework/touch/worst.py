"""The worst of every fault at every place where a person can touch, kept while states are tried."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from rework.touch.network import Floats, Integers, Numbers
from rework.touch.search import ALIKE

Flags: TypeAlias = NDArray[np.bool_]


class WorstOfFaults:
    """The worst of every fault at every port so far, (faults, ports): what becomes of it, amperes,
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
        numbers: Sequence[int],
        rank: Integers,
        amps: Floats,
        volts: Floats,
        ohms: Numbers | None = None,
    ) -> tuple[Flags, tuple[Integers, ...]]:
        """Keep what is worse; arrays are (rows, combinations, faults, ports, feeds).

        Return which changed, and their places.
        """
        rows, combos, faults, ports, feeds = rank.shape

        def flat(array: NDArray[Any]) -> NDArray[Any]:
            wide = np.broadcast_to(array, rank.shape)
            return np.moveaxis(wide, (2, 3), (0, 1)).reshape(faults, ports, -1)

        highest = flat(rank).max(axis=2)
        mine = np.where(flat(rank) == highest[..., None], flat(amps), -1.0)
        first = (mine >= mine.max(axis=2, keepdims=True) * (1 - ALIKE)).argmax(axis=2)[..., None]
        value = np.take_along_axis(mine, first, axis=2)[..., 0]
        known, was = self.rank[numbers], self.amps[numbers]
        better: Flags = (highest > known) | (highest == known) & (value > was * (1 + ALIKE))
        pairs: list[tuple[NDArray[Any], NDArray[Any]]] = [
            (self.rank, highest),
            (self.amps, value),
            (self.volts, np.take_along_axis(flat(volts), first, axis=2)[..., 0]),
        ]
        if ohms is not None:
            pairs.append((self.ohms, np.take_along_axis(flat(ohms), first, axis=2)[..., 0]))
        for array, new in pairs:
            array[numbers] = np.where(better, new, array[numbers])
        return better, np.unravel_index(first[..., 0], (rows, combos, feeds))
