"""Damped Newton on the direct-current equations of a stack of samples, with conductance
continuation; honest about failure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rework.solve.arrays import Bools, Floats
from rework.solve.dense import LARGE, Dense
from rework.solve.devices import DeviceLaw
from rework.solve.network import Network

if TYPE_CHECKING:
    from rework.solve.sparse import Sparse

#: Largest change of a controlling voltage in one step, volts.
STEP = 60.0
#: Conductances at every node on the way from easy equations to the true ones, siemens.
CONTINUATION = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 0.0)
#: Where that fails too: how many times as round the corners of the laws are on the way to their
#: own, each with the source raised in so many equal steps.
WARMTH, RAISES = (30.0, 10.0, 3.0, 1.0), 8
#: Newton steps at most; a step has ended when controlling volts and unknowns move by less than
#: these.
MOST, ALIKE_VOLTS, ALIKE = 80, 1e-7, 1e-6


@dataclass(frozen=True, slots=True)
class Point:
    """A direct-current solution: unknowns (samples, n), which samples converged, the largest
    Kirchhoff residual in amps, iterations.
    """

    x: Floats
    converged: Bools
    residual: float
    iterations: int


def operating_point(
    network: Network,
    source: Floats,
    *,
    factors: Floats | None = None,
    scales: Floats | None = None,
    laws: Sequence[DeviceLaw] | None = None,
    start: Floats | None = None,
) -> Point:
    """Return the operating point of every sample.

    ``source`` (n) or (samples, n) is the right-hand side; ``factors`` (samples, resistors)
    multiplies resistances; ``scales`` (samples, devices) cathode currents (and the line at an
    averaged rectifier). A sample that does not converge is tried again with a conductance of 1 mS
    at every node taken away by decades; then with laws whose corners are rounder, the source raised
    from nothing; and marked if it still does not.
    """
    samples = max((len(array) for array in (factors, scales) if array is not None), default=1)
    if source.ndim == 2:
        samples = max(samples, len(source))
    form = _form(network)
    g = form.conductances(factors, samples)
    rhs = np.broadcast_to(source, (samples, network.n))
    first = np.zeros(network.n) if start is None else start
    x = np.array(np.broadcast_to(first, (samples, network.n)))
    x, bad, residual, count = _newton(form, g, rhs, x, scales, laws)
    if bad.any():
        which = np.nonzero(bad)[0]
        scaled = None if scales is None else scales[which]
        node = form.diagonal(np.isin(np.arange(network.n), network.node_at).astype(float))
        y, still, left = np.zeros((len(which), network.n)), bad[which], 0.0
        for siemens in CONTINUATION:
            y, still, left, more = _newton(
                form, g[which] + siemens * node, rhs[which], y, scaled, laws
            )
            count += more
        if still.any():
            worst = np.nonzero(still)[0]
            own_scales = None if scaled is None else scaled[worst]
            y[worst], still[worst], left, more = _warmed(
                form, g[which][worst], rhs[which][worst], own_scales, laws
            )
            count += more
        x[which], bad[which] = y, still
        residual = max(residual, left)
    return Point(x, ~bad, residual, count)


def _form(network: Network) -> Dense | Sparse:
    if network.n < LARGE:
        return Dense(network)
    from rework.solve.sparse import Sparse

    return Sparse(network)


def _warmed(
    form: Dense | Sparse,
    g: Floats,
    rhs: Floats,
    scales: Floats | None,
    laws: Sequence[DeviceLaw] | None,
) -> tuple[Floats, Bools, float, int]:
    """Return the same as ``_newton``, by way of the source and of the warmth of the laws."""
    device_laws = laws if laws is not None else [device.law for device in form.network.ordered]
    x, total = np.zeros_like(rhs), 0
    bad, residual = np.ones(len(rhs), bool), 0.0
    for number, times in enumerate(WARMTH):
        warm = [law.warmer(times) for law in device_laws]
        raises = np.arange(1, RAISES + 1) / RAISES if number == 0 else np.ones(1)
        for share in raises:
            x, bad, residual, count = _newton(form, g, share * rhs, x, scales, warm)
            total += count
    return x, bad, residual, total


def _newton(
    form: Dense | Sparse,
    g: Floats,
    rhs: Floats,
    x: Floats,
    scales: Floats | None,
    laws: Sequence[DeviceLaw] | None,
) -> tuple[Floats, Bools, float, int]:
    """Return the unknowns, which samples have not converged, the largest residual of the others and
    the count of steps.
    """
    network = form.network
    active = np.arange(len(x))
    residual = np.zeros(len(x))
    count = 0
    for count in range(1, MOST + 1):
        scaled = None if scales is None else scales[active]
        out, slopes = network.device_entries(x[active], scales=scaled, laws=laws)
        excess = form.times(g[active], x[active], out) - rhs[active]
        step = form.steps(g[active], slopes, excess)
        moved = np.abs(network.across(step)).max(-1, initial=0.0)
        damped = np.minimum(1.0, STEP / np.maximum(moved, 1e-12))
        x[active] -= step * damped[:, None]
        residual[active] = np.abs(excess).max(-1)
        done = (moved < ALIKE_VOLTS) & (np.abs(step).max(-1) < ALIKE) & (count > 1)
        active = active[~done]
        if not len(active):
            break
    bad = np.zeros(len(x), bool)
    bad[active] = True
    return x, bad, float(residual[~bad].max(initial=0.0)), count
