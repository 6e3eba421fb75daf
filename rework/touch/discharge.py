"""Capacitors that discharge together through resistances: their volts in the course of time."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from rework.touch.network import Floats

#: Seconds at which volts are looked at; between them a fall is exponential.
_TIMES: Floats = np.concatenate([[0.0], np.geomspace(1e-4, 1e5, 1801)])
#: The least time constant that is told from nothing.
_LEAST_TAU = 1e-12


def course(
    volts: ArrayLike,
    farads: ArrayLike,
    ohms: ArrayLike,
    reads: ArrayLike | None = None,
    most_ohms: float = math.inf,
) -> Floats:
    """Return the volts at ``_TIMES``, (readings, times).

    Parameters
    ----------
    volts, farads
        Of every capacitor at the start, (capacitors).
    ohms
        The matrix of resistances seen from the capacitors, (capacitors, capacitors).
    reads
        What is read as sums of the capacitors' volts, (readings, capacitors): each capacitor where
        it is left out.
    most_ohms
        What discharges through more is not there: it stays charged.

    Notes
    -----
    From ``v = -R C dv/dt``: with ``C^1/2 R C^1/2 = Q T Q'``, ``v(t) = C^-1/2 Q exp(-t/T) Q' C^1/2
    v(0)``; one alone takes ``R C ln(V/V1)``.
    """
    start, root = np.asarray(volts, float), np.sqrt(np.asarray(farads, float))
    taus, modes = np.linalg.eigh(root[:, None] * np.asarray(ohms) * root)
    taus = np.maximum(taus, _LEAST_TAU)
    taus[taus > most_ohms * (modes**2 * root[:, None] ** 2).sum(axis=0)] = math.inf
    parts = (modes / root[:, None]) * (modes.T @ (root * start))
    if reads is not None:
        parts = np.asarray(reads, float) @ parts
    volts_at: Floats = parts @ np.exp(-_TIMES[None, :] / taus[:, None])
    return volts_at


def seconds_below(volts: Floats, down_to: float) -> float:
    """Return the seconds after which volts at ``_TIMES`` stay at no more than ``down_to``;
    infinite where they do not.
    """
    row = abs(volts)
    above = np.flatnonzero(row > down_to)
    last = int(above[-1]) if len(above) else -1
    if last + 1 == len(_TIMES):
        return math.inf
    if last < 1:
        return float(_TIMES[last + 1])
    share = math.log(row[last] / down_to) / math.log(row[last] / max(row[last + 1], 1e-30))
    return float(_TIMES[last] + share * (_TIMES[last + 1] - _TIMES[last]))


def seconds_to(volts: ArrayLike, farads: ArrayLike, ohms: ArrayLike, down_to: float) -> list[float]:
    """Return the seconds each capacitor takes to fall to ``down_to`` volts for good, all
    discharging together. Arguments as for ``course``.
    """
    return [seconds_below(row, down_to) for row in course(volts, farads, ohms)]
