"""Tolerances under faults: what was kept of each fault is brought to the corner that is worst for
the hand.

The states were found with every part at the end of its tolerance that passes more; here the parts
are turned by the sign of their sensitivities, as ``touch`` does it. What ends a fault is looked at
again at that corner and at the one where its fuse carries least.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rework.touch.corners import PortCorner, alternating_weight, direct_weight
from rework.touch.direct import Direct
from rework.touch.fault_corners import FaultMatrices, FaultMatrix, carried
from rework.touch.fault_report import ruling
from rework.touch.fault_states import FaultStateKey
from rework.touch.network import UNIT, Floats, Numbers
from rework.touch.outcomes import Rank
from rework.touch.person import limit
from rework.touch.search import ALIKE, LEAST_SHARE
from rework.touch.study import FEEDS
from rework.touch.verdicts import Judge

#: The place of what flows without a fault.
HEALTHY = -1


@dataclass(frozen=True, slots=True)
class _Turned:
    """A fault at one port in one state at its worst corner."""

    state: FaultStateKey
    rank: Rank
    amps: float
    volts: float
    ohms: complex
    fuse: int = -1
    fuse_amps: float = 0.0
    line_amps: float = 0.0

    @property
    def order(self) -> tuple[int, float]:
        return self.rank, self.amps


def turn(judge: Judge, *, figures: bool = True) -> None:
    """Bring what a judge has kept to the worst corner of tolerances.

    Without ``figures`` only what may change a verdict is looked at.
    """
    if not judge.rows:  # nothing is within reach
        return
    turning = _Turning(judge, figures=figures)
    for number in range(len(judge.every)):
        port_shown, steady_shown = turning.shown(number)
        for port in turning.alternating_ports(number, port_shown):
            turning.alternating(number, port)
        for port in turning.direct_ports(number, steady_shown):
            turning.direct(number, port)
        turning.together(number)


class _Turning:
    """The worst corners of the faults that a judge has weighed."""

    def __init__(self, judge: Judge, *, figures: bool) -> None:
        self.judge, self.study, self.figures = judge, judge.study, figures
        self.steady = Direct(judge.study) if judge.study.rectifiers else None
        #: The most of every fault at every port, (faults, ports).
        self.amps, self.direct_amps = (
            np.maximum(*(states.amps.max(axis=(2, 3)) for states in both))
            for both in (judge.states, judge.direct_states)
        )
        looked_at = [
            number for number in range(len(judge.every)) if figures or self._is_open(number)
        ]
        self.matrices = FaultMatrices(judge.probe, judge.every, judge.rows, judge.combos, looked_at)
        self.person_ohms = judge.person.impedance(judge.study.hertz)
        self.weight = alternating_weight(self.person_ohms)
        self.direct_weight = direct_weight(judge.direct_ohms)
        self._healthy: set[tuple[str, int]] = set()
        #: Corners of states that a fault leaves as they are, by the state and the port.
        self._corners: dict[tuple[object, ...], tuple[FaultMatrix, PortCorner]] = {}

    # which ports

    def shown(self, number: int) -> tuple[int, int]:
        """Return the ports whose figures a fault is reported with; -1 where nothing hangs on them:
        no figures are asked for, and the fault is over as it stands.
        """
        if not self.figures and not self._is_over_somewhere(number):
            return -1, -1
        ruled = ruling(self.judge, number)
        if not self.figures and ruled.rank is Rank.OVER:
            return -1, -1
        return ruled.port, ruled.steady

    def _is_over_somewhere(self, number: int) -> bool:
        worst, direct = self.judge.worst.rank[number], self.judge.direct.rank[number]
        return bool(max(worst.max(), direct.max()) == Rank.OVER)

    def _is_open(self, number: int) -> bool:
        """Return whether tolerances may change the verdict on a fault."""
        over = self._is_over_somewhere(number)
        return over or bool(self.alternating_ports(number, -1) or self.direct_ports(number, -1))

    def alternating_ports(self, number: int, shown: int) -> list[int]:
        """Return the ports at which tolerances may change the verdict on a fault, and the one
        shown.
        """
        judge = self.judge
        kept = judge.worst.rank[number]
        if kept.max() == Rank.OVER:
            return [shown] if shown >= 0 else []
        may = (self.amps[number] >= LEAST_SHARE * judge.most) | (kept > Rank.UNDER)
        return [port for port in range(len(may)) if may[port] or port == shown]

    def direct_ports(self, number: int, shown: int) -> list[int]:
        """Return the same for direct current."""
        judge = self.judge
        if self.steady is None:
            return []
        kept, most = judge.direct.rank[number], limit("2 DC").amps
        if kept.max() == Rank.OVER:
            return [shown] if shown >= 0 else []
        return np.flatnonzero(self.direct_amps[number] >= LEAST_SHARE * most).tolist()

    # alternating

    def alternating(self, number: int, port: int) -> None:
        """Keep the worst corner of a fault at a port, and of the same without a fault."""
        judge = self.judge
        if number != HEALTHY and ("alternating", port) not in self._healthy:
            self._healthy.add(("alternating", port))
            self.alternating(HEALTHY, port)
        keys = [key for states in judge.states for key in states.largest(number, port)]
        if number != HEALTHY and judge.worst.rank[number, port] == Rank.OVER:
            keys = keys[:1]  # the verdict stands: this is for its figures
        every = [self._alternating(number, port, key) for key in keys]
        if not every:
            return
        worst = max(every, key=lambda turned: turned.order)
        if number == HEALTHY:
            judge.before[port] = max(judge.before[port], worst.amps)
            return
        kept, cell = judge.worst, (number, port)
        if worst.order <= (int(kept.rank[cell]), float(kept.amps[cell]) * (1 + ALIKE)):
            return
        kept.rank[cell], kept.amps[cell], kept.volts[cell] = worst.rank, worst.amps, worst.volts
        kept.ohms[cell], kept.row[cell] = worst.ohms, worst.state.row
        kept.combo[cell], kept.feed[cell] = worst.state.combo, worst.state.feed
        kept.fuse[cell], kept.fuse_amps[cell] = worst.fuse, worst.fuse_amps
        kept.line_amps[cell] = worst.line_amps

    def _alternating(self, number: int, port: int, key: FaultStateKey) -> _Turned:
        judge = self.judge
        matrix = self.matrices.alternating(number, key.row, key.combo)
        source = np.eye(len(FEEDS))[key.feed]
        corner = self._corner(port, key, matrix, source)
        first = self._judged(number, port, key, matrix.at(corner.turned), source)
        if number == HEALTHY or first.rank is not Rank.CLEARED or first.fuse < 0:
            return first
        # Where the fuse carries least it may not open.
        least = matrix.corner(
            len(judge.probe.ports) + first.fuse,
            source,
            self.study.volts,
            _least,
        )
        other = self._judged(number, port, key, matrix.at(least.turned), source)
        return max(first, other, key=lambda turned: turned.order)

    def _corner(
        self, port: int, key: FaultStateKey, matrix: FaultMatrix, source: Floats
    ) -> PortCorner:
        """Return the worst corner of a port; that of the set without a fault where the fault
        changes nothing there.
        """
        name = ("alternating", port, key.row, key.combo, key.feed)
        known = self._corners.get(name)
        if known is not None and matrix.is_alike(known[0], port, source):
            return known[1]
        corner = matrix.corner(port, source, self.study.volts, self.weight)
        self._corners.setdefault(name, (matrix, corner))
        return corner

    def _judged(
        self, number: int, port: int, key: FaultStateKey, matrix: FaultMatrix, source: Floats
    ) -> _Turned:
        """Return the outcome of a fault at one corner."""
        judge = self.judge
        volts, ohms = self._seen(matrix, port, source)
        amps = self._amps(volts, ohms)
        if number == HEALTHY:
            return _Turned(key, Rank.UNDER, amps, volts, ohms)
        flows = carried(matrix, source, self.study.volts)
        ending = judge.ending([judge.every[number]], flows[None, None, None, :, None], [key.feed])
        opens = np.flatnonzero(ending.opens[0, 0, 0, :, 0])
        trips = bool(ending.trips[0, 0, 0, 0])
        left = amps
        for opened in opens.tolist():
            left = min(left, self._amps(*self._seen(matrix.without(opened), port, source)))
        rank = (
            Rank.UNDER
            if amps <= judge.most
            else Rank.CLEARED
            if left <= judge.most
            else Rank.BREAKER
            if trips
            else Rank.OVER
        )
        ratings = np.array([rule.rating or np.inf for rule in judge.rules])
        fuse = int((flows[: len(ratings)] / ratings).argmax()) if len(ratings) else -1
        return _Turned(
            key,
            rank,
            amps,
            volts,
            ohms,
            fuse,
            float(flows[fuse]) if fuse >= 0 else 0.0,
            float(ending.drawn[0, 0, 0, 0]),
        )

    def _seen(self, matrix: FaultMatrix, port: int, source: Floats) -> tuple[float, complex]:
        volts = abs(source @ matrix.sources[:, port]) * self.study.volts
        return float(volts), complex(matrix.mutual[port, port] * UNIT)

    def _amps(self, volts: float, ohms: complex) -> float:
        """Return the amperes through a person, nought where their volts do not count."""
        return volts / abs(ohms + self.person_ohms) if volts * self.judge.peak_share > 1 else 0.0

    # direct

    def direct(self, number: int, port: int) -> None:
        """Keep the worst corner of the direct current of a fault at a port, and of the same without
        a fault.
        """
        judge = self.judge
        if number != HEALTHY and ("direct", port) not in self._healthy:
            self._healthy.add(("direct", port))
            self.direct(HEALTHY, port)
        every = [self._direct(number, port, key) for key in self._direct_keys(number, port)]
        if not every:
            return
        amps, volts = max(every)
        if number == HEALTHY:
            judge.direct_before[port] = max(judge.direct_before[port], amps)
            return
        kept, cell = judge.direct, (number, port)
        if amps <= kept.amps[cell] * (1 + ALIKE):
            return
        kept.amps[cell], kept.volts[cell] = amps, volts
        if amps > limit("2 DC").amps and kept.rank[cell] == Rank.UNDER:
            # What ends the alternating current of the same fault ends this one.
            ended = Rank(max(int(judge.worst.rank[cell]), Rank.UNDER))
            kept.rank[cell] = Rank.OVER if ended is Rank.UNDER else ended

    def _direct_keys(self, number: int, port: int) -> Iterator[FaultStateKey]:
        """Return the states to look at; with a rectifier off its base corner stands."""
        for states in self.judge.direct_states:
            yield from (
                key for key in states.largest(number, port) if not np.isnan(key.given).any()
            )

    def _direct(self, number: int, port: int, key: FaultStateKey) -> tuple[float, float]:
        assert self.steady is not None
        matrix = self.matrices.direct(number, key.row, key.combo, self.steady)
        corner = matrix.corner(port, -np.array(key.given), 1.0, self.direct_weight)
        volts = abs(corner.volts)
        counts = volts > limit("60 V DC").volts
        ohms = corner.ohms.real + self.judge.direct_ohms
        return (volts / ohms if counts else 0.0), volts

    # both

    def together(self, number: int) -> None:
        """Keep the sum of both shares of every port at their corners, where neither is ended."""
        judge = self.judge
        worst, direct = judge.worst, judge.direct
        quiet = (worst.rank[number] == Rank.UNDER) & (direct.rank[number] == Rank.UNDER)
        alone = judge.together[number]
        for port in np.flatnonzero(quiet & (alone > LEAST_SHARE) & (alone <= 1)):
            share = worst.amps[number, port] / judge.most
            share += direct.amps[number, port] / limit("2 DC").amps
            if share > 1 and worst.amps[number, port] > 0:
                judge.together[number, port] = share
                worst.rank[number, port] = Rank.OVER


def _least(amps: Numbers, _ohms: Numbers) -> Floats:
    """Return what is largest where a fuse carries least."""
    weighed: Floats = 1 / np.maximum(abs(amps), np.finfo(float).tiny)
    return weighed
