"""Many circuits in their steady states at once: each from a start of its own, all in one stack,
those that have settled left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rework.circuit.place import Problem
from rework.solve.arrays import Floats
from rework.solve.circle import circle, storage
from rework.solve.dense import LARGE
from rework.solve.devices import DeviceLaw
from rework.solve.network import CannotSolve, Network, entries_together
from rework.solve.newton import ALIKE, ALIKE_VOLTS
from rework.solve.newton import STEP as STEP_AT_REST
from rework.solve.periodic import (
    ENOUGH,
    STEP,
    UNSETTLED,
    Steady,
    finished,
    flow,
    mains_source,
    mains_steady,
)

#: Newton steps after which one that has not settled is given up: from a near start it takes five.
MOST = 40
#: A step this small, volts, and a tenth of the one before it, is taken as the last: what is left is
#: then of the order of its square.
LAST, FALLS = 1e-4, 0.1
#: The same of a point at rest.
MOST_AT_REST = 30


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """A circuit on ``factor`` times its line, with the unknowns (instants, n) to begin from."""

    network: Network
    factor: float
    start: Floats


class _Row:
    """One circuit of the stack with what does not change from step to step."""

    def __init__(self, wanted: Wanted, instants: int) -> None:
        self.network, self.x = wanted.network, wanted.start.copy()
        dt = 1 / wanted.network.hertz / instants
        self.source = mains_source(wanted.network, instants, factor=wanted.factor)
        self.c = wanted.network.c / dt
        self.fixed = wanted.network.g + 1.5 * self.c
        self.u, self.v = storage(wanted.network, dt)
        self.laws = tuple(device.law for device in wanted.network.ordered)
        self.moved = self.last = float("inf")
        self.settled = False

    def equations(self, out: Floats, entries: Floats) -> tuple[Floats, Floats]:
        """Return the Jacobian (instants, n, n) and the residual (instants, n) for the currents of
        its devices and their nonzero slopes.
        """
        network, x = self.network, self.x
        slopes = network.squares(entries)
        excess = x @ network.g.T + flow(x, len(x)) @ self.c.T + out @ network.reads - self.source
        return self.fixed + network.reads.T @ (slopes @ network.reads), excess

    def take(self, step: Floats) -> None:
        """Move by a Newton step, shortened where the last one did not bring it nearer."""
        controls = np.abs(step @ self.network.reads.T)
        self.moved = float(controls.max()) if controls.size else float(np.abs(step).max())
        self.settled = self.moved < (LAST if self.moved < FALLS * self.last else ENOUGH)
        pull = 1.0 if self.moved < 0.7 * self.last else 0.6
        self.x, self.last = self.x - step * min(pull, STEP / max(self.moved, 1e-12)), self.moved

    def result(self, failure: str | None, currents: Floats, count: int) -> Steady | CannotSolve:
        """Return the steady state it has come to, with the ``currents`` (instants, m) of its
        devices, or why it has none.
        """
        if failure is not None:
            return CannotSolve(Problem(failure, hint="look at the values of the parts"))
        period = 1 / self.network.hertz
        return finished(self.network, self.source, self.x, period, currents=currents, count=count)


def steady_states(wanted: Sequence[Wanted]) -> tuple[Steady | CannotSolve, ...]:
    """Return the steady state of each, or why it has none.

    All have the same number of instants; the line alternates.

    Circuits of other sizes are filled up with unknowns that stay nothing. Large ones go one after
    the other.
    """
    if not wanted:
        return ()
    if max(network.network.n for network in wanted) >= LARGE:
        return tuple(_singly(network) for network in wanted)
    instants = len(wanted[0].start)
    rows = [_Row(network, instants) for network in wanted]
    u, v = _padded(rows)
    active, failed, count = list(range(len(rows))), dict[int, str](), 0
    while active and count < MOST:
        count += 1
        steps = _steps([rows[number] for number in active], u[active], v[active], instants)
        for number, step in zip(active, steps, strict=True):
            if step is None:
                failed[number] = (
                    "the circuit has no one answer: a node is connected to nothing that fixes its"
                    " volts"
                )
            else:
                rows[number].take(step[:, : rows[number].network.n])
        active = [number for number in active if number not in failed and not rows[number].settled]
    for number in active:
        if not rows[number].moved < UNSETTLED:
            failed[number] = (
                "the steady state does not settle; it still moves by"
                f" {rows[number].moved:.3g} V a step"
            )
    answers = _answers(rows)
    return tuple(
        row.result(failed.get(number), currents, count)
        for number, (row, (currents, _)) in enumerate(zip(rows, answers, strict=True))
    )


@dataclass(frozen=True, slots=True, eq=False)
class Resting:
    """A circuit whose point at rest under direct current is wanted, with the laws that its devices
    have there and the unknowns (n) to begin from.
    """

    network: Network
    laws: tuple[DeviceLaw, ...]
    start: Floats


def resting_points(wanted: Sequence[Resting]) -> tuple[Floats | None, ...]:
    """Return the unknowns (n) of each at rest; None where that does not settle."""
    x = [case.start.copy() for case in wanted]
    settled: list[Floats | None] = [None] * len(wanted)
    active = list(range(len(wanted)))
    for _ in range(MOST_AT_REST):
        if not active:
            break
        steps = _resting_steps([wanted[number] for number in active], [x[n] for n in active])
        for number, step in zip(tuple(active), steps, strict=True):
            network = wanted[number].network
            if step is None:
                active.remove(number)
                continue
            moved = float(np.abs(network.across(step)).max(initial=0.0))
            x[number] = x[number] - step * min(1.0, STEP_AT_REST / max(moved, 1e-12))
            if moved < ALIKE_VOLTS and float(np.abs(step).max()) < ALIKE:
                settled[number] = x[number]
                active.remove(number)
    return tuple(settled)


def _resting_steps(wanted: Sequence[Resting], x: Sequence[Floats]) -> list[Floats | None]:
    """Return Newton's step (n) of each, None where that is singular."""
    n = max(case.network.n for case in wanted)
    jac = np.zeros((len(wanted), n, n))
    excess = np.zeros((len(wanted), n, 1))
    jac[:, range(n), range(n)] = 1.0
    answers = entries_together([case.network for case in wanted], x, [case.laws for case in wanted])
    for place, (case, state, (out, entries)) in enumerate(zip(wanted, x, answers, strict=True)):
        network, size = case.network, case.network.n
        slopes = network.squares(entries)
        jac[place, :size, :size] = network.g + network.reads.T @ slopes @ network.reads
        excess[place, :size, 0] = network.g @ state + out @ network.reads - network.direct_source()
    try:
        steps = np.linalg.solve(jac, excess)[..., 0]
    except np.linalg.LinAlgError:
        return [_resting_alone(*row) for row in zip(wanted, jac, excess, strict=True)]
    return [step[: case.network.n] for case, step in zip(wanted, steps, strict=True)]


