"""Some faults in some rows, and what is found out about them on the way to a verdict.

Arrays are (rows, combinations, faults, ports, feeds) unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rework.touch.effects import Effects
from rework.touch.failures import Fault
from rework.touch.network import Floats, Integers
from rework.touch.study import Row
from rework.touch.worst import Flags

#: The feed of an outlet wired the wrong way round.
WRONG = 2


@dataclass(frozen=True, slots=True)
class FaultCase:
    """Some faults of one rank in some rows: their ``numbers`` and their ``places`` in ``effects``
    (faults); ``at``, the ports that are looked at (ports); and ``feeds``. ``fed`` (rows, 1, faults,
    ports, feeds) is where there is a feed and the port is in reach, ``void`` (1, combinations,
    faults, 1, 1) what a fault leaves no room for. ``chosen`` are their places in the case that they
    were taken from.
    """

    effects: Effects
    faults: list[Fault]
    numbers: Integers
    places: Integers
    at: Integers
    feeds: list[int]
    fed: Flags
    void: Flags
    chosen: Integers | None = None

    @property
    def cells(self) -> tuple[Integers, Integers]:
        """Where they are in an array of (faults, ports)."""
        return self.numbers[:, None], self.at

    @property
    def there(self) -> Flags:
        """The states there are, (rows, combinations, faults, ports, feeds)."""
        return self.fed & ~self.void

    def some(self, chosen: Integers) -> FaultCase:
        """Return some of the faults."""
        return FaultCase(
            self.effects,
            [self.faults[number] for number in chosen],
            self.numbers[chosen],
            self.places[chosen],
            self.at,
            self.feeds,
            self.fed[:, :, chosen],
            self.void[:, :, chosen],
            chosen,
        )


@dataclass(frozen=True, slots=True)
class DirectShares:
    """Direct current in one state whatever conducts, (rows, 1, faults, ports, feeds): shares of
    60 V and of 2 mA, the share that is left after fuses have opened, and whether fuses or the
    breaker surely end it.
    """

    volts: Floats
    amps: Floats
    left: Floats
    opened: Flags
    tripped: Flags

    def some(self, chosen: Integers) -> DirectShares:
        """Return that of some of the faults."""
        return DirectShares(
            self.volts[:, :, chosen],
            self.amps[:, :, chosen],
            self.left[:, :, chosen],
            self.opened[:, :, chosen],
            self.tripped[:, :, chosen],
        )


@dataclass(frozen=True, slots=True)
class FaultEnding:
    """What ends faults: amperes in every fuse and whether it opens, (rows, combinations, faults,
    fuses, feeds); amperes from the outlet and whether the breaker trips, without the fuses.
    """

    carried: Floats
    opens: Flags
    drawn: Floats
    trips: Flags

    def some(self, chosen: Integers) -> FaultEnding:
        """Return that of some of the faults."""
        return FaultEnding(
            self.carried[:, :, chosen],
            self.opens[:, :, chosen],
            self.drawn[:, :, chosen],
            self.trips[:, :, chosen],
        )


def fed_under(rows: Sequence[Row], faults: Sequence[Fault], feeds: Sequence[int]) -> Flags:
    """Return the feeds there are in each row under each fault, (rows, faults, 1, feeds)."""
    return np.array(
        [
            [
                [
                    fault.earth_hot and row.blades == "both"
                    if feed == WRONG
                    else feed in row.feeds() and not fault.earth_hot
                    for feed in feeds
                ]
                for fault in faults
            ]
            for row in rows
        ],
        bool,
    ).reshape(len(rows), len(faults), 1, len(feeds))
