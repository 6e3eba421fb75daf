"""What an ohmmeter reads at plates and screens against B+, held to nodal equations by hand."""

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.ohms import ohms
from rework.solve.signal_words import ohms_band

#: A triode and an output stage on two rails, with a bleeder on each and a divider at the screen.
STAGES = """mains 117 V 60 Hz
P1 plug two-blade : line=LINE, neutral=COMMON
D1 diode : anode=LINE, cathode=B1
C1 electrolytic 40 uF : B1 -- COMMON
R1 resistor 100k : B1 -- COMMON
R2 resistor 2.2k : B1 -- B2
C2 electrolytic 40 uF : B2 -- COMMON
R3 resistor 150k : B2 -- COMMON
V1 tube 12AX7 : 1=PL1, 2=G1, 3=K1, 6=B2, 7=COMMON, 8=COMMON, 4=COMMON, 5=COMMON, unused 9
R4 resistor 220k : B2 -- PL1
R5 resistor 1.5k : K1 -- COMMON
R6 resistor 1M : G1 -- COMMON
C3 capacitor 0.01 uF : PL1 -- G2
R7 resistor 470k : PL1 -- SC
V2 tube 50C5 : 1=K2, 2=G2, 3=COMMON, 4=COMMON, 5=G2, 6=SC, 7=PL2
R8 resistor 3.3k : B2 -- SC
R9 resistor 68k : SC -- COMMON
R10 resistor 470k : G2 -- COMMON
R11 resistor 150 ohm : K2 -- COMMON
T1 output transformer 5 W : primary load 2.5k dcr 180 ohm 5 H = B1 -- PL2, secondary load 4 ohm dcr 0.5 ohm = SP -- COMMON
SP1 speaker 4 ohm : 1=SP, 2=COMMON
"""
#: The resistors between what is left with the tubes cold: ohms by the two ends, 0 is common.
RESISTORS = {
    ("B1", "0"): 100e3,
    ("B1", "B2"): 2.2e3,
    ("B2", "0"): 150e3,
    ("B2", "PL1"): 220e3,
    ("PL1", "SC"): 470e3,
    ("B2", "SC"): 3.3e3,
    ("SC", "0"): 68e3,
    ("B1", "PL2"): 180.0,
}


def by_nodal_equations(node: str, other: str) -> float:
    """Return the ohms between two nodes: the volts between them at one amp, by Kirchhoff."""
    names = sorted({name for ends in RESISTORS for name in ends} - {other})
    conductance, amps = np.zeros((len(names), len(names))), np.zeros(len(names))
    for ends, value in RESISTORS.items():
        at = [names.index(end) for end in ends if end != other]
        for k in at:
            conductance[k, k] += 1 / value
        if len(at) == 2:
            conductance[at[0], at[1]] -= 1 / value
            conductance[at[1], at[0]] -= 1 / value
    amps[names.index(node)] = 1.0
    return float(np.linalg.solve(conductance, amps)[names.index(node)])


def readings(text: str) -> dict[tuple[str, str], float | None]:
    circuit, problems = read_circuit(text)
    assert circuit, problems
    return {
        (f"{row.place}.{row.what.split()[1]}", row.against): row.ohms
        for row in ohms(circuit)
        if row.what.startswith("pin ")
    }


def test_plates_and_screens_are_read_against_b_plus_as_nodal_equations_have_it():
    read = readings(STAGES)
    pins = {"V1.1": "PL1", "V1.6": "B2", "V2.6": "SC", "V2.7": "PL2"}
    assert {pin for pin, against in read if against == "B+ (B1)"} == set(pins)
    for pin, node in pins.items():
        assert read[pin, "B+ (B1)"] == pytest.approx(by_nodal_equations(node, "B1"), rel=1e-4)
        assert read[pin, "common"] == pytest.approx(by_nodal_equations(node, "0"), rel=1e-4)


def test_an_open_primary_is_open_to_b_plus():
    assert (
        readings(STAGES.replace("= B1 -- PL2", "= OFF -- PL2") + "open OFF\n")["V2.7", "B+ (B1)"]
        is None
    )


def test_each_of_two_supplies_has_its_own_b_plus():
    second = """D2 diode : anode=LINE, cathode=B4
C4 electrolytic 40 uF : B4 -- COMMON
V3 tube 12AX7 : 1=PL3, 2=COMMON, 3=COMMON, 6=B4, 7=COMMON, 8=COMMON, 4=COMMON, 5=COMMON, unused 9
R20 resistor 47k : B4 -- PL3
"""
    read = readings(STAGES + second)
    assert read["V3.1", "B+ (B4)"] == pytest.approx(47e3, rel=1e-4)
    assert read["V2.7", "B+ (B1)"] == pytest.approx(180, rel=1e-4)


def ladder(tolerance: str) -> str:
    return f"""mains 117 V 60 Hz
P1 plug two-blade : line=LINE, neutral=COMMON
R1 resistor 100k {tolerance} : LINE -- A
R2 resistor 47k {tolerance} : A -- COMMON
R3 resistor 1M {tolerance} : A -- OPENEND
C1 capacitor 0.1 uF : OPENEND -- COMMON
"""


def test_the_band_of_a_single_resistor_is_nine_tenths_of_its_tolerance():
    """Even spread: the 5th percentile is at 0.9 of the tolerance below nominal."""
    circuit, problems = read_circuit(ladder("10%"), file="ladder.circuit")
    assert circuit is not None, problems
    (row,) = (row for row in ohms(circuit) if row.place == "A")
    assert row.ohms == pytest.approx(47e3)
    assert row.low == pytest.approx(47e3 * 0.91, rel=3e-3)
    assert row.high == pytest.approx(47e3 * 1.09, rel=3e-3)


def test_without_tolerances_a_band_has_no_width_and_no_words():
    circuit, _ = read_circuit(ladder("0%"), file="ladder.circuit")
    rows = {row.place: row for row in ohms(circuit)}
    assert rows["A"].low == pytest.approx(rows["A"].high)
    assert ohms_band(rows["A"]) == ""
