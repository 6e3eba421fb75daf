"""Whether a circuit oscillates: the eigenvalues of the whole circuit with its shared supply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from rework.solve.linear import Linear

#: Faster than this is beyond a model of lumped wiring, radians per second: a motion that dies away,
#: and one that grows (which may be the fast half of a relaxation).
FASTEST, FASTEST_GROWING = 2 * pi * 2e5, 2 * pi * 2e6
#: A motion faster than this is not heard, and hangs on wiring that is only taken for granted,
#: hertz.
AUDIBLE = 20e3
#: A motion slower than this is called motorboating, a faster one a squeal (common practice, no
#: source), hertz.
MOTORBOATING = 200.0


#: A motion grows faster than this, in 1/s.
LEAST_GROWTH = 1e-6


@dataclass(frozen=True, slots=True)
class Mode:
    """One natural motion of the circuit: growth in 1/s (negative dies away), hertz (0 does not
    swing), the node where it is strongest.
    """

    growth: float
    hertz: float
    node: str

    @property
    def grows(self) -> bool:
        """Whether it grows, rounding aside."""
        return self.growth > LEAST_GROWTH

    @property
    def damping(self) -> float:
        """Return the damping ratio: 1 for one that does not swing, negative for one that grows."""
        return -self.growth / self.rate

    @property
    def rate(self) -> float:
        """Return the size of the root in 1/s."""
        return float((self.growth**2 + (2 * pi * self.hertz) ** 2) ** 0.5)


def modes(linear: Linear) -> tuple[Mode, ...]:
    """Return the natural motions, the one nearest to growing first: s with det(G + s C) = 0, by the
    eigenvalues of v G^-1 u, which are those of G^-1 C where C = u v, but for zeros: one for every
    storage state instead of one for every unknown.
    """
    network = linear.network
    largest = np.abs(linear.c).max(1, initial=0.0)
    scale = np.where(largest > 0, largest, 1.0)  # farads and henries side by side
    u, sizes, v = np.linalg.svd(linear.c / scale[:, None])
    rank = int((sizes > 1e-13 * sizes[0]).sum())
    moved = np.linalg.solve(linear.g, scale[:, None] * u[:, :rank] * sizes[:rank])
    values, states = np.linalg.eig(v[:rank] @ moved)
    vectors = moved @ states
    nodes, motions = network.node_at, []
    for value, vector in zip(values, vectors.T, strict=True):
        if abs(value) < 1 / (FASTEST_GROWING if value.real < 0 else FASTEST):
            continue
        s = -1 / value
        if s.imag >= -1e-9 * abs(s):
            swings = abs(s.imag) > 1e-7 * abs(s)
            motions.append(
                Mode(
                    float(s.real),
                    float(abs(s.imag)) / (2 * pi) if swings else 0.0,
                    network.names[nodes[int(np.abs(vector[nodes]).argmax())]],
                )
            )
    return tuple(sorted(motions, key=lambda mode: (mode.damping, mode.hertz, mode.node)))


def growing(natural: Sequence[Mode]) -> tuple[Mode, ...]:
    """Return the motions that grow.

    Two that grow without swinging are one relaxation: the loop gain is so large that the pair has
    left the complex plane. Limiting brings it back, so its hertz is counted as the geometric mean,
    where the pair would meet: a mark, several times too high where the coupling capacitors block
    the grids. ``oscillation.swing`` follows it to what it comes to.
    """
    bad = [mode for mode in natural if mode.grows]
    plain = sorted((mode for mode in bad if mode.hertz == 0), key=lambda mode: mode.growth)
    merged = [
        Mode(fast.growth, (slow.growth * fast.growth) ** 0.5 / (2 * pi), fast.node)
        for slow, fast in zip(plain[::2], plain[1::2], strict=False)
    ]
    return tuple([mode for mode in bad if mode.hertz > 0] + merged + plain[len(merged) * 2 :])
