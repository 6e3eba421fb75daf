"""What the search keeps of a port: the worst states, and the worst at the corner of tolerances."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from rework.touch.study import Combo, Row


class StateKey(NamedTuple):
    """A state with all that varies settled; ``leaks`` as in ``PortState``."""

    row: Row
    combo: Combo
    leaks: bool | None = None


@dataclass(frozen=True, slots=True)
class PortState:
    """One state of the set, and what a port has in it at the base corner: amperes, volts, ohms.

    Where the amperes are direct ones, ``given`` are the volts that every rectifier gives, ``leaks``
    is whether the leakage of capacitors counts (None where they alternate), and ``off`` whether a
    rectifier is off.
    """

    amps: float
    volts: complex
    ohms: complex
    row: Row
    combo: Combo
    feed: int
    given: tuple[float, ...] = ()
    leaks: bool | None = None
    off: bool = False

    @property
    def key(self) -> StateKey:
        """Which matrix it is read off."""
        return StateKey(self.row, self.combo, self.leaks)


#: States with their weights, the largest first.
Ranked = list[tuple[float, PortState]]


@dataclass(frozen=True, slots=True)
class Found:
    """The worst of one port: the state, with volts and ohms at the worst corner of its tolerances,
    and the parts that are at the end that passes less.
    """

    state: PortState
    volts: complex
    ohms: complex
    less: tuple[int, ...] = ()


@dataclass(slots=True)
class Worst:
    """The worst states of one port so far, alternating and direct, the largest first.

    ``may_count`` and ``direct_may_count`` are those with most amperes whose volts tolerances may
    lift over the least that counts. ``unproved`` is the most with insulation broken down,
    ``together`` the largest sum of shares of both limits.
    """

    alternating: Ranked = field(default_factory=list)
    may_count: Ranked = field(default_factory=list)
    direct: Ranked = field(default_factory=list)
    direct_may_count: Ranked = field(default_factory=list)
    unproved: float = 0.0
    together: float = 0.0
    together_state: str = ""

    @property
    def ranked(self) -> Ranked:
        """All of these states."""
        return [
            *self.alternating,
            *self.may_count,
            *self.direct,
            *self.direct_may_count,
        ]
