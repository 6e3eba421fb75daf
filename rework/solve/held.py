"""The operating point of a circuit that oscillates: its tubes held at their direct currents while
the supply is solved.

With its tubes at work such a circuit has no steady state on its line that could be found, so the
two are solved in turn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.place import Problem
from rework.solve.bias import Bias, bias
from rework.solve.devices import INSULATION, Rectifier
from rework.solve.network import CannotSolve, Network
from rework.solve.newton import operating_point

#: Turns at most, and the volts within which two agree.
TURNS, ALIKE = 12, 0.05


@dataclass(frozen=True, slots=True)
class Held:
    """A tube that draws the same currents whatever its volts."""

    amps: tuple[float, ...]

    @property
    def controls(self) -> int:
        """Return how many volts it would answer to."""
        return len(self.amps)

    def currents(self, volts, scale=1.0):
        """Return the amps it is held at and the Jacobian of its insulation."""
        import numpy as np

        held = np.asarray(self.amps) * (np.asarray(scale)[..., None] if np.ndim(scale) else scale)
        return held + INSULATION * volts, np.zeros(
            (*volts.shape, len(self.amps))
        ) + INSULATION * np.eye(len(self.amps))


def bias_held(network: Network) -> Bias:
    """Return the operating point of a circuit whose own steady state does not settle.

    Raises CannotSolve where this has none either.

    Its ``steady`` state is that of the supply alone: what the tubes make of the ripple is not in
    it.
    """
    import numpy as np

    amps = {
        (device.name, device.unit): (0.0,) * device.law.controls
        for device in network.devices
        if not isinstance(device.law, Rectifier)
    }
    last = None
    for _ in range(TURNS):
        quiet = replace(
            network,
            devices=tuple(
                (
                    replace(device, law=Held(held))
                    if (held := amps.get((device.name, device.unit)))
                    else device
                )
                for device in network.devices
            ),
        )
        found = bias(quiet)
        averaged = {
            (device.name, device.unit): law
            for device, law in zip(quiet.ordered, found.laws, strict=True)
        }
        laws = tuple(
            device.law if (device.name, device.unit) in amps else averaged[device.name, device.unit]
            for device in network.ordered
        )
        point = operating_point(
            network, found.source, laws=laws, start=found.point if last is None else last
        )
        if not point.converged[0]:
            break
        flowing, row = network.device_currents(point.x[0], laws=laws)[0], 0
        for device in network.ordered:
            if (device.name, device.unit) in amps:
                amps[device.name, device.unit] = tuple(
                    float(one) for one in flowing[row : row + device.law.controls]
                )
            row += device.law.controls
        if last is not None and np.abs(point.x[0] - last).max() < ALIKE:
            return Bias(network, found.steady, laws, found.source, point.x[0])
        last = point.x[0]
    raise CannotSolve(
        Problem("the operating point does not settle", hint="look at the values of the parts")
    )
