"""Corners: a quantity with what moves it most, line and tubes among them, all at their limits to
one side and to the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rework.solve.bias import Averaged, Bias, at, corner
from rework.solve.devices import Rectifier


@dataclass(frozen=True, slots=True)
class Corner:
    """A quantity (``what`` in ``unit``) as drawn and at its low and high corner.

    ``parts`` pairs each part that is moved with the share by which it is off at the high corner; at
    the low corner it is off by the opposite.
    """

    what: str
    unit: str
    low: float
    nominal: float
    high: float
    parts: tuple[tuple[str, float], ...]


def corners(found: Bias, nodes: Sequence[str]) -> tuple[Corner, ...]:
    """Return the corners of the volts of some nodes, then of the plate watts of every tube unit,
    all solved as one stack.

    The parts are chosen by the first-order slope of the quantity times the limit of each:
    tolerance, the line's tenth, two standard deviations of a tube.
    """
    import numpy as np

    network = found.network
    out, slopes = network.device_currents(found.point, laws=found.laws)
    across = network.reads @ found.point
    moved = network.reads @ found.slopes
    wanted = []
    for node in nodes:
        at_ = network.node_of[node]
        if at_ >= 0:
            wanted.append(
                (
                    f"{node}",
                    "V",
                    found.slopes[at_],
                    lambda x, i, v, node=node: network.volts(x, node),
                    float(network.volts(found.steady.mean, node)),
                )
            )
    amps = slopes @ moved
    row = 0
    for number, (device, law) in enumerate(zip(network.ordered, found.laws, strict=True)):
        if not isinstance(law, Averaged | Rectifier):
            own = np.array(
                [float(knob.kind == "tube" and knob.at == number) for knob in found.knobs]
            )
            slope = across[row] * (amps[row] + own * out[row]) + moved[row] * out[row]
            name = f"{device.name} {device.unit}".strip()
            mean = float(
                (found.steady.x @ network.reads[row] * found.steady.currents[:, row]).mean()
            )
            wanted.append(
                (
                    f"{name} plate",
                    "W",
                    slope,
                    lambda x, i, v, row=row: i[..., row] * v[..., row],
                    mean,
                )
            )
        row += law.controls
    chosen = [corner(found, slope) for _, _, slope, _, _ in wanted]
    drawn = np.zeros((2 * len(wanted), len(found.knobs)))
    for n, parts in enumerate(chosen):
        for knob, share in parts:
            k = found.knobs.index(knob)
            drawn[2 * n, k], drawn[2 * n + 1, k] = -share, share
    solved = at(found, drawn)
    currents, _ = network.device_entries(solved.x, scales=solved.scales, laws=found.laws)
    volts = solved.x @ network.reads.T
    rows = []
    for n, (what, unit, _, of, mean) in enumerate(wanted):
        if not (chosen[n] and solved.converged[2 * n : 2 * n + 2].all()):
            continue
        values = of(solved.x, currents, volts)
        moved_to = mean - float(of(found.point, out, across))
        rows.append(
            Corner(
                what,
                unit,
                float(values[2 * n]) + moved_to,
                mean,
                float(values[2 * n + 1]) + moved_to,
                tuple((knob.name, share) for knob, share in chosen[n]),
            )
        )
    return tuple(rows)
