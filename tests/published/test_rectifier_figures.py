"""Rectifiers and filters against exact integration and printed sheets."""

from math import atan, cos, exp, pi, sin, sqrt

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.devices import Rectifier
from rework.solve.periodic import mains_steady
from rework.tubes import library

IDEAL = Rectifier(1e3, 0.0, 1.0, 1e-3)


def solved(text: str, *, instants: int = 1024, **laws):
    circuit, problems = read_circuit(text)
    assert circuit, problems
    network = assemble(circuit, overrides=laws)
    return network, mains_steady(network, instants=instants)


def half_wave(wrc: float, share: float):
    """1000 ohm load at 50 Hz; series resistance ``share`` of it."""
    farads = wrc / (2 * pi * 50 * 1000)
    return solved(f"""mains 100 V 50 Hz
P1 plug : line=L, neutral=COMMON
R1 resistor {1000 * share:.6f} ohm : L -- A
D1 diode : A -- B
C1 capacitor {farads * 1e6:.6f} uF : B -- COMMON
R2 resistor 1000 ohm : B -- COMMON
""", D1=IDEAL)


def exact_half_wave(wrc: float, share: float):
    """Ideal diode, series resistance and R parallel C, per volt of peak and ohm of load: DC, peak and RMS current, by closed form.

    While it conducts, dv/dt = (sin t - v)/(share wRC) - v/wRC, a linear equation; while it does not, v decays with wRC.
    """
    from scipy.optimize import brentq

    k = (1 / share + 1) / wrc
    a = k / (share * wrc) / (k * k + 1)
    b = -1 / (share * wrc) / (k * k + 1)

    def end(start):
        left = (sin(start) - a * sin(start) - b * cos(start)) * exp(k * start)
        v = lambda t: a * sin(t) + b * cos(t) + left * exp(-k * t)
        grid = np.linspace(start + 1e-4, start + pi, 4000)
        ahead = np.sin(grid) - (a * np.sin(grid) + b * np.cos(grid) + left * np.exp(-k * grid))
        n = int(np.argmax(ahead < 0))
        stop = brentq(lambda t: sin(t) - v(t), grid[n - 1], grid[n])
        return stop, v

    def closes(start):
        stop, v = end(start)
        return v(stop) * exp(-(2 * pi + start - stop) / wrc) - sin(start)

    start = brentq(closes, 1e-6, pi / 2 - 1e-3)
    stop, v = end(start)
    t = np.linspace(start, stop, 20001)
    amps = (np.sin(t) - np.array([v(one) for one in t])) / share
    off = v(stop) * wrc * (1 - exp(-(2 * pi + start - stop) / wrc))
    mean = (np.trapezoid(np.array([v(one) for one in t]), t) + off) / (2 * pi)
    return mean, amps.max(), sqrt(np.trapezoid(amps**2, t) / (2 * pi))


@pytest.mark.parametrize("wrc", [1, 10, 100, 1000])
@pytest.mark.parametrize("share", [0.005, 0.05, 0.3])
def test_capacitor_input_against_exact_integration(wrc, share):
    """The range of Schade's chart (Proc. IRE 31, July 1943; his readings not seen): DC, peak and RMS within 0.1 %."""
    network, steady = half_wave(wrc, share)
    dc, peak, rms = exact_half_wave(wrc, share)
    top = 100 * sqrt(2)
    current = steady.currents[:, 0]
    assert network.volts(steady.x, "B").mean() / top == pytest.approx(dc, rel=1e-3)
    assert current.max() * 1000 / top == pytest.approx(peak, rel=1e-3)
    assert sqrt((current**2).mean()) * 1000 / top == pytest.approx(rms, rel=1e-3)
    assert abs(steady.balance) < 1e-3


@pytest.mark.parametrize("wrc", [1.0, 37.699111843, 100.0])
@pytest.mark.parametrize("kind", ["half", "full"])
def test_ideal_rectifier_without_source_resistance(wrc, kind):
    """Cut-out at pi - atan(wRC), cut-in where the discharge meets the sine (textbook relation): DC within 0.1 %."""
    from scipy.optimize import brentq

    period = 2 * pi if kind == "half" else pi
    out = pi - atan(wrc)
    back = brentq(lambda t: sin(out) * exp(-(t + period - out) / wrc) - sin(t), 0, pi / 2)
    exact = (cos(back) - cos(out) + sin(out) * wrc * (1 - exp(-(back + period - out) / wrc))) / period
    farads = wrc / (2 * pi * 50 * 1000)
    source = "D1 diode : L -- B\nW1 wire : N -- COMMON" if kind == "half" else "D1 bridge : ac1=L, ac2=N, plus=B, minus=COMMON"
    network, steady = solved(f"""mains 100 V 50 Hz
P1 plug : line=L, neutral=N
{source}
C1 capacitor {farads * 1e6:.6f} uF : B -- COMMON
R2 resistor 1000 ohm : B -- COMMON
""", D1=IDEAL)
    assert network.volts(steady.x, "B").mean() == pytest.approx(exact * 100 * sqrt(2), rel=1e-3)


