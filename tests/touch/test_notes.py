"""What is said beside the figures: by region, by the set, and never that one measurement is
enough.
"""

from __future__ import annotations

import pytest
from handworked import BARE, tied

from rework.touch.notes import KILLS, Setting, notes, region_of
from rework.touch.touch import touch


@pytest.mark.parametrize(
    ("volts", "region"),
    [
        (100, "low line"),
        (127, "low line"),
        (150, "low line"),
        (151, "high line"),
        (None, "high line"),
    ],
)
def test_the_region_follows_the_line(volts, region):
    assert region_of(volts) == region


def test_the_device_of_the_building_has_the_name_and_the_figures_of_the_region():
    low, high = (
        " ".join(notes(Setting(region, True), 0.0)) for region in ("low line", "high line")
    )
    assert "GFCI" in low
    assert "between 4 and 6 mA" in low
    assert "RCD" not in low
    assert "RCD" in high
    assert "below 15 mA it certainly does not" in high
    assert "GFCI" not in high


def test_no_earth_is_lifted_where_there_is_none():
    with_pin, without = (" ".join(notes(Setting("low line", pin), 0.0)) for pin in (True, False))
    assert "earth pin lifted" in with_pin
    assert "earth continuity" in with_pin
    assert "earth pin" not in without
    for text in (with_pin, without):
        assert "No single measurement shows that a set is safe" in text
        assert "insulation resistance" in text


def test_a_set_that_can_kill_is_not_measured_on_the_outlet():
    below, at = (" ".join(notes(Setting("low line", True), amps)) for amps in (KILLS * 0.99, KILLS))
    assert "Do not measure its leakage" not in below
    assert "Do not measure its leakage" in at
    assert "lifted" not in at


def test_both_currents_together_pass_the_limit_where_neither_does_alone():
    """0.31 mA of 0.5 and 1.4 mA of 2 are 1.3 times the limit: the sum of shares of ES1 (IEC
    62368-1, from memory).
    """
    parts = (
        "T1 transformer : primary 120 V 1 ohm = L -- N, secondary 120 V 1 ohm = A -- E",
        "R2 resistor 1k 0% : A -- A2",
        "D1 diode silicon : A2 -- B",
        "C1 electrolytic 50 uF 0% : B -- E",
        "R1 resistor 130k 0% : B -- KNOB",
        "C2 capacitor {farads} 0% : L -- KNOB",
    )

    def touched(farads: str):
        circuit = tied(
            *(part.format(farads=farads) for part in parts),
            touchable="KNOB",
            plug="three-pin",
            earth=", earth=E",
        )
        return touch(circuit, changes=BARE).touches[0]

    both, little = touched("6.2n"), touched("0.1n")
    assert both.reading < 0.5e-3
    assert both.dc_amps < 2e-3
    assert both.only_together
    assert both.verdict == "over"
    assert little.dc_amps == pytest.approx(both.dc_amps, rel=0.01)
    assert little.verdict == "under"


def test_thirty_milliamperes_can_kill():
    assert KILLS == 30e-3
