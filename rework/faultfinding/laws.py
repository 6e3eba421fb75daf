"""What a sick tube does: an emission of its own, or gas that drives current into the grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rework.faultfinding.trouble import Emission, Law
from rework.solve.arrays import Floats
from rework.solve.devices import DeviceLaw, Rectifier
from rework.solve.network import Device, Network

#: What is left of the emission of a dead tube: enough that the equations stay smooth.
DEAD = 1e-9


@dataclass(frozen=True, slots=True)
class Scaled:
    """A law with its emission so many ``times`` its own."""

    law: DeviceLaw
    times: float

    @property
    def controls(self) -> int:
        """Those of the law."""
        return self.law.controls

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return the currents and slopes of the law at that emission."""
        return self.law.currents(volts, scale * self.times)

    def warmer(self, times: float) -> Scaled:
        """Return the same with the corners of its law rounder."""
        return replace(self, law=self.law.warmer(times))


@dataclass(frozen=True, slots=True)
class Gassy:
    """A law whose plate current drives ``share`` of itself out of the grid: positive ions that the
    electrons make on their way fall on the negative grid.
    """

    law: DeviceLaw
    share: float

    @property
    def controls(self) -> int:
        """Those of the law."""
        return self.law.controls

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return the currents and slopes with the ions in the grid current, the last one."""
        out, slopes = self.law.currents(volts, scale)
        out, slopes = out.copy(), slopes.copy()
        out[..., -1] -= self.share * out[..., 0]
        slopes[..., -1, :] -= self.share * slopes[..., 0, :]
        return out, slopes

    def warmer(self, times: float) -> Gassy:
        """Return the same with the corners of its law rounder."""
        return replace(self, law=self.law.warmer(times))


def sick(network: Network, laws: Sequence[Law]) -> Network:
    """Return a network with the laws of some of its tubes changed."""
    if not laws:
        return network
    devices = tuple(_changed(device, laws) for device in network.devices)
    return replace(network, devices=devices)


def _changed(device: Device, laws: Sequence[Law]) -> Device:
    for law in laws:
        if law.part != device.name or law.unit not in ("", device.unit):
            continue
        if isinstance(law, Emission):
            device = replace(device, law=_emitting(device.law, max(law.times, DEAD)))
        elif device.law.controls > 1:
            device = replace(device, law=Gassy(device.law, law.share))
    return device


def _emitting(law: DeviceLaw, times: float) -> DeviceLaw:
    if isinstance(law, Rectifier):  # the solver knows a rectifier by its class
        return replace(law, perveance=times * law.perveance)
    return Scaled(law, times)
