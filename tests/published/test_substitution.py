"""Published substitution facts, each with where it was read, against what the tool ranks and
computes.
"""

import pytest

from rework.tubes import library
from rework.tubes.relatives import (
    SAME_CURVES,
    cathode_ohms,
    load_rows,
    pin_moves,
    stand_ins,
    standing,
)


def best(type_):
    return stand_ins(library.find(type_))[0].new.type


def test_50b5_and_50c5_are_one_tube_on_different_pins__45rpm_phono_gazette_23_1_2014():
    """P. Vourtsis, newsletter vol. 23.1, Jan 2014, http://doczz.net/doc/2850596"""
    one, other = library.find("50B5"), library.find("50C5")
    assert standing(one, other).word == SAME_CURVES
    assert not pin_moves(one, other).same_pins


@pytest.mark.parametrize("series", ["UL84", "PL84"])
def test_the_6_volt_twin_is_the_el86_and_not_the_el84_though_its_pins_agree__tube_designations(
    series,
):
    """Copy of an encyclopedia article on tube designations,
    https://percsorptalbo.tk/eimac-tube-catalog-ref.php: PL84 and UL84 differ materially from the
    EL84. That the EL86 is the twin: from memory, and the same row is printed for both (tubes/data).
    """
    old = library.find(series)
    assert best(series) == "EL86"
    assert standing(old, library.find("EL84")).word != SAME_CURVES
    assert pin_moves(old, library.find("EL84")).same_pins


@pytest.mark.parametrize("one", ["UCL82", "PCL82"])
def test_ucl82_and_pcl82_are_the_ecl82_but_for_the_heater__tube_designations(one):
    """The same article: ECL82 = PCL82 = UCL82 apart from the heater."""
    assert best(one) == "ECL82"
    old, new = library.find(one), library.find("ECL82")
    assert pin_moves(old, new).same_pins
    assert old.heater.volts.value != new.heater.volts.value


def test_a_6aq5_wants_another_load_and_other_pins_than_a_50c5__radio_50c5():
    """Basing of the 50C5 as republished (tubes/data/sources.toml, radio-50c5); loads of both from
    memory of the manuals: 2.5k and 5 to 5.5k.
    """
    old, new = library.find("50C5"), library.find("6AQ5")
    assert standing(old, new).word != SAME_CURVES
    assert {move.element for move in pin_moves(old, new).moves} == {"cathode", "grid", "plate"}
    loads = [{row["load_ohms"].value for row in load_rows(tube)[1]} for tube in (old, new)]
    assert max(loads[0]) * 2 <= min(loads[1])


@pytest.mark.parametrize(
    ("old", "new"), [("50L6GT", "6W6GT"), ("25L6GT", "6W6GT"), ("12SN7GT", "6SN7GT")]
)
def test_twins_named_in_encyclopedia_articles_on_the_25l6_and_the_6sn7(old, new):
    assert best(old) == new


def test_a_35l6_is_no_6w6_but_near_it__article_on_the_25l6():
    """Less output and less heater power: re-bias."""
    one = next(one for one in stand_ins(library.find("35L6GT")) if one.new.type == "6W6GT")
    assert one.standing.word != SAME_CURVES
    assert one.moves.same_pins


def test_a_12ax7_is_its_own_6_volt_relative_at_twice_the_current__tung_sol_12ax7():
    one = stand_ins(library.find("12AX7"))[0]
    assert (one.new.type, one.way.volts.value, one.way.amps.value) == ("12AX7", 6.3, 0.3)
    assert one.way.between == (frozenset({"4", "5"}), frozenset({"9"}))


def test_the_cathode_resistor_of_an_el84_row_is_printed_and_not_worked_out():
    """EL84 sheet, 1955 (tubes/data/el84.toml): 135 ohm at 250 V, 7.3 V of bias."""
    row = next(
        row
        for row in load_rows(library.find("EL84"))[1]
        if "cathode_ohms" in row and row.grade == "seen"
    )
    assert cathode_ohms(row) == row["cathode_ohms"].value
    if "grid_volts" in row and "screen_amps" in row:
        worked_out = -row["grid_volts"].value / (row["plate_amps"].value + row["screen_amps"].value)
        assert worked_out == pytest.approx(row["cathode_ohms"].value, rel=0.05)
