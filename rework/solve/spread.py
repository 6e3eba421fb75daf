"""Operating points by the thousand: what part tolerances, tubes and the line make of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rework.solve.arrays import Bools, Floats, percentiles
from rework.solve.bias import Bias, Knob, grid_slope
from rework.solve.dense import LARGE
from rework.solve.newton import operating_point

#: No tube is drawn further from nominal than this many standard deviations.
TUBE_LIMIT = 3.0
#: Numbers that a stack of samples may hold in its matrices at a time.
STACK = 1_000_000
#: A part that moves a quantity by less than this share of what the first one does is no part of a
#: corner.
CORNER_SHARE = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Samples of the operating point: ``x`` (samples, n), those that ``converged``, and what was
    drawn for each: ``drawn`` (samples, knobs) as shares off nominal, and from these the ``factors``
    on ohms, ``scales`` of devices and the right-hand sides ``source`` (samples, n), which hold the
    line and the contact potentials.
    """

    x: Floats
    converged: Bools
    factors: Floats
    scales: Floats
    source: Floats
    drawn: Floats

    def band(self, values: Floats, low: float = 5.0, high: float = 95.0) -> tuple[float, float]:
        """Return the percentiles of a quantity (samples) over the samples that converged."""
        if not self.converged.any():
            return float("nan"), float("nan")
        a, b = percentiles(values[self.converged], (low, high))
        return float(a), float(b)


def spread(
    bias: Bias,
    samples: int = 1000,
    *,
    seed: int = 1,
    step: Callable[[int], None] | None = None,
) -> Spread:
    """Return the operating point of ``samples`` circuits drawn from part tolerances (even), tube
    spread (normal) and the line (even).

    ``step`` is called with the number of samples after every stack of them.
    """
    chance = np.random.default_rng(seed)
    normal = np.array([knob.is_normal for knob in bias.knobs])
    share = np.array([knob.share for knob in bias.knobs])
    even = chance.uniform(-1, 1, (samples, len(share)))
    bell = np.clip(chance.standard_normal((samples, len(share))), -TUBE_LIMIT, TUBE_LIMIT)
    return at(bias, share * np.where(normal, bell, even), step=step)


def at(bias: Bias, drawn: Floats, *, step: Callable[[int], None] | None = None) -> Spread:
    """Return the operating points with every knob off by a share (a contact potential by volts):
    ``drawn`` (samples, knobs).
    """
    network, samples = bias.network, len(drawn)
    factors = np.ones((samples, len(network.ohmic) + len(network.coils)))
    scales, line = np.ones((samples, len(bias.laws))), np.ones(samples)
    for k, knob in enumerate(bias.knobs):
        if knob.kind == "line":
            line = 1 + drawn[:, k]
        elif knob.kind == "ohms":
            factors[:, knob.at] += drawn[:, k]
        elif knob.kind == "coil ohms":
            factors[:, len(network.ohmic) + knob.at] += drawn[:, k]
        elif knob.kind == "tube":
            scales[:, knob.at] += drawn[:, k]
    scales += _felt(bias.knobs, drawn) @ bias.shifts.T
    source = bias.source[None, :] * line[:, None]
    for k, knob in enumerate(bias.knobs):
        if knob.kind == "contact":
            grid = network.starts[knob.at] + network.ordered[knob.at].law.controls - 1
            slope = float(grid_slope(network, bias.point, knob.at, bias.laws))
            source = source - slope * drawn[:, k, None] * network.reads[grid]
    x, converged = np.empty((samples, network.n)), np.empty(samples, bool)
    chunk = max(1, STACK // (network.n**2 if network.n < LARGE else 40 * network.n))
    for start in range(0, samples, chunk):
        part = slice(start, start + chunk)
        point = operating_point(
            network,
            source[part],
            factors=factors[part],
            scales=scales[part],
            laws=bias.laws,
            start=bias.point,
        )
        x[part], converged[part] = point.x, point.converged
        if step:
            step(len(point.converged))
    return Spread(x, converged, factors, scales, source, drawn)


def _felt(knobs: Sequence[Knob], drawn: Floats) -> Floats:
    """Return shares off nominal (samples, knobs) as the averages feel them: what a capacitor lets
    B+ sag goes with 1/C, a drop with perveance to the -2/3.
    """
    felt = np.array(drawn)
    for k, knob in enumerate(knobs):
        if knob.kind == "farads":
            felt[:, k] = felt[:, k] / (1 + felt[:, k])
        elif knob.kind == "rectifier":
            felt[:, k] = 1.5 * (1 - (1 + felt[:, k]) ** (-2 / 3))
    return felt


def ripple_band(
    bias: Bias, samples: Spread, node: int, low: float = 5.0, high: float = 95.0
) -> tuple[float, float]:
    """Return the percentiles of the factor on the RMS ripple of an unknown: every part to its power
    at the steady state.
    """
    shares = np.array([knob.kind != "contact" for knob in bias.knobs])
    logs = np.log1p(samples.drawn[:, shares]) @ bias.ripples[node][shares]
    a, b = np.exp(percentiles(logs, (low, high)))
    return float(a), float(b)


def corner(bias: Bias, slope: Floats, count: int = 5) -> tuple[tuple[Knob, float], ...]:
    """Return what moves a quantity most, with the share that pushes it up: ``slope`` (knobs) is how
    it moves with each.
    """
    push = np.array([knob.limit for knob in bias.knobs]) * slope
    chosen = sorted(range(len(push)), key=lambda k: (-abs(push[k]), bias.knobs[k].name))[:count]
    largest = max(np.abs(push).max(initial=0.0), 1e-12)
    return tuple(
        (bias.knobs[k], float(np.copysign(bias.knobs[k].limit, push[k])))
        for k in chosen
        if abs(push[k]) > CORNER_SHARE * largest
    )


def matters_most(
    bias: Bias, samples: Spread, values: Floats, count: int = 3
) -> tuple[tuple[str, float], ...]:
    """Return what a quantity (samples) depends on most: (name, share of its variance), by the
    squared correlation over the samples.
    """
    kept = samples.converged
    wanted = values[kept] - values[kept].mean()
    if not kept.any() or wanted.std() < 1e-12:
        return ()
    columns = samples.drawn[kept] - samples.drawn[kept].mean(0)
    scale = np.maximum(np.sqrt((columns**2).sum(0) * (wanted**2).sum()), 1e-300)
    shares = (wanted @ columns / scale) ** 2
    names = (knob.name for knob in bias.knobs)
    order = sorted(
        zip(names, shares.tolist(), strict=True), key=lambda share: (-share[1], share[0])
    )
    return tuple(order[:count])
