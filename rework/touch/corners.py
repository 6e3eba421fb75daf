"""The corner of all tolerances at which a person gets most.

Every part with a tolerance is at one end of it or the other. With all others held, the current of a
resistive network is a monotone function of each conductance, so that the worst of all is at a
corner; which end is worse is the sign of the sensitivity, and it changes as other parts change
ends. So the ends are turned by their signs until none is left that makes it worse.

The parts are changes of rank one on a network solved once at the base corner, where everything is
at the end that passes more (see ``updates`` for the formula).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.touch.network import UNIT, Floats, Numbers, Patterns, Solved, joined
from rework.touch.study import Study

#: So many parts are turned: those that matter most at the base corner.
MOST_TURNED = 40
#: One that changes neither volts nor ohms by this share is left where it is.
LEAST_EFFECT = 1e-5
#: Rounds in which all parts are turned at once by their signs, before one at a time.
ROUNDS = 6
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
    the numbers of the elements that are at the end that passes less, where that matters.
    """

    volts: complex
    ohms: complex
    less: tuple[int, ...]


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
        slack = np.array([element.slack for element in study.elements])
        self.loose = np.flatnonzero((slack > 0) & (admittance[: len(slack)] != 0))
        self.change: Numbers = -(slack * admittance[: len(slack)] * UNIT)[self.loose]
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


class Corners:
    """One state of a network at the base corner: how a port sees the source and every part that has
    a tolerance. ``volts`` of the source go with ``source``.
    """

    def __init__(self, state: StateAnswers, place: int, source: Patterns, volts: float) -> None:
        """Take the port at a ``place`` among those of the state."""
        seen, change = state.seen(place, source), state.change
        # To first order, what each does to the volts and to the ohms behind them, relative.
        through = change * seen[1:, 1]
        least = np.maximum(abs(seen[0, :2]), np.finfo(float).tiny)
        effect = np.maximum(*(abs(through * seen[1:, at]) / least[at] for at in (0, 1)))
        order = np.argsort(-effect, kind="stable")[:MOST_TURNED]
        kept = np.sort(order[effect[order] > LEAST_EFFECT])
        self.loose, self.volts, change = state.loose[kept], volts, change[kept]
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
        return PortCorner(complex(volts), complex(ohms), less)

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
