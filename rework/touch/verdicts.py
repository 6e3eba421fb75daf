"""What becomes of each fault: what a person gets, what ends it, and how long the metal stands at
volts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rework.touch.effects import Effects, Probe, void
from rework.touch.failures import PREVENTED, Fault
from rework.touch.network import UNIT
from rework.touch.parts import EARTH
from rework.touch.person import Limit, Network, limit
from rework.touch.study import FEEDS, Row, combination_words
from rework.touch.touch import ALIKE, NOTE, UNSEEN, not_paired, varied_words

#: The feed of an outlet wired the wrong way round.
_WRONG = 2
#: What becomes of a fault in one state, as a number.
_UNDER, _CLEARED, _BREAKER, _OVER = range(4)
_WORDS = {_UNDER: "under", _CLEARED: "cleared", _BREAKER: "breaker", _OVER: "over"}
#: The same in words, the worst first.
VERDICTS = ("over", "not known", "breaker", "cleared", "under")
#: By how much a fault must change a figure to be said to change it.
ADDS = 1.01


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one fault does: amperes rms, volts rms; direct ones apart.

    ``verdict``: ``over`` (more than the limit flows and nothing in the set or the building ends
    it), ``breaker`` (only the breaker of the building ends it), ``cleared`` (a fuse of the set ends
    it), ``under`` (never more than the limit), ``not known`` (no more, but a value is missing).
    ``reading``, ``volts`` and ``state`` are the worst of that verdict, at the place where the fault
    adds most; ``before`` is the reading there without it, and ``adds`` is true where it matters.
    ``bond_volts`` stand on metal until a fuse or breaker has cleared. ``line_amps`` is drawn from
    the outlet in that state, ``fuse`` the fuse that carries most of its rating with ``fuse_amps``
    in it. ``dc_is_over`` and ``adds_alternating`` say which of the two currents it is that matters.
    """

    fault: Fault
    verdict: str
    adds: bool
    node: str
    other: str
    reading: float
    volts: float
    before: float
    bond_volts: float
    dc_amps: float
    dc_volts: float
    dc_node: str
    dc_other: str
    dc_is_over: bool
    adds_alternating: bool
    state: str
    condition: str
    line_amps: float
    fuse: str
    fuse_amps: float
    fuse_rating: float
    cleared: str
    prevented: str


@dataclass(frozen=True, slots=True)
class FaultReport:
    """All single faults of a circuit, worst first; ``healthy`` is the worst reading without any
    fault.

    With ``open_conductors`` every fault was also tried with neutral, earth or both open.
    ``building`` are faults of the outlet and not of the set: told apart, and they do not count in
    the exit status.
    """

    title: str
    line: str
    network: Network
    limit_amps: float
    outcomes: tuple[Outcome, ...]
    building: tuple[Outcome, ...]
    healthy: float
    unknown: tuple[str, ...]
    states: int
    varied: str
    assumed: Mapping[str, float]
    open_conductors: bool
    notes: tuple[str, ...] = (NOTE, UNSEEN)

    @property
    def exit_status(self) -> int:
        """1 where any fault of the set leaves more than the limit, a missing value leaves it open,
        or none could be tried; else 0.
        """
        return int(
            not self.outcomes
            or any(outcome.verdict in ("over", "not known") for outcome in self.outcomes)
        )


