"""Newton steps around the period of many circuits at once, all instants of each: what
``circle.Circle`` is for one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rework.solve.arcs import ALL, Arcs
from rework.solve.arrays import Bools, Floats, Ints
from rework.solve.circle import RESIDUAL, ROUNDS, circle, storage
from rework.solve.network import Network


@dataclass(frozen=True, slots=True, eq=False)
class _Ports:
    """What circuits answer at the ports of their devices: ``pull`` (circuits, instants, m, m) what
    each instant adds there, ``arcs`` how an instant goes on from the two before it; all else is
    turned over, (circuits, rows, columns).
    """

    pull: Floats
    arcs: Arcs
    inverse: Floats
    sees: Floats
    ports: Floats
    u: Floats
    v: Floats

    def solved(self, right: Floats, at: Ints | slice) -> Floats:
        """Return y (some, instants, n) around the circle of some of the circuits, at these places,
        for their ``right`` (some, instants, n).
        """
        free = (self._still(right, at) @ self.v[at])[..., None]
        states = self.arcs.solved(free, at)[..., 0]
        pushed = 2 * np.roll(states, 1, 1) - 0.5 * np.roll(states, 2, 1)
        return self._still(right + pushed @ self.u[at], at)

    def _still(self, right: Floats, at: Ints | slice) -> Floats:
        """Return what each instant by itself answers."""
        pulled = (self.pull[at] @ (right @ self.sees[at])[..., None])[..., 0]
        answer: Floats = right @ self.inverse[at] - pulled @ self.ports[at]
        return answer


class Circles:
    """Newton steps of one period of ``instants``, each of ``dts`` (circuits) seconds, of many
    circuits, filled up to the largest of them with unknowns, controls and states that stay nothing.

    As in ``Circle``, one matrix of each circuit is inverted, and what differs from instant to
    instant is put in at the ports of the devices; a circuit for which that is not exact enough gets
    a matrix for every instant.
    """

    def __init__(self, networks: Sequence[Network], instants: int, dts: Sequence[float]) -> None:
        pairs = [storage(network, dt) for network, dt in zip(networks, dts, strict=True)]
        count, n = len(networks), max(network.n for network in networks)
        m = max(len(network.reads) for network in networks)
        rank = max(u.shape[1] for u, _ in pairs)
        self.instants = instants
        self.g, self.c = np.zeros((count, n, n)), np.zeros((count, n, n))
        self.reads = np.zeros((count, m, n))
        self.u, self.v = np.zeros((count, n, rank)), np.zeros((count, rank, n))
        for at, (network, dt, (u, v)) in enumerate(zip(networks, dts, pairs, strict=True)):
            size = network.n
            self.g[at, range(n), range(n)] = 1.0
            self.g[at, :size, :size] = network.g
            self.c[at, :size, :size] = network.c / dt
            self.reads[at, : len(network.reads), :size] = network.reads
            self.u[at, :size, : u.shape[1]], self.v[at, : v.shape[0], :size] = u, v
        #: The circuits for which one inverse has turned out too inexact.
        self.is_stiff: Bools = np.zeros(count, bool)

    def steps(
        self, places: Sequence[int], slopes: Sequence[Floats], excess: Sequence[Floats]
    ) -> list[Floats | None]:
        """Return the Newton step (instants, n) of each circuit of these ``places`` that takes its
        ``excess`` (instants, its n) away, with its device slopes (instants, its m, its m); None
        where its equations have no one answer.
        """
        at = np.array(places, np.int64)
        squares = np.zeros((len(at), self.instants, *self.reads.shape[1:2] * 2))
        right = np.zeros((len(at), self.instants, self.g.shape[-1]))
        for row, (square, left) in enumerate(zip(slopes, excess, strict=True)):
            squares[row, :, : square.shape[-1], : square.shape[-1]] = square
            right[row, :, : left.shape[-1]] = left
        quick = np.nonzero(~self.is_stiff[at])[0]
        answer = np.full(right.shape, np.nan)
        if len(quick):
            answer[quick] = self._at_ports(at[quick], squares[quick], right[quick])
        bad = ~np.isfinite(answer).all((1, 2))
        self.is_stiff[at[bad]] = True
        steps: list[Floats | None] = list(answer)
        for row in np.nonzero(bad)[0].tolist():
            steps[row] = self._each_by_itself(int(at[row]), squares[row], right[row])
        return [
            step if step is None else step[:, : left.shape[-1]]
            for step, left in zip(steps, excess, strict=True)
        ]

    def _at_ports(self, at: Ints, squares: Floats, right: Floats) -> Floats:
        """Return the steps (rows, instants, n), not a number where these are not exact enough."""
        try:
            return self._corrected(at, squares, right)
        except np.linalg.LinAlgError:
            if len(at) == 1:
                return np.full(right.shape, np.nan)
        rows = [slice(row, row + 1) for row in range(len(at))]
        return np.concatenate([self._at_ports(at[k], squares[k], right[k]) for k in rows])

    def _corrected(self, at: Ints, squares: Floats, right: Floats) -> Floats:
        """Return the same, each step put right until it leaves nothing of the equations.

        Raises LinAlgError where a matrix of any of them has no inverse.
        """
        ports = self._ports(at, squares)
        answer, step, left = np.full(right.shape, np.nan), np.zeros_like(right), right
        most = RESIDUAL * np.abs(right).max((1, 2))
        rows: Ints | slice = ALL
        done = np.zeros(len(at), bool)
        for _ in range(1 + ROUNDS):
            step[rows] += ports.solved(left[rows], rows)
            left = right - self._made(at, step, squares)
            near = np.abs(left).max((1, 2)) <= most
            answer[near] = step[near]
            done |= near
            if done.all():
                break
            rows = np.nonzero(~done)[0]
            if 2 * len(rows) > len(at):  # to pick these out costs more than to do all
                rows = ALL
        return answer

    def _ports(self, at: Ints, squares: Floats) -> _Ports:
        """Return what answers at the ports of circuits with these device slopes.

        Raises LinAlgError where a matrix has no inverse.
        """
        reads, u, v = self.reads[at], self.u[at], self.v[at]
        seen, mean = np.swapaxes(reads, 1, 2), squares.mean(1)
        off = squares - mean[:, None]
        inverse = np.linalg.inv(self.g[at] + 1.5 * self.c[at] + seen @ mean @ reads)
        ports, sees = inverse @ seen, reads @ inverse
        pull = np.linalg.solve(np.eye(reads.shape[1]) + off @ (reads @ ports)[:, None], off)
        through = (v @ ports)[:, None] @ (pull @ (sees @ u)[:, None])
        linked = (v @ inverse @ u)[:, None] - through
        turned = (np.swapaxes(matrix, 1, 2) for matrix in (inverse, sees, ports, u, v))
        return _Ports(pull, Arcs(linked), *turned)

    def _made(self, at: Ints, step: Floats, squares: Floats) -> Floats:
        """Return the currents (rows, instants, n) that steps make."""
        reads = self.reads[at]
        through = (squares @ (step @ np.swapaxes(reads, 1, 2))[..., None])[..., 0]
        rates = 1.5 * step - 2 * np.roll(step, 1, 1) + 0.5 * np.roll(step, 2, 1)
        made: Floats = step @ np.swapaxes(self.g[at], 1, 2) + through @ reads
        made += rates @ np.swapaxes(self.c[at], 1, 2)
        return made

    def _each_by_itself(self, at: int, squares: Floats, right: Floats) -> Floats | None:
        """Return the step of one circuit with a matrix for every instant, None where one has no
        inverse.
        """
        reads = self.reads[at]
        jacobian = self.g[at] + 1.5 * self.c[at] + reads.T @ (squares @ reads)
        try:
            return circle(jacobian, right[..., None], self.u[at], self.v[at])[..., 0]
        except np.linalg.LinAlgError:
            return None
