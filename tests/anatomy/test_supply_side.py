"""Common, B- and B+ where names help and where they do not."""

from __future__ import annotations

import benches
import pytest
from benches import SETS, anatomy, read

from rework.anatomy.amplifier import apart, of


def text_of(name: str) -> str:
    return SETS[name].read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["COMMON", "GROUND", "GND", "B-", "BMINUS", "Bminus"])
def test_the_common_goes_by_any_of_its_names(name):
    body = anatomy(benches.UNNAMED.replace("X9", name))
    assert body.common == {name}
    assert body.b_minus == set()


def test_a_common_that_no_name_tells_is_where_the_filter_ends():
    assert anatomy(benches.UNNAMED).common == {"X9"}


@pytest.mark.parametrize(("set_", "name"), [("rink", "BMINUS"), ("bakery", "BMINUS")])
def test_with_back_bias_b_minus_is_not_the_common(set_, name):
    body = anatomy(text_of(set_))
    assert (body.common, body.b_minus) == ({"COMMON"}, {name})


def test_b_minus_is_told_without_its_name_too():
    body = anatomy(text_of("rink").replace("BMINUS", "N9").replace("COMMON", "K0"))
    assert (body.common, body.b_minus) == ({"K0"}, {"N9"})


def test_a_direct_current_line_is_the_first_rail():
    assert [rail.point for rail in anatomy(benches.FOLLOWER).rails] == ["BP", "B2"]


def test_a_divider_from_b_plus_is_no_rail():
    body = anatomy(
        benches.UNNAMED + "R8 resistor 220k : Q2 -- E\nR9 resistor 47k : E -- X9\n"
        "C9 electrolytic 10 uF 50 V : E -- X9\n"
    )
    assert body.rail == {"Q1", "Q2"}


def test_a_screen_with_a_dropper_of_its_own_is_no_rail():
    body = anatomy(text_of("auction-room"))
    assert "SC2" not in body.rail
    assert not body.is_filter("C5")
    assert body.is_filter("C9")


def test_b_plus_goes_on_through_a_fuse_and_a_field_coil():
    body = anatomy(
        text_of("dance-school")
        .replace("b1 --", "b1 --")
        .replace(
            "L1   choke field-coil 12 H 70 mA 800 ohm : BP -- B1",
            "F9 fuse 0.2 A : BP -- BF\nL1 choke field-coil 12 H 70 mA 800 ohm : BF -- B1",
        )
    )
    assert [rail.point for rail in body.rails] == ["BP", "BF", "B1"]


def test_an_umbilical_joins_the_rails_of_two_chassis_only_while_it_is_in():
    hot = benches.UNNAMED
    for old, new in (
        ("D1 selenium 100 mA 130 V : L1 -- Q1", ""),
        ("line=L1, neutral=X9", "line=L1, neutral=N1"),
        ("R2 resistor 400 ohm 50 W : L1 -- H1", "R2 resistor 10 ohm : Q9 -- H1"),
    ):
        hot = hot.replace(old, new)
    circuit = read(
        hot
        + """
T1 transformer : primary 117 V = L1 -- N1, hv 120 V = HV -- COM, heater 6 V = Q9 -- COM
D1 diode silicon : HV -- S1
C9 electrolytic 40 uF 150 V : S1 -- COM
X1 connector socket : 1=S1, 2=COM
X2 connector plug mates X1 : 1=Q1, 2=X9
"""
    )
    assert of(circuit).rails[0].point == "Q1"
    assert of(circuit).wiring.point("S1") == "Q1"
    assert apart(circuit).wiring.point("S1") == "S1"
    assert {rail.point for rail in apart(circuit).rails} == {"Q1", "Q2"}
