"""The search for the worst state of every port: alternating and direct current, and both together.

The search itself has every part at the end of its tolerance that passes more; in the states where a
port has most, the tolerances are then turned to the corner that is worst for it (see ``corners``).
"""

from __future__ import annotations

import math
from collections import Counter, deque
from collections.abc import Callable, Collection, Iterator, Sequence
from functools import partial
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from rework.touch.corners import (
    FEW_VOLTS,
    Corners,
    PortCorner,
    StateAnswers,
    alternating_weight,
    direct_weight,
)
from rework.touch.direct import Direct, DrivenState, driven
from rework.touch.network import UNIT, Floats, Numbers, Patterns, joined
from rework.touch.person import MeasuringNetwork, limit
from rework.touch.port_state import Found, PortState, Ranked, StateKey, Worst
from rework.touch.ports import Port
from rework.touch.study import MOST_SINGLE, PLUG_WAYS, Combo, Row, Study
from rework.touch.updates import FaultSpread, Meetings, combined, moving, spread

#: Currents that differ by less, relative, are the same to a person: the first state tried is then
#: the one reported.
ALIKE = 1e-3
#: Beyond ``MOST_COMBINATIONS``, so often the combinations beside the worst are tried.
MOST_ROUNDS = 12
#: Up to so many combinations of what varies part by part all are tried at once; and up to so many
#: of what changed a current by more than this share of the most at its port, or of the limit.
FEW_COMBINATIONS, MOST_COMBINATIONS, MATTERS = 32, 4096, 1e-3
#: Tolerances are turned in so many states of a port, fewer where there are many ports.
MOST_STATES, FEW_STATES, MANY_PORTS = 6, 2, 60
#: States with less than this share of the most are left out: tolerances do not make up for it. Of
#: the others those too that would need so many times the gain of the states before.
LEAST_SHARE, GAINS = 0.4, 1.3


