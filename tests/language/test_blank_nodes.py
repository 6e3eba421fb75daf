"""``blank``: nodes that are not traced yet. They are no mistake, and they are never forgotten."""

from __future__ import annotations

from rework.circuit.edits import AttachCircuit, FitPart, RemovePart, apply_edit, as_left
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.safety.check import check

TEXT = """
circuit "half traced"
mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=COMMON
V1 tube 12AT6 : grid=G1, cathode=COMMON, 3=L1, 4=COMMON, diode1=DA, diode2=COMMON, plate=PL1
R1 resistor 220k : PL1 -- COMMON
blank G1, DA, PL1
blank GONE
"""


def read(text: str):
    circuit, problems = read_circuit(text, file="x.circuit")
    assert problems == ()
    return circuit


def test_a_blank_node_reads_and_what_was_traced_is_blank_no_more():
    # PL1 has a resistor by now; on GONE nothing is: its pin was given another node
    assert read(TEXT).untraced == ("G1", "DA")


def test_two_pins_of_one_tube_are_still_nothing_traced():
    text = "mains 117 V 60 Hz\nP1 plug two-blade : line=L1, neutral=N1\nblank G\n"
    text += "V3 tube 50C5 : cathode=N1, 2=G, 3=L1, 4=N1, 5=G, screen=L1, plate=L1\n"
    assert read(text).untraced == ("G",)


def test_it_is_written_and_read_back():
    circuit = read(TEXT)
    assert read(write_circuit(circuit)) == circuit


def test_an_edit_fills_it_and_a_removed_part_takes_it_along():
    circuit = read(TEXT)
    leak = parse("R2 resistor 470k : G1 -- COMMON")
    filled = apply_edit(circuit, FitPart(leak))
    assert filled.untraced == ("DA",)
    assert apply_edit(circuit, RemovePart("V1")).blank_nodes == ()
    # what a job leaves is not taken for open where it was never traced
    assert "G1" not in as_left(circuit).open_nodes
    assert as_left(circuit).untraced == ("G1", "DA")


def test_an_attached_circuit_brings_its_blanks():
    both = apply_edit(read('circuit "set"\n'), AttachCircuit(read(TEXT), "A"))
    assert both.untraced == ("A/G1", "A/DA")


def test_the_check_cannot_clear_what_is_not_traced():
    isolated = """
    mains 117 V 60 Hz
    P1 plug three-pin : line=L1, neutral=N1, earth=CHASSIS
    F1 fuse 1 A 250 V : L1 -- L2
    S1 switch DPST 3 A 250 V : L2 -- L3, N1 -- N2
    T1 transformer : primary 117 V = L3 -- N2, heater 6.3 V = H1 -- H2
    LP1 lamp pilot 6.3 V 0.15 A : H1 -- H2
    W1 wire : H2 -- CHASSIS
    CH1 chassis : CHASSIS
    """
    assert check(read(isolated)).exit_status == 0
    more = isolated + "R1 resistor 1k : H1 -- X\n"
    report = check(read(more + "open X\n"))
    assert report.exit_status == 0
    report = check(read(more + "blank X\n"))
    assert report.exit_status == 1
    (blank,) = [caution for caution in report.cautions if caution.key == "blank"]
    assert (blank.part, blank.node, blank.weight) == ("R1", "X", "must")


def parse(line: str):
    circuit = read(f"{line}\nopen G1, COMMON\n")
    return circuit.parts[0]
