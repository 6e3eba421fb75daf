"""Limits held from both sides: 35 V peak, 0.5 mA, 60 V and 2 mA of direct current, the sum of both
(IEC 60065 and IEC 62368-1 as in limits.toml).
"""

from __future__ import annotations

import math

import pytest
from handworked import BARE, tied
from nodal import person_ohm

from rework.touch.felt import counts, is_direct_over
from rework.touch.touch import touch

#: A line whose upper tolerance is known to the volt: 132 V.
LINE = 132.0


def divided(volts: float):
    """Return the worst touch of a stiff source of so many volts RMS, as a winding gives them."""
    circuit = tied(
        f"T1 transformer : primary 132 V 1 ohm = L -- N, secondary {volts:.6g} V 0.01 ohm = K -- M",
        touchable="K, M",
        mains="120 V 60 Hz",
    )
    return next(one for one in touch(circuit, changes=BARE).touches if one.other)


@pytest.mark.parametrize(("peak", "verdict"), [(34.9, "under"), (35.1, "over")])
def test_thirty_five_volts_are_a_peak(peak, verdict):
    touched = divided(peak / math.sqrt(2))
    assert touched.volts == pytest.approx(peak / math.sqrt(2), rel=1e-3)
    assert touched.verdict == verdict


@pytest.mark.parametrize(("volts", "does"), [(24.7, False), (24.8, True)])
def test_what_counts_is_more_than_thirty_five_volts_peak(volts, does):
    assert counts(volts) is does


@pytest.mark.parametrize(("share", "verdict"), [(0.995, "under"), (1.005, "over")])
def test_half_a_milliampere_is_the_limit_of_the_reading(share, verdict):
    ohms = LINE / (0.5e-3 * share) - person_ohm(60).real
    (touched,) = touch(tied(f"R1 resistor {ohms:.7g} ohm 0% : L -- CHASSIS"), changes=BARE).touches
    assert touched.reading == pytest.approx(0.5e-3 * share, rel=4e-3)
    assert touched.verdict == verdict


@pytest.mark.parametrize(
    ("amps", "volts", "over"),
    [
        (2.01e-3, 60.1, True),
        (1.99e-3, 60.1, False),
        (2.01e-3, 59.9, False),
        (1.99e-3, 200, False),
    ],
)
def test_direct_current_has_a_border_in_volts_and_one_in_amperes(amps, volts, over):
    assert is_direct_over(amps, volts) is over


@pytest.mark.parametrize(("share", "verdict"), [(0.95, "under"), (1.04, "over")])
def test_two_milliamperes_of_direct_current_are_the_limit(share, verdict):
    """A filter at the line's peak, its alternating part held down by the capacitor; the resistor
    leaves 2 mA through 2 kohm.
    """
    peak = LINE * math.sqrt(2)
    ohms = peak / (2e-3 * share) - 2000
    circuit = tied(
        "T1 transformer : primary 120 V 1 ohm = L -- N, secondary 120 V 1 ohm = A -- E",
        "R2 resistor 100 ohm 0% : A -- A2",
        "D1 diode silicon : A2 -- B",
        "C1 capacitor 2000 uF film 0% : B -- E",
        f"R1 resistor {ohms:.6g} ohm 0% : B -- KNOB",
        touchable="KNOB",
        plug="three-pin",
        earth=", earth=E",
    )
    (touched,) = touch(circuit, changes=BARE).touches
    assert touched.dc_amps == pytest.approx(2e-3 * share, rel=0.02)
    assert touched.verdict == verdict
