"""Linear equations around one period: all instants at once, with the storage of the circuit as the
link from each to the next two.

``Circle`` serves circuits of up to ``sparse.LARGE`` unknowns, ``turn.Turn`` larger ones.
"""

from __future__ import annotations

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.network import Network

#: Volts around the circle may leave so much of the links between instants, as a share of what they
#: are; else the arcs are joined by rotations.
LEFT = 1e-9
#: Times that the rows and columns of what is stored are brought to one size.
EQUILIBRATIONS = 6
#: A step is put right at most so often, until what it leaves of the equations is this share of
#: them; else every instant gets a matrix of its own.
ROUNDS, RESIDUAL = 2, 1e-7


class Circle:
    """Newton steps of one period of ``instants``, each of ``dt`` seconds: y with A[t] y[t] + C
    (rate of y) = right[t] around the circle.

    All that differs from instant to instant is at the few ports of the devices. So one matrix, with
    every device at its mean slope, is inverted, and what each instant adds is put in at the ports
    (Woodbury, Memorandum 42, Statistical Research Group, Princeton, 1950).
    """

    def __init__(self, network: Network, instants: int, dt: float) -> None:
        self.network, self.instants = network, instants
        self.c: Floats = network.c / dt
        self.fixed: Floats = network.g + 1.5 * self.c
        self.u, self.v = storage(network, dt)
        #: Whether one inverse for all instants has turned out too inexact.
        self.is_stiff = False

    def excess(self, x: Floats, rates: Floats, currents: Floats, source: Floats) -> Floats:
        """Return what is left of the equations at x (instants, n), whose ``rates`` are those of an
        instant.
        """
        network = self.network
        left: Floats = x @ network.g.T + rates @ self.c.T + currents @ network.reads - source
        return left

    def step(self, slopes: Floats, excess: Floats) -> Floats:
        """Return the Newton step (instants, n) that takes the ``excess`` away, with these device
        slopes (instants, entries).
        """
        if self.is_stiff:
            return self._each_by_itself(slopes, excess)
        self.at(slopes)
        step = self.solve(excess[:, None])[:, 0]
        most = RESIDUAL * np.abs(excess).max()
        for _ in range(ROUNDS):
            left = excess - self._made(step, slopes)
            if np.abs(left).max() <= most:
                return step
            step += self.solve(left[:, None])[:, 0]
        self.is_stiff = not np.abs(excess - self._made(step, slopes)).max() <= most
        return self._each_by_itself(slopes, excess) if self.is_stiff else step

    def _made(self, step: Floats, slopes: Floats) -> Floats:
        """Return the currents (instants, n) that a step makes."""
        network = self.network
        squares = np.swapaxes(network.squares(slopes), 1, 2)
        through = (step @ network.reads.T)[:, None] @ squares
        rates = 1.5 * step - 2 * np.roll(step, 1, 0) + 0.5 * np.roll(step, 2, 0)
        residual: Floats = step @ network.g.T + rates @ self.c.T + through[:, 0] @ network.reads
        return residual

    def _each_by_itself(self, slopes: Floats, excess: Floats) -> Floats:
        """Return the step with a matrix for every instant: slower, and exact where what is common
        to all of them nearly has no inverse (a winding that only leaks hold).
        """
        reads = self.network.reads
        jac = self.fixed + reads.T @ (self.network.squares(slopes) @ reads)
        return circle(jac, excess[:, :, None], self.u, self.v)[:, :, 0]

    def at(self, slopes: Floats) -> None:
        """Take the device slopes (instants, entries).

        Raises LinAlgError where a matrix has no inverse.
        """
        reads = self.network.reads
        mean = self.network.squares(slopes.mean(0))
        off = self.network.squares(slopes) - mean
        inverse = np.linalg.inv(self.fixed + reads.T @ mean @ reads)
        ports, sees = inverse @ reads.T, reads @ inverse
        pull = np.linalg.solve(np.eye(len(reads)) + off @ (reads @ ports), off)
        self.linked: Floats = self.v @ inverse @ self.u - self.v @ ports @ (pull @ (sees @ self.u))
        #: All turned over, so that every instant and column is a row of one product.
        self.inverse, self.ports, self.sees = inverse.T.copy(), ports.T.copy(), sees.T.copy()
        self.pull: Floats = np.swapaxes(pull, 1, 2)

    def solve(self, right: Floats) -> Floats:
        """Return y for every column of ``right``, both (instants, columns, n)."""
        free = np.swapaxes(self._still(right) @ self.v.T, 1, 2)
        states = np.swapaxes(around(self.linked, free), 1, 2)
        pushed = (2 * np.roll(states, 1, 0) - 0.5 * np.roll(states, 2, 0)) @ self.u.T
        return self._still(right + pushed)

    def solve_transposed(self, right: Floats) -> Floats:
        """Return y for every column of ``right``, both (instants, columns, n), of the transposed
        equations: what follows an instant drives it.
        """
        free = np.swapaxes(self._still_transposed(right) @ self.u, 1, 2)
        linked = np.swapaxes(self.linked, 1, 2)
        states = np.swapaxes(around(linked[::-1], free[::-1])[::-1], 1, 2)
        pushed = (2 * np.roll(states, -1, 0) - 0.5 * np.roll(states, -2, 0)) @ self.v
        return self._still_transposed(right + pushed)

    def _still_transposed(self, right: Floats) -> Floats:
        """Return what each instant by itself answers to the transposed equations."""
        rows = right.reshape(-1, right.shape[-1])
        pulled = (rows @ self.ports.T).reshape(*right.shape[:2], -1) @ np.swapaxes(self.pull, 1, 2)
        answer = rows @ self.inverse.T - pulled.reshape(len(rows), -1) @ self.sees.T
        return answer.reshape(right.shape)

    def _still(self, right: Floats) -> Floats:
        """Return what each instant by itself answers, (instants, columns, n)."""
        rows = right.reshape(-1, right.shape[-1])
        pulled = (rows @ self.sees).reshape(*right.shape[:2], -1) @ self.pull
        answer = rows @ self.inverse - pulled.reshape(len(rows), -1) @ self.ports
        return answer.reshape(right.shape)


