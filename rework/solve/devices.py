"""Device laws: current and derivative of every law in vector form over leading batch axes.

Volts, amps, siemens.

A device answers with one current per controlling voltage, both taken from the same terminal to the
cathode, so that one incidence matrix serves for reading volts and for adding currents. Every law is
smooth and has its derivative here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import e, exp
from typing import Protocol

import numpy as np

from rework.solve.arrays import Floats

#: Grid current above zero bias: exponent and sharpness of Dempwolf and Zoelzer, DAFx-11 (2011), eq.
#: 11, mean of their three 12AX7 specimens, and their ratio of grid to cathode perveance. Other
#: tubes take the same ratio: no row prints it.
GRID_EXPONENT, GRID_SHARPNESS, GRID_SHARE = 1.28, 11.0, 0.27
#: Grid current of a grid that is a little negative: amps at this voltage, and the volts over which
#: it grows e times. A grid leak of 10 Mohm settles there. The current is that of -0.83 V in 10
#: Mohm, where a law through the two printed points of the EABC80 puts its eight printed stages
#: (Philips 1955: -0.76 to -0.87 V). The volts are the tool's own: they keep the current at no bias
#: under a fifth of what eq. 11 gives there. All types take the same: no other row prints it.
CONTACT_AMPS, CONTACT_VOLTS, CONTACT_WIDTH = 83e-9, -0.83, 0.25
#: One standard deviation of the contact potential, volts: -0.72, -0.83 and -1.00 V in a 12AU7 and
#: 12AX7 measured by hobbyists (vintage-radio.net, post 1144874) and in the printed EABC80.
CONTACT_SPREAD = 0.12
#: How many times the rounding at cut-off the driving voltage of a fitted row stands above it,
#: before a fit says otherwise.
ROW_OVER_SOFTNESS = 8.0
#: Volts over which a screen that is hardly positive stops catching electrons: about their own speed
#: (no source; a convention that keeps a starved screen above its cathode, far under every printed
#: row).
SCREEN_STARVED = 1.0
#: Reverse leakage of a rectifier, siemens: small beside any load, and enough that no winding hangs
#: in the air.
LEAKAGE = 1e-9
#: The same from every electrode of a tube to its cathode: 10 Gohm, so that an electrode left in the
#: air stays somewhere.
INSULATION = 1e-10


class DeviceLaw(Protocol):
    """How a device answers the volts across it."""

    @property
    def controls(self) -> int:
        """Controlling voltages, and as many currents."""

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return the currents (..., controls) at ``volts`` (..., controls), and their slopes (...,
        controls, controls) in siemens. ``scale`` (...) multiplies the emission.
        """

    def warmer(self, times: float) -> DeviceLaw:
        """Return the same law with its corners so many times as round."""


