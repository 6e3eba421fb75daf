"""Amounts as people read them, held to pint."""

from __future__ import annotations

import random

import pint
import pytest

from rework.report.figures import band, number, shown

UNITS = ("V", "A", "W", "ohm", "F", "H", "Hz", "s")


@pytest.mark.parametrize("unit", UNITS)
def test_pint_reads_an_amount_back_within_half_a_digit(unit):
    registry, draw = pint.UnitRegistry(), random.Random(11)
    for _ in range(200):
        value = draw.choice((-1, 1)) * 10 ** draw.uniform(-11.9, 9)
        text = shown(value, unit)
        read = registry.Quantity(text.replace("kohm", "kiloohm").replace("Mohm", "megaohm"))
        assert read.to(unit).magnitude == pytest.approx(value, rel=5.1e-3), text
        assert 1 <= abs(read.magnitude) < 1000, text


@pytest.mark.parametrize(
    ("value", "text"),
    [(22e3, "22 kohm"), (999.6, "1 kohm"), (0.0, "0 ohm"), (None, "–"), (float("inf"), "–")],
)
def test_the_multiplier_is_what_a_meter_would_show(value, text):
    assert shown(value, "ohm") == text


def test_numbers_have_thousands_apart_and_no_exponent():
    assert [number(value) for value in (1234567.0, 0.000123, 70.0, 41.46)] == [
        "1,230,000",
        "0.000123",
        "70",
        "41.5",
    ]


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (178.4, 214.2, "V", "178 to 214 V"),
        (79.41, 107.3, "V", "79 to 107 V"),
        (1.3249, 1.6271, "V", "1.32 to 1.63 V"),
        (-0.0761, -0.0049, "V", "-0.08 to 0.00 V"),
        (-0.001, 0.001, "V", ""),
        (198_100.0, 241_900.0, "ohm", "198 to 242 kohm"),
        (871e3, 1_140e3, "ohm", "0.87 to 1.14 Mohm"),
        (1371.2, 1921.7, "", "1,370 to 1,920"),
        (18.4e-6, 44.2e-6, "V RMS", "18 to 44 µV RMS"),
        (float("nan"), 2.0, "V", ""),
    ],
)
def test_a_band_has_the_digits_that_a_thousand_draws_support(low, high, unit, text):
    assert band(low, high, unit) == text


def test_the_last_digit_of_a_band_is_known_to_about_one_by_sampling():
    """Fifty samples of a thousand even draws: their 5th and 95th percentiles differ by the standard
    error, sqrt(0.05 * 0.95 / 1000) of the whole range.
    """
    chance = random.Random(5)
    ends = []
    for _ in range(50):
        drawn = sorted(chance.uniform(90, 110) for _ in range(1000))
        ends.append(float(band(drawn[50], drawn[949]).split()[0]))
    spread = max(ends) - min(ends)
    assert spread <= 1.0
    assert band(90.9, 109.1) == "91 to 109 V"
