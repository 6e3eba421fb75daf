"""The states in which faults do most at every place within reach: where tolerances are then turned.

Arrays are (rows, combinations, faults, ports, feeds) unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from rework.touch.network import Floats, Integers
from rework.touch.search import ALIKE, LEAST_SHARE
from rework.touch.study import FEEDS

#: Tolerances are turned in so many states of a port under a fault.
MOST_STATES = 2


class FaultStateKey(NamedTuple):
    """Places of a row, a combination and a feed, and the volts of the rectifiers in that state."""

    row: int
    combo: int
    feed: int
    given: tuple[float, ...] = ()


class FaultStates:
    """The largest currents so far of every fault at every port in each row and feed: ``amps`` and
    the place of the combination, (faults, ports, rows, feeds); where they are direct ones
    ``given``, (faults, ports, rows, feeds, rectifiers), is what the rectifiers give, no number
    where one of them is off.
    """

    def __init__(self, faults: int, ports: int, rows: int, rectifiers: int = 0) -> None:
        shape = (faults, ports, rows, len(FEEDS))
        self.amps, self.combo = np.zeros(shape), np.zeros(shape, int)
        self.given = np.zeros((*shape, rectifiers))

    def keep(
        self,
        at: tuple[Integers, Integers],
        first: int,
        feeds: Sequence[int],
        amps: Floats,
        given: Floats | None = None,
    ) -> None:
        """Keep the largest of the combinations of some rows, the ``first`` of which has that place.

        ``at`` are the places of the faults (faults, 1) and ports (ports); ``given`` is (rows,
        combinations, faults, feeds, rectifiers).
        """
        if not amps.any():
            return
        rows = np.arange(first, first + amps.shape[0])
        where = np.ix_(at[0].ravel(), at[1], rows, np.array(feeds))
        combo = amps.argmax(axis=1)
        most = np.take_along_axis(amps, combo[:, None], axis=1)[:, 0]
        self.amps[where], self.combo[where] = np.moveaxis(most, 0, 2), np.moveaxis(combo, 0, 2)
        if given is not None:
            row, fault, _, feed = np.ogrid[tuple(slice(length) for length in combo.shape)]
            self.given[where] = np.moveaxis(given[row, combo, fault, feed], 0, 2)

    def largest(self, fault: int, port: int) -> Iterator[FaultStateKey]:
        """Return the states with the largest currents of a fault at a port, those that are alike
        once.
        """
        amps = self.amps[fault, port].ravel()
        kept: list[float] = []
        for place in np.argsort(-amps, kind="stable"):
            value = float(amps[place])
            if value <= 0 or (kept and value < LEAST_SHARE * kept[0]) or len(kept) == MOST_STATES:
                return
            if kept and kept[-1] - value <= ALIKE * kept[-1]:
                continue
            kept.append(value)
            row, feed = divmod(int(place), len(FEEDS))
            combo = int(self.combo[fault, port, row, feed])
            given = tuple(self.given[fault, port, row, feed].tolist())
            yield FaultStateKey(row, combo, feed, given)
