"""What a voltmeter shows: solved with the meter in the circuit, since a correction by a factor is
wrong wherever a tube answers to the meter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rework.language.bench import Voltmeter
from rework.solve.arrays import Bools, Floats
from rework.solve.bias import Bias, Rest
from rework.solve.network import Branch
from rework.solve.newton import operating_point
from rework.solve.spread import Spread, at

#: The meter that is meant where none is named.
DIGITAL = Voltmeter()
#: A reading that differs by less than this share of it, and by less than these volts, from what is
#: there without the meter is taken as the same: less than such a meter is off by.
SAME_SHARE, SAME_VOLTS = 0.01, 0.02
#: Draws for the band of what a meter shows.
DRAWS = 200
#: A meter that is not on its points stands for so many times its ohms.
OFF = 1e6


@dataclass(frozen=True, slots=True)
class Meter:
    """A voltmeter of so many ohms, its leads on nodes ``at`` and ``other``."""

    at: str
    other: str
    ohms: float = DIGITAL.ohms


def meter_readings(rest: Rest, meters: Sequence[Meter]) -> tuple[Floats, Bools]:
    """Return what each meter shows, DC volts (meters), one at a time in the circuit, and which of
    them settled.

    The rectifiers stand in by their averages, as at the point at rest. All are one stack of direct-
    current solutions.
    """
    network = rest.network
    if not meters:
        return np.zeros(0), np.zeros(0, bool)
    ends = [(network.node_of[meter.at], network.node_of[meter.other]) for meter in meters]
    branches = [
        Branch("meter", "r", a, b, meter.ohms) for (a, b), meter in zip(ends, meters, strict=True)
    ]
    metered = replace(network, branches=(*network.branches, *branches))
    factors = np.ones((len(meters), len(metered.ohmic)))
    first = len(metered.ohmic) - len(meters)
    factors[:, first:] = OFF
    factors[range(len(meters)), range(first, len(metered.ohmic))] = 1.0
    point = operating_point(metered, rest.source, factors=factors, laws=rest.laws, start=rest.point)
    across = [
        metered.between(x, meter.at, meter.other) for x, meter in zip(point.x, meters, strict=True)
    ]
    return np.array(across), point.converged


def source_ohms(rest: Rest, nodes: Sequence[str]) -> Floats:
    """Return the ohms (nodes) that feed each node against the reference, for small changes."""
    network = rest.network
    _, slopes = network.device_currents(rest.point, laws=rest.laws)
    inverse = np.linalg.inv(network.g + network.reads.T @ slopes @ network.reads)
    at = np.array([network.node_of[node] for node in nodes], np.int64)
    return np.where(at >= 0, np.abs(np.diag(inverse)[at]), 0.0)


@dataclass(frozen=True, slots=True)
class Shown:
    """What the meter shows at a node, with its band."""

    volts: float
    low: float
    high: float


def loaded(bias: Bias, drawn: Spread, voltmeter: Voltmeter = DIGITAL) -> dict[int, Shown]:
    """Return what a meter to the reference shows at every unknown that it pulls down, with a band
    from the first of the draws, each solved with the meter in. A meter of so many ohms for each
    volt is on the range for what it shows.
    """
    network = bias.network
    by_unknown = {at_: node for node, at_ in sorted(network.node_of.items()) if at_ >= 0}
    common = next((node for node, at_ in network.node_of.items() if at_ < 0), None)
    if common is None:
        return {}
    fed = source_ohms(bias, list(by_unknown.values()))
    weak = []
    for node, current in zip(by_unknown.values(), fed.tolist(), strict=True):
        volts = abs(float(network.volts(bias.point, node)))
        ohms = voltmeter.ohms_for(volts)
        if current * volts > SAME_SHARE * ohms * SAME_VOLTS and current > SAME_SHARE * ohms:
            weak.append(Meter(node, common, ohms))
    readings, settled = meter_readings(bias, weak)
    if voltmeter.per_volt:  # on a lower range it takes more, and may then not be on that one
        weak = [
            replace(meter, ohms=voltmeter.ohms_for(volts))
            for meter, volts in zip(weak, readings.tolist(), strict=True)
        ]
        readings, settled = meter_readings(bias, weak)
    shown = {}
    for meter, reading, good in zip(weak, readings.tolist(), settled, strict=True):
        without = float(network.volts(bias.point, meter.at))
        if good and abs(reading - without) > max(SAME_VOLTS, SAME_SHARE * abs(without)):
            low, high = _band(bias, drawn, meter.at, meter.ohms)
            at_ = network.node_of[meter.at]
            shown[at_] = Shown(reading, min(low, reading), max(high, reading))
    return shown


def _band(bias: Bias, drawn: Spread, node: str, ohms: float) -> tuple[float, float]:
    meter = Branch("meter", "r", bias.network.node_of[node], -1, ohms)
    network = replace(bias.network, branches=(*bias.network.branches, meter))
    samples = at(replace(bias, network=network), drawn.drawn[:DRAWS])
    return samples.band(network.volts(samples.x, node))
