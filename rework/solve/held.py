"""The operating point of a circuit that oscillates: its tubes held at their direct currents while
the supply is solved.

With its tubes at work such a circuit has no steady state on its line that could be found, so the
two are solved in turn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rework.circuit.place import Problem
from rework.solve.arrays import Floats
from rework.solve.bias import Bias, bias
from rework.solve.devices import INSULATION, Rectifier
from rework.solve.network import CannotSolve, Device, Network
from rework.solve.newton import operating_point

#: Turns at most, and the volts within which two agree.
TURNS, ALIKE = 12, 0.05


@dataclass(frozen=True, slots=True)
class Held:
    """A tube that draws the same currents whatever its volts."""

    amps: tuple[float, ...]

    @property
    def controls(self) -> int:
        """How many volts it would answer to."""
        return len(self.amps)

    def warmer(self, times: float) -> Held:  # noqa: ARG002  it has no corner
        """Return itself."""
        return self

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return the amps it is held at (..., controls) and the slopes of its insulation."""
        held = np.asarray(self.amps) * (np.asarray(scale)[..., None] if np.ndim(scale) else scale)
        return held + INSULATION * volts, np.zeros(
            (*volts.shape, len(self.amps))
        ) + INSULATION * np.eye(len(self.amps))


def bias_held(network: Network) -> Bias:
    """Return the operating point of a circuit whose steady state does not settle.

    Raises CannotSolve where this has none either.

    Its ``steady`` state is that of the supply alone: what the tubes make of the ripple is not in
    it.
    """
    amps = {
        device.key: (0.0,) * device.law.controls
        for device in network.devices
        if not isinstance(device.law, Rectifier)
    }
    last: Floats | None = None
    for _ in range(TURNS):
        supply = bias(_quiet(network, amps))
        averaged = dict(
            zip((device.key for device in supply.network.ordered), supply.laws, strict=True)
        )
        laws = tuple(
            device.law if device.key in amps else averaged[device.key] for device in network.ordered
        )
        start = supply.point if last is None else last
        point = operating_point(network, supply.source, laws=laws, start=start)
        if not point.converged[0]:
            break
        flowing = network.device_currents(point.x[0], laws=laws)[0]
        for device, row in zip(network.ordered, network.starts, strict=True):
            if device.key in amps:
                amps[device.key] = tuple(flowing[row : row + device.law.controls].tolist())
        if last is not None and np.abs(point.x[0] - last).max() < ALIKE:
            empty = np.zeros((network.n, 0))
            return Bias(
                network=network,
                laws=laws,
                source=supply.source,
                point=point.x[0],
                steady=supply.steady,
                knobs=(),
                slopes=empty,
                shifts=np.zeros((len(laws), 0)),
                ripples=empty,
                is_whole=False,
            )
        last = point.x[0]
    raise CannotSolve(
        Problem("the operating point does not settle", hint="look at the values of the parts")
    )


def _quiet(network: Network, amps: dict[tuple[str, str], tuple[float, ...]]) -> Network:
    """Return the network with its tubes held at these amps."""

    def held(device: Device) -> Device:
        return replace(device, law=Held(amps[device.key])) if device.key in amps else device

    return replace(network, devices=tuple(held(device) for device in network.devices))
