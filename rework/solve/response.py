"""Gain from the input to the speaker, its response, and what comes to the speaker unasked: the
output impedance and the hum of the supply.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import log10

import numpy as np

from rework.solve.arrays import Complexes, Floats
from rework.solve.bias import Bias
from rework.solve.linear import Linear
from rework.solve.places import SignalPath
from rework.solve.power import GENERATOR, TONE, Power
from rework.solve.stability import Mode

#: Hertz of a response: 10 Hz to 100 kHz.
FREQUENCIES = tuple(10 ** (1 + 4 * k / 80) for k in range(81))
#: Every so many instants of the hum are kept as its wave.
EVERY = 4
#: Hum below this is none, volts.
NO_HUM = 1e-12


@dataclass(frozen=True, slots=True)
class Response:
    """Gain from input to speaker at FREQUENCIES with one control in one position and the others
    where they are loudest, or where they were asked for.

    ``low`` and ``high`` are the 3 dB points against 1 kHz in hertz, None beyond 10 Hz to 100 kHz.
    ``grows`` is the motion that grows in that position, None where all die away.
    """

    control: str
    position: str
    gain: tuple[float, ...]
    at_tone: float
    low: float | None
    high: float | None
    grows: Mode | None = None


@dataclass(frozen=True, slots=True)
class Hum:
    """Hum at the speaker from the supply, input shorted: RMS volts, the parts at the line's
    frequency and at twice that, and dB below clipping.

    ``wave`` is one line period of it in volts. Leakage from heater to cathode is not in it, since
    no sheet prints it: ``leak_ohms`` are the volts at the speaker for each amp of it, at the line's
    frequency, into the cathode of ``leak_part``, the tube that minds it most (None where every
    cathode sits on common, or the line is direct current).
    """

    volts: float
    line_volts: float
    double_volts: float
    below_full_db: float | None
    leak_part: str | None
    leak_ohms: float | None
    wave: tuple[float, ...]


def gain(linear: Linear, path: SignalPath, hertz: Sequence[float] = FREQUENCIES) -> Complexes:
    """Return the volts at the speaker for each volt at the input, at every frequency."""
    into = linear.column(path.source, path.back) / GENERATOR
    return linear.transfer(into, linear.column(*path.ends), hertz)


def tone(linear: Linear, path: SignalPath) -> float:
    """Return the gain at 1 kHz."""
    return float(abs(gain(linear, path, (TONE,))[0]))


def response(control: str, position: str, gains: Complexes) -> Response:
    """Return a response with its 3 dB points; ``gains`` at FREQUENCIES."""
    size = np.abs(gains)
    logs = np.log10(FREQUENCIES)
    at_tone = float(10 ** np.interp(log10(TONE), logs, np.log10(np.maximum(size, 1e-30))))
    middle = int(np.searchsorted(FREQUENCIES, TONE))
    down = ((k, k - 1) for k in range(middle, 0, -1))
    up = ((k, k + 1) for k in range(middle - 1, len(size) - 1))
    limit = at_tone / 2**0.5
    return Response(
        control,
        position,
        tuple(float(f"{value:.6g}") for value in size),
        at_tone,
        _crossing(size, logs, limit, down),
        _crossing(size, logs, limit, up),
    )


def _crossing(
    size: Floats, logs: Floats, limit: float, steps: Iterable[tuple[int, int]]
) -> float | None:
    """Return the hertz at which a gain first falls under ``limit`` on the way outwards."""
    for inner, outer in steps:
        if size[inner] >= limit > size[outer]:
            share = (np.log10(size[inner]) - np.log10(limit)) / (
                np.log10(size[inner]) - np.log10(size[outer])
            )
            return float(10 ** (logs[inner] + share * (logs[outer] - logs[inner])))
    return None


def output_impedance(linear: Linear, path: SignalPath) -> complex:
    """Return the ohms at 1 kHz that the speaker is fed from, the speaker itself taken off; positive
    feedback makes their real part negative.
    """
    out = linear.column(*path.ends)
    return complex(impedance_of(linear.transfer(out, out, (TONE,)), path.load)[0])


def impedance_of(both: Complexes, load: float) -> Complexes:
    """Return the ohms that a load is fed from, where the two together have ``both`` ohms."""
    siemens = 1 / both - 1 / load
    is_open = abs(siemens) <= 1e-12
    ohms: Complexes = np.where(is_open, 1e12, 1 / np.where(is_open, 1.0, siemens))
    return ohms


def hum_of(bias: Bias, linear: Linear, path: SignalPath, full: Power) -> Hum:
    """Return the hum at the speaker in the steady state of ``bias``."""
    network, steady = bias.network, bias.steady
    wave = network.between(steady.x, *path.ends)
    wave = wave - wave.mean()
    size = np.abs(np.fft.rfft(wave)) / len(wave) * 2**0.5
    total = float((size**2).sum() ** 0.5)
    leak = _leak(linear, path) if network.hertz else None
    leak_part, leak_ohms = leak or (None, None)
    return Hum(
        total,
        float(size[1]) if len(size) > 1 else 0.0,
        float(size[2]) if len(size) > 2 else 0.0,
        20 * log10(full.load_volts / total) if total > NO_HUM else None,
        leak_part,
        leak_ohms,
        tuple(float(f"{volt:.4g}") for volt in wave[::EVERY]),
    )


def _leak(linear: Linear, path: SignalPath) -> tuple[str, float] | None:
    """Return the tube whose cathode brings most of a leakage current from its heater to the
    speaker, and the ohms.
    """
    network, ohms = linear.network, []
    for device in network.ordered:
        if len(device.from_) > 1 and device.to >= 0:
            into = np.zeros(len(linear.g))
            into[device.to] = 1.0
            volts = linear.transfer(into, linear.column(*path.ends), (network.hertz,))[0]
            ohms.append((float(abs(volts)), device.name))
    return max(ohms)[::-1] if ohms else None
