"""A heater on the tap of a turntable motor: the volts that are stated, or those of the heater."""

from __future__ import annotations

import pytest

from rework.anatomy.amplifier import of
from rework.anatomy.heating import Heating
from rework.anatomy.motor_taps import motor_tap
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.solve.assemble import assemble
from rework.solve.periodic import mains_steady

DECK = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=COMMON
M1 motor 117 V 60 Hz 15 W {tap} : 1={one}, 2={two}, tap=HT, frame=DECK
touchable DECK
V1 tube 25L6GT : heater1=HT, heater2={end}, grid=COMMON, cathode=COMMON, screen=COMMON, plate=COMMON
"""


def deck(tap: str = "", one: str = "L1", two: str = "COMMON", end: str = "COMMON"):
    circuit, problems = read_circuit(DECK.format(tap=tap, one=one, two=two, end=end), file="d")
    assert circuit is not None, problems
    return circuit


@pytest.mark.parametrize(
    ("how", "volts", "heater"),
    [
        ({"tap": "tap 24 V"}, 24.0, ""),
        ({}, 25.0, "V1"),  # the heater that hangs on it is made for 25 V
        ({"one": "COMMON", "two": "L1"}, 25.0, "V1"),  # the motor's leads the other way round
        ({"tap": "tap 25 V", "end": "L1"}, 25.0, ""),  # the heater from the tap to the line
    ],
)
def test_the_tap_has_its_volts_in_the_wiring_and_in_the_equations(how, volts, heater):
    circuit = deck(**how)
    tap = motor_tap(of(circuit).wiring, circuit.by_name["M1"])
    assert (tap.volts, tap.heater, tap.back) == (volts, heater, how.get("end", "COMMON"))
    (row,) = (row for row in Heating(of(circuit).heaters).warmth() if row.part == "V1")
    assert row.volts == pytest.approx(volts, rel=1e-3)
    network = assemble(circuit)
    x = mains_steady(network).x
    across = network.volts(x, "HT") - network.volts(x, how.get("end", "COMMON"))
    assert (across**2).mean() ** 0.5 == pytest.approx(volts, rel=0.03)  # it falls under its load
    assert any("does not state its volts" in note for note in network.notes) == bool(heater)


def test_nothing_is_known_of_a_tap_that_nothing_hangs_on_and_states_nothing():
    circuit = deck(end="HT")
    assert motor_tap(of(circuit).wiring, circuit.by_name["M1"]) is None


def test_the_volts_of_a_tap_are_written_back():
    circuit = deck(tap="tap 24 V")
    again, _ = read_circuit(write_circuit(circuit), file="d")
    assert again == circuit
    assert "tap 24 V" in write_circuit(circuit)
