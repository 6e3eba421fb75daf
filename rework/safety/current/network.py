"""Linear nodal analysis at one frequency, many states at once, and what one more or one less element does to it.

Every element is an admittance ``y`` and a vector ``w`` over nodes; it adds ``y w w'`` to the nodal matrix. A two-terminal
element has ``w = (1, -1)``; a winding coupled to another without stray field has ``w = (1, -1, -n, n)``. The matrix is
symmetric, so the answers below need no more than one factorisation a state, however many changes are asked about.

Every node has an anchor of 1e-9 S to the reference, so that a piece left floating has an answer: from 264 V it passes a
quarter of a microampere a node.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np

#: Siemens from every node to the reference.
ANCHOR = 1e-9
#: Up to this many nodes the inverse is kept dense; beyond it a sparse factorisation answers column by column.
MOST_DENSE = 250
#: Where 1 + d u'Zu has lost this much, a change is solved afresh instead of updated.
LOST = 1e-9

Pattern = tuple[Sequence[str], Sequence[float]]


@dataclass(frozen=True, eq=False, slots=True)
class Patterns:
    """Weighted sums of node voltages, padded to one width: ``index`` into nodes (the reference last) and ``weight``."""

    index: np.ndarray
    weight: np.ndarray

    def __len__(self) -> int:
        return len(self.index)

    def take(self, rows: Sequence[int]) -> Patterns:
        """Return some of the patterns."""
        return Patterns(self.index[list(rows)], self.weight[list(rows)])


class Nodes:
    """The nodes of a network in sorted order, without the reference."""

    def __init__(self, names: Iterable[str], reference: str) -> None:
        self.reference = reference
        self.names = tuple(sorted(set(names) - {reference}))
        self.number = {name: number for number, name in enumerate(self.names)}
        self.number[reference] = len(self.names)

    def patterns(self, wanted: Sequence[Pattern]) -> Patterns:
        """Return patterns given as (nodes, weights)."""
        import numpy as np

        width = max((len(nodes) for nodes, _ in wanted), default=2)
        index = np.full((len(wanted), width), len(self.names))
        weight = np.zeros((len(wanted), width))
        for row, (nodes, weights) in enumerate(wanted):
            index[row, : len(nodes)] = [self.number[node] for node in nodes]
            weight[row, : len(nodes)] = weights
        weight[index == len(self.names)] = 0.0
        return Patterns(index, weight)


def solve(nodes: Nodes, elements: Patterns, admittance: np.ndarray) -> Solved:
    """Return the network solved for admittances of shape (states, elements), in siemens, real or complex."""
    if len(nodes.names) <= MOST_DENSE:
        return DenseSolved(nodes, elements, admittance)
    return SparseSolved(nodes, elements, admittance)


def _coordinates(elements: Patterns) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return (row, column, coefficient, element) of every product in the sum of ``y w w'``."""
    import numpy as np

    width = elements.index.shape[1]
    row = np.repeat(elements.index, width, axis=1).ravel()
    column = np.tile(elements.index, (1, width)).ravel()
    coefficient = (elements.weight[:, :, None] * elements.weight[:, None, :]).ravel()
    element = np.repeat(np.arange(len(elements)), width * width)
    kept = coefficient != 0
    return row[kept], column[kept], coefficient[kept], element[kept]


def _as_columns(patterns: Patterns, size: int) -> np.ndarray:
    """Return the patterns as the columns of a (size, patterns) array."""
    import numpy as np

    columns = np.zeros((size + 1, len(patterns)))
    for place in range(patterns.index.shape[1]):
        np.add.at(columns, (patterns.index[:, place], np.arange(len(patterns))), patterns.weight[:, place])
    return columns[:size]


class DenseSolved:
    """The inverse nodal matrix of every state, with a row and a column of zeros for the reference."""

    def __init__(self, nodes: Nodes, elements: Patterns, admittance: np.ndarray) -> None:
        import numpy as np

        self.nodes = nodes
        size, states = len(nodes.names), len(admittance)
        row, column, coefficient, element = _coordinates(elements)
        place, slot = np.unique(row * size + column, return_inverse=True)
        spread = np.zeros((len(elements), len(place)))
        np.add.at(spread, (element, slot), coefficient)
        matrix = np.zeros((states, size * size), admittance.dtype)
        matrix[:, place] = admittance @ spread
        matrix[:, :: size + 1] += ANCHOR
        self.inverse = np.zeros((states, size + 1, size + 1), admittance.dtype)
        self.inverse[:, :size, :size] = np.linalg.inv(matrix.reshape(states, size, size))

    def between(self, left: Patterns, right: Patterns) -> np.ndarray:
        """Return ``l' Z r`` for every pair, in ohm, of shape (states, left, right)."""
        half = sum(left.weight[:, i, None] * self.inverse[:, left.index[:, i], :] for i in range(left.index.shape[1]))
        return sum(right.weight[:, i] * half[:, :, right.index[:, i]] for i in range(right.index.shape[1]))

    def own(self, patterns: Patterns) -> np.ndarray:
        """Return ``u' Z u`` for every pattern, in ohm, of shape (states, patterns)."""
        index, weight = patterns.index, patterns.weight
        width = range(index.shape[1])
        return sum(weight[:, i] * weight[:, j] * self.inverse[:, index[:, i], index[:, j]] for i in width for j in width)