@dataclass(frozen=True, slots=True)
class Triode:
    """Ip = G E^x (1 - exp(-Vp/knee)), E = w ln(1 + exp((Vp/mu + Vg + offset)/w)), w = softness +
    widening Vp.

    The multi-electrode three-halves law with an offset for contact potential (Langmuir 1913; US
    patent 11,152,181, 2021, eq. 1), made smooth at cut-off as in Dempwolf and Zoelzer, DAFx-11
    (2011), eq. 10; the rounding widens with the plate volts, as in Koren, Glass Audio 8(5) (1996).
    ``perveance`` in A/V^x, ``offset``, ``softness`` and ``knee`` in volts. The last factor takes
    the plate current to nothing at no volts.
    """

    perveance: float
    mu: float
    offset: float
    exponent: float
    softness: float
    widening: float
    knee: float

    def warmer(self, times: float) -> Triode:
        """Return the same with its cut-off so many times as round."""
        return replace(self, softness=times * self.softness, widening=times * self.widening)

    @property
    def controls(self) -> int:
        """Plate and grid."""
        return 2

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return ((ip, ig), Jacobian) at (vp, vg) along the last axis; ``scale`` multiplies the
        perveance.
        """
        vp, vg = volts[..., 0], volts[..., 1]
        reach, dreach = _soft(vp, self.knee / 50)
        width = self.softness + self.widening * reach
        over = (vp / self.mu + vg + self.offset) / width
        unit, share = _soft(over, 1.0)
        drive = width * unit
        by_plate = share / self.mu + self.widening * dreach * (unit - over * share)
        emitted = scale * self.perveance * drive**self.exponent
        demitted = scale * self.perveance * self.exponent * drive ** (self.exponent - 1)
        left = np.exp(-reach / self.knee)
        ig, dig = _grid(vg, scale * self.perveance)
        out, jac = INSULATION * volts, _insulation(volts)
        out[..., 0] += emitted * (1 - left)
        out[..., 1] += ig
        jac[..., 0, 0] += demitted * by_plate * (1 - left) + emitted * left * dreach / self.knee
        jac[..., 0, 1] = demitted * share * (1 - left)
        jac[..., 1, 1] += dig
        return out, jac


@dataclass(frozen=True, slots=True)
class Pentode:
    """Ik = G E^x (1 + A Vp), E = w ln(1 + exp((Vs/mu + Vg + offset)/w)); Is = s G E^x (1 + a k(b
    Vp)), Ip = Ik - Is.

    One cathode current split between plate and screen, with a = 1/s - 1 so that no plate current
    flows without plate volts. D. Reefman (theory paper, 24 January 2016; read at second hand, so
    without the numbers of its equations) has two knees: exp(-z^1.5) for beams, 1/(1 + z) where
    electrons turn back far beyond it. A tube has some of each: k(z) = (1 - t) exp(-z^1.5) + t/(1 +
    (e - 1) z), both 1/e at z = 1. Near no screen volts the screen's part turns back. ``mu`` is that
    of grid to screen, ``slope`` A and ``sharpness`` b are in 1/V, ``screen_share`` s is the
    screen's share of G E^x beyond the knee, ``tail`` t.
    """

    perveance: float
    mu: float
    offset: float
    exponent: float
    softness: float
    screen_share: float
    slope: float
    sharpness: float
    tail: float

    def warmer(self, times: float) -> Pentode:
        """Return the same with its cut-off so many times as round."""
        return replace(self, softness=times * self.softness)

    @property
    def controls(self) -> int:
        """Plate, screen and grid."""
        return 3

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return ((ip, is, ig), Jacobian) at (vp, vs, vg) along the last axis."""
        vp, vs, vg = volts[..., 0], volts[..., 1], volts[..., 2]
        drive, ddrive = _soft(vs / self.mu + vg + self.offset, self.softness)
        emitted = scale * self.perveance * drive**self.exponent
        demitted = scale * self.perveance * self.exponent * drive ** (self.exponent - 1) * ddrive
        reach, dreach = _soft(vp, 0.2)
        z = self.sharpness * reach
        beamed, scattered = np.exp(-(z**1.5)), 1 / (1 + (e - 1) * z)
        turned = (1 - self.tail) * beamed + self.tail * scattered
        dturned = (
            -((1 - self.tail) * beamed * 1.5 * np.sqrt(z) + self.tail * (e - 1) * scattered**2)
            * self.sharpness
            * dreach
        )
        share = self.screen_share + (1 - self.screen_share) * turned
        dshare = (1 - self.screen_share) * dturned
        plate = 1 + self.slope * reach - share
        dplate = self.slope * dreach - dshare
        held, dheld = _soft(vs, 0.2)
        caught = 1 - np.exp(-held / SCREEN_STARVED)
        dcaught = (1 - caught) * dheld / SCREEN_STARVED
        ig, dig = _grid(vg, scale * self.perveance)
        out, jac = INSULATION * volts, _insulation(volts)
        out[..., 0] += emitted * plate
        out[..., 1] += emitted * share * caught
        out[..., 2] += ig
        by_screen = demitted / self.mu
        jac[..., 0, 0] += emitted * dplate
        jac[..., 0, 1] += by_screen * plate
        jac[..., 0, 2] += demitted * plate
        jac[..., 1, 0] += emitted * dshare * caught
        jac[..., 1, 1] += (by_screen * caught + emitted * dcaught) * share
        jac[..., 1, 2] += demitted * share * caught
        jac[..., 2, 2] += dig
        return out, jac


