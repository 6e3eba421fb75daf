"""Small signals around an operating point: response, output impedance, and stability from the eigenvalues of the whole circuit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Any

from rework.solve.bias import Bias

#: Faster than this is beyond a model without tube capacitances, radians per second.
FASTEST = 2 * pi * 2e5
#: What a decoupling section is tried with: ohms and farads on the shelf (common practice, no source).
SHELF_OHMS, SHELF_FARADS = (2.2e3, 4.7e3, 10e3, 22e3), (10e-6, 22e-6, 47e-6)


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """The circuit linearised: conductances ``g`` and storage ``c``."""

    network: Any
    g: Any
    c: Any

    def column(self, node: str, other: str) -> Any:
        """Return the unit current into ``node`` and out of ``other``."""
        import numpy as np

        out = np.zeros(len(self.g))
        for name, sign in ((node, 1.0), (other, -1.0)):
            if self.network.node_of[name] >= 0:
                out[self.network.node_of[name]] += sign
        return out

    def transfer(self, into: Any, out: Any, hertz: Any) -> Any:
        """Return the volts along ``out`` for the current ``into`` at every frequency, complex."""
        import numpy as np

        s = 2j * pi * np.asarray(hertz, float)
        solved = np.linalg.solve(self.g[None] + s[:, None, None] * self.c[None], np.broadcast_to(into, (len(s), len(into)))[:, :, None])
        return solved[:, :, 0] @ out


def linearised(found: Bias) -> Linear:
    """Return the circuit linearised at its operating point, the rectifiers by their regulation."""
    network = found.network
    _, slopes = network.device_currents(found.point, laws=found.laws)
    return Linear(network, network.g + network.reads.T @ slopes @ network.reads, network.c)


@dataclass(frozen=True, slots=True)
class Mode:
    """One natural motion of the circuit: growth in 1/s (negative dies away), hertz (0 does not swing), the node where it is strongest."""

    growth: float
    hertz: float
    node: str

    @property
    def damping(self) -> float:
        """Return the damping ratio: 1 for one that does not swing, negative for one that grows."""
        return -self.growth / (self.growth**2 + (2 * pi * self.hertz) ** 2) ** 0.5


def modes(linear: Linear) -> tuple[Mode, ...]:
    """Return the natural motions, the one nearest to growing first: s with det(G + s C) = 0, by the eigenvalues of G^-1 C."""
    import numpy as np

    found = []
    values, vectors = np.linalg.eig(np.linalg.solve(linear.g, linear.c))
    nodes = len(linear.g) if linear.network is None else linear.network.n - len(linear.network.rows)
    for value, vector in zip(values, vectors.T, strict=True):
        if abs(value) < 1 / FASTEST:
            continue
        s = -1 / value
        if s.imag >= -1e-9 * abs(s):
            at = int(np.abs(vector[:nodes]).argmax())
            swings = abs(s.imag) > 1e-7 * abs(s)
            found.append(Mode(float(s.real), float(abs(s.imag)) / (2 * pi) if swings else 0.0, linear.network.names[at] if linear.network else str(at)))
    return tuple(sorted(found, key=lambda mode: (mode.damping, mode.hertz, mode.node)))


def growing(found: Sequence[Mode]) -> tuple[Mode, ...]:
    """Return the motions that grow.

    Two that grow without swinging are one relaxation: the loop gain is so large that the pair has left the complex plane.
    Limiting brings it back, so its hertz is taken as the geometric mean, where the pair would meet.
    """
    bad = [mode for mode in found if mode.growth > 1e-6]
    plain = sorted((mode for mode in bad if mode.hertz == 0), key=lambda mode: mode.growth)
    merged = [Mode(fast.growth, (slow.growth * fast.growth) ** 0.5 / (2 * pi), fast.node) for slow, fast in zip(plain[::2], plain[1::2], strict=False)]
    return tuple([mode for mode in bad if mode.hertz > 0] + merged + plain[len(merged) * 2:])


@dataclass(frozen=True, slots=True)
class Remedy:
    """A decoupling section that makes every motion die away: in series with ``resistor``, at its end on ``node``; the least damping that is left."""

    resistor: str
    node: str
    ohms: float
    farads: float
    damping: float


def remedies(found: Bias, linear: Linear) -> tuple[Remedy, ...]:
    """Return the decoupling sections of the shelf that tame a growing motion, the smallest that does on each supply resistor, best first."""
    import numpy as np

    network, tamed = found.network, []
    volts = lambda at: float(found.point[at]) if at >= 0 else 0.0
    for branch in network.ohmic:
        high, low = (branch.a, branch.b) if volts(branch.a) > volts(branch.b) else (branch.b, branch.a)
        if high < 0 or low < 0 or volts(high) - volts(low) < 3 or volts(high) < 20 or branch.value < 1e3:
            continue
        for ohms, farads in sorted(((r, c) for r in SHELF_OHMS for c in SHELF_FARADS), key=lambda pair: pair[0] * pair[1]):
            n = len(linear.g)
            g, c = np.zeros((n + 1, n + 1)), np.zeros((n + 1, n + 1))
            g[:n, :n], c[:n, :n] = linear.g, linear.c
            for a, b, siemens in ((high, low, -1 / branch.value), (high, n, 1 / ohms), (n, low, 1 / branch.value)):
                g[a, a] += siemens
                g[b, b] += siemens
                g[a, b] -= siemens
                g[b, a] -= siemens
            c[n, n] += farads
            left = modes(Linear(None, g, c))
            if left and not growing(left):
                tamed.append(Remedy(branch.name, network.names[high], ohms, farads, left[0].damping))
                break
    return tuple(sorted(tamed, key=lambda one: (one.ohms * one.farads, one.resistor)))[:4]
