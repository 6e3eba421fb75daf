"""Small signals around an operating point: gain from any place to any other, and impedances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from rework.solve.arrays import Complexes, Floats
from rework.solve.bias import Rest
from rework.solve.network import Network


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """The circuit linearised: conductances ``g`` (n, n) and storage ``c`` (n, n)."""

    network: Network
    g: Floats
    c: Floats

    def column(self, node: str, other: str) -> Floats:
        """Return the unit current (n) into ``node`` and out of ``other``."""
        out = np.zeros(len(self.g))
        for name, sign in ((node, 1.0), (other, -1.0)):
            if self.network.node_of[name] >= 0:
                out[self.network.node_of[name]] += sign
        return out

    def transfer(self, into: Floats, out: Floats, hertz: Sequence[float] | Floats) -> Complexes:
        """Return the volts along ``out`` (n) for the current ``into`` (n) at every frequency."""
        s = 2j * pi * np.asarray(hertz, float)
        solved = np.linalg.solve(
            self.g[None] + s[:, None, None] * self.c[None],
            np.broadcast_to(into, (len(s), len(into)))[:, :, None],
        )
        volts: Complexes = solved[:, :, 0] @ out
        return volts


def linearised(rest: Rest) -> Linear:
    """Return the circuit linearised at its operating point, the rectifiers by their regulation."""
    network = rest.network
    _, slopes = network.device_currents(rest.point, laws=rest.laws)
    return Linear(network, network.g + network.reads.T @ slopes @ network.reads, network.c)
