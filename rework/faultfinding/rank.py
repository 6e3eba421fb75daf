"""How likely each trouble is, given what was read: a heavy-tailed likelihood over the whole list.

Readings share their tolerances, so they are held against the full covariance of each suspect, under
Student's distribution in as many dimensions (nu = 6): a model that is a little wrong then costs a
suspect little. Any one reading may be a slip of the pen or of the hand; that is one more way in
which each suspect can have made what was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, pi

import numpy as np
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.spatial.distance import squareform
from scipy.special import gammaln, logsumexp
from scipy.stats import f as f_distribution

from rework.faultfinding.expect import Expected
from rework.language.bench import Quantity
from rework.solve.arrays import Bools, Floats, Ints

#: Degrees of freedom of the likelihood.
NU = 6.0
#: How often a reading is a slip, and of how many decades (natural logarithm) a slip may then be
#: (our guess).
SLIP, DECADES = 0.02, log(1e5)
#: Under this chance of a misfit as large as that of the best suspect, nothing on the list explains
#: the readings.
MISFIT = 0.01
#: Two suspects whose readings differ by less than this squared distance are one class.
ALIKE = 9.0
#: Suspects that are put into classes at most, and the least likelihood of one that is.
CLASSED, LEAST = 48, 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class LikelihoodFit:
    """How well every suspect explains the readings.

    ``log_likelihood`` (suspects); ``odd`` (suspects, readings) the chance under each that one
    reading is a slip; ``misfit`` (suspects) the chance of a misfit as large, with the likeliest
    slip left out, and ``deviations`` (suspects, readings) how far each reading is off, in standard
    deviations.
    """

    log_likelihood: Floats
    odd: Floats
    misfit: Floats
    deviations: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Weighing:
    """What a set of readings is held against: for every suspect its ``mean`` (suspects, k), the
    ``precision`` (suspects, k, k) of the readings, the logarithm ``size`` (suspects) of the
    determinant of their covariance, and their ``spread`` (suspects, k), one standard deviation.
    """

    mean: Floats
    precision: Floats
    size: Floats
    spread: Floats


def weighing(mean: Floats, covariance: Floats) -> Weighing:
    """Return what readings of a ``mean`` (suspects, k) and ``covariance`` (suspects, k, k) are held
    against.
    """
    spread = np.sqrt(np.einsum("hjj->hj", covariance))
    size = np.asarray(np.linalg.slogdet(covariance)[1], np.float64)
    return Weighing(mean, np.asarray(np.linalg.inv(covariance), np.float64), size, spread)


def fit(against: Weighing, read: Floats, slip_density: Floats) -> LikelihoodFit:
    """Return how well suspects explain what was ``read`` (k); ``slip_density`` (k) is the logarithm
    of the density of a slip.
    """
    count, k = against.mean.shape
    if k == 0:
        none = np.zeros((count, 0))
        return LikelihoodFit(np.zeros(count), none, np.ones(count), none)
    residual, size = read - against.mean, against.size
    weighed = np.einsum("hjk,hk->hj", against.precision, residual)
    square = np.maximum(np.einsum("hj,hj->h", residual, weighed), 0.0)
    diagonal = np.einsum("hjj->hj", against.precision)
    whole = k * log(1 - SLIP) + _student(square, size, k)
    without = np.maximum(square[:, None] - weighed**2 / diagonal, 0.0)
    rest = _student(without, size[:, None] + np.log(diagonal), k - 1)
    slipped = (k - 1) * log(1 - SLIP) + log(SLIP) + slip_density + rest
    total = logsumexp(np.column_stack([whole, slipped]), axis=1)
    odd = np.exp(slipped - total[:, None])
    left_out = odd.max(1) > 0.5
    least = np.where(left_out, without[np.arange(count), odd.argmax(1)], square)
    freedom = np.where(left_out, k - 1, k)
    misfit = np.where(
        freedom > 0,
        f_distribution.sf(least / np.maximum(freedom, 1), np.maximum(freedom, 1), NU),
        1.0,
    )
    return LikelihoodFit(total, odd, misfit, residual / against.spread)


def _student(square: Floats, size: Floats, k: int) -> Floats:
    """Return the logarithm of Student's density in k dimensions at a squared distance, ``size`` the
    logarithm of the determinant.
    """
    constant = gammaln((NU + k) / 2) - gammaln(NU / 2) - 0.5 * k * log(NU * pi)
    density: Floats = constant - 0.5 * size - 0.5 * (NU + k) * np.log1p(square / NU)
    return density


def slip_densities(expected: Expected, columns: Sequence[int], read: Floats) -> Floats:
    """Return the logarithm of the density of a slip at each reading: spread evenly over the
    decades, either sign.
    """
    direct = np.array([expected.figures[n].of is Quantity.DC for n in columns], bool)
    volts = np.log(2 * DECADES * (np.abs(read) + 0.1))
    densities: Floats = -np.where(direct, volts, log(DECADES))
    return densities


@dataclass(frozen=True, slots=True, eq=False)
class TroubleClass:
    """Troubles that no reading taken can tell apart.

    ``members`` are the keys of the troubles with the chance of each, the likeliest first;
    ``suspect`` is the place of the likeliest in the list.
    """

    members: tuple[tuple[str, float], ...]
    suspect: int

    @property
    def chance(self) -> float:
        """The chance that it is one of these."""
        return sum(chance for _, chance in self.members)


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """What explains the readings.

    ``chance`` (suspects); ``groups`` the likeliest first; ``odd`` (readings) the chance that each
    is a slip; ``misfit`` the chance of one as large as that of the best suspect; ``fit`` how every
    suspect does. ``columns`` are the figures that were read and ``read`` (readings) what they were,
    on the scale of each.
    """

    expected: Expected
    columns: tuple[int, ...]
    read: Floats
    chance: Floats
    groups: tuple[TroubleClass, ...]
    odd: Floats
    misfit: float
    fit: LikelihoodFit

    @property
    def is_explained(self) -> bool:
        """Whether something on the list explains the readings."""
        return self.misfit >= MISFIT

    @property
    def again(self) -> int | None:
        """The reading that fits nothing: the place of it among those taken."""
        worst = int(self.odd.argmax()) if len(self.odd) else 0
        return worst if len(self.odd) and self.odd[worst] > 0.5 else None

    @property
    def sound(self) -> float:
        """The chance that nothing is wrong."""
        return float(self.chance[0])


def ranking(
    expected: Expected,
    columns: Sequence[int],
    read: Sequence[float],
    *,
    signs: Floats | None = None,
    good: Bools | None = None,
    against: Weighing | None = None,
) -> Ranking:
    """Return how likely each suspect is after the readings of some figures.

    ``signs`` (suspects) is the likelihood of what was noticed, ``good`` says which suspects were
    proved not to be it. ``against`` is ``weighed`` of these columns, for whoever has many readings
    of them.
    """
    values = np.asarray(read, float)
    at = np.array(columns, np.int64)
    result = fit(
        against or weighed(expected, columns), values, slip_densities(expected, columns, values)
    )
    weights = np.log([suspect.weight for suspect in expected.suspects])
    score = weights + result.log_likelihood
    if signs is not None:
        score = score + np.log(np.maximum(signs, 1e-12))
    if good is not None:
        score = np.where(good, -np.inf, score)
    chance = np.exp(score - logsumexp(score))
    best = int(chance.argmax())
    return Ranking(
        expected,
        tuple(columns),
        values,
        chance,
        _groups(expected, at, chance),
        np.asarray(chance @ result.odd, np.float64),
        float(result.misfit[best]),
        result,
    )


def weighed(expected: Expected, columns: Sequence[int]) -> Weighing:
    """Return what readings of some figures are held against."""
    return weighing(expected.mean[:, list(columns)], expected.covariance(list(columns)))


def _groups(expected: Expected, at: Ints, chance: Floats) -> tuple[TroubleClass, ...]:
    """Return the troubles by the classes that the readings leave."""
    by_key: dict[str, list[int]] = {}
    for n, suspect in enumerate(expected.suspects):
        by_key.setdefault(suspect.trouble.key, []).append(n)
    total = {key: float(chance[places].sum()) for key, places in by_key.items()}
    keys = sorted(total, key=lambda key: -total[key])
    keys = [key for key in keys[:CLASSED] if total[key] > LEAST]
    best = [max(by_key[key], key=lambda n: chance[n]) for key in keys]
    labels = _classes(expected, at, best)
    groups: dict[int, list[int]] = {}
    for place, label in enumerate(labels):
        groups.setdefault(label, []).append(place)
    trouble_classes = [
        TroubleClass(tuple((keys[place], total[keys[place]]) for place in places), best[places[0]])
        for places in groups.values()
    ]
    return tuple(sorted(trouble_classes, key=lambda group: -group.chance))


def _classes(expected: Expected, at: Ints, places: Sequence[int]) -> list[int]:
    """Return the class of each suspect: complete linkage of those whose readings are alike."""
    if len(places) < 2 or not len(at):
        return list(range(len(places))) if len(at) else [0] * len(places)
    mean = expected.mean[np.array(places)[:, None], at]
    slopes = expected.slopes[np.array(places)[:, None], at]
    covariance = slopes @ np.swapaxes(slopes, 1, 2)
    single = np.arange(len(at))
    covariance[:, single, single] += expected.noise[np.array(places)[:, None], at]
    between = mean[:, None] - mean[None]
    both = (covariance[:, None] + covariance[None]) / 2
    square = np.einsum("hgk,hgk->hg", between, np.linalg.solve(both, between[..., None])[..., 0])
    square = np.maximum((square + square.T) / 2, 0.0)
    np.fill_diagonal(square, 0.0)
    tree = linkage(squareform(square, checks=False), "complete")
    return [int(label) for label in fcluster(tree, ALIKE, "distance")]
