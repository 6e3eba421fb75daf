"""Solved examples of textbooks against the solver. Where the printed answer is wrong, the solver must not agree with it."""

from math import pi, sqrt

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.devices import Rectifier
from rework.solve.periodic import mains_steady

IDEAL = Rectifier(1e3, 0.0, 1.0, 1e-3)


def full_wave(rms: float, hertz: float, behind: str, *, law=IDEAL, instants: int = 1024):
    """A bridge across ``rms`` volts, ``behind`` it what runs from node A to COMMON."""
    circuit, problems = read_circuit(f"""mains {rms:.4f} V {hertz:g} Hz
P1 plug : line=L, neutral=N
D1 bridge : ac1=L, ac2=N, plus=A, minus=COMMON
{behind}""")
    assert circuit, problems
    network = assemble(circuit, overrides={"D1": law})
    return network, mains_steady(network, instants=instants)


def ripple(wave) -> float:
    return float(wave.std())


def test_bhattacharya_6_8_tube_rectifier_of_constant_resistance():
    """Bhattacharya and De, Basic Electrical and Electronics Engineering 1, ch. 6, Ex. 8, p. 317: 280 V, 500 and 2000 ohm, 100.84 mA."""
    # two arms of a bridge are in the way where the example has one tube, so each has half its resistance
    network, steady = full_wave(280, 50, "R1 resistor 2000 ohm : A -- COMMON\n", law=Rectifier(1 / 250, 0.0, 1.0, 1e-2))
    assert network.volts(steady.x, "A").mean() / 2000 == pytest.approx(0.10084, rel=5e-3)


@pytest.mark.parametrize(("rms", "hertz", "micro", "load", "dc", "ripple_volts"), [
    (33.125 / sqrt(2), 50, 80, 30 / 0.05, None, None),
    (40, 50, 100, 2000, 55.35444, 0.7350915),
    (300, 60, 10, 1350.474, None, None),
], ids=["Kishore 3.11 p172", "Kakani 4.8 p227", "Kakani 4.9 p237"])
def test_capacitor_filter_examples(rms, hertz, micro, load, dc, ripple_volts):
    """Printed: Vm - 1/(4 f C R) of it and 1/(4 sqrt3 f C R), which hold for little ripple; the exact answer is the solver's."""
    network, steady = full_wave(rms, hertz, f"C1 capacitor {micro} uF : A -- COMMON\nR1 resistor {load:.4f} ohm : A -- COMMON\n", instants=2048)
    wave = network.volts(steady.x, "A")
    if dc:
        assert wave.mean() == pytest.approx(dc, rel=1e-3)
        assert ripple(wave) == pytest.approx(ripple_volts, rel=5e-3)
    printed = rms * sqrt(2) / (1 + 1 / (4 * hertz * micro * 1e-6 * load))
    factor = 1 / (4 * sqrt(3) * hertz * micro * 1e-6 * load)
    assert wave.mean() == pytest.approx(printed, rel=0.05 + factor / 2)
    assert ripple(wave) / wave.mean() <= factor * 1.01


def test_kishore_3_8_choke_input_and_its_wrong_ripple():
    """Kishore, Electronic Devices and Circuits, Ex. 3.8: 250 V at 100 mA, 10 H, 400 ohm, 322 V RMS. The printed ripple 0.0413 leaves out L.

    With L the formula gives 0.00415 of the 290 V before the choke's own 400 ohm, so 1.16 times that of the 250 V behind it.
    """
    network, steady = full_wave(322.109, 60, "L1 choke 10 H 400 ohm : A -- B\nC1 capacitor 20 uF : B -- COMMON\nR1 resistor 2500 ohm : B -- COMMON\n")
    wave = network.volts(steady.x, "B")
    assert wave.mean() == pytest.approx(250, rel=5e-3)
    assert ripple(wave) / wave.mean() == pytest.approx(0.00415 * 2900 / 2500, rel=0.02)
    assert ripple(wave) / wave.mean() < 0.0413 / 5


def test_sedha_19_13_capacitor_choke_capacitor():
    """Sedha, A Textbook of Applied Electronics, Ex. 19.13, p. 457: 100 uF, 5 H, 100 uF at 50 Hz, 30 V 0.2 A: ripple 0.00076.

    The formula takes the ripple at the first capacitor for that of a triangle; exactly it is a little less.
    """
    network, steady = full_wave(23.0, 50, "C1 capacitor 100 uF : A -- COMMON\nL1 choke 5 H 1 ohm : A -- B\nC2 capacitor 100 uF : B -- COMMON\nR1 resistor 150 ohm : B -- COMMON\n")
    wave = network.volts(steady.x, "B")
    assert ripple(wave) / wave.mean() == pytest.approx(0.00076, rel=0.3)
    assert ripple(wave) / wave.mean() < 0.00076


def test_bhattacharya_6_22_pi_filter_for_a_tube_supply():
    """Bhattacharya and De, ch. 6, Ex. 22, p. 349: 300 V, 4 uF, 20 H 200 ohm, 4 uF, 50 mA at 60 Hz: 362.14 V by Vm - 4170 I/C - I R.

    That formula takes a linear discharge; with 4 uF the discharge is 100 V deep, and the exact voltage lies above it.
    """
    load = 362.14 / 0.05
    network, steady = full_wave(300, 60, f"C1 capacitor 4 uF : A -- COMMON\nL1 choke 20 H 200 ohm : A -- B\nC2 capacitor 4 uF : B -- COMMON\nR1 resistor {load:.1f} ohm : B -- COMMON\n")
    wave = network.volts(steady.x, "B")
    assert 362.14 < wave.mean() < 362.14 * 1.04
    assert ripple(wave) == pytest.approx(0.516, rel=0.3)
    assert ripple(wave) < 0.6 * 0.934


def test_decoupling_section_passes_its_divider_of_the_ripple():
    """|1/(1 + j w R C)| at twice the line's frequency, exactly."""
    network, steady = full_wave(100, 60, "C1 capacitor 40 uF : A -- COMMON\nR9 resistor 2k : A -- COMMON\nR1 resistor 10k : A -- B\nC2 capacitor 10 uF : B -- COMMON\n", instants=4096)
    first, second = (abs(np.fft.rfft(network.volts(steady.x, node)))[2] for node in ("A", "B"))
    assert second / first == pytest.approx(1 / abs(1 + 1j * 2 * pi * 120 * 1e4 * 10e-6), rel=1e-4)
