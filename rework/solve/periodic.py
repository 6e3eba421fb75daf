"""The steady state that repeats: all instants of one period at once, by Newton, with the storage of
the circuit as the link.

Second-order backward differences on an even grid, closed on itself (the discrete form of the
shooting of Aprille and Trick, Proc. IEEE 60(1), 108-114, 1972): each Newton step solves every
instant for itself in one stack, then the few storage states around the circle. Slow time constants
cost nothing, since nothing is waited for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rework.circuit.place import Problem
from rework.solve.devices import Rectifier
from rework.solve.network import CannotSolve, Network
from rework.solve.sparse import LARGE
from rework.solve.turn import Turn

#: Instants in a period.
INSTANTS = 384
#: Instants of the first, rough solution.
COARSE = 64
#: Corner widths of the rectifiers on the way to their own, volts: a short way, and a long one where
#: that fails.
SOFTER, SOFTEST = (10.0, 1.0, 0.0), (30.0, 10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01, 0.003, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Steady:
    """A steady state: unknowns ``x`` (instants, n) and ``currents`` (instants, m) of the devices
    over one ``period`` in seconds.

    ``residual`` is the largest Kirchhoff residual in amps; ``balance`` is the power from the
    sources less the power in all parts, as a share of the former; ``watts_in`` is the former.
    """

    x: Any
    currents: Any
    period: float
    residual: float
    balance: float
    watts_in: float
    iterations: int

    @property
    def mean(self):
        """The mean of every unknown."""
        return self.x.mean(0)


def mains_source(network: Network, instants: int, *, factor: float = 1.0):
    """Return the right-hand side over one line period: a sine, or what stands still where the line
    is direct current.
    """
    import numpy as np

    s = np.zeros((instants, network.n))
    wave = (
        np.sin(2 * np.pi * np.arange(instants) / instants) if network.hertz else np.ones(instants)
    )
    s[:, list(network.sources)] = (factor * network.volts_peak * wave)[:, None]
    return s


def steady_state(
    network: Network, source, period: float, *, start=None, scales=None, laws=None
) -> Steady:
    """Return the steady state under ``source`` (instants, n), which repeats after ``period``
    seconds.

    Raises CannotSolve naming the part that moves most where Newton does not end.
    """
    import numpy as np

    own = list(laws) if laws is not None else [device.law for device in network.ordered]
    instants, total = len(source), 0
    if start is None and instants > 2 * COARSE and any(isinstance(law, Rectifier) for law in own):
        skip = instants // COARSE
        start, total = _from_nothing(network, source[::skip], period, scales, own)
        at = np.arange(instants) / skip
        start = np.stack(
            [
                np.interp(at, np.arange(len(start) + 1), np.append(column, column[0]))
                for column in start.T
            ],
            1,
        )
    if start is None:
        x, count = _from_nothing(network, source, period, scales, own)
    else:
        x, count = _settled(
            network,
            source,
            period,
            np.array(np.broadcast_to(start, (instants, network.n))),
            scales,
            own,
            (0.0,),
        )
    return finished(network, source, x, period, scales, own, total + count)


def _from_nothing(network, source, period, scales, own):
    import numpy as np

    try:
        return _settled(
            network, source, period, np.zeros((len(source), network.n)), scales, own, SOFTER
        )
    except CannotSolve:
        return _settled(
            network, source, period, np.zeros((len(source), network.n)), scales, own, SOFTEST
        )


def _settled(network, source, period, x, scales, own, widths):
    import numpy as np

    pace = period / len(source)
    u, v = storage(network, pace) if network.n < LARGE else (None, None)
    total = 0
    for width in widths:
        laws = [law.softer(width) if isinstance(law, Rectifier) else law for law in own]
        try:
            x, moved, count, worst = _solve(
                network, source, x, u, v, scales, laws, 80, 1e-7 if width == 0 else width / 3, pace
            )
        except np.linalg.LinAlgError as error:
            raise CannotSolve(
                Problem(
                    f"the circuit has no one answer: node {_loosest(network, x, laws)} hangs in"
                    " the air",
                    hint=". ".join(network.warnings[:3])
                    or "give it a path for direct current, or take out what hangs on it",
                )
            ) from error
        total += count
        if width == 0.0 and moved > 1e-5:
            raise CannotSolve(
                Problem(
                    f"the steady state does not settle; node {network.names[worst]} moves by"
                    f" {moved:.3g} V a step",
                    hint="look at the values of the parts there",
                )
            )
    return x, total


def _loosest(network: Network, x, laws) -> str:
    """Return the node that nothing holds: the largest in the direction in which the equations give
    way.
    """
    import numpy as np

    _, slopes = network.device_currents(x[0], laws=laws)
    way = np.linalg.svd(network.g + network.reads.T @ slopes @ network.reads)[2][-1][
        : network.n - len(network.rows)
    ]
    return network.names[int(np.abs(way).argmax())]


def _solve(network, source, x, u, v, scales, laws, most, enough, pace):
    import numpy as np

    g, reads, c = network.g, network.reads, network.c / pace
    turn = Turn(network, len(source), pace) if network.n >= LARGE else None
    fixed = g + 1.5 * c
    moved = last = np.inf
    for count in range(1, most + 1):
        out, slopes = network.device_entries(x, scales=scales, laws=laws)
        if turn is not None:
            step = turn.step(slopes, turn.wrong(x, flow(x, len(x)), out, source))
        else:
            wrong = x @ g.T + flow(x, len(x)) @ c.T + out @ reads - source
            step = circle(
                fixed + reads.T @ (network.squares(slopes) @ reads), wrong[:, :, None], u, v
            )[:, :, 0]
        controls = np.abs(network.across(step))
        moved = float(controls.max()) if controls.size else float(np.abs(step).max())
        # Two diodes that take turns in being on make Newton go round in circles: a shorter step
        # gets out of it.
        pull = 1.0 if moved < 0.7 * last else 0.6
        x, last = x - step * min(pull, 150.0 / max(moved, 1e-12)), moved
        if moved < enough:
            break
    nodes = network.n - len(network.rows)
    return x, moved, count, int(np.abs(step[:, :nodes]).max(0).argmax())


def circle(jac, right, u, v):
    """Return y with jac y[k] = right[k] + u v (2 y[k-1] - y[k-2]/2) around the circle, for every
    column of ``right`` (..., instants, n, columns).

    Circuits may stand in front as leading axes, each with its ``u`` (..., 1, n, rank) and ``v``
    (..., 1, rank, n).
    """
    import numpy as np

    rank = u.shape[-1]
    solved = np.linalg.solve(
        jac, np.concatenate([np.broadcast_to(u, (*right.shape[:-1], rank)), right], -1)
    )
    spread, plain = solved[..., :rank], solved[..., rank:]
    states = _around(v @ spread, v @ plain)
    return plain + spread @ (2 * np.roll(states, 1, -3) - 0.5 * np.roll(states, 2, -3))


def _around(linked, free):
    """Return y with y[k] = free[k] + linked[k] (2 y[k-1] - y[k-2]/2) around the circle, for every
    column of ``free``.
    """
    import numpy as np

    *front, instants, rank, columns = free.shape
    if rank == 0:
        return free
    carried = np.zeros((*front, 2 * rank, 2 * rank + columns))
    carried[..., : 2 * rank] = np.eye(2 * rank)
    history = np.empty((*front, instants, rank, 2 * rank + columns))
    for k in range(instants):
        new = linked[..., k, :, :] @ (2 * carried[..., :rank, :] - 0.5 * carried[..., rank:, :])
        new[..., 2 * rank :] += free[..., k, :, :]
        carried = np.concatenate([new, carried[..., :rank, :]], -2)
        history[..., k, :, :] = new
    first = np.linalg.solve(np.eye(2 * rank) - carried[..., : 2 * rank], carried[..., 2 * rank :])
    return history[..., : 2 * rank] @ first[..., None, :, :] + history[..., 2 * rank :]


def sensitivities(network: Network, steady: Steady, pushes) -> tuple[Any, Any]:
    """Return how unknowns (instants, n, columns) and device currents (instants, m, columns) move
    with what pushes.

    ``pushes`` (instants, n, columns) is the derivative of the equations by each column at the
    steady state; what a column does to a device current at standing volts is not in the answer.
    Exact to first order, one linear solution.
    """
    out, slopes = network.device_currents(steady.x)
    pace = steady.period / len(steady.x)
    u, v = storage(network, pace)
    jac = network.g + 1.5 * network.c / pace + network.reads.T @ (slopes @ network.reads)
    moved = -circle(jac, pushes, u, v)
    return moved, slopes @ (network.reads @ moved)


def flow(x, period: float):
    """Return the rate of change of what repeats, (instants, ...) per second, as the equations have
    it.
    """
    import numpy as np

    return (1.5 * x - 2 * np.roll(x, 1, 0) + 0.5 * np.roll(x, 2, 0)) / (period / len(x))


def storage(network: Network, pace: float):
    """Return u and v with u v = C / pace, of the rank of C: the storage states."""
    import numpy as np

    u, sizes, v = np.linalg.svd(network.c / pace)
    rank = int((sizes > sizes[0] * 1e-13).sum()) if len(sizes) and sizes[0] > 0 else 0
    return u[:, :rank] * sizes[:rank], v[:rank]


def finished(network, source, x, period, scales, laws, count) -> Steady:
    """Return unknowns that solve the equations as a steady state, with its residual and its balance
    of power.
    """
    import numpy as np

    out, _ = network.device_entries(x, scales=scales, laws=laws)
    wrong = x @ network.g.T + flow(x, period) @ network.c.T + out @ network.reads - source
    nodes = [n for n, name in enumerate(network.names) if name not in network.rows]
    given = -float((x * source).sum(-1).mean())
    volts = network.across(x)
    across = x @ network.ohmic_at.T
    taken = float((volts * out).sum(-1).mean()) + float(
        sum(((across[:, k] ** 2).mean() / branch.value) for k, branch in enumerate(network.ohmic))
    )
    taken += float(
        sum(
            -network.fixed_g[row, row] * (x[:, row] ** 2).mean()
            for row in network.rows.values()
            if not network.names[row].endswith(".core")
        )
    )
    return Steady(
        x,
        out,
        period,
        float(np.abs(wrong[:, nodes]).max()),
        (given - taken) / given if given else 0.0,
        given,
        count,
    )


def mains_steady(
    network: Network, *, factor: float = 1.0, instants: int = INSTANTS, start=None, scales=None
) -> Steady:
    """Return the steady state of a circuit on its line, ``factor`` times the line's own volts."""
    if not network.hertz:
        instants = 1
    return steady_state(
        network,
        mains_source(network, instants, factor=factor),
        1 / network.hertz if network.hertz else 1.0,
        start=start,
        scales=scales,
    )