class _Worst:
    """The worst of every fault at every port so far, (faults, ports): what becomes of it, amperes,
    volts, and the state.
    """

    def __init__(self, faults: int, ports: int) -> None:
        self.rank, self.amps, self.volts = (
            np.full((faults, ports), -1),
            np.full((faults, ports), -1.0),
            np.zeros((faults, ports)),
        )
        self.row, self.combo, self.feed = (np.zeros((faults, ports), int) for _ in range(3))
        self.line_amps, self.fuse_amps, self.fuse = (
            np.zeros((faults, ports)),
            np.zeros((faults, ports)),
            np.full((faults, ports), -1),
        )

    def keep(
        self, numbers: Sequence[int], rank: np.ndarray, amps: np.ndarray, volts: np.ndarray
    ) -> tuple[np.ndarray, tuple[np.ndarray, ...]]:
        """Keep what is worse; arrays are (rows, combinations, faults, ports, feeds).

        Return which changed, and their places.
        """
        rows, combos, faults, ports, feeds = rank.shape

        def flat(array: np.ndarray) -> np.ndarray:
            return np.moveaxis(array, (2, 3), (0, 1)).reshape(faults, ports, -1)

        highest = flat(rank).max(axis=2)
        mine = np.where(flat(rank) == highest[..., None], flat(amps), -1.0)
        first = (mine >= mine.max(axis=2, keepdims=True) * (1 - ALIKE)).argmax(axis=2)[..., None]
        value = np.take_along_axis(mine, first, axis=2)[..., 0]
        known, was = self.rank[numbers], self.amps[numbers]
        better = (highest > known) | (highest == known) & (value > was * (1 + ALIKE))
        for array, new in (
            (self.rank, highest),
            (self.amps, value),
            (self.volts, np.take_along_axis(flat(volts), first, axis=2)[..., 0]),
        ):
            array[numbers] = np.where(better, new, array[numbers])
        return better, np.unravel_index(first[..., 0], (rows, combos, feeds))


