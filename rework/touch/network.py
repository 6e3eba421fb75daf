"""Linear network analysis at one frequency, many states at once.

Every element has an admittance ``y`` and a vector ``w`` over nodes, and takes the current ``i = y
w'v`` from them. A two-terminal element has ``w = (1, -1)``; a winding coupled to another without
stray field has ``w = (1, -1, -n, n)``. Elements that pass little enter the nodal matrix as ``y w
w'``; all others keep their current as an unknown of its own beside the node voltages (C.-W. Ho, A.
Ruehli and P. Brennan, IEEE Trans. CAS-22, 504-509, 1975). An element is then opened by holding its
current at nought, which loses no digits even where only a stray capacitance is left behind it.

Inside, impedances are in units of 1 kilohm, midway between a conductor and an anchor, so that
neither drowns the other; currents and admittances go with them. Every node has an anchor of 1e-9 S
to the reference, so that a piece left floating has an answer: 264 V drive a quarter of a
microampere through it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

#: Ohms to the unit in which the matrix is kept.
UNIT = 1e3
#: Siemens from every node to the reference.
ANCHOR = 1e-9
#: Elements that pass at least this many siemens in any state have their current as an unknown.
BRANCH = 1e-6
#: The same where nothing but switches opens: what passes less drowns no anchor.
STIFF = 1e-2
#: Up to this many unknowns the matrix is kept dense; beyond it a sparse factorisation answers
#: column by column.
MOST_DENSE = 300

Pattern = tuple[Sequence[str], Sequence[float]]
#: Real or complex figures.
Numbers: TypeAlias = NDArray[np.inexact[Any]]
Floats: TypeAlias = NDArray[np.floating[Any]]
Integers: TypeAlias = NDArray[np.int_]


@dataclass(frozen=True, eq=False, slots=True)
class Patterns:
    """Weighted sums of unknowns, padded to one width: ``index`` into the unknowns (the reference
    last) and ``weight``.
    """

    index: Integers
    weight: Floats

    def __len__(self) -> int:
        return len(self.index)

    def take(self, rows: Sequence[int]) -> Patterns:
        """Return some of the patterns."""
        return Patterns(self.index[list(rows)], self.weight[list(rows)])

    def read(self, answers: Numbers) -> Numbers:
        """Return every sum, (..., patterns, columns), of answers (..., unknowns, columns)."""
        terms = zip(self.index.T, self.weight.T, strict=True)
        total: Numbers = np.add.reduce(
            [weight[:, None] * answers[..., index, :] for index, weight in terms]
        )
        return total


class Frame:
    """The unknowns: node voltages in sorted order, without the reference, then the currents of some
    elements.

    ``elements`` are (nodes, weights); ``branches`` are the numbers of those whose current is an
    unknown.
    """

    def __init__(
        self,
        names: Iterable[str],
        reference: str,
        elements: Sequence[Pattern],
        branches: Sequence[int],
    ) -> None:
        self.names = tuple(sorted(set(names) - {reference}))
        self.branches = tuple(branches)
        self.size = len(self.names) + len(self.branches)
        self.number = {name: number for number, name in enumerate(self.names)}
        self.number[reference] = self.size
        self.branch_at = {
            element: len(self.names) + place for place, element in enumerate(self.branches)
        }
        self.elements = self.patterns(elements)

    def patterns(self, wanted: Sequence[Pattern]) -> Patterns:
        """Return sums of node voltages, given as (nodes, weights)."""
        return self._padded(
            [([self.number[node] for node in nodes], weights) for nodes, weights in wanted]
        )

    def currents(self, wanted: Sequence[tuple[Sequence[int], Sequence[float]]]) -> Patterns:
        """Return sums of branch currents, given as (element numbers, weights); as a source it is
        volts in those branches.
        """
        return self._padded(
            [
                ([self.branch_at[element] for element in elements], weights)
                for elements, weights in wanted
            ]
        )

    def _padded(self, wanted: Sequence[tuple[Sequence[int], Sequence[float]]]) -> Patterns:
        width = max((len(places) for places, _ in wanted), default=2)
        index, weight = np.full((len(wanted), width), self.size), np.zeros((len(wanted), width))
        for row, (places, weights) in enumerate(wanted):
            index[row, : len(places)], weight[row, : len(places)] = places, weights
        weight[index == self.size] = 0.0
        return Patterns(index, weight)


def joined(patterns: Patterns, other: Patterns) -> Patterns:
    """Return the patterns of one and then those of the other."""
    width = max(patterns.index.shape[1], other.index.shape[1])

    def wide(array: NDArray[Any]) -> NDArray[Any]:
        missing = width - array.shape[1]
        return np.pad(array, ((0, 0), (0, missing))) if missing else array

    return Patterns(
        np.vstack([wide(patterns.index), wide(other.index)]),
        np.vstack([wide(patterns.weight), wide(other.weight)]),
    )


def solve(frame: Frame, admittance: Numbers, *, anchor: float = ANCHOR) -> Solved:
    """Return the network solved for admittances of shape (states, elements), in siemens, real or
    complex; ``anchor`` siemens hold every node.
    """
    form = DenseSolved if frame.size <= MOST_DENSE else SparseSolved
    return form(frame, admittance * UNIT, anchor * UNIT)


def _entries(frame: Frame, scaled: Numbers, anchor: float) -> tuple[Integers, Integers, Numbers]:
    """Return (row, column, value) of every entry of the matrix; ``value`` has the shape (states,
    entries).
    """
    branches = np.array(frame.branches, int)
    in_nodes = np.ones(len(frame.elements), bool)
    in_nodes[branches] = False
    nodal = np.flatnonzero(in_nodes)
    index, weight = frame.elements.index[nodal], frame.elements.weight[nodal]
    width = index.shape[1]
    place = [np.repeat(index, width, axis=1).ravel(), np.tile(index, (1, width)).ravel()]
    coefficient = (weight[:, :, None] * weight[:, None, :]).ravel()
    value = scaled[:, np.repeat(nodal, width * width)] * coefficient
    there = scaled[:, branches] != 0
    diagonal = np.arange(len(frame.names), frame.size)
    ohms = np.where(there, -1 / np.where(there, scaled[:, branches], 1.0), -1.0)
    index, weight = frame.elements.index[branches], frame.elements.weight[branches]
    beside = np.repeat(diagonal, width)
    ties = np.repeat(there, width, axis=1) * weight.ravel()
    nodes = np.arange(len(frame.names))
    anchors = np.full((len(scaled), len(nodes)), anchor)
    row = np.concatenate([place[0], diagonal, index.ravel(), beside, nodes])
    column = np.concatenate([place[1], diagonal, beside, index.ravel(), nodes])
    values = np.concatenate([value, ohms, ties, ties, anchors], axis=1)
    kept = (row < frame.size) & (column < frame.size)
    return row[kept], column[kept], values[:, kept]


def _as_columns(patterns: Patterns, size: int) -> Floats:
    """Return the patterns as the columns of a (size, patterns) array."""
    columns = np.zeros((size + 1, len(patterns)))
    for place in range(patterns.index.shape[1]):
        np.add.at(
            columns, (patterns.index[:, place], np.arange(len(patterns))), patterns.weight[:, place]
        )
    return columns[:size]


class Solved(ABC):
    """A network that answers for any sources.

    Answers are always computed from a pattern itself, never as a difference of answers to its ends:
    a source between two nodes of a piece held by stray capacitance hardly lifts the piece,
    one at either node alone lifts it sky-high.
    """

    #: Right-hand sides solved at a time.
    block = 100_000

    @abstractmethod
    def answers(self, patterns: Patterns) -> Numbers:
        """Return the unknowns with each pattern as the source, (states, unknowns and a nought for
        the reference, patterns).
        """

    def between(self, left: Patterns, right: Patterns) -> Numbers:
        """Return ``l' Z r`` for every pair, of shape (states, left, right): units of 1 kilohm where
        both are sums of voltages.
        """
        return self.between_and_own(left, right)[0]

    def between_and_own(self, left: Patterns, right: Patterns) -> tuple[Numbers, Numbers]:
        """Return ``l' Z r`` for every pair and ``l' Z l`` for every pattern of the left, (states,
        left, right) and (states, left).
        """
        pieces: list[tuple[Numbers, Numbers]] = []
        for start in range(0, max(len(left), 1), self.block):
            some = left.take(range(start, min(start + self.block, len(left))))
            answers, each = self.answers(some), range(len(some))
            seen = right.read(answers)
            alone: Numbers = np.add.reduce(
                [
                    weight * answers[:, index, each]
                    for index, weight in zip(some.index.T, some.weight.T, strict=True)
                ]
            )
            pieces.append((np.swapaxes(seen, 1, 2), alone))
        return (
            np.concatenate([seen for seen, _ in pieces], axis=1),
            np.concatenate([alone for _, alone in pieces], axis=1),
        )


class DenseSolved(Solved):
    """The matrix of every state, for circuits of up to a few hundred nodes."""

    def __init__(self, frame: Frame, scaled: Numbers, anchor: float) -> None:
        self.size = frame.size
        row, column, values = _entries(frame, scaled, anchor)
        order = np.argsort(row * self.size + column, kind="stable")
        flat = (row * self.size + column)[order]
        first = np.flatnonzero(np.diff(flat, prepend=-1))
        matrix = np.zeros((len(scaled), self.size * self.size), scaled.dtype)
        matrix[:, flat[first]] = np.add.reduceat(values[:, order], first, axis=1)
        self.matrix = matrix.reshape(-1, self.size, self.size)

    def answers(self, patterns: Patterns) -> Numbers:
        """Return the unknowns, as ``Solved.answers``."""
        answers: Numbers = np.zeros(
            (len(self.matrix), self.size + 1, len(patterns)), self.matrix.dtype
        )
        answers[:, : self.size] = np.linalg.solve(self.matrix, _as_columns(patterns, self.size))
        return answers


class SparseSolved(Solved):
    """A sparse factorisation of every state, for circuits of hundreds of nodes and more."""

    block = 256

    def __init__(self, frame: Frame, scaled: Numbers, anchor: float) -> None:
        # scipy takes longer to load than most sets to solve, and they are dense.
        from scipy.sparse import csc_matrix
        from scipy.sparse.linalg import splu

        self.size, self.dtype = frame.size, scaled.dtype
        row, column, values = _entries(frame, scaled, anchor)
        self.factors = [
            splu(csc_matrix((some, (row, column)), shape=(self.size, self.size))) for some in values
        ]

    def answers(self, patterns: Patterns) -> Numbers:
        """Return the unknowns, as ``Solved.answers``."""
        answers: Numbers = np.zeros((len(self.factors), self.size + 1, len(patterns)), self.dtype)
        columns = _as_columns(patterns, self.size).astype(self.dtype)
        for state, factor in enumerate(self.factors):
            answers[state, : self.size] = factor.solve(columns)
        return answers
