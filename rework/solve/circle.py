"""Linear equations around one period: all instants at once, with the storage of the circuit as the
link from each to the next two.

``Circle`` serves circuits of up to ``sparse.LARGE`` unknowns, ``turn.Turn`` larger ones.
"""

from __future__ import annotations

import numpy as np

from rework.solve.arcs import Arcs
from rework.solve.arrays import Floats
from rework.solve.network import Network

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
        self.linked = self.v @ inverse @ self.u - self.v @ ports @ (pull @ (sees @ self.u))
        self.arcs: Arcs | None = None
        #: All turned over, so that every instant and column is a row of one product.
        self.inverse, self.ports, self.sees = inverse.T.copy(), ports.T.copy(), sees.T.copy()
        self.pull: Floats = np.swapaxes(pull, 1, 2)

    def solve(self, right: Floats) -> Floats:
        """Return y for every column of ``right``, both (instants, columns, n)."""
        free = np.swapaxes(self._still(right) @ self.v.T, 1, 2)
        self.arcs = self.arcs or Arcs(self.linked)
        states = np.swapaxes(self.arcs.solved(free), 1, 2)
        pushed = (2 * np.roll(states, 1, 0) - 0.5 * np.roll(states, 2, 0)) @ self.u.T
        return self._still(right + pushed)

    def solve_transposed(self, right: Floats) -> Floats:
        """Return y for every column of ``right``, both (instants, columns, n), of the transposed
        equations: what follows an instant drives it.
        """
        free = np.swapaxes(self._still_transposed(right) @ self.u, 1, 2)
        linked = np.swapaxes(self.linked, 1, 2)
        states = np.swapaxes(Arcs(linked[::-1]).solved(free[::-1])[::-1], 1, 2)
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
    states = Arcs(v @ spread).solved(v @ plain)
    y: Floats = plain + spread @ (2 * np.roll(states, 1, -3) - 0.5 * np.roll(states, 2, -3))
    return y


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
