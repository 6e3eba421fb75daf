"""The outcome of each fault, as it is reported."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from rework.touch.failures import Fault
from rework.touch.fuses import Overload
from rework.touch.notes import Setting, notes
from rework.touch.person import MeasuringNetwork


class Rank(IntEnum):
    """The outcome of a fault in one state, the worst last."""

    UNDER = 0
    CLEARED = 1
    BREAKER = 2
    OVER = 3

    @property
    def word(self) -> str:
        """The verdict as a word."""
        return self.name.lower()


#: The verdicts, the worst first.
VERDICTS = ("over", "not known", "breaker", "cleared", "under")


@dataclass(frozen=True, slots=True)
class Ended:
    """What ends a fault: ``line_amps`` drawn from the outlet; of the fuse that carries most of its
    rating, ``amps``, ``rating``, the ``seconds`` within which its standard has it open (infinite:
    none promised), what it ``breaks`` and by which ``standard``. ``fuse`` is empty without one.
    """

    line_amps: float
    fuse: str = ""
    amps: float = 0.0
    rating: float = 0.0
    seconds: float = math.inf
    breaks: float = 0.0
    standard: str = ""

    @property
    def is_beyond_breaking(self) -> bool:
        """Whether the fuse has to break more amperes than it can."""
        return bool(self.fuse) and math.isfinite(self.seconds) and self.amps > self.breaks


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one fault does: amperes rms, volts rms; direct ones apart.

    ``verdict``: ``over`` (more than the limit flows and nothing in the set or the building ends
    it), ``breaker`` (only the breaker of the building ends it), ``cleared`` (a fuse of the set ends
    it), ``under`` (never more than the limit), ``not known`` (no more, but a value is missing).
    ``reading``, ``volts`` and ``state`` are the worst of that verdict, at the place where the fault
    adds most; ``before`` is the reading there without it, and ``adds`` is true where it matters.
    ``body_amps`` flow through a body by the table of IEC 60479-1 with ``body_volts`` across it.
    ``bond_volts`` are on the metal until a fuse or breaker has opened. ``together`` is the sum of
    the shares of the alternating and the direct limit in one state, and ``only_together`` is true
    where neither current is over its limit alone. ``dc_is_over`` and
    ``adds_alternating`` say which of the two currents it is that matters; ``ended`` has the figures
    of what ends it and ``cleared`` says it in words.
    """

    fault: Fault
    verdict: str
    adds: bool
    node: str
    other: str
    reading: float
    volts: float
    body_amps: float
    body_volts: float
    before: float
    bond_volts: float
    dc_amps: float
    dc_volts: float
    dc_node: str
    dc_other: str
    dc_is_over: bool
    adds_alternating: bool
    together: float
    state: str
    condition: str
    only_together: bool
    ended: Ended
    cleared: str
    prevented: str


@dataclass(frozen=True, slots=True)
class FaultReport:
    """All single faults of a circuit, worst first; ``healthy`` is the worst reading without any
    fault.

    With ``open_conductors`` every fault was also tried with neutral, earth or both open.
    ``building`` are faults of the outlet and not of the set: listed apart, and not counted in the
    exit status. ``overloads`` are the transformers that a fuse protects from shorts only.
    """

    title: str
    line: str
    network: MeasuringNetwork
    limit_amps: float
    outcomes: tuple[Outcome, ...]
    building: tuple[Outcome, ...]
    overloads: tuple[Overload, ...]
    healthy: float
    unknown: tuple[str, ...]
    states: int
    varied: str
    assumed: Mapping[str, float]
    open_conductors: bool
    setting: Setting
    body: str = ""
    usual: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person has to know before the figures are used, in sentences."""
        return notes(self.setting, self.healthy)

    @property
    def exit_status(self) -> int:
        """1 where any fault of the set leaves more than the limit, a missing value leaves it open,
        the set is over the limit without one, or none could be tried; else 0.
        """
        return int(
            not self.outcomes
            or self.healthy > self.limit_amps
            or any(outcome.verdict in ("over", "not known") for outcome in self.outcomes)
        )


def ended_words(rank: Rank, alternating: Rank, ended: Ended, bond: float) -> str:
    """Return what ends a fault, as a phrase; ``bond`` volts are on the metal until then."""
    until = f"; until then the metal is at {bond:.3g} V" if bond else ""
    fuse = ended.fuse
    if rank is Rank.UNDER:
        return "nothing to clear"
    if rank is Rank.CLEARED:
        if math.isinf(ended.seconds) or ended.is_beyond_breaking:
            return "a fuse of the set opens" + until
        return f"{fuse} opens within {seconds_words(ended.seconds)} ({fuse_words(ended)}){until}"
    if rank is Rank.BREAKER:
        beyond = f", {beyond_words(ended)}" if ended.is_beyond_breaking else ""
        return f"only the breaker of the building, {ended.line_amps:.3g} A{beyond}{until}"
    if alternating < rank:
        return "nothing: the direct current flows on the isolated side, where no fuse carries it"
    if not fuse:
        return f"nothing: there is no fuse; {ended.line_amps:.3g} A from the outlet"
    if not ended.rating:
        return f"not known: {fuse} has no rating written"
    if ended.is_beyond_breaking:
        return f"nothing: {beyond_words(ended)}"
    if math.isfinite(ended.seconds):
        return (
            f"nothing in time: {fuse} may take {seconds_words(ended.seconds)}, or the current goes"
            " on after it has opened"
        )
    return f"nothing: {fuse} carries {ended.amps:.3g} A (rating {ended.rating:g} A)"


def fuse_words(ended: Ended) -> str:
    """Return the amperes of a fuse, its rating and its standard."""
    return f"{ended.amps:.3g} A, rating {ended.rating:g} A, {ended.standard}"


def beyond_words(ended: Ended) -> str:
    """Return that a fuse is to break more than it can, and what to fit instead."""
    return (
        f"{ended.fuse} would have to break {ended.amps:.3g} A and can break {ended.breaks:.3g} A"
        f" ({ended.standard}): fit one of high breaking capacity (1500 A, ceramic)"
    )


def seconds_words(seconds: float) -> str:
    """Return seconds or minutes, as a standard states them."""
    if math.isinf(seconds):
        return "no time that its standard states"
    if seconds > 120:
        return f"{seconds / 60:.3g} min"
    return f"{seconds:.3g} s"
