"""Faults at the corner of all tolerances that is worst for the hand, in the states where each does
most (see ``corners``, which has the meaning of the corner for touch and faults alike).

A state is solved once for the hands, fuses, blades, all faults and all parts with a tolerance: a
fault is then a change of rank one of a small matrix, and so is a part at its other end.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from rework.touch.corners import LEAST_EFFECT, Corners, PortCorner, Weight, loose_parts
from rework.touch.direct import Direct
from rework.touch.effects import Probe, changes_of
from rework.touch.failures import Fault
from rework.touch.network import UNIT, Floats, Integers, Numbers, Patterns, Solved, joined
from rework.touch.study import Combo, Row

#: Parts that matter by so nearly the same, relative, have the same corner.
ALIKE = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class FaultMatrix:
    """What hands, fuses, blades and then loose parts see of one another (all, all) and of the
    sources (sources, all), in one state under one fault, in units.
    """

    mutual: Numbers
    sources: Numbers
    loose: Integers
    change: Numbers
    people: int

    def corner(self, port: int, source: Numbers, volts: float, weight: Weight) -> PortCorner:
        """Return the worst corner of a port; ``source`` (sources) says how much of each source
        there is, in ``volts``.
        """
        places = np.arange(len(self.mutual) - len(self.loose), len(self.mutual))
        rows = np.append(port, places)
        seen = np.concatenate([(source @ self.sources)[rows, None], self.mutual[rows][:, rows]], 1)
        return Corners(seen, self.loose, self.change, volts).worst(weight)

    def is_alike(self, other: FaultMatrix, port: int, source: Numbers) -> bool:
        """Return whether the parts that matter to a port do so as in another state."""
        if not np.array_equal(self.loose, other.loose):
            return False
        mine, its = self._weights(port, source), other._weights(port, source)
        return len(mine) == len(its) and bool(np.allclose(mine, its, ALIKE, ALIKE))

    def _weights(self, port: int, source: Numbers) -> Numbers:
        """Return what each loose part does to the volts and ohms of a port to first order,
        relative, and those that matter to one another.
        """
        parts = slice(len(self.mutual) - len(self.loose), None)
        seen, fed = self.mutual[port, parts], source @ self.sources
        ohms, volts = abs(self.mutual[port, port]), abs(fed[port])
        tiny = np.finfo(float).tiny
        on_volts = self.change * seen * fed[parts] / max(volts, tiny)
        on_ohms = self.change * seen * seen / max(ohms, tiny)
        matter = np.maximum(abs(on_volts), abs(on_ohms)) > LEAST_EFFECT
        inner = self.mutual[parts, parts][np.ix_(matter, matter)] * self.change[matter]
        return np.concatenate([on_volts, on_ohms, matter, inner.ravel()])

    def at(self, turned: Sequence[int]) -> FaultMatrix:
        """Return the same with some elements at the end that passes less."""
        first = len(self.mutual) - len(self.loose)
        there = np.flatnonzero(np.isin(self.loose, list(turned)))
        return self._with(first + there, 1 / self.change[there])

    def without(self, fuse: int) -> FaultMatrix:
        """Return the same with a fuse, by its place, open."""
        return self._with(np.array([self.people + fuse]), np.zeros(1))

    def _with(self, places: Integers, ohms: Numbers) -> FaultMatrix:
        inner = self.mutual[places][:, places] + np.diag(ohms)
        if not len(places):
            return self
        taken = np.linalg.solve(inner, self.mutual[places])
        return FaultMatrix(
            self.mutual - self.mutual[:, places] @ taken,
            self.sources - self.sources[:, places] @ taken,
            self.loose,
            self.change,
            self.people,
        )


class FaultMatrices:
    """The matrices of faults in the states of a study, each state solved once for all the faults
    whose numbers are ``looked_at``.
    """

    def __init__(
        self,
        probe: Probe,
        every: Sequence[Fault],
        rows: Sequence[Row],
        combos: Sequence[Combo],
        looked_at: Iterable[int],
    ) -> None:
        self.probe, self.study = probe, probe.study
        self.every, self.rows, self.combos = every, rows, combos
        self.low_rank = [number for number in looked_at if every[number].changes == 1]
        self._place = {number: place for place, number in enumerate(self.low_rank)}
        self._known: dict[tuple[int, Combo, int, int], tuple[FaultMatrix, Numbers, int]] = {}

    def alternating(self, number: int, row: int, combo: int) -> FaultMatrix:
        """Return that of a fault by its number, -1 for none; its sources are the feeds."""
        return self._under(number, row, self.combos[combo], -1, None)

    def direct(self, number: int, row: int, place: int, steady: Direct) -> FaultMatrix:
        """Return the same at 0 Hz; its sources are the rectifiers. ``place`` counts the
        combinations of ``steady`` without leakage and then with it.
        """
        leaks, combo = divmod(place, len(steady.combos))
        return self._under(number, row, steady.combos[combo], leaks, steady)

    def _under(
        self, number: int, row: int, combo: Combo, leaks: int, steady: Direct | None
    ) -> FaultMatrix:
        alone = number if number >= 0 and self.every[number].changes > 1 else -1
        key = row, combo, leaks, alone
        if key not in self._known:
            self._known[key] = self._solved(row, combo, leaks, alone, steady)
        whole, ohms, people = self._known[key]
        change = self._place.get(number)
        # A part that is out has no other end.
        stays = ~np.isin(whole.loose, self.every[number].opened if number >= 0 else ())
        first = people + len(self.low_rank)
        keep = np.concatenate([np.arange(people), first + np.flatnonzero(stays)])
        mutual, sources = whole.mutual[np.ix_(keep, keep)], whole.sources[:, keep]
        if change is not None:
            at = people + change
            taken = whole.mutual[at, keep] / (whole.mutual[at, at] + ohms[change])
            mutual = mutual - np.outer(whole.mutual[keep, at], taken)
            sources = sources - np.outer(whole.sources[:, at], taken)
        loose, towards = whole.loose[stays], whole.change[stays]
        return FaultMatrix(mutual, sources, loose, towards, whole.people)

    def _solved(
        self, row: int, combo: Combo, leaks: int, alone: int, steady: Direct | None
    ) -> tuple[FaultMatrix, Numbers, int]:
        """Return the matrix of a state with the changes of all faults between the ports and the
        loose parts, their ohms, and the place of the first.
        """
        study, rows = self.study, (self.rows[row],)
        if steady is None:
            admittance, frame, feeds = study.admittance(rows), study.frame, study.feeds
        else:
            admittance, frame = steady.admittances(rows)[leaks], steady.frame
            feeds = steady.sources
        study.settle(admittance, combo)
        if alone >= 0:
            admittance[:, list(self.every[alone].opened)] = 0.0
        solved: Solved = (
            study.solved(rows, admittance) if steady is None else steady.solved(admittance)
        )
        changes = changes_of(
            study, [self.every[number] for number in self.low_rank], frame, admittance
        )
        ports = self.probe.patterns.take(self.probe.seen_ports)
        loose, change = loose_parts(study, admittance[0])
        every: Patterns = joined(
            joined(ports, changes.patterns), frame.elements.take(loose.tolist())
        )
        answers = solved.answers(every)
        matrix = FaultMatrix(
            every.read(answers)[0], feeds.read(answers)[0], loose, change, len(self.probe.ports)
        )
        return matrix, changes.ohms[0], len(ports)


def carried(matrix: FaultMatrix, source: Floats, volts: float) -> Floats:
    """Return the amperes of fuses and then blades for ``volts`` of line, (fuses and blades)."""
    last = len(matrix.mutual) - len(matrix.loose)
    amps: Floats = abs(source @ matrix.sources[:, matrix.people : last]) * (volts / UNIT)
    return amps
