"""What capacitors keep when the plug is out."""

from __future__ import annotations

import math

import pytest
from handworked import tied

from rework.touch.discharge import seconds_to
from rework.touch.stored import stored

RECTIFIER = "D1 diode silicon : L -- B"


def test_a_capacitor_with_a_bleeder_takes_rc_ln():
    (kept,) = stored(
        tied(
            RECTIFIER,
            "C1 electrolytic 50 uF 0% : B -- N",
            "R1 resistor 100k 0% : B -- N",
            touchable="B",
        )
    )
    volts = 132 * math.sqrt(2)
    assert kept.volts == pytest.approx(volts, rel=0.02)
    assert kept.joules == pytest.approx(50e-6 * volts**2 / 2, rel=0.04)
    assert kept.slowest == pytest.approx(100e3 * 50e-6 * math.log(kept.volts / 60), rel=0.01)


def test_a_second_capacitor_on_the_same_bleeder_makes_both_slower():
    parts = (RECTIFIER, "C1 electrolytic 50 uF 0% : B -- N", "R1 resistor 100k 0% : B -- N")
    alone = stored(tied(*parts, touchable="B"))[0]
    two = stored(
        tied(
            *parts,
            "R2 resistor 10 ohm 0% : B -- B2",
            "C2 electrolytic 50 uF 0% : B2 -- N",
            touchable="B",
        )
    )[0]
    assert two.slowest == pytest.approx(2 * alone.slowest, rel=0.02)


def test_no_bleeder_is_said():
    (kept,) = stored(tied(RECTIFIER, "C1 electrolytic 50 uF 0% : B -- N", touchable="B"))
    assert kept.slowest == math.inf
    assert all(math.isinf(ohms) for _, ohms, _, _ in kept.positions)


def test_a_capacitor_without_a_value_is_taken_as_charged():
    first, second = stored(
        tied(
            RECTIFIER,
            "C1 electrolytic 50 uF 0% : B -- N",
            "C2 electrolytic 150 V : B -- N",
            touchable="B",
        )
    )
    assert first.part == "C2"
    assert math.isinf(first.farads)
    assert math.isinf(first.slowest)
    assert second.part == "C1"


def test_a_bleeder_on_the_wrong_side_of_the_switch_helps_in_one_position_only():
    (kept,) = stored(
        tied(
            "S1 switch SPST : L -- X",
            "C1 capacitor 1 uF film 0% : X -- N",
            "R1 resistor 1M 0% : L -- N",
            touchable="X",
        )
    )
    assert {words: math.isinf(ohms) for words, ohms, _, _ in kept.positions} == {
        "S1 ON": False,
        "S1 OFF": True,
    }


@pytest.mark.parametrize(
    ("ohms", "farads", "start", "end", "seconds"),
    [
        (1e5, 50e-6, 170, 60, 5.2073),
        (1e5, 50e-6, 170, 10, 14.1661),
        (1e4, 50e-6, 170, 60, 0.5207),
        (330e3, 50e-6, 170, 60, 17.184),
        (1e5, 1e-4, 340, 60, 17.346),
        (33e3, 470e-6, 385, 60, 28.8315),
    ],
)
def test_discharge_times_worked_by_hand(ohms, farads, start, end, seconds):
    assert seconds_to([start], [farads], [[ohms]], end)[0] == pytest.approx(seconds, rel=2e-3)
