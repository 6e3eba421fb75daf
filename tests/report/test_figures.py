"""Amounts as people read them, held to pint."""

from __future__ import annotations

import random

import pint
import pytest

from rework.report.figures import number, shown

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
