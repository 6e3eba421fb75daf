"""Large signals: a sine through the whole circuit in its steady state: watts, distortion and its
harmonics, the onset of clipping.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np

from rework.circuit.place import Problem
from rework.solve.arrays import Floats
from rework.solve.bias import Rest
from rework.solve.devices import Pentode, Triode
from rework.solve.network import CannotSolve
from rework.solve.periodic import Steady, steady_state

#: The tone that power and distortion are told at, hertz, and instants of a period of it.
TONE, INSTANTS = 1000.0, 64
#: Ohms of the generator at the input.
GENERATOR = 1.0
#: Clipping begins where distortion comes to a tenth or gain has fallen by 1 dB (common practice, no
#: source).
CLIPPING, COMPRESSED = 0.10, 10 ** (-1 / 20)
#: Harmonics that distortion is summed over, from the second.
HARMONICS = 11
#: Where a sine is not reached from its neighbour it is climbed to from rest, by these shares of it.
CLIMB = (0.15, 0.3, 0.45, 0.6, 0.7, 0.8, 0.9, 1.0)
#: So many steady states are kept to begin others from; between two whose volts are within this
#: ratio, on a straight line.
KNOWN, BETWEEN = 6, 1.5
#: Inputs of a sweep as shares of the one at the onset of clipping.
SWEEP = (0.05, 0.1, 0.2, 0.4, 0.7, 0.85, 1.0, 1.15, 1.35, 1.6)
#: The search for clipping begins where so many watts come out, by this factor, so often; the onset
#: is then told to one of so many steps of that factor.
FIRST_WATTS, FACTOR, TRIES, STEPS = 0.09, 1.4, 30, 64
#: Clipping of a circuit much like another is looked for by this factor, the interval halved so
#: often (0.4 % of the volts); its gain is taken at this share of the other's volts.
NEAR, NEAR_HALVINGS, SMALL = 1.07, 4, 0.05
#: Half the watts is met within this share, in so many tries.
HALF_SHARE, HALF_TRIES = 2e-3, 8


@dataclass(frozen=True, slots=True)
class Power:
    """A sine of 1 kHz at the speaker: RMS volts at the input and at the load, watts, total
    distortion as a share of the fundamental, and the shares of the 2nd, 3rd, ... harmonic.
    """

    input_volts: float
    load_volts: float
    watts: float
    distortion: float
    harmonics: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Orbit:
    """The plate of the output tube over one period at the onset of clipping: volts to its cathode
    and amps, the lowest and highest grid volts; where all rest.
    """

    part: str
    unit: str
    plate_volts: tuple[float, ...]
    plate_amps: tuple[float, ...]
    rest_volts: float
    rest_amps: float
    screen_volts: float | None
    grid_volts: float
    grid_swing: tuple[float, float]


class Driver:
    """A sine at the input, as large as is asked for; each steady state begins where the last one
    ended.
    """

    def __init__(
        self,
        rest: Rest,
        source: str,
        back: str,
        ends: tuple[str, str],
        load: float,
        scales: Floats | None = None,
    ) -> None:
        """``scales`` (devices) are on the currents of the tubes, where they are not as printed."""
        self.scales = scales
        self.rest, self.source, self.back, self.ends, self.load = rest, source, back, ends, load
        #: The last steady states by their peaks, the last one first; at rest there is none.
        self._known: tuple[tuple[float, Floats], ...] = ((0.0, rest.point),)

    def _steady(self, peak: float) -> Steady:
        network = self.rest.network
        into = np.zeros(network.n)
        for node, sign in ((self.source, 1.0), (self.back, -1.0)):
            if network.node_of[node] >= 0:
                into[network.node_of[node]] += sign / GENERATOR
        wave = np.sin(2 * pi * np.arange(INSTANTS) / INSTANTS)[:, None] * into

        def from_(x: Floats, share: float = 1.0) -> Steady:
            return steady_state(
                network,
                self.rest.source[None] + share * peak * wave,
                1 / TONE,
                start=x,
                scales=self.scales,
                laws=self.rest.laws,
            )

        try:
            steady = from_(self._near(peak))
        except CannotSolve:
            x = self.rest.point
            for share in CLIMB:
                steady = from_(x, share)
                x = steady.x
        self._known = ((peak, steady.x), *self._known)[:KNOWN]
        return steady

    def _near(self, peak: float) -> Floats:
        """Return about what a sine of ``peak`` volts makes: the last one, larger or smaller, or
        between those on both sides of it.
        """
        last, x = self._known[0]
        below = max((each for each in self._known if each[0] <= peak), key=_peak, default=None)
        above = min((each for each in self._known if each[0] > peak), key=_peak, default=None)
        if below and above and above[0] < BETWEEN * below[0]:
            share = (peak - below[0]) / (above[0] - below[0])
            return below[1] + share * (above[1] - below[1])
        near = peak / last if peak >= last / 3 > 0 else 0.0
        return self.rest.point + near * (x - self.rest.point)

    def at(self, peak: float) -> Power:
        """Return what comes out for a sine of ``peak`` volts."""
        wave = self.rest.network.between(self._steady(peak).x, *self.ends)
        wave = wave - wave.mean()
        size = np.abs(np.fft.rfft(wave))[1 : HARMONICS + 1]
        rms = float((wave**2).mean() ** 0.5)
        fundamental = max(float(size[0]), 1e-30)
        return Power(
            peak / 2**0.5,
            rms,
            rms * rms / self.load,
            float((size[1:] ** 2).sum() ** 0.5) / fundamental,
            tuple(float(f"{share:.4g}") for share in size[1:] / fundamental),
        )

    def full(self, gain: float) -> Power:
        """Return the sine at the onset of clipping. Raises CannotSolve where none is found."""
        peak = (2 * FIRST_WATTS * self.load) ** 0.5 / max(gain, 1e-9)
        before = after = before_past = after_past = 0.0
        power = full = None
        for _ in range(TRIES):
            power = self.at(peak)
            if (share := self._past(power, gain)) >= 0:
                after, after_past = peak, share
                peak /= FACTOR
            else:
                before, before_past, full = peak, share, power
                peak *= FACTOR
            if before and after:
                break
        if full is None or not after:
            raise CannotSolve(
                Problem(
                    "no clipping was found at the speaker",
                    hint="look whether the input reaches the output tube",
                )
            )
        low, high = 0, STEPS
        for count in range(STEPS):
            if high - low < 2:
                break
            # The next is where a straight line has the onset; every third is in the middle.
            share = before_past / (before_past - after_past) if count % 3 < 2 else 0.5
            step = min(max(round(low + (high - low) * share), low + 1), high - 1)
            power = self.at(before * FACTOR ** (step / STEPS))
            if (share := self._past(power, gain)) >= 0:
                high, after_past = step, share
            else:
                low, before_past, full = step, share, power
        return full

    def full_near(self, other: Power) -> Power:
        """Return the sine at the onset of clipping of a circuit that is much like the one that
        ``other`` is of: a few steady states instead of some fifteen. Its gain is taken where it is
        small. Raises CannotSolve where none is found.
        """
        peak = other.input_volts * 2**0.5
        small = self.at(SMALL * peak)
        gain = small.load_volts / small.input_volts
        low = high = 0.0
        for _ in range(TRIES):
            if self._past(self.at(peak), gain) >= 0:
                high, peak = peak, peak / NEAR
            else:
                low, peak = peak, peak * NEAR
            if low and high:
                break
        if not (low and high):
            raise CannotSolve(Problem("no clipping was found at the speaker"))
        for _ in range(NEAR_HALVINGS):
            middle = (low * high) ** 0.5
            clips = self._past(self.at(middle), gain) >= 0
            low, high = (low, middle) if clips else (middle, high)
        return self.at((low * high) ** 0.5)

    @staticmethod
    def _past(power: Power, gain: float) -> float:
        """Return by how much a sine is past the onset of clipping, as a share; under 0 before."""
        least = COMPRESSED * gain * power.input_volts
        return max(power.distortion / CLIPPING, least / max(power.load_volts, 1e-30)) - 1

    def half(self, full: Power) -> Power:
        """Return the sine at half the watts of ``full``."""
        peak, power = full.input_volts * 2**0.5, full
        for _ in range(HALF_TRIES):
            peak *= (full.watts / 2 / power.watts) ** 0.5
            power = self.at(peak)
            if abs(power.watts / (full.watts / 2) - 1) < HALF_SHARE:
                break
        return power

    def sweep(self, full: Power) -> tuple[Power, ...]:
        """Return the sines of ``SWEEP``, the smallest first."""
        return tuple(
            full if share == 1.0 else self.at(full.input_volts * 2**0.5 * share) for share in SWEEP
        )

    def orbit(self, full: Power) -> Orbit | None:
        """Return what the plate of the output tube goes through at ``full``, or None in a circuit
        without tubes.
        """
        network, laws = self.rest.network, self.rest.laws
        x = self._steady(full.input_volts * 2**0.5).x
        amps_at_rest, _ = network.device_entries(self.rest.point, laws=laws)
        tubes = [
            (float(amps_at_rest[row]), -row, device)
            for device, law, row in zip(network.ordered, laws, network.starts, strict=True)
            if isinstance(law, Triode | Pentode)
        ]
        if not tubes:
            return None
        _, place, device = max(tubes, key=lambda tube: tube[:2])
        plate, grid = -place, -place + device.law.controls - 1
        rest, moving = network.across(self.rest.point), network.across(x)
        amps, _ = network.device_entries(x, laws=laws)
        return Orbit(
            device.name,
            device.unit,
            tuple(map(_short, moving[:, plate])),
            tuple(map(_short, amps[:, plate])),
            _short(rest[plate]),
            _short(amps_at_rest[plate]),
            _short(rest[plate + 1]) if device.law.controls == 3 else None,
            _short(rest[grid]),
            (_short(moving[:, grid].min()), _short(moving[:, grid].max())),
        )


def _peak(known: tuple[float, Floats]) -> float:
    return known[0]


def _short(value: float) -> float:
    return float(f"{value:.5g}")
