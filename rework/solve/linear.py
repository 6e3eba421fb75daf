"""Small signals around an operating point: gain from any place to any other, and impedances."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Any

from rework.solve.bias import Bias


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
        solved = np.linalg.solve(
            self.g[None] + s[:, None, None] * self.c[None],
            np.broadcast_to(into, (len(s), len(into)))[:, :, None],
        )
        return solved[:, :, 0] @ out


def linearised(found: Bias) -> Linear:
    """Return the circuit linearised at its operating point, the rectifiers by their regulation."""
    network = found.network
    _, slopes = network.device_currents(found.point, laws=found.laws)
    return Linear(network, network.g + network.reads.T @ slopes @ network.reads, network.c)
