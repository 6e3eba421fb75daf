"""The steady state that repeats: all instants of one period at once, by Newton, with the storage of the circuit as the link.

Second-order backward differences on an even grid, closed on itself (the discrete form of the shooting of Aprille and
Trick, Proc. IEEE 60(1), 108-114, 1972): each Newton step solves every instant for itself in one stack, then the few
storage states around the circle. Slow time constants cost nothing, since nothing is waited for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rework.circuit.place import Problem
from rework.solve.devices import Rectifier
from rework.solve.network import CannotSolve, Network

#: Instants in a period.
INSTANTS = 384
#: Instants of the first, rough solution.
COARSE = 64
#: Corner widths of the rectifiers on the way to their own, volts.
SOFTER = (30.0, 8.0, 2.0, 0.5, 0.15, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Steady:
    """A steady state: unknowns ``x`` (instants, n) and ``currents`` (instants, m) of the devices over one ``period`` in seconds.

    ``residual`` is the largest Kirchhoff residual in amps; ``balance`` is the power from the sources less the power in all
    parts, as a share of the former; ``watts_in`` is the former.
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
    """Return the right-hand side over one line period: a sine, or what stands still where the line is direct current."""
    import numpy as np

    s = np.zeros((instants, network.n))
    wave = np.sin(2 * np.pi * np.arange(instants) / instants) if network.hertz else np.ones(instants)
    s[:, list(network.sources)] = (factor * network.volts_peak * wave)[:, None]
    return s


def steady_state(network: Network, source, period: float, *, start=None, scales=None, laws=None) -> Steady:
    """Return the steady state under ``source`` (instants, n), which repeats after ``period`` seconds.

    Raises CannotSolve naming the part that moves most where Newton does not end.
    """
    import numpy as np

    own = list(laws) if laws is not None else [device.law for device in network.ordered]
    instants, total = len(source), 0
    if start is None and instants > 2 * COARSE and any(isinstance(law, Rectifier) for law in own):
        skip = instants // COARSE
        start, total = _settled(network, source[::skip], period, np.zeros((len(source[::skip]), network.n)), scales, own, SOFTER)
        at = np.arange(instants) / skip
        start = np.stack([np.interp(at, np.arange(len(start) + 1), np.append(column, column[0])) for column in start.T], 1)
    x = np.zeros((instants, network.n)) if start is None else np.array(np.broadcast_to(start, (instants, network.n)))
    x, count = _settled(network, source, period, x, scales, own, SOFTER if start is None else (0.0,))
    return _finished(network, source, x, period, scales, own, total + count)


def _settled(network, source, period, x, scales, own, widths):
    import numpy as np

    pace = period / len(source)
    u, sizes, v = np.linalg.svd(network.c / pace)
    rank = int((sizes > sizes[0] * 1e-13).sum()) if len(sizes) and sizes[0] > 0 else 0
    u, v = u[:, :rank] * sizes[:rank], v[:rank]
    total = 0
    for width in widths:
        laws = [law.softer(width) if isinstance(law, Rectifier) else law for law in own]
        try:
            x, moved, count, worst = _solve(network, source, x, u, v, scales, laws, 80, 1e-7 if width == 0 else width / 3, pace)
        except np.linalg.LinAlgError as error:
            raise CannotSolve(Problem(f"the circuit has no one answer: node {_loosest(network, x, laws)} hangs in the air",
                                      hint="give it a path for direct current, or take out what hangs on it")) from error
        total += count
        if width == 0.0 and moved > 1e-5:
            raise CannotSolve(Problem(f"the steady state does not settle; node {network.names[worst]} moves by {moved:.3g} V a step",
                                      hint="look at the values of the parts there"))
    return x, total


def _loosest(network: Network, x, laws) -> str:
    """Return the node that nothing holds: the largest in the direction in which the equations give way."""
    import numpy as np

    _, slopes = network.device_currents(x[0], laws=laws)
    way = np.linalg.svd(network.g + network.reads.T @ slopes @ network.reads)[2][-1][: network.n - len(network.rows)]
    return network.names[int(np.abs(way).argmax())]


