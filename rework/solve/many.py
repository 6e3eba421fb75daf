"""Many circuits in their steady states at once: each from a start of its own, all in one stack,
those that have settled left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rework.circuit.place import Problem
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import (
    Steady,
    circle,
    finished,
    flow,
    mains_source,
    mains_steady,
    storage,
)
from rework.solve.sparse import LARGE

#: Newton steps after which one that has not settled is given up: from a near start it takes a
#: dozen.
MOST = 60


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """A circuit on ``factor`` times its line, with the unknowns (instants, n) to begin from."""

    network: Network
    factor: float
    start: Any


class _Row:
    """One circuit of the stack with what does not change from step to step."""

    def __init__(self, one: Wanted, instants: int) -> None:
        self.network, self.x = one.network, one.start.copy()
        self.pace = 1 / one.network.hertz / instants
        self.source = mains_source(one.network, instants, factor=one.factor)
        self.c = one.network.c / self.pace
        self.fixed = one.network.g + 1.5 * self.c
        self.u, self.v = storage(one.network, self.pace)
        self.moved = self.last = float("inf")

    def equations(self) -> tuple[Any, Any]:
        """Return the Jacobian (instants, n, n) and what is wrong (instants, n)."""
        network, x = self.network, self.x
        out, slopes = network.device_currents(x)
        wrong = x @ network.g.T + flow(x, len(x)) @ self.c.T + out @ network.reads - self.source
        return self.fixed + network.reads.T @ (slopes @ network.reads), wrong

    def take(self, step: Any) -> None:
        """Move by a Newton step, shortened where the last one did not bring it nearer."""
        import numpy as np

        controls = np.abs(step @ self.network.reads.T)
        self.moved = float(controls.max()) if controls.size else float(np.abs(step).max())
        pull = 1.0 if self.moved < 0.7 * self.last else 0.6
        self.x, self.last = self.x - step * min(pull, 150.0 / max(self.moved, 1e-12)), self.moved


def steady_states(wanted: Sequence[Wanted]) -> tuple[Steady | CannotSolve, ...]:
    """Return the steady state of each, or why it has none.

    All have the same number of instants; the line alternates.

    Circuits of other sizes are filled up with unknowns that stay nothing. Large ones go one after
    the other.
    """
    import numpy as np

    if not wanted:
        return ()
    if max(one.network.n for one in wanted) >= LARGE:
        return tuple(_singly(one) for one in wanted)
    instants = len(wanted[0].start)
    rows = [_Row(one, instants) for one in wanted]
    n, rank = max(row.network.n for row in rows), max(row.u.shape[1] for row in rows)
    u, v = np.zeros((len(rows), 1, n, rank)), np.zeros((len(rows), 1, rank, n))
    for place, row in enumerate(rows):
        (
            u[place, 0, : row.network.n, : row.u.shape[1]],
            v[place, 0, : row.v.shape[0], : row.network.n],
        ) = (
            row.u,
            row.v,
        )
    active, failed = list(range(len(rows))), {}
    for count in range(1, MOST + 1):
        jac, wrong = (
            np.zeros((len(active), instants, n, n)),
            np.zeros((len(active), instants, n, 1)),
        )
        jac[..., range(n), range(n)] = 1.0
        for place, number in enumerate(active):
            size = rows[number].network.n
            jac[place, :, :size, :size], wrong[place, :, :size, 0] = rows[number].equations()
        try:
            steps = circle(jac, wrong, u[active], v[active])[..., 0]
        except np.linalg.LinAlgError:
            steps = [
                _alone(jac[place], wrong[place], u[number, 0], v[number, 0])
                for place, number in enumerate(active)
            ]
        for place, number in enumerate(active):
            if steps[place] is None:
                failed[number] = "the circuit has no one answer: a node hangs in the air"
            else:
                rows[number].take(steps[place][:, : rows[number].network.n])
        active = [
            number for number in active if number not in failed and not rows[number].moved < 1e-7
        ]
        if not active:
            break
    failed |= {
        number: (
            f"the steady state does not settle; it still moves by {rows[number].moved:.3g} V a step"
        )
        for number in active
        if not rows[number].moved < 1e-5
    }
    return tuple(
        (
            CannotSolve(Problem(failed[number], hint="look at the values of the parts"))
            if number in failed
            else finished(
                row.network,
                row.source,
                row.x,
                1 / row.network.hertz,
                None,
                [device.law for device in row.network.ordered],
                count,
            )
        )
        for number, row in enumerate(rows)
    )


def _singly(one: Wanted) -> Steady | CannotSolve:
    try:
        return mains_steady(
            one.network, factor=one.factor, instants=len(one.start), start=one.start
        )
    except CannotSolve as error:
        return error


def _alone(jac: Any, wrong: Any, u: Any, v: Any) -> Any:
    """Return the step of one circuit, None where its equations are singular."""
    import numpy as np

    try:
        return circle(jac, wrong, u, v)[..., 0]
    except np.linalg.LinAlgError:
        return None
