"""Large signals: a sine through the whole circuit in its steady state: watts, distortion and its
harmonics, the onset of clipping.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Any

from rework.circuit.place import Problem
from rework.solve.bias import Bias
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
#: Inputs of a sweep as shares of the one at the onset of clipping.
SWEEP = (0.05, 0.1, 0.2, 0.4, 0.7, 0.85, 1.0, 1.15, 1.35, 1.6)


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
        self, found: Bias, source: str, back: str, ends: tuple[str, str], load: float
    ) -> None:
        self.found, self.source, self.back, self.ends, self.load = found, source, back, ends, load
        self._x, self._peak = found.point, 0.0

    def _steady(self, peak: float) -> Steady:
        import numpy as np

        network = self.found.network
        start = self.found.point if peak < self._peak / 3 else self._x
        into = np.zeros(network.n)
        for node, sign in ((self.source, 1.0), (self.back, -1.0)):
            if network.node_of[node] >= 0:
                into[network.node_of[node]] += sign / GENERATOR
        wave = np.sin(2 * pi * np.arange(INSTANTS) / INSTANTS)[:, None] * into

        def from_(x, share: float = 1.0) -> Steady:
            return steady_state(
                network,
                self.found.source[None] + share * peak * wave,
                1 / TONE,
                start=x,
                laws=self.found.laws,
            )

        try:
            steady = from_(start)
        except CannotSolve:
            x = self.found.point
            for share in CLIMB:
                steady = from_(x, share)
                x = steady.x
        self._x, self._peak = steady.x, peak
        return steady

    def at(self, peak: float) -> Power:
        """Return what comes out for a sine of ``peak`` volts."""
        import numpy as np

        network, steady = self.found.network, self._steady(peak)
        wave = network.volts(steady.x, self.ends[0]) - network.volts(steady.x, self.ends[1])
        wave = wave - wave.mean()
        size = np.abs(np.fft.rfft(wave))[1 : HARMONICS + 1]
        rms = float((wave**2).mean() ** 0.5)
        shares = tuple(float(f"{share:.4g}") for share in size[1:] / max(size[0], 1e-30))
        return Power(
            peak / 2**0.5,
            rms,
            rms * rms / self.load,
            float((size[1:] ** 2).sum() ** 0.5 / max(size[0], 1e-30)),
            shares,
        )

    def full(self, gain: float) -> Power:
        """Return the sine at the onset of clipping. Raises CannotSolve where none is found."""

        def clipped(one: Power) -> bool:
            return (
                one.distortion >= CLIPPING or one.load_volts < COMPRESSED * gain * one.input_volts
            )

        peak = 0.3 * 2**0.5 * self.load**0.5 / max(gain, 1e-9)
        low = high = None
        for _ in range(30):
            if clipped(self.at(peak)):
                high = peak
                peak /= 1.4
            else:
                low = peak
                peak *= 1.4
            if low and high:
                break
        if not (low and high):
            raise CannotSolve(
                Problem(
                    "no clipping was found at the speaker",
                    hint="look whether the input reaches the output tube",
                )
            )
        for _ in range(6):
            middle = (low * high) ** 0.5
            low, high = (low, middle) if clipped(self.at(middle)) else (middle, high)
        return self.at(low)

    def half(self, full: Power) -> Power:
        """Return the sine at half the watts of ``full``."""
        peak, found = full.input_volts * 2**0.5, full
        for _ in range(8):
            peak *= (full.watts / 2 / found.watts) ** 0.5
            found = self.at(peak)
            if abs(found.watts / (full.watts / 2) - 1) < 2e-3:
                break
        return found

    def sweep(self, full: Power) -> tuple[Power, ...]:
        """Return the sines of ``SWEEP``, the smallest first."""
        return tuple(
            full if share == 1.0 else self.at(full.input_volts * 2**0.5 * share) for share in SWEEP
        )

    def orbit(self, full: Power) -> Orbit | None:
        """Return what the plate of the output tube goes through at ``full``, or None in a circuit
        without tubes.
        """
        import numpy as np

        network, x = self.found.network, self._steady(full.input_volts * 2**0.5).x
        rest, moving = self.found.point @ network.reads.T, x @ network.reads.T
        amps_at_rest, amps = (
            network.device_currents(at, laws=self.found.laws)[0] for at in (self.found.point, x)
        )
        best, row = None, 0
        for device, law in zip(network.ordered, self.found.laws, strict=True):
            if isinstance(law, Triode | Pentode) and (
                best is None or amps_at_rest[row] > amps_at_rest[best[1]]
            ):
                best = (device, row)
            row += law.controls
        if best is None:
            return None
        device, row = best
        short: Any = lambda values: tuple(float(f"{value:.5g}") for value in np.atleast_1d(values))
        grid = moving[:, row + len(device.from_) - 1]
        return Orbit(
            device.name,
            device.unit,
            short(moving[:, row]),
            short(amps[:, row]),
            *short(rest[row]),
            *short(amps_at_rest[row]),
            *(short(rest[row + 1]) if len(device.from_) == 3 else (None,)),
            *short(rest[row + len(device.from_) - 1]),
            short((grid.min(), grid.max())),
        )
