"""Rectifiers with a capacitor behind a resistance, worked out for many at once: the coarse sieve
before the exact solution.

An ideal diode, a resistance and a capacitor with a resistive load, integrated to the state that
repeats on a net of the two numbers that matter: w R C, and the source resistance as a share of the
load. O. H. Schade plotted readings of the same two numbers in Proc. IRE 31 (1943); his curves were
not seen, and nothing here is read off them. Between the points of the net the logarithms are
interpolated. A choke input that never runs dry gives 0.9 of the RMS volts less drops (textbook).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import pi, sqrt
from typing import Any

#: The net: w R C with w of the line, and source over load resistance.
WRC, SHARE = (0.5, 3000.0, 25), (3e-4, 3.0, 25)
#: Steps in one stretch between two charges.
STEPS = 720


@dataclass(frozen=True, eq=False)
class Net:
    """Four readings on the net: DC volts over peak, RMS ripple over DC, RMS and peak current of one
    diode over its mean.
    """

    wrc: Any
    share: Any
    readings: Any

    def at(self, wrc, share):
        """Return the readings (4, ...) at arrays of the two numbers; beyond the net its edge
        stands.
        """
        import numpy as np

        def place(values, axis):
            at = np.clip(
                (np.log(values) - np.log(axis[0])) / (np.log(axis[1]) - np.log(axis[0])),
                0,
                len(axis) - 1 - 1e-9,
            )
            return at.astype(int), at - at.astype(int)

        (i, s), (j, t) = place(wrc, self.wrc), place(share, self.share)
        log = self.readings
        mixed = (
            (1 - s) * (1 - t) * log[:, i, j]
            + s * (1 - t) * log[:, i + 1, j]
            + (1 - s) * t * log[:, i, j + 1]
            + s * t * log[:, i + 1, j + 1]
        )
        return np.exp(mixed)


@cache
def net(pulses: int) -> Net:
    """Return the net for one charge a line period (half-wave) or two (full-wave)."""
    import numpy as np

    wrc, share = np.geomspace(*WRC), np.geomspace(*SHARE)
    x, r = (grid.ravel() for grid in np.meshgrid(wrc, share, indexing="ij"))
    return Net(wrc, share, np.log(readings(x, r, pulses)).reshape(4, len(wrc), len(share)))


def readings(wrc, share, pulses: int):
    """Return the four readings of ``Net`` for arrays of w R C and source over load resistance, by
    integration to the repeating state.

    In units of the peak: d v / d(wt) = (max(s - v, 0)/share - v)/wrc with s the rectified sine;
    each step takes its exact exponential at the sine's middle, and the start is found by the secant
    on the whole stretch.
    """
    import numpy as np

    wrc, share = np.asarray(wrc, float), np.asarray(share, float)
    width = 2 * pi / pulses / STEPS
    middles = (np.arange(STEPS) + 0.5) * width
    waves = np.abs(np.sin(middles)) if pulses == 2 else np.sin(middles)
    fed, free = np.exp(-width * (1 / share + 1) / wrc), np.exp(-width / wrc)

    def stretch(v, sums=None):
        for s in waves:
            level = s / (1 + share)
            on = s > v
            after = np.where(on, level + (v - level) * fed, v * free)
            if sums is not None:
                mean = 0.5 * (v + after)
                amps = np.where(on, np.maximum(s - mean, 0.0) / share, 0.0)
                for total, add in zip(sums[:3], (mean, mean * mean, amps * amps), strict=True):
                    total += add / STEPS
                np.maximum(sums[3], amps, out=sums[3])
            v = after
        return v

    one = 1 / (1 + 2 * np.sqrt(share))
    other = 0.7 * one
    f_one, f_other = stretch(one) - one, stretch(other) - other
    for _ in range(8):
        slope = np.where(
            np.abs(f_one - f_other) > 1e-15,
            (f_one - f_other) / np.where(one == other, 1.0, one - other),
            -1.0,
        )
        new = np.clip(one - f_one / np.where(np.abs(slope) < 1e-12, -1.0, slope), 0.0, 1.0)
        other, f_other = one, f_one
        one, f_one = new, stretch(new) - new
        if np.abs(f_one).max() < 1e-9:
            break
    sums = [np.zeros_like(wrc * share) for _ in range(4)]
    stretch(one, sums)
    mean, square, amps_square, peak = sums
    each = mean / pulses  # mean amps of one diode, in units of peak over load ohms
    return np.stack(
        [
            mean,
            np.sqrt(np.maximum(square - mean * mean, 1e-18)) / mean,
            np.sqrt(amps_square / pulses) / each,
            peak / each,
        ]
    )


@dataclass(frozen=True, eq=False)
class Fed:
    """What capacitor inputs give, arrays: volts on the first capacitor, amps drawn, RMS ripple
    volts, and RMS and peak amps of one diode.
    """

    volts: Any
    amps: Any
    ripple: Any
    rms: Any
    peak: Any


def capacitor_input(
    peak, ohms, perveance, farads, series, hertz: float, amps_at, pulses: int
) -> Fed:
    """Return capacitor inputs, all arrays alike: ``peak`` volts behind diode drops, ``ohms`` of the
    source, 3/2-power ``perveance`` of a tube (0 none).

    ``series`` ohms stand between the first capacitor and the load, which draws ``amps_at(volts)``.
    A tube counts as the resistance it has at seven tenths of its peak amps (a mean of its curve
    over the charge; exact comes later).
    """
    import numpy as np

    found = net(pulses)
    tube = np.zeros_like(peak)
    volts = 0.8 * peak
    for _ in range(14):
        amps = np.maximum(amps_at(np.maximum(volts - amps_at(volts) * series, 1.0)), 1e-5)
        load = np.maximum(volts, 1.0) / amps
        dc, ripple, rms, top = found.at(
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


def choke_input(rms, drop, ohms, perveance, amps_at) -> Any:
    """Return the volts behind a full-wave choke input that never runs dry: 0.9 of the RMS volts
    less ``drop``, tube, and ``ohms`` in the way.
    """
    import numpy as np

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


def critical_henries(ohms, hertz: float):
    """Return the least inductance that keeps a full-wave choke input from running dry: R/(3 w), w
    of the line.

    R/1130 at 60 Hz and R/950 at 50 Hz as textbooks round it (Kishore, Electronic Devices and
    Circuits, Ex. 3.5, p. 164).
    """
    return ohms / (3 * 2 * pi * hertz)


def choke_ripple(rms):
    """Return the RMS volts at twice the line's frequency that a full-wave rectifier hands a choke:
    4/(3 pi) of the peak, over root 2.
    """
    return 4 / (3 * pi) * rms


def after_filter(ripple, hertz: float, henries, ohms, farads):
    """Return what a section of series ``henries`` and ``ohms`` and a capacitor across leaves of a
    ripple at ``hertz``.
    """
    import numpy as np

    w = 2 * pi * hertz
    shunt = 1 / (w * farads)
    return ripple * shunt / np.hypot(ohms, w * henries - shunt)