def _resting_alone(wanted: Resting, jac: Floats, excess: Floats) -> Floats | None:
    try:
        return np.asarray(np.linalg.solve(jac, excess)[: wanted.network.n, 0], np.float64)
    except np.linalg.LinAlgError:
        return None


def _padded(rows: Sequence[_Row]) -> tuple[Floats, Floats]:
    """Return the storage of every circuit, u (rows, 1, n, rank) and v (rows, 1, rank, n), filled up
    to the largest.
    """
    n, rank = max(row.network.n for row in rows), max(row.u.shape[1] for row in rows)
    u, v = np.zeros((len(rows), 1, n, rank)), np.zeros((len(rows), 1, rank, n))
    for place, row in enumerate(rows):
        u[place, 0, : row.u.shape[0], : row.u.shape[1]] = row.u
        v[place, 0, : row.v.shape[0], : row.v.shape[1]] = row.v
    return u, v


def _steps(rows: Sequence[_Row], u: Floats, v: Floats, instants: int) -> Sequence[Floats | None]:
    """Return the Newton step (instants, n) of every circuit, None where that is singular."""
    n = u.shape[-2]
    jac = np.zeros((len(rows), instants, n, n))
    excess = np.zeros((len(rows), instants, n, 1))
    jac[..., range(n), range(n)] = 1.0
    for place, (row, answer) in enumerate(zip(rows, _answers(rows), strict=True)):
        size = row.network.n
        jac[place, :, :size, :size], excess[place, :, :size, 0] = row.equations(*answer)
    try:
        return list(circle(jac, excess, u, v)[..., 0])
    except np.linalg.LinAlgError:
        return [_alone(*row) for row in zip(jac, excess, u[:, 0], v[:, 0], strict=True)]


def _answers(rows: Sequence[_Row]) -> list[tuple[Floats, Floats]]:
    """Return the currents of the devices of every circuit and their nonzero slopes."""
    return entries_together(
        [row.network for row in rows], [row.x for row in rows], [row.laws for row in rows]
    )


def _singly(wanted: Wanted) -> Steady | CannotSolve:
    try:
        return mains_steady(
            wanted.network, factor=wanted.factor, instants=len(wanted.start), start=wanted.start
        )
    except CannotSolve as error:
        return error


def _alone(jac: Floats, excess: Floats, u: Floats, v: Floats) -> Floats | None:
    """Return the step of one circuit, None where its equations are singular."""
    try:
        return circle(jac, excess, u, v)[..., 0]
    except np.linalg.LinAlgError:
        return None
