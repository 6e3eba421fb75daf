"""Volts are counted from the common that the rules mean too."""

from __future__ import annotations

import pytest

from rework.anatomy.amplifier import of
from rework.language.resolve import read_circuit
from rework.rules.facts import Facts
from rework.solve.assemble import assemble

BENCH = """circuit "one triode on a rectified line"
mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=X9
D1 diode silicon 1 A 400 V : L1 -- Q1
C1 electrolytic 40 uF 150 V : Q1 -- X9
V1 tube 6J5GT : 2=H1, 7=X9, 3=A, 5=G, 8=X9, unused 1
R2 resistor 400 ohm 50 W : L1 -- H1
R3 resistor 100k : Q1 -- A
R4 resistor 1M : G -- X9
"""


@pytest.mark.parametrize("name", ["COMMON", "GND", "BMINUS", "B-", "X9"])
def test_solver_rules_and_anatomy_mean_one_common(name):
    circuit, problems = read_circuit(BENCH.replace("X9", name))
    assert circuit is not None
    assert not problems
    network = assemble(circuit)
    assert of(circuit).common == Facts(circuit).common == {name}
    assert network.reference == name
    assert bool(network.notes) == (name == "X9")


def test_a_joined_name_is_a_name():
    circuit, problems = read_circuit(BENCH + "join COMMON X9\n")
    assert circuit is not None
    assert not problems
    assert assemble(circuit).node_of[assemble(circuit).reference] == -1
    assert not [note for note in assemble(circuit).notes if "is called" in note]


def test_a_supply_without_tubes_is_counted_from_where_its_filter_ends():
    """Both sides of the line have as many pins; B+ has a few volts of ripple against one only."""
    circuit, problems = read_circuit(
        """circuit "a rectifier off the line"
mains 230 V 50 Hz
P1 plug two-blade : line=A, neutral=Z
S1 switch SPST 1 A 250 V : A -- A2
D1 diode silicon 1 A 1000 V : A2 -- Q
C1 electrolytic 100 uF 400 V : Q -- Z
R1 resistor 4.7k 30 W : Q -- Z
"""
    )
    assert circuit is not None, problems
    network = assemble(circuit)
    assert network.reference == "Z"
    assert any("where the filter of B+ ends" in note for note in network.notes)