class SparseSolved:
    """A sparse factorisation of every state, for circuits of hundreds of nodes."""

    #: Right-hand sides solved at a time.
    BLOCK = 256

    def __init__(self, nodes: Nodes, elements: Patterns, admittance: np.ndarray) -> None:
        import numpy as np
        from scipy.sparse import csc_matrix
        from scipy.sparse.linalg import splu

        self.nodes, self.dtype = nodes, admittance.dtype
        size = len(nodes.names)
        row, column, coefficient, element = _coordinates(elements)
        diagonal = np.arange(size)
        where = (np.concatenate([row, diagonal]), np.concatenate([column, diagonal]))
        anchors = np.full(size, ANCHOR)
        self.factors = [splu(csc_matrix((np.concatenate([y[element] * coefficient, anchors]), where), shape=(size, size)),
                             permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}) for y in admittance]

    def between(self, left: Patterns, right: Patterns) -> np.ndarray:
        """Return ``l' Z r`` for every pair, in ohm, of shape (states, left, right)."""
        import numpy as np

        if len(right) > len(left):
            return np.swapaxes(self.between(right, left), 1, 2)
        columns = _as_columns(right, len(self.nodes.names)).astype(self.dtype)
        answers = [self._summed(left, factor.solve(columns)) for factor in self.factors]
        return np.array(answers).reshape(len(self.factors), len(left), len(right))

    def own(self, patterns: Patterns) -> np.ndarray:
        """Return ``u' Z u`` for every pattern, in ohm, of shape (states, patterns)."""
        import numpy as np

        found = np.empty((len(self.factors), len(patterns)), self.dtype)
        for start in range(0, len(patterns), self.BLOCK):
            some = patterns.take(range(start, min(start + self.BLOCK, len(patterns))))
            columns = _as_columns(some, len(self.nodes.names)).astype(self.dtype)
            for state, factor in enumerate(self.factors):
                answer = factor.solve(columns)
                found[state, start : start + len(some)] = (columns * answer).sum(axis=0)
        return found

    @staticmethod
    def _summed(left: Patterns, answer: np.ndarray) -> np.ndarray:
        import numpy as np

        padded = np.vstack([answer, np.zeros((1, answer.shape[1]), answer.dtype)])
        return sum(left.weight[:, i, None] * padded[left.index[:, i]] for i in range(left.index.shape[1]))


Solved = DenseSolved | SparseSolved


@dataclass(frozen=True, eq=False, slots=True)
class Seen:
    """A network as seen from ports with sources in it: ``volts`` open circuit and ``ohms`` looking in (Thevenin 1883).

    ``volts`` has the shape (states, ports, feeds), ``ohms`` (states, ports).
    """

    volts: np.ndarray
    ohms: np.ndarray


def seen(solved: Solved, ports: Patterns, feeds: Patterns) -> Seen:
    """Return what ports see of one ampere driven into each feed."""
    return Seen(solved.between(ports, feeds), solved.own(ports))


@dataclass(frozen=True, eq=False, slots=True)
class Changed:
    """The same with one change at a time: ``volts`` (states, changes, ports, feeds), ``ohms`` (states, changes, ports).

    ``lost`` marks the (state, change) pairs for which the update has no digits left.
    """

    volts: np.ndarray
    ohms: np.ndarray
    lost: np.ndarray


def changed(solved: Solved, base: Seen, ports: Patterns, feeds: Patterns, changes: Patterns, siemens: np.ndarray) -> Changed:
    """Return what the ports see when ``siemens`` (states, changes) is added along each change, one at a time.

    ``Z' = Z - Z u (d / (1 + d u'Zu)) u'Z`` (J. Sherman and W. J. Morrison, Ann. Math. Stat. 21, 124-127, 1950).
    """
    import numpy as np

    across = solved.between(changes, ports)
    fed = solved.between(changes, feeds)
    below = 1 + siemens * solved.own(changes)
    lost = np.abs(below) < LOST
    factor = siemens / np.where(lost, 1.0, below)
    volts = base.volts[:, None] - (factor[:, :, None] * across)[:, :, :, None] * fed[:, :, None, :]
    ohms = base.ohms[:, None] - factor[:, :, None] * across**2
    return Changed(volts, ohms, lost)


def changed_together(solved: Solved, base: Seen, ports: Patterns, feeds: Patterns, changes: Patterns, siemens: np.ndarray) -> Seen:
    """Return what the ports see with all the changes made at once.

    ``Z' = Z - Z U (1 + D U'ZU)^-1 D U'Z`` (W. W. Hager, SIAM Rev. 31, 221-239, 1989), which also holds where D is singular.
    """
    import numpy as np

    among, across, fed = solved.between(changes, changes), solved.between(changes, ports), solved.between(changes, feeds)
    middle = np.eye(len(changes)) + siemens[:, :, None] * among
    answer = np.linalg.solve(middle, siemens[:, :, None] * np.concatenate([fed, across], axis=2))
    sideways = np.swapaxes(across, 1, 2)
    volts = base.volts - sideways @ answer[:, :, : len(feeds)]
    ohms = base.ohms - np.einsum("spc,scp->sp", sideways, answer[:, :, len(feeds):])
    return Seen(volts, ohms)
