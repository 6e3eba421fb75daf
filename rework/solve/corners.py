"""Corners: a quantity with what moves it most, line and tubes among them, all at their limits to
one side and to the other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.bias import Averaged, Bias
from rework.solve.devices import Rectifier
from rework.solve.spread import at, corner


@dataclass(frozen=True, slots=True)
class Corner:
    """A quantity as drawn and at its low and high corner: the volts of a node (``key`` "volts",
    ``of`` the node) or the plate watts of a tube (``key`` "plate watts", ``of`` the part, ``unit``
    its unit).

    ``parts`` pairs each part that is moved with the share by which it is off at the high corner; at
    the low corner it is off by the opposite.
    """

    key: Literal["volts", "plate watts"]
    of: str
    unit: str
    low: float
    nominal: float
    high: float
    parts: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class _Quantity:
    """A quantity: its unknown or its device row (``at``), how it moves with the knobs (``slope``),
    and its mean over the steady state.
    """

    key: Literal["volts", "plate watts"]
    of: str
    unit: str
    at: int
    slope: Floats
    mean: float

    def value(self, x: Floats, currents: Floats, volts: Floats) -> Floats:
        """Return it (...) from the unknowns (..., n) and what the devices carry (..., m)."""
        if self.key == "volts":
            return x[..., self.at]
        return currents[..., self.at] * volts[..., self.at]


def corners(bias: Bias, nodes: Sequence[str]) -> tuple[Corner, ...]:
    """Return the corners of the volts of some nodes, then of the plate watts of every tube unit,
    all solved as one stack.

    The parts are chosen by the first-order slope of the quantity times the limit of each:
    tolerance, the line's tenth, two standard deviations of a tube.
    """
    network = bias.network
    quantities = [*_volts(bias, nodes), *_watts(bias)]
    chosen = [corner(bias, quantity.slope) for quantity in quantities]
    drawn = np.zeros((2 * len(quantities), len(bias.knobs)))
    for n, parts in enumerate(chosen):
        for knob, share in parts:
            k = bias.knobs.index(knob)
            drawn[2 * n, k], drawn[2 * n + 1, k] = -share, share
    solved = at(bias, drawn)
    currents, _ = network.device_entries(solved.x, scales=solved.scales, laws=bias.laws)
    volts = network.across(solved.x)
    out, _ = network.device_entries(bias.point, laws=bias.laws)
    rows = []
    for n, quantity in enumerate(quantities):
        if not (chosen[n] and solved.converged[2 * n : 2 * n + 2].all()):
            continue
        low, high = quantity.value(solved.x, currents, volts)[2 * n : 2 * n + 2]
        at_rest = float(quantity.value(bias.point, out, network.across(bias.point)))
        offset = quantity.mean - at_rest
        rows.append(
            Corner(
                quantity.key,
                quantity.of,
                quantity.unit,
                float(low) + offset,
                quantity.mean,
                float(high) + offset,
                tuple((knob.name, share) for knob, share in chosen[n]),
            )
        )
    return tuple(rows)


def _volts(bias: Bias, nodes: Sequence[str]) -> Iterator[_Quantity]:
    network = bias.network
    for node in nodes:
        at_ = network.node_of[node]
        if at_ >= 0:
            mean = float(network.volts(bias.steady.mean, node))
            yield _Quantity("volts", node, "", at_, bias.slopes[at_], mean)


def _watts(bias: Bias) -> Iterator[_Quantity]:
    network = bias.network
    out, slopes = network.device_currents(bias.point, laws=bias.laws)
    across = network.reads @ bias.point
    moved = network.reads @ bias.slopes
    amps = slopes @ moved
    waves = network.across(bias.steady.x)
    for number, (device, law, row) in enumerate(
        zip(network.ordered, bias.laws, network.starts, strict=True)
    ):
        if isinstance(law, Averaged | Rectifier):
            continue
        emission = np.array(
            [float(knob.kind == "tube" and knob.at == number) for knob in bias.knobs]
        )
        yield _Quantity(
            "plate watts",
            device.name,
            device.unit,
            row,
            across[row] * (amps[row] + emission * out[row]) + moved[row] * out[row],
            float((waves[:, row] * bias.steady.currents[:, row]).mean()),
        )
