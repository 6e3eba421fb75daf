"""A tube that no file describes: its heater and elements stated on its own line."""

from __future__ import annotations

import pytest

from rework.anatomy.amplifier import of
from rework.anatomy.function import function
from rework.anatomy.function_row import Aspect, Working
from rework.anatomy.heating import Heating
from rework.anatomy.links import groups
from rework.anatomy.units import tube_of
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit

STRING = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=COMMON
V1 tube unlisted 12XY9 heater 12.6 V 0.15 A : heater1=H1, heater2=COMMON, anode=P, k=COMMON, g1=G
V2 tube 35W4 : 3=L1, 4=H2, 5=L1, 7=B, unused 6
V3 tube 50C5 : 1=COMMON, 2=G, 3=H1, 4=H2, 6=B, 7=P, unused 5
R1 resistor 470k : G -- COMMON
"""


def read(text: str):
    circuit, problems = read_circuit(text, file="u.circuit")
    assert circuit is not None, "\n".join(map(str, problems))
    return circuit


def test_heater_and_elements_are_read_and_written_back():
    circuit = read(STRING)
    tube = circuit.by_name["V1"]
    assert [pin for pin, _ in tube.pins] == ["cathode", "grid", "heater1", "heater2", "plate"]
    assert read(write_circuit(circuit)) == circuit
    known = tube_of(tube)
    assert (known.heater.volts.value, known.heater.amps.value) == (12.6, 0.15)


def test_the_mains_check_takes_all_its_pins_as_joined():
    (group,) = groups(read(STRING).by_name["V1"])
    assert set(group.terminals) == {"cathode", "grid", "heater1", "heater2", "plate"}


def test_a_string_adds_up_with_it():
    """12.6, 35 and 50 V on a line of 117 V: 19.4 V too many, shared as the ohms (84, 233, 333)."""
    rows = {row.part: row for row in Heating(of(read(STRING)).heaters).warmth()}
    share = 117 / (12.6 + 35 + 50)
    assert rows["V1"].volts == pytest.approx(12.6 * share, rel=1e-3)
    assert rows["V3"].volts == pytest.approx(50 * share, rel=1e-3)


def test_what_cannot_be_stated_is_told():
    _, problems = read_circuit(
        STRING.replace("12.6 V 0.15 A", "12.6 V").replace("anode=P", "anod3=P"), file="u.circuit"
    )
    messages = [problem.message for problem in problems]
    assert "of V1 only the heater can be stated" in messages
    assert "anod3 is neither a pin nor an element of an unlisted tube" in messages


def test_a_type_without_a_basing_is_read_as_an_unlisted_tube_with_its_heater():
    text = STRING.replace("unlisted 12XY9 heater 12.6 V 0.15 A", "12BK5")
    circuit, (told,) = read_circuit(text, file="u.circuit")
    assert circuit is not None
    assert told.severity == "caution"
    assert "the pins of 12BK5 are not known" in told.message
    tube = circuit.by_name["V1"]
    assert tube_of(tube).heater.volts.value == 12.6
    (group,) = groups(tube)
    assert set(group.terminals) == {"cathode", "grid", "heater1", "heater2", "plate"}
    assert read(write_circuit(circuit)) == circuit


@pytest.mark.parametrize("type_", ["0A2", "OB2", "VR150", "VR-150", "0D3/VR150"])
def test_a_gas_regulator_is_named_as_one(type_):
    text = f"V1 tube {type_} : 1=A, 2=B\nR1 resistor 1k : A -- B\n"
    told = read_circuit(text, file="u.circuit")[1][0]
    assert "is a gas regulator and has no heater" in told.message
    assert f"gas regulator {'108' if 'B2' in type_ else '150'} V" in told.expected


def test_b_plus_that_may_come_out_of_a_bulb_of_unknown_pins_is_not_called_missing():
    text = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=COMMON
V1 tube 70L7GT : heater1=L1, heater2=H, 3=L1, 8=B1, plate=P, screen=B1, grid=G, cathode=COMMON
V2 tube 12J5GT : heater1=H, heater2=COMMON, plate=B1, grid=G, cathode=COMMON, unused 1 6
R1 resistor 470k : G -- COMMON
R2 resistor 2k : B1 -- P
"""
    plates = [row for row in function(read(text)) if row.aspect is Aspect.PLATE]
    assert {row.working for row in plates} == {Working.UNKNOWN}
    rectifier_known = text.replace("70L7GT", "12XY9 heater 70 V 0.15 A").replace(
        "tube 12XY9", "tube unlisted 12XY9"
    )
    named = rectifier_known.replace("3=L1, 8=B1, ", "")
    plates = [row for row in function(read(named)) if row.aspect is Aspect.PLATE]
    assert {row.working for row in plates} == {Working.FAULT}
