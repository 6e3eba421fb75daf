"""Distributions that the ranking needs: few, so that scipy, which takes longer to load than a set
takes to solve, is not.
"""

from __future__ import annotations

from math import lgamma, log, pi

import numpy as np

from rework.solve.arrays import Floats


def log_sum_exp(values: Floats, axis: int | None = None) -> Floats:
    """Return the logarithm of the sum of the exponentials along an axis, or of all; minus infinity
    is nothing.
    """
    most = np.max(values, axis=axis, keepdims=True)
    most = np.where(np.isfinite(most), most, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.exp(values - most).sum(axis=axis, keepdims=True)) + most
    return np.asarray(total.sum(axis=axis), np.float64)


def student(square: Floats, size: Floats, k: int, nu: float) -> Floats:
    """Return the logarithm of Student's density in k dimensions with ``nu`` degrees of freedom at a
    squared distance, ``size`` the logarithm of the determinant of its matrix.
    """
    constant = lgamma((nu + k) / 2) - lgamma(nu / 2) - 0.5 * k * log(nu * pi)
    density: Floats = constant - 0.5 * size - 0.5 * (nu + k) * np.log1p(square / nu)
    return density


def fisher_tail(ratio: Floats, freedom: Floats, nu: int) -> Floats:
    """Return the chance of an F ratio as large, with ``freedom`` and an even number ``nu`` of
    degrees of freedom, to some 1e-13.

    An incomplete beta function with a whole parameter is a finite sum (Abramowitz and Stegun,
    Handbook of Mathematical Functions, 1964, 26.6.4).
    """
    below = nu / (nu + freedom * ratio)
    term = total = np.ones_like(below)
    for k in range(1, nu // 2):
        term = term * below * (freedom / 2 + k - 1) / k
        total = total + term
    return np.clip(1.0 - (1.0 - below) ** (freedom / 2) * total, 0.0, 1.0)


def normal_below(z: Floats) -> Floats:
    """Return the share of a normal distribution below z deviations, to 1e-7 (Abramowitz and Stegun,
    26.2.17).
    """
    t = 1 / (1 + 0.2316419 * np.abs(z))
    series = t * (
        0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    beyond = np.exp(-0.5 * z**2) / (2 * pi) ** 0.5 * series
    return np.asarray(np.where(z > 0, 1 - beyond, beyond), np.float64)


def bits(shares: Floats) -> Floats:
    """Return -p log2 p (...) of shares, nothing for none."""
    safe = np.where(shares > 0, shares, 1.0)
    return np.asarray(-safe * np.log2(safe), np.float64)