class Judge:
    """Keeps the worst of every fault over all states, and tells what becomes of each."""

    def __init__(
        self,
        probe: Probe,
        person: Network,
        least: Limit,
        every: Sequence[Fault],
        combos: tuple[tuple[int, ...], ...],
    ) -> None:
        self.probe, self.study, self.person, self.least, self.every, self.combos = (
            probe,
            probe.study,
            person,
            least,
            every,
            combos,
        )
        count = len(probe.ports)
        self.worst, self.direct = _Worst(len(every), count), _Worst(len(every), count)
        self.before, self.direct_before = np.zeros(count), np.zeros(count)
        self.bond = np.zeros(len(every))
        self.rows: list[Row] = []
        self.void = void(self.study, every, combos)
        study = self.study
        self.ratings = [
            study.circuit.by_name[study.elements[number].part].value("current") or 0.0
            for number in probe.fuses
        ]
        self.unknown = (*study.model.unknown, *not_paired(probe.ports))
        self.most = least.rms_amps / person.per_ampere(study.hertz)

    def healthy(self, rows: tuple[Row, ...], effects: Effects) -> None:
        """Keep the worst current of every port without a fault; comes before the faults of the same
        rows.
        """
        self.rows += rows
        count = len(self.probe.ports)
        fed = np.array([[feed in row.feeds() for feed in range(len(FEEDS))] for row in rows])[
            :, None, None
        ]
        amps = self._amps(
            effects.found.across[:, :, :count, : len(FEEDS)], effects.found.own[:, :, :count] * UNIT
        )
        self.before = np.maximum(self.before, np.where(fed, amps, 0.0).max(axis=(0, 1, 3)))
        if (steady := effects.healthy_direct()) is not None:
            self.direct_before = np.maximum(
                self.direct_before,
                np.where(fed, self._direct_amps(*steady), 0.0).max(axis=(0, 1, 3)),
            )

    def _amps(self, volts: np.ndarray, ohms: np.ndarray) -> np.ndarray:
        """Return the person's amperes; open-circuit volts too low to count leave none."""
        volts = abs(volts) * self.study.volts
        flow = volts / abs(ohms + self.person.impedance(self.study.hertz))[..., None]
        flow[volts * math.sqrt(2) <= limit("35 V peak").volts] = 0.0
        return flow

    def _direct_amps(self, volts: np.ndarray, ohms: np.ndarray) -> np.ndarray:
        return abs(volts) / (ohms + self.person.impedance(0.0).real)[..., None]

    def weigh(
        self, rows: tuple[Row, ...], effects: Effects, numbers: Sequence[int], places: Sequence[int]
    ) -> None:
        """Keep the worst of some faults in some rows; ``places`` are theirs in ``effects``, all of
        one rank there.
        """
        faults, ports = [self.every[number] for number in numbers], len(self.probe.ports)
        feeds = (
            [_WRONG]
            if any(fault.earth_hot for fault in faults)
            else [feed for feed in range(len(FEEDS)) if feed != _WRONG]
        )
        fed = np.array(
            [
                [
                    [
                        (
                            fault.earth_hot and row.blades == "both"
                            if feed == _WRONG
                            else feed in row.feeds() and not fault.earth_hot
                        )
                        for feed in feeds
                    ]
                    for fault in faults
                ]
                for row in rows
            ]
        )
        there = (fed[:, None] & ~self.void[:, numbers][None, :, :, None])[..., None, :]
        volts, ohms = effects.alternating(places, feeds)
        amps, bare = (
            self._amps(volts[..., :ports, :], ohms) * there,
            abs(volts[..., :ports, :]) * self.study.volts,
        )
        carried = abs(volts[..., ports:, :]) * (self.study.volts / UNIT)
        in_fuses = carried[..., : len(self.ratings), :]
        blown, drawn = (
            self._blown(faults, in_fuses),
            self._drawn(carried[..., len(self.ratings) :, :], feeds),
        )
        tripped = drawn >= self.study.assumed["breaker_ampere"]
        left, stands = amps.copy(), bare.copy()
        for place, some in _cleared_ones(blown, (amps > self.most).any(axis=3)):
            volts, ohms = effects.alternating(
                [places[number] for number in some], feeds, self.probe.fuse_ports[place]
            )
            then = self._amps(volts[..., :ports, :], ohms) * there[:, :, some]
            better = blown[:, :, some, place, None, :] & (then < left[:, :, some])
            stands[:, :, some] = np.where(
                better, abs(volts[..., :ports, :]) * self.study.volts, stands[:, :, some]
            )
            left[:, :, some] = np.where(better, then, left[:, :, some])
        # Written the wrong way about, so that what is no number counts as over.
        rank = np.where(
            ~(left <= self.most),
            np.where(tripped[..., None, :], _BREAKER, _OVER),
            np.where(amps > self.most, _CLEARED, _UNDER),
        )
        grounded = [number for number, (_, other) in enumerate(self.probe.ports) if other == EARTH]
        ended = (blown.any(axis=3) | tripped)[..., None, :] & (amps > self.most)
        bond = np.where(ended, bare, 0.0)[..., grounded, :].max(axis=(0, 1, 3, 4))
        self.bond[numbers] = np.maximum(self.bond[numbers], bond)
        better, (row, combo, feed) = self.worst.keep(
            numbers,
            rank,
            np.where(rank == _OVER, left, amps),
            np.where(rank == _OVER, stands, bare),
        )
        fault = np.arange(len(numbers))[:, None]
        share = in_fuses / np.array([rating or math.inf for rating in self.ratings])[:, None]
        fuse = (
            share[row, combo, fault, :, feed].argmax(axis=2)
            if self.ratings
            else np.full(row.shape, -1)
        )
        fuse_amps = in_fuses[row, combo, fault, fuse, feed] if self.ratings else np.zeros(row.shape)
        new = (
            ("row", row + len(self.rows) - len(rows)),
            ("combo", combo),
            ("feed", np.array(feeds)[feed]),
            ("fuse", fuse),
            ("fuse_amps", fuse_amps),
            ("line_amps", drawn[row, combo, fault, feed]),
        )
        for name, values in new:
            array = getattr(self.worst, name)
            array[numbers] = np.where(better, values, array[numbers])
        self._weigh_direct(effects, numbers, places, feeds, fed, blown[:, 0], tripped[:, 0])

    def _blown(self, faults: Sequence[Fault], carried: np.ndarray) -> np.ndarray:
        """Return whether each fuse is sure to blow, (rows, combinations, faults, fuses, feeds); one
        that is itself at fault never.
        """
        times = self.study.assumed["fuse_blows"]
        blows = (
            carried >= times * np.array([rating or math.inf for rating in self.ratings])[:, None]
        )
        for place, number in enumerate(self.probe.fuses):
            at_fault = [fault.part == self.study.elements[number].part for fault in faults]
            blows[:, :, at_fault, place] = False
        return blows

    def _drawn(self, carried: np.ndarray, feeds: list[int]) -> np.ndarray:
        """Return the amperes drawn from the hot conductor, (rows, combinations, faults, feeds)."""
        hot = np.array(self.probe.hot, bool).reshape(-1, len(FEEDS))[:, feeds]
        return (carried * hot).max(axis=3, initial=0.0)

    def _weigh_direct(
        self,
        effects: Effects,
        numbers: Sequence[int],
        places: Sequence[int],
        feeds: list[int],
        fed: np.ndarray,
        blown: np.ndarray,
        tripped: np.ndarray,
    ) -> None:
        """Keep the worst direct current; fuse and breaker count where they end it while nothing
        conducts but what must.
        """
        found = effects.direct(places, feeds)
        if found is None:
            return
        there, most = fed[:, None][..., None, :], limit("2 DC").amps
        volts = abs(found[0]) * there

        def counted(volts: np.ndarray, ohms: np.ndarray) -> np.ndarray:
            return np.where(
                abs(volts) > limit("60 V DC").volts, self._direct_amps(volts, ohms), 0.0
            )

        amps = counted(volts, found[1])
        left = amps.copy()
        for place, some in _cleared_ones(blown[:, None], (amps > most).any(axis=(1, 3))[:, None]):
            then = (
                counted(
                    *effects.direct(
                        [places[number] for number in some], feeds, self.probe.fuse_ports[place]
                    )
                )
                * there[:, :, some]
            )
            left[:, :, some] = np.where(
                blown[:, None][:, :, some, place, None, :],
                np.minimum(left[:, :, some], then),
                left[:, :, some],
            )
        rank = np.where(
            ~(left <= most),
            np.where(tripped[:, None, :, None, :], _BREAKER, _OVER),
            np.where(amps > most, _CLEARED, _UNDER),
        )
        told = np.where(
            rank == _OVER, left, np.where(rank == _UNDER, self._direct_amps(volts, found[1]), amps)
        )
        self.direct.keep(numbers, rank, told, volts)

    def report(self) -> FaultReport:
        """Return what was kept as a report."""
        study = self.study
        told = (
            [self._outcome(number, fault) for number, fault in enumerate(self.every)]
            if self.rows
            else []
        )
        told.sort(
            key=lambda outcome: (
                VERDICTS.index(outcome.verdict),
                not outcome.adds,
                -round(outcome.reading, 9),
                -round(outcome.dc_amps, 9),
            )
        )
        states = sum(len(row.feeds()) for row in study.rows) * len(self.combos)
        return FaultReport(
            study.circuit.title,
            study.line_words,
            self.person,
            self.least.rms_amps,
            tuple(outcome for outcome in told if outcome.fault.kind != "outlet"),
            tuple(outcome for outcome in told if outcome.fault.kind == "outlet"),
            self.person.reading(float(self.before.max(initial=0.0)), study.hertz),
            self.unknown,
            states,
            varied_words(study, self.combos),
            study.assumed,
            study.open_conductors,
        )

    def _outcome(self, number: int, fault: Fault) -> Outcome:
        study, worst = self.study, self.worst
        port = _worst_port(worst, number, self.before)
        steady = _worst_port(self.direct, number, self.direct_before)
        row, combo, feed = (
            self.rows[worst.row[number, port]],
            self.combos[worst.combo[number, port]],
            int(worst.feed[number, port]),
        )
        place = int(worst.fuse[number, port])
        fuse, rating = (
            (study.elements[self.probe.fuses[place]].part, self.ratings[place])
            if place >= 0
            else ("", 0.0)
        )
        fuse_amps, line_amps, amps = (
            float(array[number, port]) for array in (worst.fuse_amps, worst.line_amps, worst.amps)
        )
        direct_rank, dc_amps, dc_volts = (
            int(self.direct.rank[number, steady]),
            float(self.direct.amps[number, steady]),
            float(self.direct.volts[number, steady]),
        )
        rank, direct_rank = int(worst.rank[number, port]), max(direct_rank, _UNDER)
        verdict = _WORDS[max(rank, direct_rank)]
        if verdict != "over" and self.unknown:
            verdict = "not known"
        alternates = rank > _UNDER and amps > self.before[port] * ADDS
        adds = alternates or (direct_rank > _UNDER and dc_amps > self.direct_before[steady] * ADDS)
        node, other = _ends(self.probe.ports[port])
        dc_node, dc_other = _ends(self.probe.ports[steady])
        words = _cleared(
            max(rank, direct_rank),
            rank,
            fuse,
            rating,
            fuse_amps,
            line_amps,
            float(self.bond[number]),
            bool(rating) and fuse_amps >= study.assumed["fuse_blows"] * rating,
        )
        return Outcome(
            fault,
            verdict,
            bool(adds),
            node,
            other,
            self.person.reading(amps, study.hertz),
            float(worst.volts[number, port]),
            self.person.reading(float(self.before[port]), study.hertz),
            float(self.bond[number]),
            max(dc_amps, 0.0),
            dc_volts,
            dc_node,
            dc_other,
            direct_rank > _UNDER,
            bool(alternates),
            row.words(feed, study.earth_pin),
            combination_words(study.axes, combo),
            line_amps,
            fuse,
            fuse_amps,
            rating,
            words,
            PREVENTED[fault.kind],
        )