def _solve(network, source, x, u, v, scales, laws, most, enough, pace):
    import numpy as np

    g, reads, c = network.g, network.reads, network.c / pace
    instants, rank = len(x), u.shape[1]
    fixed = g + 1.5 * c
    moved = last = np.inf
    for count in range(1, most + 1):
        out, slopes = network.device_currents(x, scales=scales, laws=laws)
        flow = 1.5 * x - 2 * np.roll(x, 1, 0) + 0.5 * np.roll(x, 2, 0)
        wrong = x @ g.T + flow @ c.T + out @ reads - source
        jac = fixed + reads.T @ (slopes @ reads)
        right = np.concatenate([np.broadcast_to(u, (instants, network.n, rank)), wrong[:, :, None]], 2)
        solved = np.linalg.solve(jac, right)
        spread, plain = solved[:, :, :rank], solved[:, :, rank]
        states = _around(v @ spread, plain @ v.T)
        step = plain + np.einsum("tnr,tr->tn", spread, 2 * np.roll(states, 1, 0) - 0.5 * np.roll(states, 2, 0))
        controls = np.abs(step @ reads.T)
        moved = float(controls.max()) if controls.size else float(np.abs(step).max())
        # Two diodes that take turns in being on make Newton go round in circles: half a step gets out of it.
        pull = 1.0 if count < 12 or moved < 0.3 * last else 0.5
        x, last = x - step * min(pull, 150.0 / max(moved, 1e-12)), moved
        if moved < enough:
            break
    nodes = network.n - len(network.rows)
    return x, moved, count, int(np.abs(step[:, :nodes]).max(0).argmax())


def _around(linked, free):
    """Return y with y[k] = free[k] + linked[k] (2 y[k-1] - y[k-2]/2) around the circle."""
    import numpy as np

    instants, rank = free.shape
    if rank == 0:
        return free
    carried = np.zeros((2 * rank, 2 * rank + 1))
    carried[:, : 2 * rank] = np.eye(2 * rank)
    history = np.empty((instants, rank, 2 * rank + 1))
    for k in range(instants):
        new = linked[k] @ (2 * carried[:rank] - 0.5 * carried[rank:])
        new[:, -1] += free[k]
        carried = np.concatenate([new, carried[:rank]])
        history[k] = new
    first = np.linalg.solve(np.eye(2 * rank) - carried[:, :-1], carried[:, -1])
    return history[:, :, :-1] @ first + history[:, :, -1]


def _finished(network, source, x, period, scales, laws, count) -> Steady:
    import numpy as np

    out, _ = network.device_currents(x, scales=scales, laws=laws)
    pace = period / len(x)
    flow = (1.5 * x - 2 * np.roll(x, 1, 0) + 0.5 * np.roll(x, 2, 0)) / pace
    wrong = x @ network.g.T + flow @ network.c.T + out @ network.reads - source
    nodes = [n for n, name in enumerate(network.names) if name not in network.rows]
    given = -float((x * source).sum(-1).mean())
    volts = x @ network.reads.T
    across = x @ network.ohmic_at.T
    taken = float((volts * out).sum(-1).mean()) + float(sum(((across[:, k] ** 2).mean() / branch.value) for k, branch in enumerate(network.ohmic)))
    taken += float(sum(-network.fixed_g[row, row] * (x[:, row] ** 2).mean() for row in network.rows.values() if not network.names[row].endswith(".core")))
    return Steady(x, out, period, float(np.abs(wrong[:, nodes]).max()), (given - taken) / given if given else 0.0, given, count)


def mains_steady(network: Network, *, factor: float = 1.0, instants: int = INSTANTS, start=None, scales=None) -> Steady:
    """Return the steady state of a circuit on its line, ``factor`` times the line's own volts."""
    if not network.hertz:
        instants = 1
    return steady_state(network, mains_source(network, instants, factor=factor), 1 / network.hertz if network.hertz else 1.0, start=start, scales=scales)
