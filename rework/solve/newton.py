"""Damped Newton on the direct-current equations of a stack of samples, with conductance
continuation; honest about failure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rework.solve.network import Network
from rework.solve.sparse import LARGE, Dense, Sparse

#: Largest change of a controlling voltage in one step, volts.
STEP = 60.0


@dataclass(frozen=True, slots=True)
class Point:
    """A direct-current solution: unknowns (samples, n), which samples converged, the largest
    Kirchhoff residual in amps, iterations.
    """

    x: Any
    converged: Any
    residual: float
    iterations: int


def operating_point(
    network: Network, source, *, factors=None, scales=None, laws=None, start=None
) -> Point:
    """Return the operating point of every sample.

    ``source`` (n) or (samples, n) is the right-hand side; ``factors`` (samples, resistors)
    multiplies resistances; ``scales`` (samples, devices) cathode currents (and the line at an
    averaged rectifier). A sample that does not converge is tried again with a conductance of 1 mS
    at every node taken away by decades, and marked if it still does not.
    """
    import numpy as np

    samples = max((len(one) for one in (factors, scales) if one is not None), default=1)
    if source.ndim == 2:
        samples = max(samples, len(source))
    form = Sparse(network) if network.n >= LARGE else Dense(network)
    g = form.conductances(factors, samples)
    rhs = np.broadcast_to(source, (samples, network.n))
    x = (
        np.zeros((samples, network.n))
        if start is None
        else np.array(np.broadcast_to(start, (samples, network.n)))
    )
    x, bad, residual, count = _newton(form, g, rhs, x, scales, laws)
    if bad.any():
        which = np.nonzero(bad)[0]
        own = None if scales is None else scales[which]
        node = form.diagonal([0.0 if name in network.rows else 1.0 for name in network.names])
        y = np.zeros((len(which), network.n))
        for extra in (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 0.0):
            y, still, left, more = _newton(form, g[which] + extra * node, rhs[which], y, own, laws)
            count += more
        x[which], bad[which] = y, still
        residual = max(float(residual), float(left))
    return Point(x, ~bad, float(residual), count)


def _newton(form: Dense | Sparse, g, rhs, x, scales, laws, most: int = 80):
    import numpy as np

    network = form.network
    active = np.arange(len(x))
    residual = np.zeros(len(x))
    for count in range(1, most + 1):
        own = None if scales is None else scales[active]
        out, slopes = network.device_entries(x[active], scales=own, laws=laws)
        wrong = form.times(g[active], x[active], out) - rhs[active]
        step = form.steps(g[active], slopes, wrong)
        moved = (
            np.abs(network.across(step)).max(-1) if len(network.reads) else np.zeros(len(active))
        )
        damped = np.minimum(1.0, STEP / np.maximum(moved, 1e-12))
        x[active] -= step * damped[:, None]
        residual[active] = np.abs(wrong).max(-1)
        done = (moved < 1e-7) & (np.abs(step).max(-1) < 1e-6) if count > 1 else moved < 0
        active = active[~done]
        if not len(active):
            break
    bad = np.zeros(len(x), bool)
    bad[active] = True
    return x, bad, residual[~bad].max(initial=0.0), count