def circle(jac: Floats, right: Floats, u: Floats, v: Floats) -> Floats:
    """Return y with jac y[k] = right[k] + u v (2 y[k-1] - y[k-2]/2) around the circle, for every
    column of ``right`` (..., instants, n, columns).

    Circuits may be in front as leading axes, each with its ``u`` (..., 1, n, rank) and ``v``
    (..., 1, rank, n).
    """
    rank = u.shape[-1]
    solved = np.linalg.solve(
        jac, np.concatenate([np.broadcast_to(u, (*right.shape[:-1], rank)), right], -1)
    )
    spread, plain = solved[..., :rank], solved[..., rank:]
    states = around(v @ spread, v @ plain)
    y: Floats = plain + spread @ (2 * np.roll(states, 1, -3) - 0.5 * np.roll(states, 2, -3))
    return y


def around(linked: Floats, free: Floats) -> Floats:
    """Return y with y[k] = free[k] + linked[k] (2 y[k-1] - y[k-2]/2) around the circle, for every
    column of ``free`` (..., instants, rank, columns).

    Arcs of the circle are gone through side by side, then joined. In a set that swings by itself
    what is carried on grows until its digits are lost: that shows in what is left of the links,
    and the answer then comes by rotations, which lose none.
    """
    if free.shape[-2] == 0:
        return free
    with np.errstate(over="ignore", invalid="ignore"):
        y = _by_arcs(linked, free)
        left = y - free - linked @ (2 * np.roll(y, 1, -3) - 0.5 * np.roll(y, 2, -3))
        most = np.abs(left).max((-3, -2, -1)), LEFT * np.abs(y).max((-3, -2, -1))
    lost = ~(most[0] <= most[1])
    if lost.any():
        y[lost] = _by_rotations(linked[lost], free[lost])
    return y


def _by_rotations(linked: Floats, free: Floats) -> Floats:
    """Return the same as ``around`` for any growth: neighbours in turn lose the states between them
    by an orthogonal factorization (S. J. Wright, SIAM J. Sci. Stat. Comput. 13, 742-764, 1992).
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


def _by_arcs(linked: Floats, free: Floats) -> Floats:
    """Return the same as ``around``, quickly where nothing grows."""
    *front, instants, rank, columns = free.shape
    arcs = max(divisor for divisor in range(1, int(instants**0.5) + 1) if instants % divisor == 0)
    linked = linked.reshape(*front, arcs, -1, rank, rank)
    free = free.reshape(*front, arcs, -1, rank, columns)
    #: The last two states of each arc as its first two make them, and what is added on the way.
    carried = np.zeros((*front, arcs, 2 * rank, 2 * rank + columns))
    carried[..., : 2 * rank] = np.eye(2 * rank)
    history = np.empty((*free.shape[:-1], 2 * rank + columns))
    for k in range(instants // arcs):
        new = linked[..., k, :, :] @ (2 * carried[..., :rank, :] - 0.5 * carried[..., rank:, :])
        new[..., 2 * rank :] += free[..., k, :, :]
        carried = np.concatenate([new, carried[..., :rank, :]], -2)
        history[..., k, :, :] = new
    begin = _joined(carried)[..., None, :, :]
    y: Floats = history[..., : 2 * rank] @ begin + history[..., 2 * rank :]
    return y.reshape(*front, instants, rank, columns)


def _joined(carried: Floats) -> Floats:
    """Return the two states before each arc (..., arcs, states, columns) for what each makes of
    its own, (..., arcs, states, states and columns).
    """
    *front, arcs, states, width = carried.shape
    whole = np.zeros((*front, states, width))
    whole[..., :states] = np.eye(states)
    before = np.empty_like(carried)
    for arc in range(arcs):
        before[..., arc, :, :] = whole
        whole = carried[..., arc, :, :states] @ whole
        whole[..., states:] += carried[..., arc, :, states:]
    first = np.linalg.solve(np.eye(states) - whole[..., :states], whole[..., states:])
    begin: Floats = before[..., :states] @ first[..., None, :, :] + before[..., states:]
    return begin


def storage(network: Network, dt: float) -> tuple[Floats, Floats]:
    """Return u (n, rank) and v (rank, n), u v = C / dt, of the rank of C: the storage states.

    Rows and columns are brought to one size first (D. Ruiz, report RAL-TR-2001-034): beside the
    henries of a core the picofarads of a stray would be taken for nothing.
    """
    c = network.c / dt
    down, along = np.ones(len(c)), np.ones(len(c))
    for _ in range(EQUILIBRATIONS):
        scaled = np.abs(c / down[:, None] / along)
        rows, columns = scaled.max(1, initial=0.0), scaled.max(0, initial=0.0)
        down *= np.sqrt(np.where(rows > 0, rows, 1.0))
        along *= np.sqrt(np.where(columns > 0, columns, 1.0))
    u, sizes, v = np.linalg.svd(c / down[:, None] / along)
    rank = int((sizes > sizes[0] * 1e-13).sum()) if len(sizes) and sizes[0] > 0 else 0
    return down[:, None] * u[:, :rank] * sizes[:rank], v[:rank] * along
