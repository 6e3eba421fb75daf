"""What each fault does in every state: what a person gets, what ends it, and how many volts are on
the metal until then; the worst is kept.

Arrays are (rows, combinations, faults, ports, feeds) unless said otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rework.touch.effects import DirectEffects, Effects, Probe, void
from rework.touch.failures import Fault
from rework.touch.fault_case import WRONG, DirectShares, FaultCase, FaultEnding, fed_under
from rework.touch.fault_states import FaultStates
from rework.touch.fuses import fuse_rule
from rework.touch.network import UNIT, Floats, Integers, Numbers
from rework.touch.outcomes import Rank
from rework.touch.person import Limit, MeasuringNetwork, limit
from rework.touch.ports import Port, not_paired
from rework.touch.search import LEAST_SHARE
from rework.touch.study import FEEDS, Combo, Row
from rework.touch.worst import Flags, WorstOfFaults

#: A rectifier that is fed through resistances passes no less than this share of its peak volts over
#: them, and takes no less than this share of their power: those of half a sine are 1/pi and 1/4.
SURELY_RECTIFIED = 1 / 4
#: Direct volts of no more than this share of 60 V add nothing to others.
LITTLE = 0.01


class Judge:
    """Keeps the worst of every fault over all states, and says the outcome of each."""

    def __init__(
        self,
        probe: Probe,
        person: MeasuringNetwork,
        least: Limit,
        every: Sequence[Fault],
        combos: tuple[Combo, ...],
        *,
        figures: bool = True,
    ) -> None:
        self.probe, self.study, self.person, self.least = probe, probe.study, person, least
        #: Whether the figures of faults are asked for as well, not their verdicts alone.
        self.figures = figures
        self.every, self.combos = every, combos
        study, count = probe.study, len(probe.ports)
        self.worst, self.direct = WorstOfFaults(len(every), count), WorstOfFaults(len(every), count)
        self.before, self.direct_before = np.zeros(count), np.zeros(count)
        self.together = np.zeros((len(every), count))
        self.bond = np.zeros(len(every))
        # The last is without a fault.
        shape = len(every) + 1, count, len(study.rows)
        #: Where alternating and direct current are largest: of those whose volts count, and of
        #: those whose volts tolerances may lift so far.
        self.states = FaultStates(*shape), FaultStates(*shape)
        rectifiers = len(study.rectifiers)
        self.direct_states = FaultStates(*shape, rectifiers), FaultStates(*shape, rectifiers)
        self.rows: list[Row] = []
        self.void = void(study, every, combos)
        line = study.circuit.mains.volts if study.circuit.mains else None
        parts = [study.circuit.by_name[study.elements[number].part] for number in probe.fuses]
        self.rules = [fuse_rule(part, line) for part in parts]
        self.unknown = (*study.model.unknown, *not_paired(probe.ports))
        self.direct_ohms = person.impedance(0.0).real
        #: Of volts RMS, shares of 35 V peak.
        self.peak_share = math.sqrt(2) / limit("35 V peak").volts
        self.most = least.rms_amps / person.per_ampere(study.hertz)
        self.reached = np.array(
            [[_can_touch(port, fault) for port in probe.ports] for fault in every], bool
        ).reshape(len(every), count)

    def healthy(self, rows: tuple[Row, ...], effects: Effects) -> None:
        """Keep the worst current of every port without a fault; comes before the faults of the same
        rows.
        """
        self.rows += rows
        ports, at = effects.probe.ports, self._places(effects.probe)
        count = len(ports)
        fed = np.array([[feed in row.feeds() for feed in range(len(FEEDS))] for row in rows])
        reached = np.array([not port.pulled for port in ports], bool)
        there = fed[:, None, None] & reached[:, None]
        volts = abs(effects.found.across[:, :, :count, : len(FEEDS)]) * self.study.volts
        flow = self._flow(volts, effects.found.own[:, :, :count] * UNIT) * there
        amps = np.where(volts * self.peak_share > 1, flow, 0.0)
        self.before[at] = np.maximum(self.before[at], amps.max(axis=(0, 1, 3)))
        cells = np.array([[-1]]), at
        self._keep_states(
            self.states,
            cells,
            range(len(FEEDS)),
            (flow * (volts > 0))[:, :, None],
            (volts * self.peak_share)[:, :, None],
        )
        if (steady := effects.healthy_direct(self.direct_ohms)) is not None:
            flow = np.where(there, steady[1], 0.0)
            self.direct_before[at] = np.maximum(self.direct_before[at], flow.max(axis=(0, 1, 3)))
            self._keep_states(
                self.direct_states,
                cells,
                range(len(FEEDS)),
                flow[:, :, None],
                (steady[0] / limit("60 V DC").volts)[:, :, None],
                steady[2][:, :, None],
            )

    def _keep_states(
        self,
        states: tuple[FaultStates, FaultStates],
        cells: tuple[Integers, Integers],
        feeds: Sequence[int],
        flow: Floats,
        share: Floats,
        given: Floats | None = None,
    ) -> None:
        """Keep the states with the largest currents of the block of rows that came last, by the
        ``share`` of the least volts that count.
        """
        counted, close = states
        first = len(self.rows) - len(flow)
        counted.keep(cells, first, feeds, np.where(share > 1, flow, 0.0), given)
        may = (share > LEAST_SHARE) & (share <= 1)
        close.keep(cells, first, feeds, np.where(may, flow, 0.0), given)

    def _places(self, probe: Probe) -> Integers:
        """Return the places of the ports of a probe among those of the judge."""
        place = {port: number for number, port in enumerate(self.probe.ports)}
        return np.array([place[port] for port in probe.ports], int)

    def _flow(self, volts: Floats, ohms: Numbers) -> Floats:
        """Return the person's amperes on sources of so many volts and ohms (without feeds)."""
        amps: Floats = volts / abs(ohms + self.person.impedance(self.study.hertz))[..., None]
        return amps

    def weigh(
        self, rows: tuple[Row, ...], effects: Effects, numbers: Sequence[int], places: Sequence[int]
    ) -> None:
        """Keep the worst of some faults in some rows; ``places`` are theirs in ``effects``, all of
        one rank there.
        """
        case = self._case(rows, effects, numbers, places)
        seen, ohms = effects.alternating(places, case.feeds)
        solved = effects.direct(places, case.feeds, self.direct_ohms)
        people = len(case.at)
        if not self.figures:
            some = self._that_may_matter(case, abs(seen[..., :people, :]), ohms, solved)
            if not some.size:
                return
            case, seen, ohms = case.some(some), seen[:, :, some], ohms[:, :, some]
            solved = solved and solved.some(some)
        volts = abs(seen[..., :people, :]) * self.study.volts
        carried = abs(seen[..., people:, :]) * (self.study.volts / UNIT)
        ending = self.ending(case.faults, carried, case.feeds)
        steady = self._weigh_direct(case, ending, solved)
        share = volts * self.peak_share
        if (
            near := np.flatnonzero((case.there & (share > LEAST_SHARE)).any(axis=(0, 1, 3, 4)))
        ).size:
            flow = self._flow(volts[:, :, near], ohms[:, :, near]) * case.there[:, :, near]
            cells = case.numbers[near][:, None], case.at
            self._keep_states(self.states, cells, case.feeds, flow, share[:, :, near])
        # What is no number counts.
        counts = case.there & ~(volts * self.peak_share + steady.volts <= 1)
        loud = counts.any(axis=(0, 1, 3, 4))
        if (some := np.flatnonzero(loud)).size:
            parts = case.some(some), ending.some(some), steady.some(some)
            self._weigh_alternating(*parts, volts[:, :, some], ohms[:, :, some])
        if (some := np.flatnonzero(~loud)).size:
            self._keep_quiet(case.some(some), ending.some(some), volts, ohms)

    def _that_may_matter(
        self, case: FaultCase, seen: Floats, ohms: Numbers, solved: DirectEffects | None
    ) -> Integers:
        """Return the faults of which a current comes so near a limit that tolerances may bring it
        there; of the others the largest currents are kept, and that they are under.
        """
        volts, states = seen * self.study.volts, (0, 1, 4)
        flow = self._flow(volts, ohms) * case.there
        # What is no number may be anything.
        near = ~(flow.max(axis=states) < LEAST_SHARE * self.most).all(axis=1)
        steady = np.zeros((1, 1, *flow.shape[2:])) if solved is None else solved.amps * case.fed
        near |= ~(steady.max(axis=states) < LEAST_SHARE * limit("2 DC").amps).all(axis=1)
        if (some := np.flatnonzero(~near)).size:
            cells, under = case.some(some).cells, np.zeros((1, 1, len(some), len(case.at), 1), int)
            for kept, amps in ((self.worst, flow), (self.direct, steady)):
                most = amps[:, :, some].max(axis=states)[None, None, ..., None]
                kept.keep(cells, under, most, np.zeros(under.shape))
        return np.flatnonzero(near)

    def _case(
        self, rows: tuple[Row, ...], effects: Effects, numbers: Sequence[int], places: Sequence[int]
    ) -> FaultCase:
        faults, at = [self.every[number] for number in numbers], self._places(effects.probe)
        outlet = any(fault.earth_hot for fault in faults)
        feeds = [WRONG] if outlet else [feed for feed in range(len(FEEDS)) if feed != WRONG]
        fed = (
            fed_under(rows, faults, feeds)[:, None]
            & self.reached[np.array(numbers)[:, None], at][:, :, None]
        )
        void = self.void[:, numbers][None, :, :, None, None]
        return FaultCase(effects, faults, np.array(numbers), np.array(places), at, feeds, fed, void)

    def _keep_quiet(
        self, case: FaultCase, ending: FaultEnding, volts: Floats, ohms: Numbers
    ) -> None:
        """Keep that no current of some faults counts in any state: the first stands for all.
        ``volts`` and ``ohms`` are those of all faults of the case.
        """
        shape = (1, 1, len(case.faults), len(case.at), 1)
        first = volts[:1, :1, case.chosen, :, :1], ohms[:1, :1, case.chosen, :, None]
        kept = self.worst.keep(case.cells, np.zeros(shape, int), np.zeros(shape), *first)
        self._keep_state(case, *kept, ending)

    def _weigh_alternating(
        self,
        case: FaultCase,
        ending: FaultEnding,
        steady: DirectShares,
        volts: Floats,
        ohms: Numbers,
    ) -> None:
        """Keep the worst alternating current of some faults."""
        there, people = case.there, len(case.at)
        amps = self._flow(volts, ohms) * (there & (volts * self.peak_share + steady.volts > 1))
        left, after, behind = (
            amps.copy(),
            volts.copy(),
            np.broadcast_to(ohms, amps.shape[:-1]).copy(),
        )
        pressing: Flags = np.any(amps + steady.amps * self.most > self.most, axis=3, keepdims=False)
        for place, some in _opening(ending.opens, pressing):
            seen, inside = case.effects.alternating(
                case.places[some], case.feeds, case.effects.probe.fuse_ports[place]
            )
            then_volts = abs(seen[..., :people, :]) * self.study.volts
            counts = there[:, :, some] & (
                then_volts * self.peak_share + steady.volts[:, :, some] > 1
            )
            then = self._flow(then_volts, inside) * counts
            better = ending.opens[:, :, some, place, None, :] & (then < left[:, :, some])
            after[:, :, some] = np.where(better, then_volts, after[:, :, some])
            behind[:, :, some] = np.where(better.all(axis=-1), inside, behind[:, :, some])
            left[:, :, some] = np.where(better, then, left[:, :, some])
        # What counts only beside a direct current that is ended does not go on.
        beside = volts * self.peak_share <= 1
        left = np.where(beside & steady.opened, 0.0, left)
        rank = self._rank(
            amps, left, steady, ending.trips[..., None, :] | (beside & steady.tripped)
        )
        self._keep_bond(case, ending, amps, volts)
        shares = np.where(amps > 0, amps / self.most + steady.amps, 0.0)
        together = np.maximum(self.together[case.cells], shares.max(axis=(0, 1, 4)))
        self.together[case.cells] = together
        over = rank == Rank.OVER
        kept = self.worst.keep(
            case.cells,
            rank,
            np.where(over, left, amps),
            np.where(over, after, volts),
            np.where(over, behind[..., None], ohms[..., None]),
        )
        self._keep_state(case, *kept, ending)

    def _rank(self, amps: Floats, left: Floats, steady: DirectShares, trips: Flags) -> Integers:
        """Return the outcome of each fault in each state, by the alternating current, or by both
        currents where neither is over alone.

        Written the wrong way about, so that what is no number counts as over.
        """

        def fits(flow: Floats, share: Floats) -> Flags:
            alone = flow <= self.most
            both = (flow / self.most + share <= 1) | (share > 1) | (flow == 0)
            return np.asarray(alone & both)

        lasting = np.where(trips, Rank.BREAKER, Rank.OVER)
        ended = np.where(fits(amps, steady.amps), Rank.UNDER, Rank.CLEARED)
        return np.where(fits(left, steady.left), ended, lasting)

    def _keep_bond(self, case: FaultCase, ending: FaultEnding, amps: Floats, volts: Floats) -> None:
        """Keep the most volts that earthed metal is at until something opens."""
        ports = case.effects.probe.ports
        metal = [number for number, port in enumerate(ports) if port.to_earth]
        opens = (ending.opens.any(axis=3) | ending.trips)[..., None, :] & (amps > self.most)
        bond = np.where(opens, volts, 0.0)[..., metal, :].max(axis=(0, 1, 3, 4), initial=0.0)
        self.bond[case.numbers] = np.maximum(self.bond[case.numbers], bond)

    def _keep_state(
        self, case: FaultCase, better: Flags, where: tuple[Integers, ...], ending: FaultEnding
    ) -> None:
        """Keep the state of what got worse, the fuse that carries most of its rating, the line."""
        row, combo, feed = where
        fault = np.arange(len(case.numbers))[:, None]
        fuse, fuse_amps = np.full(row.shape, -1), np.zeros(row.shape)
        if self.rules:
            ratings = np.array([rule.rating or math.inf for rule in self.rules])
            share = ending.carried / ratings[:, None]
            fuse = share[row, combo, fault, :, feed].argmax(axis=2)
            fuse_amps = ending.carried[row, combo, fault, fuse, feed]
        new: tuple[tuple[NDArray[Any], NDArray[Any]], ...] = (
            (self.worst.row, row + len(self.rows) - len(case.effects.rows)),
            (self.worst.combo, combo),
            (self.worst.feed, np.array(case.feeds)[feed]),
            (self.worst.fuse, fuse),
            (self.worst.fuse_amps, fuse_amps),
            (self.worst.line_amps, ending.drawn[row, combo, fault, feed]),
        )
        for array, values in new:
            array[case.cells] = np.where(better, values, array[case.cells])

    def ending(self, faults: Sequence[Fault], carried: Floats, feeds: list[int]) -> FaultEnding:
        """Return what ends faults; ``carried`` are the amperes of fuses and then blades.

        A fuse opens where its standard promises it in time and it can break what it carries; one
        that is itself at fault never does.
        """
        count = len(self.rules)
        in_fuses, in_blades = carried[..., :count, :], carried[..., count:, :]
        least = np.array([rule.opens_at for rule in self.rules]).reshape(-1, 1)
        most = np.array([rule.breaks for rule in self.rules]).reshape(-1, 1)
        opens = (in_fuses >= least) & (in_fuses <= most)
        for place, number in enumerate(self.probe.fuses):
            at_fault = [fault.part == self.study.elements[number].part for fault in faults]
            opens[:, :, at_fault, place] = False
        hot = np.array(self.probe.hot, bool).reshape(-1, len(FEEDS))[:, feeds]
        drawn: Floats = (in_blades * hot).max(axis=3, initial=0.0)
        return FaultEnding(
            in_fuses, opens, drawn, np.asarray(drawn >= self.study.assumed["breaker_ampere"])
        )

    def _weigh_direct(
        self, case: FaultCase, ending: FaultEnding, solved: DirectEffects | None
    ) -> DirectShares:
        """Keep the worst direct current; fuse and breaker count where they surely end it."""
        effects, feeds, there = case.effects, case.feeds, case.fed
        if solved is None:
            nothing = np.zeros((1, 1, len(case.numbers), len(case.at), 1))
            return DirectShares(nothing, nothing, nothing, nothing > 0, nothing > 0)
        opens, trips = self._surely_ended(case.faults, solved.carried, solved.watts, feeds, ending)
        least, most = limit("60 V DC").volts, limit("2 DC").amps
        volts, flow = solved.volts * there, solved.amps * there
        amps = np.where(volts > least, flow, 0.0)
        self._keep_states(self.direct_states, case.cells, feeds, flow, volts / least, solved.given)
        left, lasting = amps.copy(), flow.copy()
        over: Flags = np.any(amps > most, axis=(1, 3), keepdims=True)[:, :, :, 0]
        for place, some in _opening(opens, over):
            then = effects.direct(case.places[some], feeds, self.direct_ohms, place)
            assert then is not None
            then_volts, then_flow = (each * there[:, :, some] for each in (then.volts, then.amps))
            opened = opens[:, :, some, place, None, :]
            kept = np.where(then_volts > least, then_flow, 0.0)
            left[:, :, some] = np.where(
                opened, np.minimum(left[:, :, some], kept), left[:, :, some]
            )
            lasting[:, :, some] = np.where(
                opened, np.minimum(lasting[:, :, some], then_flow), lasting[:, :, some]
            )
        rank = np.where(
            ~(left <= most),
            np.where(trips[..., None, :], Rank.BREAKER, Rank.OVER),
            np.where(amps > most, Rank.CLEARED, Rank.UNDER),
        )
        shown = np.where(rank == Rank.OVER, left, np.where(rank == Rank.UNDER, flow, amps))
        self.direct.keep(case.cells, rank, shown, volts)
        little = np.asarray(volts <= LITTLE * least)
        opened = np.asarray(opens.any(axis=3))[..., None, :]
        return DirectShares(
            volts.max(axis=1, keepdims=True) / least,
            flow.max(axis=1, keepdims=True) / most,
            lasting.max(axis=1, keepdims=True) / most,
            np.asarray((opened | little).all(axis=1, keepdims=True)),
            np.asarray((trips[..., None, :] | little).all(axis=1, keepdims=True)),
        )

    def _surely_ended(
        self,
        faults: Sequence[Fault],
        carried: Floats,
        watts: Floats,
        feeds: list[int],
        ending: FaultEnding,
    ) -> tuple[Flags, Flags]:
        """Return whether fuses and the breaker end direct current, for the most that it can be in
        fuses and blades, and the most watts.

        They do where alternating current opens them without what may conduct; or where it does with
        rectifiers conducting, and what those surely pass, or take from the line, is enough.
        """
        taken = (watts / self.study.volts)[:, :, :, None]
        surely = self.ending(faults, np.maximum(carried, taken) * SURELY_RECTIFIED, feeds)
        drawn = ending.drawn.max(axis=1, keepdims=True)
        free = drawn * 2 * self.study.assumed["conducting_ohm"] >= self.study.volts
        opens = ending.opens[:, :1] | surely.opens & ending.opens.any(axis=1, keepdims=True)
        return opens, ending.trips[:, :1] | surely.trips & free


def _can_touch(port: Port, fault: Fault) -> bool:
    """Return whether a port is within reach under a fault: bare contacts while they are pulled."""
    return not port.pulled or (fault.kind == "umbilical" and fault.part == port.pulled)


def _opening(opens: Flags, over: Flags) -> Iterator[tuple[int, list[int]]]:
    """Return (fuse, faults) for every fuse that opens under some faults while they are over the
    limit; ``over`` is (rows, combinations, faults, feeds).
    """
    for place in range(opens.shape[3]):
        some = np.flatnonzero((opens[:, :, :, place] & over).any(axis=(0, 1, 3))).tolist()
        if some:
            yield place, some