@dataclass(frozen=True, slots=True)
class Rectifier:
    """I = K E^x with E = w ln(1 + exp((V - offset)/w)): a rectifier tube (x 1.5, Child 1911), or
    with x 1 silicon or selenium.

    ``perveance`` K in A/V^x, ``offset`` in volts, ``softness`` w in volts.
    """

    perveance: float
    offset: float = 0.0
    exponent: float = 1.5
    softness: float = 0.05

    @property
    def controls(self) -> int:
        """The plate alone."""
        return 1

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return ((i,), Jacobian) at (v,) along the last axis."""
        each = scale if np.ndim(scale) == 0 else np.asarray(scale)[..., None]
        current, slope = bank((self,)).currents(volts, each)
        return current, slope[..., None]

    def warmer(self, times: float) -> Rectifier:
        """Return the same with its corner so many times as round."""
        return replace(self, softness=times * self.softness)

    def softer(self, volts: float) -> Rectifier:
        """Return the same with its corner rounded over so many volts, to continue from."""
        return replace(self, softness=max(volts, self.softness))


@dataclass(frozen=True, slots=True, eq=False)
class RectifierBank:
    """Several rectifiers side by side, each an entry of the arrays (rectifiers): the figures of
    ``Rectifier``.
    """

    perveance: Floats
    offset: Floats
    exponent: Floats
    softness: Floats

    def currents(self, volts: Floats, scales: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return the currents and their slopes at volts, all (..., rectifiers); ``scales`` likewise
        multiply the emission.
        """
        drive, ddrive = _soft(volts - self.offset, self.softness)
        perveance = self.perveance * scales
        current = perveance * drive**self.exponent + LEAKAGE * volts
        slope = perveance * self.exponent * drive ** (self.exponent - 1) * ddrive + LEAKAGE
        return current, slope


@lru_cache(maxsize=64)
def bank(laws: tuple[Rectifier, ...]) -> RectifierBank:
    """Return some rectifiers as one bank."""
    figures = [(law.perveance, law.offset, law.exponent, law.softness) for law in laws]
    return RectifierBank(*np.array(figures).T)


#: A silicon rectifier: 0.65 V and 0.1 ohm (from memory; no sheet names them). A selenium stack of
#: five plates: about 1 V a plate (from memory).
SILICON = Rectifier(10.0, 0.65, 1.0, 0.04)
SELENIUM = Rectifier(0.1, 4.0, 1.0, 0.3)
GERMANIUM = Rectifier(1.0, 0.25, 1.0, 0.04)


def _insulation(volts: Floats) -> Floats:
    """Return the slopes (..., controls, controls) of the leakage of every electrode."""
    slopes: Floats = np.zeros((*volts.shape, volts.shape[-1]))
    at = np.arange(volts.shape[-1])
    slopes[..., at, at] = INSULATION
    return slopes


def _soft(volts: Floats, width: Floats | float) -> tuple[Floats, Floats]:
    """Return w ln(1 + exp(v/w)) and its derivative, kept above zero so that no power of it has an
    infinite slope.
    """
    z = volts / width
    value = width * np.logaddexp(0.0, z) + 1e-12
    return value, 0.5 * (1.0 + np.tanh(0.5 * z))


def _grid(vg: Floats, perveance: Floats | float) -> tuple[Floats, Floats]:
    """Return the grid current and its slope at grid volts."""
    drive, ddrive = _soft(vg, 1 / GRID_SHARPNESS)
    share = 0.5 * (1 + np.tanh(0.5 * vg / CONTACT_WIDTH))
    contact = CONTACT_AMPS * (1 + exp(-CONTACT_VOLTS / CONTACT_WIDTH)) * share
    return (
        GRID_SHARE * perveance * drive**GRID_EXPONENT + contact,
        GRID_SHARE * perveance * GRID_EXPONENT * drive ** (GRID_EXPONENT - 1) * ddrive
        + contact * (1 - share) / CONTACT_WIDTH,
    )