def _worst_port(worst: _Worst, number: int, before: np.ndarray) -> int:
    """Return the port at which a fault does most: of those with the worst verdict the one where it
    adds most.
    """
    ports = [
        port for port in range(len(before)) if worst.rank[number, port] == worst.rank[number].max()
    ]
    adding = [port for port in ports if worst.amps[number, port] > before[port] * ADDS]
    return max(adding or ports, key=lambda port: (round(worst.amps[number, port], 9), -port))


def _cleared_ones(blown: np.ndarray, over: np.ndarray):
    """Return (fuse, faults) for every fuse that blows under some faults while they are over the
    limit.
    """
    for place in range(blown.shape[3]):
        some = np.flatnonzero((blown[:, :, :, place] & over).any(axis=(0, 1, 3))).tolist()
        if some:
            yield place, some


def _cleared(
    rank: int,
    alternating: int,
    fuse: str,
    rating: float,
    fuse_amps: float,
    line_amps: float,
    bond: float,
    blows: bool,
) -> str:
    """Return what ends a fault, as a phrase."""
    until = f"; until then metal stands at {bond:.3g} V" if bond else ""
    match rank:
        case 0:
            return "nothing to clear"
        case 1:
            return (
                f"{fuse} blows, {fuse_amps:.3g} A against {rating:g} A{until}"
                if blows
                else "a fuse of the set blows" + until
            )
        case 2:
            return f"only the breaker of the building, {line_amps:.3g} A from the outlet{until}"
    if alternating < rank:
        return "nothing: the direct current flows on the isolated side, where no fuse sees it"
    if not fuse:
        return f"nothing: there is no fuse; {line_amps:.3g} A from the outlet"
    if not rating:
        return f"not known: {fuse} has no rating written"
    if blows:
        return f"nothing: {fuse} blows and the current goes on"
    return f"nothing: {fuse} carries {fuse_amps:.3g} A of its {rating:g} A"


def _ends(port: tuple[str, str]) -> tuple[str, str]:
    return port[0], "" if port[1] == EARTH else port[1]
