"""Densities of the ranking against scipy.stats and scipy.special."""

from __future__ import annotations

import numpy as np
from scipy.special import fdtrc, logsumexp, ndtr
from scipy.stats import entropy, multivariate_t

from rework.faultfinding.densities import bits, fisher_tail, log_sum_exp, normal_below, student


def test_students_density_is_that_of_scipy():
    shape = np.array([[2.0, 0.3], [0.3, 0.5]])
    at = np.array([0.7, -1.1])
    square = np.array([at @ np.linalg.solve(shape, at)])
    size = np.array([np.linalg.slogdet(shape)[1]])
    assert np.allclose(student(square, size, 2, 20), multivariate_t(shape=shape, df=20).logpdf(at))


def test_the_tail_of_fishers_ratio_is_that_of_scipy():
    freedom, ratio = np.meshgrid(np.arange(1.0, 80.0), np.logspace(-2, 2, 40))
    assert np.abs(fisher_tail(ratio, freedom, 20) - fdtrc(freedom, 20, ratio)).max() < 1e-12


def test_a_normal_share_is_good_to_a_ten_millionth():
    z = np.linspace(-8, 8, 1001)
    assert np.abs(normal_below(z) - ndtr(z)).max() < 1e-7


def test_sums_of_exponentials_and_bits():
    rows = np.array([[-800.0, -801.0], [3.0, -np.inf], [-np.inf, -np.inf]])
    assert np.allclose(log_sum_exp(rows[:2], axis=1), logsumexp(rows[:2], axis=1))
    assert log_sum_exp(rows, axis=1)[2] == -np.inf
    assert np.isclose(bits(np.array([0.25, 0.75, 0.0])).sum(), entropy([0.25, 0.75], base=2))
