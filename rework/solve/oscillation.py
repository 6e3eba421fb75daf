"""What an unstable circuit settles into: let go from its operating point and followed through time
until it repeats.

Rosenbrock's method with the four stages of RODAS3 (Sandu and others, Atmospheric Environment 31,
1997; coefficients from memory, held to Radau in the tests): stiffly accurate, so that nodes without
storage need none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.bias import Bias

#: Steps between two looks at the wave, the most steps, and how closely two periods must agree.
LOOK, MOST, ALIKE = 300, 6000, 0.02
#: Error of a step, volts and as a share; the push at the start, volts.
TOLERANCE, SHARE, PUSH = 0.02, 2e-3, 0.05
#: While the motion is smaller than so many volts, a step is no longer than so many of its own time
#: constants: the method damps what it does not resolve, growth too.
SMALL, RESOLVED = 2.0, 0.1
#: A wave smaller than this from peak to peak is not one, volts.
LEAST_SWING = 1.0


@dataclass(frozen=True, slots=True)
class Swing:
    """A steady oscillation: hertz, and volts from peak to peak at ``node``."""

    hertz: float
    node: str
    volts: float


def swing(bias: Bias, node: str, rate: float) -> Swing | None:
    """Return what a circuit swings into when it is let go with a push at ``node``; ``rate`` is the
    size of the growing root in 1/s. None where it does not come to repeat itself.
    """
    network, at = bias.network, bias.network.names.index(node)
    x = bias.point.copy()
    x[at] += PUSH
    dt = shortest = RESOLVED / rate
    times, volts = [0.0], [x[at]]
    while len(times) < MOST:
        for _ in range(LOOK):
            if np.abs(network.reads @ (x - bias.point)).max() < SMALL:
                dt = min(dt, shortest)
            x, used, dt = _stepped(bias, x, dt)
            times.append(times[-1] + used)
            volts.append(x[at])
        if repeats := _repeats(np.array(times), np.array(volts)):
            return Swing(repeats[0], node, repeats[1])
        if not np.isfinite(x).all():
            return None
    return None


def _repeats(times: Floats, volts: Floats) -> tuple[float, float] | None:
    """Return hertz and volts from peak to peak of the latter half of a wave, or None before it
    repeats.
    """
    late = times > times[-1] / 2
    times, volts = times[late], volts[late]
    high, low = volts.max(), volts.min()
    if high - low < LEAST_SWING:
        return None
    over = volts > (high + low) / 2
    up = np.nonzero(over[1:] & ~over[:-1])[0]
    periods = np.diff(times[up + 1])
    if len(periods) < 4 or np.ptp(periods[-3:]) > ALIKE * periods[-1]:
        return None
    last = slice(up[-2], up[-1] + 1)
    return float(1 / periods[-1]), float(np.ptp(volts[last]))


def _stepped(bias: Bias, x: Floats, dt: float) -> tuple[Floats, float, float]:
    """Return the unknowns after one step, its length, and the length of the next."""
    network = bias.network
    c, reads = network.c, network.reads

    def flows(y: Floats) -> tuple[Floats, Floats]:
        out, slopes = network.device_currents(y, laws=bias.laws)
        return bias.source - network.g @ y - reads.T @ out, slopes

    f, slopes = flows(x)
    jac = network.g + reads.T @ slopes @ reads
    while True:
        inverse = np.linalg.inv(2 * c / dt + jac)
        k1 = inverse @ f
        k2 = inverse @ (f + c @ (4 * k1) / dt)
        k3 = inverse @ (flows(x + 2 * k1)[0] + c @ (k1 - k2) / dt)
        k4 = inverse @ (flows(x + 2 * k1 + k3)[0] + c @ (k1 - k2 - 8 / 3 * k3) / dt)
        size = TOLERANCE + SHARE * np.abs(reads @ x)
        error = float(np.sqrt(np.mean((reads @ k4 / size) ** 2)))
        following = dt * min(5.0, max(0.2, 0.9 / max(error, 1e-9) ** (1 / 3)))
        if error < 1 or dt < 1e-12:
            return x + 2 * k1 + k3 + k4, dt, following
        dt = following
