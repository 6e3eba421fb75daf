"""Two troubles at once: tried where no single one explains what was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rework.circuit.edits import EditError
from rework.faultfinding.case import Case, solved_cases
from rework.faultfinding.expect import Expected, Suspect
from rework.faultfinding.figures import shown
from rework.faultfinding.rank import LikelihoodFit, Ranking, fit, slip_densities, weighing
from rework.faultfinding.trouble import SingleTrouble
from rework.solve.arrays import Floats, Ints

#: Pairs that are solved exactly, and suspects that a first pass by superposition is made of.
SOLVED, FIRST = 16, 120
#: Pairs in one stack of that pass.
_STACK = 4000


@dataclass(frozen=True, slots=True)
class Pair:
    """Two troubles that together explain the readings: their keys, their chance among the pairs
    that were solved, and the chance of a misfit as large.
    """

    keys: tuple[str, str]
    chance: float
    misfit: float


def pairs(ranking: Ranking, *, line: float | None = None) -> tuple[Pair, ...]:
    """Return the likeliest pairs of troubles, each solved as one circuit.

    A first pass over all pairs adds the changes of both to the sound set, which is right where they
    do not meet; the best are then solved. ``line`` is the RMS volts read at the outlet.
    """
    if not ranking.columns:
        return ()
    solved = []
    for first, second in _first(ranking):
        case = _together(ranking.expected, first, second, line)
        if case is not None:
            solved.append((first, second, case))
    if not solved:
        return ()
    expected = ranking.expected
    figures = [expected.figures[n] for n in ranking.columns]
    readings = [shown(case, figures, line_read=line is not None) for _, _, case in solved]
    mean = np.array([read.mean for read in readings])
    covariance = np.array([read.slopes @ read.slopes.T + np.diag(read.noise) for read in readings])
    levels = np.array(
        [
            expected.slopes[n][list(ranking.columns), -1:]
            @ expected.slopes[n][list(ranking.columns), -1:].T
            for pair in solved
            for n in pair[:2]
        ]
    ).reshape(len(solved), 2, len(figures), len(figures))
    result = _held(ranking, mean, covariance + levels.sum(1))
    score = result.log_likelihood + [
        np.log(_weight(expected, first) * _weight(expected, second)) for first, second, _ in solved
    ]
    chance = np.exp(score - score.max())
    chance /= chance.sum()
    order = np.argsort(-chance, kind="stable").tolist()
    by_pair: dict[tuple[str, str], Pair] = {}
    for n in order:
        first, second, _ = solved[n]
        keys = (expected.suspects[first].trouble.key, expected.suspects[second].trouble.key)
        by_pair.setdefault(keys, Pair(keys, float(chance[n]), float(result.misfit[n])))
    return tuple(by_pair.values())


def _weight(expected: Expected, n: int) -> float:
    return expected.suspects[n].weight


def _held(ranking: Ranking, mean: Floats, covariance: Floats) -> LikelihoodFit:
    density = slip_densities(ranking.expected, ranking.columns, ranking.read)
    return fit(weighing(mean, covariance), ranking.read, density)


def _first(ranking: Ranking) -> Sequence[tuple[int, int]]:
    """Return the pairs that explain the readings best where their changes add up."""
    expected, columns = ranking.expected, list(ranking.columns)
    mean, weight = expected.mean[:, columns], [s.weight for s in expected.suspects]
    covariance = expected.covariance(columns)
    near = np.argsort(-_nearness(ranking), kind="stable")
    near = near[near > 0][:FIRST]
    first, second = np.triu_indices(len(near), 1)
    first, second = near[first], near[second]
    parts = [s.trouble.part for s in expected.suspects]
    apart = np.array([parts[a] != parts[b] for a, b in zip(first, second, strict=True)], bool)
    first, second = first[apart], second[apart]
    scores = [
        _held(
            ranking,
            mean[a] + mean[b] - mean[0],
            (covariance[a] + covariance[b]) / 2,
        ).log_likelihood
        for a, b in _stacks(first, second)
    ]
    score = np.concatenate(scores) if scores else np.zeros(0)
    logs = np.log(weight)
    score = score + logs[first] + logs[second]
    best = np.argsort(-score, kind="stable")[:SOLVED]
    return [(int(first[n]), int(second[n])) for n in best]


def _stacks(first: Ints, second: Ints) -> Sequence[tuple[Ints, Ints]]:
    return [
        (first[start : start + _STACK], second[start : start + _STACK])
        for start in range(0, len(first), _STACK)
    ]


def _nearness(ranking: Ranking) -> Floats:
    """Return how much of what is odd about the readings each suspect explains (suspects): the most
    that any reading comes nearer by, against the sound set.
    """
    off = np.abs(ranking.fit.deviations)
    gained: Floats = (np.minimum(off[0], 30.0) - np.minimum(off, 30.0)).clip(min=0.0).sum(1)
    return gained


def _together(expected: Expected, near: int, far: int, line: float | None) -> Case | None:
    """Return the circuit with both troubles solved; None where it cannot be made or solved."""
    first, second = expected.suspects[near], expected.suspects[far]
    if second.trouble.step >= 0 or not second.trouble.actions:
        first, second = second, first
    if second.trouble.step >= 0:
        return None
    try:
        circuit = second.trouble.made(first.circuit)
    except EditError:
        return None
    both = _both(first, second)
    (case,) = solved_cases([(both, circuit)], line=line, sound=expected.cases[0])
    return case if isinstance(case, Case) else None


def _both(first: Suspect, second: Suspect) -> SingleTrouble:
    """Return one trouble of two, for the probes and laws of both."""
    return replace(first.trouble, laws=(*first.trouble.laws, *second.trouble.laws))
