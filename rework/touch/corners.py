"""The corner of all tolerances at which a person gets most.

Every part with a tolerance is at one end of it or the other. With all others held, the current of a
resistive network is a monotone function of each conductance, so that the worst of all is at a
corner; which end is worse is the sign of the sensitivity, and it changes as other parts change
ends. So the ends are turned by their signs until none is left that makes it worse.

The parts are changes of rank one on a network solved once at the base corner, where everything is
at the end that passes more (see ``updates`` for the formula).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.touch.network import UNIT, Floats, Integers, Numbers, Patterns, Solved, joined
from rework.touch.person import limit
from rework.touch.study import Study

#: So many parts are turned: those that matter most at the base corner.
MOST_TURNED = 40
#: One that changes neither volts nor ohms by this share is left where it is.
LEAST_EFFECT = 1e-5
#: Rounds in which all parts are turned at once by their signs, before one at a time.
ROUNDS = 6
#: What currents from too few volts to count are weighed with.
FEW_VOLTS = 1e-9
#: What a turn must gain, relative, to be worth it.
GAIN = 1e-9
#: A part whose other end makes so much less difference, relative, is not reported.
MATTERS = 0.01

#: From open-circuit volts and the ohms behind them, (corners) each, to what is to be the most.
Weight = Callable[[Numbers, Numbers], Floats]
Ends = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PortCorner:
    """The worst corner of one port: open-circuit volts (times the source's), ohms behind them, and
    the numbers of the elements that are at the end that passes less, where that matters and
    (``turned``) all of them.
    """

    volts: complex
    ohms: complex
    less: tuple[int, ...] = ()
    turned: tuple[int, ...] = ()


class StateAnswers:
    """One state of a network at the base corner, solved for some ports and for every part that has
    a tolerance.
    """

    def __init__(
        self,
        study: Study,
        solved: Solved,
        admittance: Numbers,
        ports: Patterns,
        elements: Patterns,
    ) -> None:
        """Take the one state of ``solved``; its elements have ``admittance`` siemens, (elements).

        ``elements`` are the patterns of all elements in the frame that was solved.
        """
        self.loose, self.change = loose_parts(study, admittance)
        self.ports, chosen = ports, elements.take(self.loose.tolist())
        answers = solved.answers(joined(ports, chosen))[0]
        self._of_ports, of_parts = np.split(answers, [len(ports)], axis=1)
        self._of_parts, self.chosen = of_parts, chosen
        self._parts_by_parts: Numbers = chosen.read(of_parts)

    def seen(self, place: int, source: Patterns) -> Numbers:
        """Return what one of the ports and then the parts see of the source, of the port and of the
        parts.
        """
        port = self.ports.take([place])
        own, both = self._of_ports[:, [place]], joined(source, port)
        top = np.concatenate([both.read(own), self.chosen.read(own)])
        rest = np.concatenate([both.read(self._of_parts), self._parts_by_parts])
        return np.concatenate([top, rest], axis=1).T


def loose_parts(study: Study, admittance: Numbers) -> tuple[Integers, Numbers]:
    """Return the numbers of the elements with a tolerance in a state with ``admittance`` siemens,
    (elements), and by how much that of each changes towards its other end, in units.
    """
    slack = np.array([element.slack for element in study.elements])
    loose = np.flatnonzero((slack > 0) & (admittance[: len(slack)] != 0))
    change: Numbers = -(slack * admittance[: len(slack)] * UNIT)[loose]
    return loose, change


class Corners:
    """One state of a network at the base corner: how a port sees the source and every part that has
    a tolerance. ``volts`` of the source go with ``source``.
    """

    def __init__(self, seen: Numbers, loose: Integers, change: Numbers, volts: float) -> None:
        """Take what the port and then the ``loose`` parts see of the source, of the port and of the
        parts, (port and parts, source, port and parts), with the ``change`` of each part.
        """
        # To first order, what each does to the volts and to the ohms behind them, relative.
        through = change * seen[1:, 1]
        least = np.maximum(abs(seen[0, :2]), np.finfo(float).tiny)
        effect = np.maximum(*(abs(through * seen[1:, at]) / least[at] for at in (0, 1)))
        order = np.argsort(-effect, kind="stable")[:MOST_TURNED]
        kept = np.sort(order[effect[order] > LEAST_EFFECT])
        self.loose, self.volts, change = loose[kept], volts, change[kept]
        #: Rows: the port, then the parts. Columns: the source, the port, the parts.
        self.sees: Numbers = seen[np.append(0, 1 + kept)][:, np.append([0, 1], 2 + kept)]
        self.ohms = 1 / change
        base = np.zeros(len(kept), bool)
        self._known: dict[bytes, Numbers] = {base.tobytes(): self.sees}

    def worst(self, weight: Weight) -> PortCorner:
        """Return the corner at which ``weight`` is largest."""
        count = len(self.loose)
        starts = [np.zeros(count, bool), np.ones(count, bool)]
        starts.append(self._climb(starts[0], _most_volts))
        climbed = [self._climb(start, weight) for start in starts]
        best = max(climbed, key=lambda ends: self._weigh(ends, weight))
        volts, ohms = self._at(best)
        matters = self._turned(best, weight) < self._weigh(best, weight) * (1 - MATTERS)
        less = tuple(int(number) for number in self.loose[best & matters])
        turned = tuple(int(number) for number in self.loose[best])
        return PortCorner(complex(volts), complex(ohms), less, turned)

    def _climb(self, start: Ends, weight: Weight) -> Ends:
        """Return the corner that turning parts from ``start`` ends in."""
        ends, value = start, self._weigh(start, weight)
        for number in range(ROUNDS + 4 * len(self.loose)):
            turned = self._turned(ends, weight)
            better = turned > value * (1 + GAIN)
            if not better.any():
                break
            every = ends ^ better
            together = self._weigh(every, weight) if number < ROUNDS else -np.inf
            if together > turned.max():
                ends, value = every, together
            else:
                ends = ends.copy()
                ends[turned.argmax()] ^= True
                value = float(turned.max())
        return ends

    def _matrix(self, ends: Ends) -> Numbers:
        """Return what port and parts see of source, port and parts at one corner."""
        if (known := self._known.get(key := ends.tobytes())) is not None:
            return known
        there = np.flatnonzero(ends)
        inner = self.sees[1 + there][:, 2 + there] + np.diag(self.ohms[there])
        seen = np.linalg.solve(inner, self.sees[1 + there])
        matrix: Numbers = self.sees - self.sees[:, 2 + there] @ seen
        self._known[key] = matrix
        return matrix

    def _at(self, ends: Ends) -> tuple[Numbers, Numbers]:
        matrix = self._matrix(ends)
        return np.asarray(matrix[0, 0] * self.volts), np.asarray(matrix[0, 1] * UNIT)

    def _weigh(self, ends: Ends, weight: Weight) -> float:
        return float(weight(*self._at(ends)))

    def _turned(self, ends: Ends, weight: Weight) -> Floats:
        """Return the weight with each part turned by itself, (parts)."""
        matrix = self._matrix(ends)
        # A part at the far end is turned back: the change has the other sign, on top of what is
        # there.
        middle = matrix[1:, 2:].diagonal() + np.where(ends, -1, 1) * self.ohms
        gain = matrix[0, 2:] / middle
        return weight(
            (matrix[0, 0] - gain * matrix[1:, 0]) * self.volts,
            (matrix[0, 1] - gain * matrix[1:, 1]) * UNIT,
        )


def alternating_weight(person_ohms: complex) -> Weight:
    """Return what to make the most of: amperes through a person, little where their volts do not
    count (35 V peak).
    """

    def weigh(volts: Numbers, ohms: Numbers) -> Floats:
        amps = abs(volts) / abs(ohms + person_ohms)
        counts = abs(volts) * math.sqrt(2) > limit("35 V peak").volts
        weighed: Floats = np.where(counts, amps, amps * FEW_VOLTS)
        return weighed

    return weigh


def direct_weight(person_ohms: float) -> Weight:
    """Return the same of direct current (60 V)."""

    def weigh(volts: Numbers, ohms: Numbers) -> Floats:
        amps = abs(volts) / (np.real(ohms) + person_ohms)
        weighed: Floats = np.where(abs(volts) > limit("60 V DC").volts, amps, amps * FEW_VOLTS)
        return weighed

    return weigh


def _most_volts(volts: Numbers, _ohms: Numbers) -> Floats:
    return np.asarray(abs(volts), float)


def ends(study: Study, less: Sequence[int]) -> tuple[tuple[str, str], ...]:
    """Return (part, ``high`` or ``low``) of some elements that are at the end which passes less:
    high ohms, low farads.
    """
    elements = [study.elements[number] for number in less]
    return tuple(
        dict.fromkeys((element.part, "low" if element.farads else "high") for element in elements)
    )