class Search:
    """Tries every state of a study at some ports."""

    def __init__(
        self, study: Study, ports: Sequence[Port], person: MeasuringNetwork, most: float
    ) -> None:
        """``most`` is the limit of the current through the person, amperes RMS."""
        self.study, self.ports, self.person, self.most = study, ports, person, most
        self.patterns = study.frame.patterns([(port.nodes, (1.0, -1.0)) for port in ports])
        self.feeds = study.feeds.take(PLUG_WAYS)
        self.meetings = Meetings(study, self.patterns, self.feeds)
        self.steady = Direct(study) if study.rectifiers else None
        self.combos = study.combinations(FEW_COMBINATIONS, range(len(study.axes)))
        #: How many combinations were tried in each row; whether those beside the worst only.
        self.tried: Counter[Row] = Counter()
        self.climbed = False
        self.worst = [Worst() for _ in ports]
        self.kept = MOST_STATES if len(ports) <= MANY_PORTS else FEW_STATES
        self.ohms, self.direct = person.impedance(study.hertz), person.impedance(0.0).real
        self._directs: dict[Row, tuple[Floats, Floats]] = {}
        self._settled: dict[StateKey, tuple[list[int], StateAnswers]] = {}

    def run(self, step: Callable[[float], None] | None = None) -> None:
        """Try all states; ``step`` is given the share of the work done since the last call.

        What varies is tried all in one position, all in the other, and each alone against these. Of
        what then changed a current in a row, every combination is tried there where that is no more
        than ``MOST_COMBINATIONS``; else what is beside the worst, until nothing gets worse.
        """
        study, combos = self.study, self.combos
        whole = study.count_of(range(len(study.axes))) <= FEW_COMBINATIONS
        turned = {} if whole else study.turned_once(combos)
        changing: dict[Row, tuple[int, ...]] = {}
        for rows, amps in self._tried(study.rows, combos):
            changing |= zip(rows, self._changing(amps, turned), strict=True)
            if step:
                step(len(rows) / len(study.rows))
        known, left = set(combos), dict[tuple[int, ...], tuple[Combo, ...]]()
        # In the order of the rows: of states that are alike the first is reported.
        for places, some in groupby(changing, changing.__getitem__):
            if study.count_of(places) > MOST_COMBINATIONS:
                self._climb(list(some))
            elif places:
                if places not in left:
                    every = study.combinations(MOST_COMBINATIONS, places)
                    left[places] = tuple(combo for combo in every if combo not in known)
                deque(self._tried(list(some), left[places]), maxlen=0)

    def _tried(
        self, wanted: Sequence[Row], combos: tuple[Combo, ...]
    ) -> Iterator[tuple[tuple[Row, ...], Floats]]:
        """Try some combinations in some rows; yield (rows, amperes) a few rows at a time, the
        latter (rows, combinations, ports, feeds).
        """
        ohms = moving(self.study, combos).ohms
        each = 8 * len(combos) * len(self.ports)
        for rows, seen in self.meetings.blocks(each, wanted) if combos else ():
            yield (
                rows,
                self._alternating(rows, combos, combined(seen, ohms), self._direct(rows)),
            )
            self.tried.update(dict.fromkeys(rows, len(combos)))

    def _changing(
        self, amps: Floats, turned: dict[int, tuple[list[int], list[int]]]
    ) -> list[tuple[int, ...]]:
        """Return which axes change a current in each row, where the places of combinations and of
        the same with that axis ``turned`` are given.
        """
        least = np.maximum(amps.max(axis=1), self.most) * MATTERS
        moved = {
            axis: abs(amps[:, near] - amps[:, far]).max(axis=1, initial=0.0) > least
            for axis, (near, far) in turned.items()
        }
        return [
            tuple(axis for axis, each in moved.items() if each[place].any())
            for place in range(len(amps))
        ]

    def _climb(self, rows: Sequence[Row]) -> None:
        """Try the combinations that differ in one position from the worst found so far in some
        rows, insulation whole first, until nothing gets worse.
        """
        study, known = self.study, set(self.combos)
        self.climbed = True
        for _ in range(MOST_ROUNDS):
            worst = (worst.alternating[0][1] for worst in self.worst if worst.alternating)
            starts = {state.combo for state in worst if state.row in rows}
            beside = {
                study.flipped(combo, place)
                for combo in starts
                for place in range(min(len(combo), MOST_SINGLE))
            } - known
            known |= beside
            ordered = sorted(beside, key=lambda each: (not study.is_whole(each), sum(each), each))
            deque(self._tried(rows, tuple(ordered)), maxlen=0)

    def _there(self, rows: tuple[Row, ...]) -> NDArray[np.bool_]:
        """Return the ports that can be touched and the feeds there are, (rows, 1, ports, feeds)."""
        fed = np.array([[feed in row.feeds() for feed in PLUG_WAYS] for row in rows])
        reached = np.ones((len(rows), len(self.ports)), bool)
        for number, port in enumerate(self.ports):
            if port.pulled:
                reached[:, number] = [(port.pulled, "pulled") in row.umbilicals for row in rows]
        return np.asarray((fed[:, None] & reached[:, :, None])[:, None])

    def _alternating(
        self,
        rows: tuple[Row, ...],
        combos: tuple[Combo, ...],
        seen: FaultSpread,
        direct: tuple[Floats, Floats] | None,
    ) -> Floats:
        """Keep the worst alternating currents of every port, and the worst with ``direct``: volts
        and amperes, (rows, ports, feeds). Return the currents (rows, combinations, ports, feeds).
        """
        study, ohms = self.study, seen.own * UNIT
        size = abs(seen.across) * (study.volts * self._there(rows))
        amps: Floats = size / abs(ohms + self.ohms)[..., None]
        least = limit("35 V peak").volts / math.sqrt(2)
        counts = size > least
        weight = np.where(counts, amps, amps * FEW_VOLTS)
        close = np.where((size > LEAST_SHARE * least) & ~counts, amps, 0.0)
        whole = sum(map(study.is_whole, combos))
        unproved, most, nearly = (
            each.max(axis=(0, 1, 3), initial=0.0).tolist()
            for each in (weight, weight[:, :whole], close[:, :whole])
        )
        for number, worst in enumerate(self.worst):
            worst.unproved = max(worst.unproved, unproved[number])

            def state(place: int, number: int = number, weight: Floats = weight) -> PortState:
                row, combo, feed = np.unravel_index(place, weight[:, :whole, number].shape)
                volts = study.volts if size[row, combo, number, feed] else 0.0
                return PortState(
                    float(amps[row, combo, number, feed]),
                    complex(seen.across[row, combo, number, feed] * volts),
                    complex(ohms[row, combo, number]),
                    rows[row],
                    combos[combo],
                    int(feed),
                )

            if _is_near(worst.alternating, most[number]):
                worst.alternating = self._largest(
                    worst.alternating, weight[:, :whole, number], state
                )
            if _is_near(worst.may_count, nearly[number]):
                worst.may_count = self._largest(worst.may_count, close[:, :whole, number], state)
        if direct is not None:
            both = self._together(amps[:, :whole], size[:, :whole] / least, *direct)
            for number, worst in enumerate(self.worst):
                row, feed = first_of_largest(both[:, number])
                if both[row, number, feed] > worst.together * (1 + ALIKE):
                    worst.together = float(both[row, number, feed])
                    worst.together_state = rows[row].words(feed, study.earth_pin)
        return amps

    def _together(
        self, amps: Numbers, peak: Numbers, direct_volts: Floats, direct_amps: Floats
    ) -> Floats:
        """Return the largest sum of the shares of both limits, (rows, ports, feeds).

        Alternating and direct current count together where their volts do: shares of 35 V peak and
        60 V that add up to more than 1 (the rule of IEC 62368-1 for ES1, from memory).
        """
        dc_volts = (direct_volts / limit("60 V DC").volts)[:, None]
        dc_share = (direct_amps / limit("2 DC").amps)[:, None]
        share = amps * self.person.per_ampere(self.study.hertz) / self.most + dc_share
        largest: Floats = np.where(peak + dc_volts > 1, share, 0.0).max(axis=1, initial=0.0)
        return largest

    def _direct(self, rows: tuple[Row, ...]) -> tuple[Floats, Floats] | None:
        """Return the most direct volts and amperes of every port, (rows, ports, feeds), or None
        where nothing rectifies; keep the worst of rows that were not seen before.
        """
        if self.steady is None:
            return None
        new = tuple(row for row in rows if row not in self._directs)
        if new:
            volts, amps = self._new_direct(self.steady, new)
            self._directs |= {row: (volts[n], amps[n]) for n, row in enumerate(new)}
        every = [self._directs[row] for row in rows]
        return np.stack([volts for volts, _ in every]), np.stack([amps for _, amps in every])

    def _new_direct(self, steady: Direct, rows: tuple[Row, ...]) -> tuple[Floats, Floats]:
        """Keep the worst direct current of every port; return the most volts and amperes, (rows,
        ports, feeds). What has too few volts to count comes after all that counts.
        """
        peaks = steady.peaks(rows, self.feeds)[:, None]
        left = joined(self.patterns, steady.sources)
        most: list[tuple[Floats, Floats]] = []
        for leaks, admittance in enumerate(steady.admittances(rows)):
            seen = spread(steady.solved(admittance), steady.varies, left, steady.sources)
            shares, passed = np.split(seen.across, [len(self.ports)], axis=2)
            driven_state = driven(
                shares, seen.own[:, :, : len(self.ports)], passed, peaks, self.direct
            )
            volts, amps = (
                each * self._there(rows) for each in (abs(driven_state.volts), driven_state.amps)
            )
            self._keep_direct(rows, volts, amps, driven_state, leaks=bool(leaks))
            most.append((volts.max(axis=1), amps.max(axis=1)))
        volts, amps = (np.maximum.reduce(both) for both in zip(*most, strict=True))
        return volts, amps

    def _keep_direct(
        self,
        rows: tuple[Row, ...],
        volts: Floats,
        amps: Floats,
        driven_state: DrivenState,
        *,
        leaks: bool,
    ) -> None:
        """Keep the worst of some direct currents, (rows, combinations, ports, feeds)."""
        steady = self.steady
        assert steady is not None
        least = limit("60 V DC").volts
        weight = np.where(volts > least, amps, amps * FEW_VOLTS)
        close = np.where((volts > least * LEAST_SHARE) & (volts <= least), amps, 0.0)
        most, nearly = (each.max(axis=(0, 1, 3), initial=0.0).tolist() for each in (weight, close))
        for number, worst in enumerate(self.worst):

            def state(place: int, number: int = number) -> PortState:
                row, combo, feed = np.unravel_index(place, weight[:, :, number].shape)
                flow = float(amps[row, combo, number, feed])
                behind = float(volts[row, combo, number, feed]) / flow if flow else math.inf
                return PortState(
                    flow,
                    complex(volts[row, combo, number, feed]),
                    complex(behind - self.direct),
                    rows[row],
                    steady.combos[combo],
                    int(feed),
                    tuple(driven_state.give[row, combo, feed].tolist()),
                    leaks,
                    bool(driven_state.off[row, combo, feed].any()),
                )

            if _is_near(worst.direct, most[number]):
                worst.direct = self._largest(worst.direct, weight[:, :, number], state)
            if _is_near(worst.direct_may_count, nearly[number]):
                worst.direct_may_count = self._largest(
                    worst.direct_may_count, close[:, :, number], state
                )

    def _largest(
        self, ranked: Ranked, weight: Numbers, state: Callable[[int], PortState]
    ) -> Ranked:
        """Return the largest of the states kept and those of a block, the first of those that are
        alike; ``weight`` is (rows, combinations, feeds).
        """
        flat = weight.ravel()
        most = max(float(flat.max(initial=0.0)), ranked[0][0] if ranked else 0.0)
        places = np.arange(min(1 - bool(ranked), len(flat)))
        if most:
            places = np.flatnonzero(flat >= most * LEAST_SHARE)
        kept = list(ranked)
        while len(places) and len(kept) <= 2 * self.kept:
            value = float(flat[places].max())
            alike = flat[places] >= value * (1 - ALIKE)
            if all(abs(other - value) > ALIKE * other for other, _ in kept):
                kept.append((value, state(int(places[alike][0]))))
            places = places[~alike]
        return sorted(kept, key=lambda pair: -pair[0])[: self.kept]

    def turned(
        self, ports: Collection[int] | None = None
    ) -> list[tuple[Found | None, Found | None]]:
        """Return the worst alternating and the worst direct current of every port, each at the
        worst corner of all tolerances; where only some ``ports`` are asked for, the others at the
        base corner.
        """
        return [
            (
                self._corner(
                    [*worst.alternating, *worst.may_count],
                    partial(self._alternating_corners, number),
                    alternating_weight(self.ohms),
                ),
                self._corner(
                    [*worst.direct, *worst.direct_may_count],
                    partial(self._direct_corners, number),
                    direct_weight(self.direct),
                ),
            )
            if ports is None or number in ports
            else (_as_it_is(worst.alternating), _as_it_is(worst.direct))
            for number, worst in enumerate(self.worst)
        ]

    def deciding(self) -> frozenset[int]:
        """Return the ports that may have the largest reading of all, and those whose volts
        tolerances may lift over the least that counts.
        """
        amps = [
            0.0 if port.pulled else max((state.amps for _, state in worst.alternating), default=0.0)
            for port, worst in zip(self.ports, self.worst, strict=True)
        ]
        least = max(amps, default=0.0) * LEAST_SHARE
        return frozenset(
            number
            for number, worst in enumerate(self.worst)
            if amps[number] >= least or self._may_count(worst)
        )

    def _may_count(self, worst: Worst) -> bool:
        close = [value for value, _ in (*worst.may_count, *worst.direct_may_count)]
        volts = (abs(state.volts) for _, state in worst.alternating[:1])
        direct = (abs(state.volts) for _, state in worst.direct[:1])
        return (
            any(value > 0 for value in close)
            or any(each * math.sqrt(2) > limit("35 V peak").volts for each in volts)
            or any(each > limit("60 V DC").volts for each in direct)
        )

    def _alternating_corners(self, number: int, state: PortState) -> Corners:
        """Return the corners of one port in one state."""
        place, answers = self._at(number, StateKey(state.row, state.combo))
        source = self.study.feeds.take([state.feed])
        seen = answers.seen(place, source)
        return Corners(seen, answers.loose, answers.change, self.study.volts)

    def _direct_corners(self, number: int, state: PortState) -> Corners:
        """Return the same at 0 Hz, where the rectifiers are the source."""
        study = self.study
        place, answers = self._at(number, StateKey(state.row, state.combo, state.leaks))
        source = study.frame.currents([(study.rectifiers, [-volt for volt in state.given])])
        return Corners(answers.seen(place, source), answers.loose, answers.change, 1.0)

    def _at(self, number: int, key: StateKey) -> tuple[int, StateAnswers]:
        """Return the place of a port in the answers of a state, and these: solved once for all
        ports that have a figure there.
        """
        if key not in self._settled:
            every = [
                port
                for port, worst in enumerate(self.worst)
                if any(value > 0 and state.key == key for value, state in worst.ranked)
            ]
            self._settled[key] = every, self._answers(key, self.patterns.take(every))
        ports, answers = self._settled[key]
        return ports.index(number), answers

    def _answers(self, key: StateKey, ports: Patterns) -> StateAnswers:
        study, steady = self.study, self.steady
        if key.leaks is None:
            admittance = study.admittance((key.row,))
            study.settle(admittance, key.combo)
            solved, elements = study.solved((key.row,), admittance), study.frame.elements
        else:
            assert steady is not None
            admittance = steady.admittances((key.row,))[int(key.leaks)]
            study.settle(admittance, key.combo)
            solved, elements = steady.solved(admittance), steady.frame.elements
        return StateAnswers(study, solved, admittance[0], ports, elements)

    def _corner(
        self,
        ranked: Ranked,
        corners: Callable[[PortState], Corners],
        weight: Callable[[Numbers, Numbers], Floats],
    ) -> Found | None:
        """Return the worst corner of some states, or None where there is no state. States in which
        the port cannot be touched have no weight: of these the first stands for all.
        """
        states = [state for value, state in ranked if value > 0]
        if not states:
            return _as_it_is(ranked)
        best: Found | None = None
        most, gain = -1.0, 1.0
        for state in states:
            if state.amps * gain * GAINS < most:
                continue
            # With a rectifier off the network is not that of all of them: its base corner stands.
            corner = (
                PortCorner(state.volts, state.ohms) if state.off else corners(state).worst(weight)
            )
            value = float(weight(np.array(corner.volts), np.array(corner.ohms)))
            gain = max(gain, value / state.amps) if state.amps else gain
            if value > most * (1 + ALIKE):
                best, most = Found(state, corner.volts, corner.ohms, corner.less), value
        return best


def _is_near(ranked: Ranked, most: float) -> bool:
    """Return whether a block with so much at ``most`` has a state to keep, as the first has."""
    return not ranked or (most > 0 and most >= ranked[0][0] * LEAST_SHARE)


def _as_it_is(ranked: Ranked) -> Found | None:
    return next((Found(state, state.volts, state.ohms) for _, state in ranked), None)


def first_of_largest(amps: Floats) -> tuple[int, ...]:
    """Return the place of the largest, the first of those that are alike."""
    return tuple(
        int(place)
        for place in np.unravel_index(int((amps >= amps.max() * (1 - ALIKE)).argmax()), amps.shape)
    )
