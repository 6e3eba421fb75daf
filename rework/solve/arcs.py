"""The states around a circle of instants, each linked to the two before it: arcs of the circle side
by side, then joined.
"""

from __future__ import annotations

import numpy as np

from rework.solve.arrays import Floats, Ints

#: Volts around the circle may leave so much of the links between instants, as a share of what they
#: are; else the arcs are joined by rotations.
LEFT = 1e-9
#: The places of all circuits in front.
ALL = slice(None)


class Arcs:
    """What solves y[k] = free[k] + linked[k] (2 y[k-1] - y[k-2]/2) around a circle, for links
    ``linked`` (..., instants, rank, rank); any number of times, since most of the work is in the
    links alone.

    In a set that swings by itself what is carried on grows until its digits are lost: that shows in
    what is left of the links, and the answer then comes by rotations, which lose none.
    """

    def __init__(self, linked: Floats) -> None:
        self.linked = linked
        *front, instants, rank, _ = linked.shape
        self.arcs = max(
            divisor for divisor in range(1, int(instants**0.5) + 1) if instants % divisor == 0
        )
        self.steps = linked.reshape(*front, self.arcs, instants // self.arcs, rank, rank)
        #: How the last two states before an arc come through it, (..., arcs, steps, rank, 2 rank),
        #: and through all arcs before each, (..., arcs, 2 rank, 2 rank).
        self.history = np.empty((*self.steps.shape[:-1], 2 * rank))
        with np.errstate(over="ignore", invalid="ignore"):
            self._carry()

    def _carry(self) -> None:
        rank = self.linked.shape[-1]
        latest = np.zeros((*self.steps.shape[:-3], rank, 2 * rank))
        before = latest.copy()
        at = np.arange(rank)
        latest[..., at, at] = 1.0
        before[..., at, at + rank] = 1.0
        for k in range(self.steps.shape[-3]):
            latest, before = self.steps[..., k, :, :] @ (2 * latest - 0.5 * before), latest
            self.history[..., k, :, :] = latest
        self.through = np.concatenate([latest, before], -2)
        whole = np.broadcast_to(np.eye(2 * rank), (*self.through.shape[:-3], 2 * rank, 2 * rank))
        self.before = np.empty_like(self.through)
        for arc in range(self.arcs):
            self.before[..., arc, :, :] = whole
            whole = self.through[..., arc, :, :] @ whole
        self.closed = np.eye(2 * rank) - whole

    def solved(self, free: Floats, at: Ints | slice = ALL) -> Floats:
        """Return y for every column of ``free`` (..., instants, rank, columns); where circuits are
        in front, of those at some places alone.

        Raises LinAlgError where nothing closes the circle.
        """
        if free.shape[-2] == 0:
            return free
        linked = self.linked[at]
        with np.errstate(over="ignore", invalid="ignore"):
            y = self._by_arcs(free, at)
            left = y - free - linked @ (2 * np.roll(y, 1, -3) - 0.5 * np.roll(y, 2, -3))
            most = np.abs(left).max((-3, -2, -1)), LEFT * np.abs(y).max((-3, -2, -1))
        lost = ~(most[0] <= most[1])
        if lost.any():
            y[lost] = _by_rotations(linked[lost], free[lost])
        return y

    def _by_arcs(self, free: Floats, at: Ints | slice) -> Floats:
        """Return the same, quickly where nothing grows."""
        steps, history, through, before, closed = (
            every[at]
            for every in (self.steps, self.history, self.through, self.before, self.closed)
        )
        *front, instants, rank, columns = free.shape
        free = free.reshape(*front, self.arcs, instants // self.arcs, rank, columns)
        latest = np.zeros((*front, self.arcs, rank, columns))
        last, added = latest, np.empty(free.shape)
        for k in range(instants // self.arcs):
            new = steps[..., k, :, :] @ (2 * latest - 0.5 * last) + free[..., k, :, :]
            last, latest = latest, new
            added[..., k, :, :] = new
        ends = np.concatenate([latest, last], -2)
        begun = np.zeros_like(ends)
        whole = np.zeros((*front, 2 * rank, columns))
        for arc in range(self.arcs):
            begun[..., arc, :, :] = whole
            whole = through[..., arc, :, :] @ whole + ends[..., arc, :, :]
        first = np.linalg.solve(closed, whole)
        begin = before @ first[..., None, :, :] + begun
        y: Floats = history @ begin[..., None, :, :] + added
        return y.reshape(*front, instants, rank, columns)


def _by_rotations(linked: Floats, free: Floats) -> Floats:
    """Return the states around a circle for any growth of what is linked: neighbours in turn lose
    the states between them by an orthogonal factorization (S. J. Wright, SIAM J. Sci. Stat. Comput.
    13, 742-764, 1992).
    """
    *_, rank, _ = free.shape
    one, nothing = np.broadcast_to(np.eye(rank), linked.shape), np.zeros(linked.shape)
    begins = np.concatenate(
        [np.concatenate([-2 * linked, 0.5 * linked], -1), np.concatenate([-one, nothing], -1)], -2
    )
    ends = np.broadcast_to(np.eye(2 * rank), begins.shape)
    right = np.concatenate([free, np.zeros(free.shape)], -2)
    return _ends(begins, ends, right)[..., :rank, :]


def _ends(begins: Floats, ends: Floats, right: Floats) -> Floats:
    """Return z at the end of every arc of a circle, (..., arcs, states, columns), where begins z
    (at the beginning) + ends z (at the end) = right.
    """
    *_, arcs, states, _ = begins.shape
    joined = np.empty(right.shape)
    if arcs == 1:
        joined[...] = np.linalg.solve(begins + ends, right)
        return joined
    pairs = arcs // 2
    #: The first and the second of every pair, and one that is left over.
    first, second, alone = slice(0, 2 * pairs, 2), slice(1, 2 * pairs, 2), slice(2 * pairs, None)

    def take(blocks: Floats, which: slice) -> Floats:
        return blocks[..., which, :, :]

    between = np.concatenate([take(ends, first), take(begins, second)], -2)
    turned, upper = np.linalg.qr(between, mode="complete")
    turned = np.swapaxes(turned, -1, -2)
    before = turned[..., :states] @ take(begins, first)
    after = turned[..., states:] @ take(ends, second)
    given = turned @ np.concatenate([take(right, first), take(right, second)], -2)
    z = _ends(
        np.concatenate([before[..., states:, :], take(begins, alone)], -3),
        np.concatenate([after[..., states:, :], take(ends, alone)], -3),
        np.concatenate([given[..., states:, :], take(right, alone)], -3),
    )
    joined[..., second, :, :] = z[..., :pairs, :, :]
    joined[..., alone, :, :] = z[..., pairs:, :, :]
    known = (
        before[..., :states, :] @ np.roll(z, 1, -3)[..., :pairs, :, :]
        + after[..., :states, :] @ z[..., :pairs, :, :]
    )
    joined[..., first, :, :] = np.linalg.solve(
        upper[..., :states, :], given[..., :states, :] - known
    )
    return joined
