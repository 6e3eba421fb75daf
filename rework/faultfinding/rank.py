"""How likely each trouble is, given what was read: a heavy-tailed likelihood over the whole list.

Readings share their tolerances, so they are held against the full covariance of each suspect, under
Student's distribution in as many dimensions (nu = 20): a model that is a little wrong then costs a
suspect little. Any one reading may be a slip of the pen or of the hand; that is one more way in
which each suspect can have made what was read. And something that is not on the list may be wrong:
it reads somewhere about what the list does, but several times as far off.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log, pi

import numpy as np
from scipy.special import fdtrc, gammaln, logsumexp

from rework.faultfinding.expect import Expected
from rework.faultfinding.trouble import TroubleKind
from rework.language.bench import Quantity
from rework.solve.arrays import Bools, Floats, Ints

#: Degrees of freedom of the likelihood.
NU = 20.0
#: How likely it is, before anything is read, that the trouble is not on the list; and how many
#: times as far off as a listed one it may then read (our guess).
UNLISTED, FURTHER = 0.1, (3.0, 10.0, 30.0, 100.0)
#: How often a reading is a slip, and of how many decades (natural logarithm) a slip may then be
#: (our guess).
SLIP, DECADES = 0.02, log(1e5)
#: Readings from which one can be seen to be a slip: the others have to agree without it.
AGREED = 4
#: The most that speaks for it, as the logarithm of its odds: the list keeps a millionth.
SUREST = log(1e6)
#: Under this chance of a misfit as large as that of the best suspect, what is said of the list goes
#: down in proportion: nothing on it explains the readings.
MISFIT = 0.001
#: Two suspects whose readings differ by less than this squared distance are one class.
ALIKE = 9.0
#: Troubles that are put into classes at most, and the least share of the chance of the list of one
#: that is.
CLASSED, LEAST = 400, 1e-4
#: Two suspects that are at most so far apart are the same to the readings; and pairs in one stack.
SAME, _PAIRS = 0.01 * ALIKE, 4000
#: A trouble is told, and not that the set is sound, where it is so many times as likely, and the
#: readings alone, whatever the weights, are so many times as likely under it: substantial and
#: strong evidence (Jeffreys, Theory of Probability, 1961, appendix B: from the root of ten and from
#: ten; from memory).
LIKELIER, STRONG = 10**0.5, 10.0


@dataclass(frozen=True, slots=True, eq=False)
class LikelihoodFit:
    """How well every suspect explains the readings.

    ``log_likelihood`` (suspects); ``odd`` (suspects, readings) the chance under each that one
    reading is a slip; ``misfit`` (suspects) the chance of a misfit as large, with the likeliest
    slip left out, and ``deviations`` (suspects, readings) how far each reading is off, in standard
    deviations. ``further`` (suspects) is the log likelihood of something near to each suspect that
    is not on the list.
    """

    log_likelihood: Floats
    further: Floats
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
        return LikelihoodFit(np.zeros(count), np.zeros(count), none, np.ones(count), none)
    residual, size = read - against.mean, against.size
    weighed = np.matmul(against.precision, residual[..., None])[..., 0]
    square = np.maximum(np.einsum("hj,hj->h", residual, weighed), 0.0)
    diagonal = np.einsum("hjj->hj", against.precision)
    slip = SLIP if k >= AGREED else 0.0
    whole = k * log(1 - slip) + _student(square, size, k)
    without = np.maximum(square[:, None] - weighed**2 / diagonal, 0.0)
    rest = _student(without, size[:, None] + np.log(diagonal), k - 1)
    with np.errstate(divide="ignore"):
        slipped = (k - 1) * log(1 - slip) + np.log(slip) + slip_density + rest
    total = logsumexp(np.column_stack([whole, slipped]), axis=1)
    odd = np.exp(slipped - total[:, None])
    left_out = odd.max(1) > 0.5
    least = np.where(left_out, without[np.arange(count), odd.argmax(1)], square)
    freedom = np.where(left_out, k - 1, k)
    misfit = np.where(
        freedom > 0,
        fdtrc(np.maximum(freedom, 1), NU, least / np.maximum(freedom, 1)),
        1.0,
    )
    further = _further(square, size, k)
    return LikelihoodFit(total, further, odd, misfit, residual / against.spread)


def _further(square: Floats, size: Floats, k: int) -> Floats:
    """Return the logarithm of the density (suspects) where everything is several times as far off,
    each number of times as likely as the others.
    """
    rows = [_student(square / times**2, size + 2 * k * log(times), k) for times in FURTHER]
    densities: Floats = logsumexp(np.array(rows), axis=0) - log(len(FURTHER))
    return densities


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
    """Troubles that no reading taken can distinguish.

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

    ``chance`` (suspects) and ``unlisted``, that of what is not on the list; ``groups`` the
    likeliest first; ``odd`` (readings) the chance that each is a slip; ``misfit`` the chance of one
    as large as that of the best suspect; ``fit`` how every suspect does. ``columns`` are the
    figures that were read and ``read`` (readings) what they were, on the scale of each.
    """

    expected: Expected
    columns: tuple[int, ...]
    read: Floats
    chance: Floats
    unlisted: float
    groups: tuple[TroubleClass, ...]
    odd: Floats
    misfit: float
    fit: LikelihoodFit

    @property
    def is_explained(self) -> bool:
        """Whether something on the list explains the readings."""
        return self.unlisted < max(self.groups[0].chance, 0.5)

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
    held = against or weighed(expected, columns)
    result = fit(held, values, slip_densities(expected, columns, values))
    weights = np.log([suspect.weight for suspect in expected.suspects])
    seen = result.log_likelihood
    shows = _shows(held)
    unseen = _is_open_capacitor(expected) & ~shows
    score = weights + np.where(unseen, np.minimum(seen, seen[0]), seen)
    unlisted = _not_on_the_list(weights, result, shows)
    if signs is not None:
        score = score + np.log(np.maximum(signs, 1e-12))
        unlisted += log(float(np.average(signs, weights=np.exp(weights))))
    if good is not None:
        score = np.where(good, -np.inf, score)
    # Of a few readings nobody can say that they are no listed trouble's, if one has them.
    most = SUREST if len(values) >= AGREED else log(UNLISTED / (1 - UNLISTED))
    unlisted = min(unlisted, float(logsumexp(score)) + most)
    total = float(np.logaddexp(logsumexp(score), unlisted))
    best = int(score.argmax())
    misfit = float(result.misfit[best])
    chance = np.exp(score - total) * min(1.0, misfit / MISFIT + exp(-SUREST))
    return Ranking(
        expected,
        tuple(columns),
        values,
        chance,
        max(1.0 - float(chance.sum()), 0.0),
        _groups(expected, at, chance, np.ones(len(chance)) if signs is None else signs),
        np.asarray(chance @ result.odd, np.float64),
        misfit,
        result,
    )


def _not_on_the_list(weights: Floats, result: LikelihoodFit, shows: Bools) -> float:
    """Return the logarithm of how likely the readings are, with its weight, where something is
    wrong that is not on the list: it shows in the readings taken as often as what is on it, and
    reads as a sound set does where it does not.
    """
    whole = float(logsumexp(weights[1:])) if len(weights) > 1 else -np.inf
    seen = weights[1:][shows[1:]]
    share = exp(float(logsumexp(seen)) - whole) if len(seen) else 0.0
    far = float(logsumexp(weights[1:] + result.further[1:])) if len(weights) > 1 else -np.inf
    near = whole + float(result.log_likelihood[0])
    mixed = np.logaddexp(near + log(max(1 - share, 1e-12)), far + log(max(share, 1e-12)))
    return float(mixed) + log(UNLISTED / (1 - UNLISTED))


def _shows(held: Weighing) -> Bools:
    """Return which suspects (suspects) the readings distinguish from the sound set."""
    off = held.mean - held.mean[0]
    shows: Bools = np.einsum("hj,jk,hk->h", off, held.precision[0], off) >= ALIKE
    return shows


def _is_open_capacitor(expected: Expected) -> Bools:
    """Return which suspects (suspects) are open capacitors: where the readings do not show one,
    what they read by chance speaks for none of them.
    """
    kinds = [suspect.trouble.kind for suspect in expected.suspects]
    return np.array([kind is TroubleKind.CAPACITOR_OPEN for kind in kinds], bool)


def weighed(expected: Expected, columns: Sequence[int]) -> Weighing:
    """Return what readings of some figures are held against."""
    return weighing(expected.mean[:, list(columns)], expected.covariance(list(columns)))


def _groups(
    expected: Expected, at: Ints, chance: Floats, signs: Floats
) -> tuple[TroubleClass, ...]:
    """Return the troubles by the classes that the readings leave, and what was noticed, of which
    ``signs`` (suspects) is the likelihood.
    """
    by_key: dict[str, list[int]] = {}
    for n, suspect in enumerate(expected.suspects):
        by_key.setdefault(suspect.trouble.key, []).append(n)
    total = {key: float(chance[places].sum()) for key, places in by_key.items()}
    weight = np.array([suspect.weight for suspect in expected.suspects])
    factor = {key: total[key] / float(weight[places].sum()) for key, places in by_key.items()}
    keys = sorted(total, key=lambda key: -total[key])
    least = LEAST * float(chance.sum())
    keys = [key for key in keys[:CLASSED] if total[key] > least]
    best = [max(by_key[key], key=lambda n: chance[n]) for key in keys]
    groups: dict[tuple[float, int], list[int]] = {}
    for sign in dict.fromkeys(signs[best].tolist()):
        places = [place for place, n in enumerate(best) if signs[n] == sign]
        labels = _classes(expected, at, [best[place] for place in places])
        for place, label in zip(places, labels, strict=True):
            groups.setdefault((sign, label), []).append(place)
    classes = list(groups.values())
    if 0 in best and signs[0] >= signs.max():
        nothing = best.index(0)
        weak = [k for k, key in enumerate(keys) if _is_weak(key, total, factor, keys[nothing])]
        classes = _with_sound(classes, nothing, weak)
    return tuple(
        TroubleClass(tuple((keys[k], total[keys[k]]) for k in places), best[places[0]])
        for places in sorted(classes, key=lambda places: -sum(total[keys[k]] for k in places))
    )


def _is_weak(key: str, total: Mapping[str, float], factor: Mapping[str, float], sound: str) -> bool:
    """Return whether the readings speak too weakly for a trouble to call the set not sound."""
    return total[key] <= LIKELIER * total[sound] or factor[key] <= STRONG * factor[sound]


def _with_sound(
    classes: Sequence[list[int]], nothing: int, weak: Collection[int]
) -> list[list[int]]:
    """Return the classes with the sound set, at place ``nothing`` of the list, first in its own
    where no trouble of it speaks against that, and with those likelier classes in it that do not
    either. Places in a class are in the order of their chances.
    """
    ((at, home),) = [(n, places) for n, places in enumerate(classes) if nothing in places]
    if home[0] != nothing and home[0] not in weak:
        return list(classes)
    ahead = [
        n
        for n, places in enumerate(classes)
        if n != at and places[0] in weak and places[0] < home[0]
    ]
    more = [k for n in ahead for k in classes[n]]
    merged = [nothing, *sorted(k for k in (*home, *more) if k != nothing)]
    return [merged, *(places for n, places in enumerate(classes) if n != at and n not in ahead)]


def _classes(expected: Expected, at: Ints, places: Sequence[int]) -> list[int]:
    """Return the class of each suspect: complete linkage of those whose readings are alike."""
    if len(places) < 2 or not len(at):
        return list(range(len(places))) if len(at) else [0] * len(places)
    mean = expected.mean[np.array(places)[:, None], at]
    slopes = expected.slopes[np.array(places)[:, None], at]
    covariance = slopes @ np.swapaxes(slopes, 1, 2)
    single = np.arange(len(at))
    covariance[:, single, single] += expected.noise[np.array(places)[:, None], at]
    square, most = _bounds(mean, covariance[:, single, single], expected.noise, places, at)
    first = _first_alike(most)
    kept = np.unique(first)
    if len(kept) < 2:
        return [0] * len(places)
    square = square[np.ix_(kept, kept)]
    near, far = np.nonzero(np.triu(square <= ALIKE, 1))
    for some in range(0, len(near), _PAIRS):
        a, b = near[some : some + _PAIRS], far[some : some + _PAIRS]
        off = mean[kept[a]] - mean[kept[b]]
        both = (covariance[kept[a]] + covariance[kept[b]]) / 2
        solved = np.linalg.solve(both, off[..., None])[..., 0]
        square[a, b] = square[b, a] = np.maximum((off * solved).sum(1), 0.0)
    labels = _linked(square)[np.searchsorted(kept, first)]
    return [int(label) for label in labels]


def _linked(square: Floats) -> Ints:
    """Return the class of each by complete linkage of squared distances (places, places): the two
    nearest classes become one while none of their members differ by more than ``ALIKE``.
    """
    apart = square.copy()
    np.fill_diagonal(apart, np.inf)
    label = np.arange(len(apart))
    while True:
        near, far = sorted(divmod(int(apart.argmin()), len(apart)))
        if apart[near, far] > ALIKE:
            return label
        apart[near] = apart[:, near] = np.maximum(apart[near], apart[far])
        apart[far] = apart[:, far] = apart[near, near] = np.inf
        label[label == label[far]] = label[near]


def _first_alike(most: Floats) -> Ints:
    """Return for each suspect (places) the first that is the same to the readings, or itself."""
    first = np.arange(len(most))
    for place in range(1, len(most)):
        same = np.nonzero((most[place, :place] <= SAME) & (first[:place] == np.arange(place)))[0]
        if len(same):
            first[place] = same[0]
    return first


def _bounds(
    mean: Floats, variance: Floats, noise: Floats, places: Sequence[int], at: Ints
) -> tuple[Floats, Floats]:
    """Return what the squared distance of every two suspects is at least and at most (places,
    places): that in any one reading, and that where the readings had no error in common.
    """
    least = np.zeros((len(places), len(places)))
    most = np.zeros_like(least)
    for k, column in enumerate(at.tolist()):
        off = (mean[:, k, None] - mean[:, k]) ** 2
        spread, single = variance[:, k], noise[places, column]
        np.maximum(least, 2 * off / (spread[:, None] + spread), out=least)
        most += 2 * off / (single[:, None] + single)
    return least, most
