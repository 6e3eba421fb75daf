"""A line-up of tubes: which heaters stand in series, in which order, and what makes up the line."""

from __future__ import annotations

import pytest

from rework.anatomy.lineup import Duty, HeaterLayout, dropper, line_up
from rework.circuit.circuit import Mains
from rework.tubes import library


def lined(types: str, volts: float):
    return line_up(
        [(name, library.find(name)) for name in types.split()],
        Mains(volts, 60 if volts < 130 else 50),
    )


@pytest.mark.parametrize(
    ("types", "volts", "order"),
    [
        ("12BA6 12AT6 35C5 35W4", 117, "V4 V3 V2 V1"),  # the first stage at common
        ("35W4 12AU6 12AV6 50C5", 117, "V1 V4 V3 V2"),  # whatever the order of output and rectifier
        ("12BE6 12BA6 12AT6 50C5 35W4", 117, "V5 V4 V2 V1 V3"),  # a radio: the detector at common
        ("UCH81 UBF89 UABC80 UL84 UY85", 220, "V5 V4 V2 V1 V3"),
    ],
)
def test_the_rectifier_is_at_the_line_and_the_first_stage_or_detector_at_common(
    types, volts, order
):
    (string,) = lined(types, volts).strings
    assert " ".join(heated.seat.name for heated in string.heated) == order


def test_the_dropper_makes_up_the_line_with_a_value_that_is_made():
    # (117 - 95.2) V / 0.15 A = 145 ohm; 150 ohm then carries 0.149 A, 3.3 W
    made = lined("12BA6 12AT6 35C5 35W4", 117).strings[0].dropper
    assert made.exact == pytest.approx(145.3, abs=0.1)
    assert (made.ohms, made.rated) == (150.0, 5.0) or (made.ohms, made.rated) == (150.0, 10.0)
    assert made.watts == pytest.approx(3.33, abs=0.02)
    assert made.rated >= 1.5 * made.watts


def test_a_string_that_takes_the_whole_line_has_no_dropper():
    assert lined("12BE6 12BA6 12AT6 50C5 35W4", 117).strings[0].dropper is None  # 122.8 V
    assert dropper(Mains(117, 60), 117 * 0.98, 0.15) is None
    assert dropper(Mains(117, 60), 117 * 0.96, 0.15) is not None


def test_a_dropper_that_no_resistor_can_be_says_so():
    assert lined("PCL82 PY82", 220).strings[0].dropper.rated is None  # 55 W


def test_a_double_triode_is_fed_as_the_other_tubes_are():
    at = {h.seat.written: h.way.volts.value for h in lined("12AX7 50EH5", 117).strings[0].heated}
    assert at == {"12AX7": 12.6, "50EH5": 50.0}
    at = {
        h.seat.written: h.way.volts.value
        for h in lined("12AX7 25L6GT 25Z6GT", 117).strings[0].heated
    }
    assert at["12AX7"] == 6.3  # both halves in parallel, for 0.3 A


@pytest.mark.parametrize(
    ("types", "volts", "layout", "strings"),
    [
        ("12AX7 50EH5", 117, HeaterLayout.SERIES, 1),
        ("12AU6 50C5 50C5 35W4", 117, HeaterLayout.VOLTS, 2),
        ("12AT6 60FX5 50L6GT", 117, HeaterLayout.CURRENTS, 2),
        ("6SJ7 6V6GT 6X5GT", 117, HeaterLayout.TRANSFORMER, 1),
        ("12AX7 EL84 EZ80", 230, HeaterLayout.TRANSFORMER, 1),
        ("6SQ7 6V6GT 5Y3GT", 117, HeaterLayout.TRANSFORMER, 2),
        ("6C6 43 25Z5", 117, HeaterLayout.SERIES, 1),
    ],
)
def test_heaters_that_cannot_be_one_string_are_several(types, volts, layout, strings):
    lines = lined(types, volts)
    assert (lines.layout, len(lines.strings)) == (layout, strings)


def test_ten_per_cent_over_the_line_is_one_string_and_more_is_two():
    # 3 x 12.6 + 50 + 35 = 122.8 V
    types = "12BE6 12BA6 12AT6 50C5 35W4"
    assert lined(types, 122.8 / 1.099).layout is HeaterLayout.SERIES
    assert lined(types, 122.8 / 1.101).layout is HeaterLayout.VOLTS


def test_a_heater_alone_over_the_line_is_told():
    assert [seat.written for seat in lined("117Z6GT", 90).over_the_line] == ["117Z6GT"]
    assert lined("117Z6GT", 110).over_the_line == ()


def test_output_tubes_are_known_in_both_worlds():
    outputs = "50C5 50L6GT 43 25A6 6K6GT 6F6 60FX5 UL84 PL82 EL34 EL41 UCL82 ECL80"
    others = "12SJ7 6J7 12AU6 EF86 UF80 PF86 14A7 12BA6 12AX7 ECF80 UAF42"
    lines = lined(outputs, 240)
    assert {unit.seat.written for unit in lines.units if unit.duty is Duty.OUTPUT} == set(
        outputs.split()
    )
    assert not [unit for unit in lined(others, 240).units if unit.duty is Duty.OUTPUT]


def test_units_come_in_the_order_of_the_signal():
    duties = [(u.seat.name, u.name, u.duty) for u in lined("UY85 UCL82", 220).units]
    assert duties == [
        ("V2", "triode", Duty.TRIODE),
        ("V2", "pentode", Duty.OUTPUT),
        ("V1", "", Duty.RECTIFIER),
    ]
