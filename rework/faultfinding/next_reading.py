"""What to read next: the figure that is expected to tell most for what it costs.

The measurement with the least expected entropy: de Kleer and Williams, Artificial Intelligence 32
(1987), 97-130.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import log, pi

import numpy as np

from rework.faultfinding.points import BenchFigure
from rework.faultfinding.rank import Ranking
from rework.language.bench import Quantity
from rework.solve.arrays import Floats

#: Nodes and weights of the Gauss-Hermite rule that a normal distribution is integrated by.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
#: Suspects that count in what a reading is expected to tell, and the least chance of one among the
#: list.
COUNTED, LEAST = 40, 1e-3
#: What a reading costs in trouble and danger, only ratios count (our guess): ohms with the plug
#: out, heaters and hum, direct volts up to 60 V, a signal, direct volts over that.
COST_OHMS, COST_AC, COST_LOW, COST_SIGNAL, COST_HIGH, LOW_VOLTS = 1.0, 2.0, 3.0, 4.0, 5.0, 60.0
#: Ohms are read first while any of them is expected to tell a whole bit; after that they still have
#: the least cost. (At a quarter of a bit it took 14 readings to a class at .9, at one bit 3, in the
#: median of 24 drawn sets of the first demo: ``tests/bench/troubles.py``.)
WORTH = 1.0
#: Expected values that are nearer than this many standard deviations are one outcome.
APART = 3.0


@dataclass(frozen=True, slots=True)
class ReadingOutcome:
    """One range that a reading may come out in, on its scale, and what it would then be: keys of
    troubles with their chances.
    """

    low: float
    high: float
    chance: float
    keys: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class NextReading:
    """A figure to read next: its place among the figures, what it is expected to tell in bits, and
    what each outcome would mean, the likeliest first.
    """

    column: int
    bits: float
    outcomes: tuple[ReadingOutcome, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Forecast:
    """What each figure (candidates) will be under the suspects that count: ``mean`` and
    ``deviation`` (suspects, candidates), their ``chance`` (suspects) and ``key`` (suspects).
    """

    mean: Floats
    deviation: Floats
    chance: Floats
    keys: tuple[str, ...]


def cost(figure: BenchFigure, sound: float) -> float:
    """Return what a reading costs; ``sound`` is what it should be, on its scale."""
    match figure.of:
        case Quantity.OHMS:
            return COST_OHMS
        case Quantity.AC:
            return COST_AC
        case Quantity.SIGNAL:
            return COST_SIGNAL
        case _:
            return COST_LOW if abs(sound) <= LOW_VOLTS else COST_HIGH


def next_readings(
    ranking: Ranking,
    allowed: Sequence[int],
    *,
    powered: bool = True,
    count: int = 1,
    skip: Collection[int] = (),
) -> tuple[NextReading, ...]:
    """Return the best figures to read next, the best first, of those ``allowed``; not ``powered``,
    only ohms.
    """
    expected = ranking.expected
    left = [
        n
        for n in allowed
        if n not in ranking.columns
        and n not in skip
        and (powered or expected.figures[n].of is Quantity.OHMS)
    ]
    if not left:
        return ()
    forecast = _forecast(ranking, left)
    bits = _bits(forecast)
    costs = np.array([cost(expected.figures[n], float(expected.mean[0, n])) for n in left])
    worth = bits / np.sqrt(costs)
    ohms = np.array([expected.figures[n].of is Quantity.OHMS for n in left])
    if (bits[ohms] > WORTH).any():
        worth = np.where(ohms, worth, 0.0)
    order = np.argsort(-worth, kind="stable")[:count]
    return tuple(
        NextReading(left[n], float(bits[n]), _outcomes(forecast, int(n)))
        for n in order.tolist()
        if bits[n] > 0.01
    )


def _forecast(ranking: Ranking, left: Sequence[int]) -> _Forecast:
    """Return the figures under each suspect that counts, given what was read."""
    expected, chance = ranking.expected, ranking.chance / ranking.chance.sum()
    order = np.argsort(-chance, kind="stable")[:COUNTED]
    order = order[chance[order] > LEAST]
    taken = list(ranking.columns)
    slopes = expected.slopes[order]
    mean = expected.mean[order][:, left]
    to = slopes[:, left]
    variance = (to**2).sum(-1) + expected.noise[order][:, left]
    if taken:
        at = slopes[:, taken]
        known = at @ np.swapaxes(at, 1, 2)
        place = np.arange(len(taken))
        known[:, place, place] += expected.noise[order][:, taken]
        cross = to @ np.swapaxes(at, 1, 2)
        gain = np.swapaxes(np.linalg.solve(known, np.swapaxes(cross, 1, 2)), 1, 2)
        residual = ranking.read - expected.mean[order][:, taken]
        limit = 3 * np.sqrt(np.einsum("hjj->hj", known))  # a slip must not lead the forecast astray
        residual = np.clip(residual, -limit, limit)
        mean = mean + np.einsum("hcj,hj->hc", gain, residual)
        variance = variance - (gain * cross).sum(-1)
    noise = 0.25 * expected.noise[order][:, left]
    share = chance[order] / chance[order].sum()
    keys = tuple(expected.suspects[n].trouble.key for n in order.tolist())
    return _Forecast(mean, np.sqrt(np.maximum(variance, noise)), share, keys)


def _bits(forecast: _Forecast) -> Floats:
    """Return the bits (candidates) that each figure is expected to tell of which trouble it is."""
    mean, deviation = forecast.mean, forecast.deviation
    at = mean[:, :, None] + deviation[:, :, None] * _NODES
    names = list(dict.fromkeys(forecast.keys))
    owner = np.array([names.index(key) for key in forecast.keys])
    density = np.zeros((len(names), *at.shape))
    for k, share in enumerate(forecast.chance):
        z = (at - mean[k, :, None]) / deviation[k, :, None]
        density[owner[k]] += share * np.exp(-0.5 * z**2) / (deviation[k, :, None] * (2 * pi) ** 0.5)
    total = density.sum(0)
    density_here = density[owner, np.arange(len(owner))]
    weight = np.array([forecast.chance[owner == n].sum() for n in range(len(names))])[owner]
    gain = np.log(np.maximum(density_here, 1e-300)) - np.log(weight)[:, None, None]
    gain -= np.log(np.maximum(total, 1e-300))
    expectation = (gain * (_WEIGHTS / _WEIGHTS.sum())).sum(-1)
    bits: Floats = np.maximum((forecast.chance[:, None] * expectation).sum(0), 0.0) / log(2)
    return bits


def _outcomes(forecast: _Forecast, column: int) -> tuple[ReadingOutcome, ...]:
    """Return the ranges in which a figure may come out, where the suspects part."""
    mean, deviation = forecast.mean[:, column], forecast.deviation[:, column]
    runs: list[list[int]] = []
    for n in np.argsort(mean, kind="stable").tolist():
        last = runs[-1][-1] if runs else None
        if last is None or mean[n] - mean[last] > APART * max(deviation[n], deviation[last]):
            runs.append([])
        runs[-1].append(n)
    reading_outcomes = [_outcome(forecast, run, column) for run in runs]
    return tuple(sorted(reading_outcomes, key=lambda outcome: -outcome.chance))


def _outcome(forecast: _Forecast, run: Sequence[int], column: int) -> ReadingOutcome:
    mean, deviation = forecast.mean[run, column], forecast.deviation[run, column]
    keys: dict[str, float] = {}
    for n in run:
        keys[forecast.keys[n]] = keys.get(forecast.keys[n], 0.0) + float(forecast.chance[n])
    order = sorted(keys.items(), key=lambda pair: -pair[1])
    return ReadingOutcome(
        float((mean - 2 * deviation).min()),
        float((mean + 2 * deviation).max()),
        sum(chance for _, chance in order),
        tuple(order),
    )
