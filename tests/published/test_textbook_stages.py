"""Gains that textbooks print for a tube of given mu and plate resistance, through the whole
assembly and solution.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.linear import linearised


@dataclass(frozen=True)
class Straight:
    """A tube as the examples have it: straight curves of one mu and one plate resistance."""

    mu: float
    rp: float
    controls = 2

    def currents(self, volts, scale=1.0):
        slopes = np.zeros((*volts.shape, 2))
        slopes[..., 0, 0], slopes[..., 0, 1] = 1 / self.rp, self.mu / self.rp
        return (
            np.stack([(volts[..., 0] + self.mu * volts[..., 1]) / self.rp, 0 * volts[..., 0]], -1),
            slopes,
        )


def gain(
    mu: float, rp: float, plate: float, *, following: float = 1e9, cathode: float = 1e-2
) -> float:
    circuit, problems = read_circuit(f"""mains 250 V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
V1 tube 6C4 : 1=PL, 3=COMMON, 4=COMMON, 6=G, 7=K, unused 2 5
R1 resistor {plate:.0f} ohm : BPLUS -- PL
C1 capacitor 1000 uF : PL -- OUT
R2 resistor {following:.0f} ohm : OUT -- COMMON
R3 resistor {cathode:.3f} ohm : K -- COMMON
R4 resistor 1M : G -- COMMON
""")
    assert circuit, problems
    linear = linearised(bias(assemble(circuit, overrides={"V1": Straight(mu, rp)})))
    into, out = linear.column("G", "COMMON"), linear.column("OUT", "COMMON")
    return float(
        (linear.transfer(into, out, (1000.0,)) / linear.transfer(into, into, (1000.0,)))[0].real
    )


@pytest.mark.parametrize(
    ("mu", "rp", "printed"),
    [(60, 10900, 12.9), (17, 7700, 4.77), (100, 80000, 3.61)],
    ids=["12AT7", "12AU7", "12AX7"],
)
def test_basics_4_example_4_2_gain_into_3000_ohm(mu, rp, printed):
    """Fun with Tubes, Basics 4, Example 4.2 (printed answers seen)."""
    assert -gain(mu, rp, 3000) == pytest.approx(printed, rel=4e-3)


def test_basics_4_example_4_3_unbypassed_cathode():
    """Fun with Tubes, Basics 4, Example 4.3: mu R/(rp + R + (mu + 1) Rk) = 26.61 (formula seen,
    answer computed from it).
    """
    assert -gain(100, 80000, 220000, following=470000, cathode=3300) == pytest.approx(
        26.60991, rel=2e-3
    )


def test_bell_21_2_loaded_stage():
    """D.

    A. Bell, Electronics Devices and Circuits, ch. 21, Ex. 21.2, p. 672: mu 25, 5k, 7k plate, 30k
    load: -13.3.
    """
    assert gain(25, 5000, 7000, following=30000) == pytest.approx(-13.3, rel=1e-2)


def test_cathey_7_22_stage():
    """J. J. Cathey, Schaum's Outline, ch. 7, Ex. 7.22, p. 220: rp 4.857k, gm 4.5 mS, 11.6k: -15.4."""
    assert gain(4.5e-3 * 4857, 4857, 11600) == pytest.approx(-15.415, rel=1e-2)


TWO_STAGES = """mains 250 V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
V1 tube 6C4 : 1=PL1, 3=COMMON, 4=COMMON, 6=G1, 7=COMMON, unused 2 5
V2 tube 6C4 : 1=PL2, 3=COMMON, 4=COMMON, 6=G2, 7=COMMON, unused 2 5
R1 resistor 10k : BPLUS -- PL1
R2 resistor 10k : BPLUS -- PL2
C1 capacitor 100 pF : PL1 -- COMMON
C2 capacitor 100 pF : PL2 -- COMMON
C3 capacitor .01 uF : PL1 -- G2
C4 capacitor .01 uF : PL2 -- OUT
R3 resistor 470k : G2 -- COMMON
R4 resistor 470k : OUT -- COMMON
R5 resistor 1M : G1 -- COMMON
"""


def test_bhargava_9_5_gain_and_both_ends_of_the_response_of_two_stages():
    """N.

    N. Bhargava, D. C. Kulshreshtha, S. C. Gupta, Basic Electronics and Linear Circuits, ch. 9, Ex.
    9.5, p. 326: 189.3 and 230 kHz printed (the book leaves the grid resistors out of its upper end:
    0.9 %); 52.12 Hz computed from its formula.
    """
    circuit, problems = read_circuit(TWO_STAGES)
    assert circuit, problems
    linear = linearised(
        bias(assemble(circuit, overrides={"V1": Straight(25, 8000), "V2": Straight(25, 8000)}))
    )
    into, out = linear.column("G1", "COMMON"), linear.column("OUT", "COMMON")
    hertz = np.geomspace(20, 1e6, 4001)
    size = np.abs(linear.transfer(into, out, hertz) / linear.transfer(into, into, hertz))
    passed = hertz[size >= size.max() / 2**0.5]
    assert size.max() == pytest.approx(189.3, rel=2e-2)
    assert passed[-1] == pytest.approx(230e3, rel=2e-2)
    assert passed[0] == pytest.approx(52.12, rel=1e-2)
