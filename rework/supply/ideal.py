"""Rectifiers with a capacitor behind a resistance, computed for many at once: the coarse sieve
before the exact solution.

An ideal diode, a resistance and a capacitor with a resistive load, integrated to the state that
repeats on a net of the two numbers that matter: w R C, and the source resistance as a share of the
load. O. H. Schade plotted readings of the same two numbers in Proc. IRE 31 (1943); his curves were
not seen, and nothing here is read off them. Between the points of the net the logarithms are
interpolated. A choke input that never runs dry gives 0.9 of the RMS volts less drops (textbook).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from math import pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
#: The net: w R C with w of the line, and source over load resistance.
WRC, SHARE = (0.5, 3000.0, 25), (3e-4, 3.0, 25)
#: Steps in one stretch between two charges.
STEPS = 720


@dataclass(frozen=True, eq=False)
class IdealRectifier:
    """Four readings on the net: DC volts over peak, RMS ripple over DC, RMS and peak current of one
    diode over its mean.
    """

    wrc: Floats
    share: Floats
    readings: Floats

    def at(self, wrc: Floats, share: Floats) -> Floats:
        """Return the readings (4, ...) at arrays of the two numbers; beyond the net its edge
        stands.
        """

        def place(values: Floats, axis: Floats) -> tuple[NDArray[np.intp], Floats]:
            at = np.clip(
                (np.log(values) - np.log(axis[0])) / (np.log(axis[1]) - np.log(axis[0])),
                0,
                len(axis) - 1 - 1e-9,
            )
            low = at.astype(np.intp)
            return low, at - low

        (i, s), (j, t) = place(wrc, self.wrc), place(share, self.share)
        log = self.readings
        mixed = (
            (1 - s) * (1 - t) * log[:, i, j]
            + s * (1 - t) * log[:, i + 1, j]
            + (1 - s) * t * log[:, i, j + 1]
            + s * t * log[:, i + 1, j + 1]
        )
        return np.asarray(np.exp(mixed))


@cache
def net(pulses: int) -> IdealRectifier:
    """Return the net for one charge a line period (half-wave) or two (full-wave)."""
    wrc, share = np.geomspace(*WRC), np.geomspace(*SHARE)
    x, r = (grid.ravel() for grid in np.meshgrid(wrc, share, indexing="ij"))
    return IdealRectifier(
        wrc, share, np.log(readings(x, r, pulses)).reshape(4, len(wrc), len(share))
    )


def readings(wrc: ArrayLike, share: ArrayLike, pulses: int) -> Floats:
    """Return the four readings of ``Net`` for arrays of w R C and source over load resistance, by
    integration to the repeating state.

    In units of the peak: d v / d(wt) = (max(s - v, 0)/share - v)/wrc with s the rectified sine;
    each step takes its exact exponential at the sine's middle, and the start is found by the secant
    on the whole stretch.
    """
    number, ratio = np.asarray(wrc, float), np.asarray(share, float)
    cycle = _Cycle(number, ratio, pulses)
    start = cycle.repeating()
    mean, square, amps_square, peak = cycle.sums(start)
    each = mean / pulses  # mean amps of one diode, in units of peak over load ohms
    return np.stack(
        [
            mean,
            np.sqrt(np.maximum(square - mean * mean, 1e-18)) / mean,
            np.sqrt(amps_square / pulses) / each,
            peak / each,
        ]
    )


class _Cycle:
    """The stretch from one charge to the next, for arrays of w R C and source over load ohms."""

    def __init__(self, wrc: Floats, share: Floats, pulses: int) -> None:
        width = 2 * pi / pulses / STEPS
        middles = (np.arange(STEPS) + 0.5) * width
        self.share = share
        self.waves = np.abs(np.sin(middles)) if pulses == 2 else np.sin(middles)
        self.fed, self.free = np.exp(-width * (1 / share + 1) / wrc), np.exp(-width / wrc)

    def _after(self, v: Floats, s: float) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the volts after one step, and where the diode conducts in it."""
        level, on = s / (1 + self.share), s > v
        return np.where(on, level + (v - level) * self.fed, v * self.free), on

    def end(self, v: Floats) -> Floats:
        """Return the volts at the end of the stretch from those at its start."""
        for s in self.waves:
            v, _ = self._after(v, s)
        return v

    def sums(self, v: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Return mean and mean-square volts, mean-square amps and peak amps over the stretch."""
        mean, square, amps_square, peak = (np.zeros_like(self.fed * self.share) for _ in range(4))
        for s in self.waves:
            after, on = self._after(v, s)
            middle = 0.5 * (v + after)
            amps = np.where(on, np.maximum(s - middle, 0.0) / self.share, 0.0)
            mean += middle / STEPS
            square += middle * middle / STEPS
            amps_square += amps * amps / STEPS
            np.maximum(peak, amps, out=peak)
            v = after
        return mean, square, amps_square, peak

    def repeating(self) -> Floats:
        """Return the volts at the start that come back at the end, by the secant method."""
        here: Floats = 1 / (1 + 2 * np.sqrt(self.share))
        before = 0.7 * here
        miss, miss_before = self.end(here) - here, self.end(before) - before
        for _ in range(8):
            slope = np.where(
                np.abs(miss - miss_before) > 1e-15,
                (miss - miss_before) / np.where(here == before, 1.0, here - before),
                -1.0,
            )
            step = miss / np.where(np.abs(slope) < 1e-12, -1.0, slope)
            before, miss_before = here, miss
            here = np.clip(here - step, 0.0, 1.0)
            miss = self.end(here) - here
            if np.abs(miss).max() < 1e-9:
                break
        return here


@dataclass(frozen=True, eq=False)
class Fed:
    """What capacitor inputs give, arrays: volts on the first capacitor, amps drawn, RMS ripple
    volts, and RMS and peak amps of one diode.
    """

    volts: Floats
    amps: Floats
    ripple: Floats
    rms: Floats
    peak: Floats


#: Amps that a load draws at some volts.
AmpsAt = Callable[[Floats], Floats]


def capacitor_input(
    peak: Floats,
    ohms: Floats,
    perveance: Floats,
    farads: Floats,
    series: Floats,
    hertz: float,
    amps_at: AmpsAt,
    pulses: int,
) -> Fed:
    """Return capacitor inputs, all arrays alike: ``peak`` volts behind diode drops, ``ohms`` of the
    source, 3/2-power ``perveance`` of a tube (0 none).

    ``series`` ohms are between the first capacitor and the load, which draws ``amps_at(volts)``. A
    tube counts as the resistance it has at seven tenths of its peak amps (a mean of its curve over
    the charge; exact comes later).
    """
    ideal_rectifier = net(pulses)
    tube = np.zeros_like(peak)
    volts = 0.8 * peak
    for _ in range(14):
        amps = np.maximum(amps_at(np.maximum(volts - amps_at(volts) * series, 1.0)), 1e-5)
        load = np.maximum(volts, 1.0) / amps
        dc, ripple, rms, top = ideal_rectifier.at(
            2 * pi * hertz * load * farads, np.maximum((ohms + tube) / load, 1e-6)
        )
        highest = top * amps / pulses
        tube = (
            np.where(
                perveance > 0,
                (0.7 * highest / np.where(perveance > 0, perveance, 1.0)) ** (2 / 3)
                / np.maximum(0.7 * highest, 1e-9),
                0.0,
            )
            * 0.5
            + 0.5 * tube
        )
        volts = 0.5 * volts + 0.5 * peak * dc
    return Fed(volts, amps, ripple * volts, rms * amps / pulses, highest)


def choke_input(
    rms: Floats, drop: Floats, ohms: Floats, perveance: Floats, amps_at: AmpsAt
) -> Floats:
    """Return the volts behind a full-wave choke input that never runs dry: 0.9 of the RMS volts
    less ``drop``, tube, and ``ohms`` in the way.
    """
    volts = 0.8 * rms
    for _ in range(14):
        amps = amps_at(np.maximum(volts, 1.0))
        tube = np.where(
            perveance > 0, (amps / np.where(perveance > 0, perveance, 1.0)) ** (2 / 3), 0.0
        )
        volts = 0.5 * volts + 0.5 * np.maximum(
            2 * sqrt(2) / pi * rms - drop - tube - amps * ohms, 1.0
        )
    return volts


def critical_henries(ohms: Floats | float, hertz: float) -> Floats:
    """Return the least inductance that keeps a full-wave choke input from running dry: R/(3 w), w
    of the line.

    R/1130 at 60 Hz and R/950 at 50 Hz as textbooks round it (Kishore, Electronic Devices and
    Circuits, Ex. 3.5, p. 164).
    """
    return np.asarray(ohms / (3 * 2 * pi * hertz))


def choke_ripple(rms: Floats) -> Floats:
    """Return the RMS volts at twice the line's frequency that a full-wave rectifier hands a choke:
    4/(3 pi) of the peak, over root 2.
    """
    return 4 / (3 * pi) * rms


def after_filter(
    ripple: Floats | float,
    hertz: Floats | float,
    henries: Floats | float,
    ohms: Floats | float,
    farads: Floats | float,
) -> Floats:
    """Return what a section of series ``henries`` and ``ohms`` and a capacitor across leaves of a
    ripple at ``hertz``.
    """
    w = 2 * pi * hertz
    shunt = 1 / (w * farads)
    return np.asarray(ripple * shunt / np.hypot(ohms, w * henries - shunt))
