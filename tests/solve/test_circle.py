"""Links around a period, held to one dense solution of all instants, whatever grows on the way."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg

from rework.solve.circle import around


def dense(linked, free):
    """Return the same from one matrix of all instants, by scipy."""
    instants, rank, _ = free.shape
    whole = np.eye(instants * rank)
    for k in range(instants):
        for back, weight in ((1, 2.0), (2, -0.5)):
            j = (k - back) % instants
            whole[k * rank : (k + 1) * rank, j * rank : (j + 1) * rank] -= weight * linked[k]
    return scipy.linalg.solve(whole, free.reshape(instants * rank, -1)).reshape(free.shape)


@pytest.mark.parametrize("instants", [1, 2, 3, 7, 64, 96])
@pytest.mark.parametrize("growth", [0.1, 0.9, 1.5, 4.0])
def test_what_grows_or_dies_around_the_circle_is_solved_to_all_its_digits(instants, growth):
    """A growth of 4 an instant is 10^58 a period of 96: a set that swings by itself."""
    draw = np.random.default_rng(instants)
    linked = draw.normal(size=(instants, 4, 4)) * growth / 4
    free = draw.normal(size=(instants, 4, 3))
    expected = dense(linked, free)
    assert around(linked, free) == pytest.approx(expected, rel=1e-8, abs=1e-9 * abs(expected).max())


def test_circuits_side_by_side_are_solved_each_by_itself():
    draw = np.random.default_rng(5)
    linked, free = draw.normal(size=(2, 12, 3, 3)), draw.normal(size=(2, 12, 3, 2))
    both = around(linked, free)
    for each, alone in enumerate(both):
        assert alone == pytest.approx(dense(linked[each], free[each]), rel=1e-8)


def test_without_storage_there_is_nothing_to_link():
    assert around(np.zeros((8, 0, 0)), np.zeros((8, 0, 2))).shape == (8, 0, 2)