def full_wave_tube(type_: str, pins: str, rms: float, ohms: float, farads: float, load: float, hertz: float = 50.0) -> str:
    return f"""mains 230 V {hertz:g} Hz
P1 plug : line=L, neutral=N
T1 transformer 500 VA : primary 230 V dcr 0.001 ohm = L -- N, hv {2 * rms:g} V dcr 0.002 ohm = A1 -- COMMON -- A2
R1 resistor {ohms:g} ohm : A1 -- P1A
R2 resistor {ohms:g} ohm : A2 -- P2A
V1 tube {type_} : plate1=P1A, plate2=P2A, cathode=B, {pins}
C1 capacitor {farads * 1e6:g} uF : B -- COMMON
R3 resistor {load:.2f} ohm : B -- COMMON
"""


EZ80 = [(curve.fixed["plate_rms_volts"].value, curve.fixed["supply_ohms"].value, point)
        for curve in library.find("EZ80").curves if curve.name.startswith("regulation") for point in curve.points[1::3]]


@pytest.mark.parametrize(("rms", "ohms", "point"), EZ80, ids=lambda v: str(v))
def test_ez80_regulation_curves_within_4_percent(rms, ohms, point):
    """Mazda EZ80 sheet, August 1963, p. 4 (traced to about 1 V): B+ from almost unloaded to full load. The line frequency is not printed: 50 Hz."""
    amps, volts = point
    network, steady = solved(full_wave_tube("EZ80", "4=H, 5=H, unused 2 6 8 9", rms, ohms, 50e-6, volts / amps), instants=256)
    assert network.volts(steady.x, "B").mean() == pytest.approx(volts, rel=0.04)


def test_5y3_capacitor_input_and_choke_against_shooting_over_radau():
    """Steady states found by another method (shooting over Radau, rtol 1e-8): 255.6 V; with 10 H and a second 20 uF, 247.4 V."""
    law = Rectifier(0.0002689571768199605)
    half = 350 / sqrt(2)
    text = full_wave_tube("5Y3GT", "2=H, 8=B", half, 100, 20e-6, 5000, 60).replace("cathode=B, 2=H, 8=B", "2=H, 8=B, unused 1") + "open H\n"
    network, steady = solved(text, instants=1024, V1=law)
    volts = network.volts(steady.x, "B")
    assert volts.mean() == pytest.approx(255.647, rel=1e-3)
    assert np.ptp(volts) == pytest.approx(12.473, rel=5e-3)
    assert steady.currents[:, 0].max() == pytest.approx(0.1787, rel=1e-2)
    longer = text.replace("R3 resistor 5000.00 ohm : B -- COMMON", "L1 choke 10 H 200 ohm : B -- B2\nC2 capacitor 20 uF : B2 -- COMMON\nR3 resistor 5000 ohm : B2 -- COMMON")
    network, steady = solved(longer, instants=1024, V1=law)
    after = network.volts(steady.x, "B2")
    assert network.volts(steady.x, "B").mean() == pytest.approx(257.318, rel=1e-3)
    assert after.mean() == pytest.approx(247.421, rel=1e-3)
    first, second = (abs(np.fft.rfft(network.volts(steady.x, node)))[2] for node in ("B", "B2"))
    assert second / first == pytest.approx(0.00886929, rel=1e-3)


def test_choke_input_rises_to_the_peak_without_load():
    """Loaded 0.9 of the RMS volts, unloaded the peak: 1.57 times as much (common practice; theory in any textbook)."""
    text = """mains 300 V 60 Hz
P1 plug : line=L, neutral=N
D1 bridge : ac1=L, ac2=N, plus=A, minus=COMMON
L1 choke 10 H 1 ohm : A -- B
C1 capacitor 47 uF : B -- COMMON
R1 resistor {} ohm : B -- COMMON
"""
    loaded = solved(text.format(3000), instants=512, D1=IDEAL)
    bare = solved(text.format(10000000), instants=512, D1=IDEAL)
    high, low = (network.volts(steady.x, "B").mean() for network, steady in (bare, loaded))
    assert low == pytest.approx(0.9 * 300, rel=5e-3)
    assert high / low == pytest.approx(pi / 2, rel=0.02)
