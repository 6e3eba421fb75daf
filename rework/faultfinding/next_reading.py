"""What to read next: the figure that is expected to tell most for what it costs.

The measurement with the least expected entropy: de Kleer and Williams, Artificial Intelligence 32
(1987), 97-130.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from scipy.special import entr, ndtr

from rework.faultfinding.points import BenchFigure
from rework.faultfinding.rank import Ranking
from rework.language.bench import Quantity
from rework.solve.arrays import Floats, Ints

#: Nodes and weights of the Gauss-Hermite rule that a normal distribution is integrated by.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(7)
_SHARES = _WEIGHTS / _WEIGHTS.sum()
#: The least chance, among the list, of a suspect that counts in what a reading is expected to tell.
LEAST = 1e-5
#: Suspects whose expected values differ by less than this share of their deviation, and their
#: deviations by less than this ratio, are one to a reading.
CELL, WIDER = 0.25, 1.3
#: What a reading costs in trouble and danger, only ratios count (our guess): ohms with the plug
#: out, heaters and hum, direct volts up to 60 V, a signal, direct volts over that.
COST_OHMS, COST_AC, COST_LOW, COST_SIGNAL, COST_HIGH, LOW_VOLTS = 1.0, 2.0, 3.0, 4.0, 5.0, 60.0
#: Ohms are read first while any of them is expected to tell a whole bit; after that they still have
#: the least cost. (At a quarter of a bit it took 14 readings to a class at .9, at one bit 3, in the
#: median of 24 drawn sets of the first demo: ``tests/bench/troubles.py``.)
WORTH = 1.0
#: What a reading has to be expected to tell in bits to be worth a probe (our guess).
LEAST_BITS = 0.03
#: Suspects that outcomes are said of, of all and of those that do not read as the likeliest does;
#: and the least chance of one.
COUNTED, SAID = 40, 1e-4
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
    best: list[NextReading] = []
    for n in np.argsort(-worth, kind="stable").tolist():
        if len(best) == count or bits[n] < LEAST_BITS:
            break
        outcomes = _outcomes(forecast, n)
        if len(outcomes) > 1:  # one that comes out in one way whatever is wrong tells nothing
            best.append(NextReading(left[n], float(bits[n]), outcomes))
    return tuple(best)


def _forecast(ranking: Ranking, left: Sequence[int]) -> _Forecast:
    """Return the figures under each suspect that counts, given what was read."""
    expected, chance = ranking.expected, ranking.chance.copy()
    chance[0] = min(chance[0], chance[1:].max(initial=0.0))  # what is looked for is a trouble
    chance /= chance.sum()
    order = np.nonzero(chance > LEAST)[0]
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
    places: dict[str, list[int]] = {}
    for n, key in enumerate(forecast.keys):
        places.setdefault(key, []).append(n)
    pairs = [(a, b) for some in places.values() if len(some) > 1 for a in some for b in some]
    first, second = np.array(pairs, np.int64).reshape(-1, 2).T
    whole = {key: float(forecast.chance[some].sum()) for key, some in places.items()}
    share = forecast.chance / np.array([whole[key] for key in forecast.keys])
    return np.array(
        [
            _bits_of(mean, deviation, forecast.chance, share, first, second)
            for mean, deviation in zip(forecast.mean.T, forecast.deviation.T, strict=True)
        ]
    )


def _bits_of(
    mean: Floats, deviation: Floats, chance: Floats, share: Floats, first: Ints, second: Ints
) -> float:
    """Return the bits that one figure is expected to tell: its entropy, less that which is left
    where the trouble is known.

    ``mean``, ``deviation``, ``chance`` and the ``share`` of its trouble that each level has
    (suspects); ``first`` and ``second`` (pairs) are every two levels of one trouble. Suspects that
    the figure does not distinguish are put together: most show what the sound set does.
    """
    cell, count = _cells(mean, deviation)
    weight = np.bincount(cell, chance, count)
    center = np.bincount(cell, chance * mean, count) / weight
    square = np.bincount(cell, chance * (deviation**2 + mean**2), count) / weight
    width = np.sqrt(np.maximum(square - center**2, 1e-24))
    at = center[:, None] + width[:, None] * _NODES
    z = (at[:, :, None] - center) / width
    density = (np.exp(-0.5 * z**2) * (weight / width)).sum(-1)
    entropy = -float(weight @ (np.log(density) @ _SHARES))
    alone = np.log(width[cell]) + 0.5
    left = alone.copy()
    spread = np.unique(first[cell[first] != cell[second]])  # troubles that show in several ways
    if len(spread):
        within = np.isin(first, spread)
        a, b = first[within], second[within]
        z = (at[cell[a]] - center[cell[b], None]) / width[cell[b], None]
        density = np.zeros((len(mean), len(_NODES)))
        np.add.at(density, a, np.exp(-0.5 * z**2) * (share[b] / width[cell[b]])[:, None])
        left[spread] = -np.log(density[spread]) @ _SHARES
    return max(entropy - float(chance @ left), 0.0) / log(2)


def _cells(mean: Floats, deviation: Floats) -> tuple[Ints, int]:
    """Return a number (suspects) for what a figure shows under each suspect, the same where it
    shows as good as the same, and how many of these there are.
    """
    order = np.argsort(mean, kind="stable")
    m, d = mean[order], deviation[order]
    steps = np.floor(np.cumsum(np.diff(m, prepend=m[0]) / d) / CELL).astype(np.int64)
    sizes = np.round(np.log(d / d.min()) / log(WIDER)).astype(np.int64)
    cells = np.empty(len(mean), np.int64)
    _, cells[order] = np.unique(steps * (sizes.max() + 1) + sizes, return_inverse=True)
    return cells, int(cells.max()) + 1


def _outcomes(forecast: _Forecast, column: int) -> tuple[ReadingOutcome, ...]:
    """Return the ranges in which a figure may come out, where the suspects part."""
    mean, deviation = forecast.mean[:, column], forecast.deviation[:, column]
    order = np.argsort(-forecast.chance, kind="stable")
    first = order[0]
    far = np.abs(mean - mean[first]) > APART * np.maximum(deviation, deviation[first])
    likely = np.union1d(order[:COUNTED], order[far[order]][:COUNTED])
    likely = likely[forecast.chance[likely] > SAID]
    runs: list[list[int]] = []
    for n in likely[np.argsort(mean[likely], kind="stable")].tolist():
        last = runs[-1][-1] if runs else None
        if last is None or mean[n] - mean[last] > APART * max(deviation[n], deviation[last]):
            runs.append([])
        runs[-1].append(n)
    if len(runs) == 1:
        return _halves(forecast, runs[0], column)
    reading_outcomes = [_outcome(forecast, run, column) for run in runs]
    return tuple(sorted(reading_outcomes, key=lambda outcome: -outcome.chance))


def _halves(forecast: _Forecast, run: Sequence[int], column: int) -> tuple[ReadingOutcome, ...]:
    """Return what a figure means under and over the one value that tells most, where the suspects
    overlap so that no gap parts them; one outcome where no value tells ``LEAST_BITS``.
    """
    mean, deviation = forecast.mean[run, column], forecast.deviation[run, column]
    chance = forecast.chance[run] / forecast.chance[run].sum()
    keys = list(dict.fromkeys(forecast.keys[n] for n in run))
    member = np.array([[forecast.keys[n] == key for n in run] for key in keys], np.float64)
    at = np.unique(mean)
    at = np.concatenate([at, (at[1:] + at[:-1]) / 2])
    under = ndtr((at[:, None] - mean) / deviation) * chance  # (values, suspects)
    sides = np.stack([under, chance - under]) @ member.T  # (2, values, keys)
    told = _entropy(sides.sum(0)) - (sides.sum(2) * _entropy(sides)).sum(0)
    k = int(told.argmax())
    low, high = float((mean - 2 * deviation).min()), float((mean + 2 * deviation).max())
    whole = forecast.chance[run].sum()
    if told[k] < LEAST_BITS or not low < at[k] < high:
        return (_outcome(forecast, run, column),)
    return tuple(
        sorted(
            (
                ReadingOutcome(
                    *((low, float(at[k])) if side == 0 else (float(at[k]), high)),
                    float(whole * sides[side, k].sum()),
                    tuple(
                        (keys[n], float(whole * sides[side, k, n]))
                        for n in np.argsort(-sides[side, k], kind="stable").tolist()
                        if sides[side, k, n] > SAID
                    ),
                )
                for side in (0, 1)
            ),
            key=lambda outcome: -outcome.chance,
        )
    )


def _entropy(weights: Floats) -> Floats:
    """Return the bits (...) left in each row of ``weights`` (..., keys), whatever its sum."""
    shares = weights / np.maximum(weights.sum(-1, keepdims=True), 1e-300)
    bits: Floats = entr(shares).sum(-1) / log(2)
    return bits


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
