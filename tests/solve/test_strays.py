"""What is not drawn and ends a response: capacitances of tubes and wiring, leakage of the output
transformer.
"""

from dataclasses import replace

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.linear import linearised
from rework.solve.signal import signal
from rework.solve.strays import WIRING, capacitances, with_strays
from rework.tubes import library

STAGE = """mains 250 V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
V1 tube {type} : {pins}
R1 resistor 100k : BPLUS -- PL
R2 resistor 1.5k : K -- COMMON
C2 electrolytic 10000 uF : K -- COMMON
R4 resistor 1M : G -- COMMON
"""
TWIN = (
    "triode1.plate=PL, triode1.grid=G, triode1.cathode=K, triode2.plate=COMMON,"
    " triode2.grid=COMMON, triode2.cathode=COMMON, 4=COMMON, 5=COMMON, unused 9"
)


@pytest.mark.parametrize("type_", ["12AX7", "12AU7"])
def test_the_input_capacitance_is_the_one_of_miller(type_):
    """J.

    M. Miller, Scientific Papers of the Bureau of Standards 15, no. 351 (1920): C = Cgk + Cgp (1 +
    A).
    """
    circuit, problems = read_circuit(STAGE.format(type=type_, pins=TWIN))
    assert circuit, problems
    found = bias(assemble(circuit))
    linear = linearised(replace(found, network=with_strays(found.network, circuit)))
    into = linear.column("G", "COMMON")
    own = linear.transfer(into, into, (1000.0,))[0]
    gain = abs(linear.transfer(into, linear.column("PL", "COMMON"), (1000.0,))[0] / own)
    row = capacitances(library.find(type_), "triode1")
    expected = row["input_farads"].value + WIRING + row["grid_plate_farads"].value * (1 + gain)
    assert (1 / own).imag / (2 * np.pi * 1000) == pytest.approx(expected, rel=2e-3)


OUTPUT = """mains 250 V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
J1 jack input : tip=G, sleeve=COMMON
R1 resistor 470k : G -- COMMON
V1 tube {tube}
R2 resistor 270 ohm : K -- COMMON
C1 electrolytic 1000 uF : K -- COMMON
T1 output transformer 8 W : primary load 5k dcr 200 ohm 20 H {leakage} = BPLUS -- PL, secondary load 8 ohm dcr 0.3 ohm = SP -- COMMON
SP1 speaker 8 ohm : 1=SP, 2=COMMON
"""
POWER = "6AQ5 : 1=G, 2=K, 3=COMMON, 4=COMMON, 5=PL, 6=BPLUS, 7=G"


def told(leakage: str, tube: str = POWER):
    circuit, problems = read_circuit(OUTPUT.format(leakage=leakage, tube=tube))
    assert circuit, problems
    return signal(circuit)


def test_leakage_the_file_states_is_taken_and_none_is_assumed_then():
    stated, assumed = told("leakage 500 mH"), told("")
    assert not any("leakage" in note for note in stated.notes)
    assert any("T1 has no leakage inductance" in note and "53 mH" in note for note in assumed.notes)
    assert (stated.responses[0].high or 1e9) < (assumed.responses[0].high or 1e9)


def test_a_tube_without_printed_capacitances_is_named():
    found = told("", "EL41 : plate=PL, screen=BPLUS, grid=G, cathode=K, 1=COMMON, 8=COMMON")
    assert any("no capacitances of V1 (EL41)" in note for note in found.notes)


def test_relatives_lend_their_capacitances():
    assert capacitances(library.find("12AV6")) is capacitances(library.find("6AV6"))
    assert (
        capacitances(library.find("12AX7"), "triode2")["output_farads"].value
        < capacitances(library.find("12AX7"), "triode1")["output_farads"].value
    )


def test_every_unit_named_by_a_capacitance_is_one_the_tube_has():
    for name in library.types():
        tube = library.find(name)
        for row in tube.capacitances:
            assert row.unit in ("", *tube.units), name
            assert 0 < row["grid_plate_farads"].value < row["input_farads"].value * 2.5 < 50e-12, (
                name
            )
