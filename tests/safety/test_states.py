"""Which states are tried, and in which of them a node is hot."""

from __future__ import annotations

from hot_sets import checked, hazards, read

from rework.safety.states import states_to_try
from rework.safety.ties import worst_ties


def tried(text: str):
    circuit = read(text)
    return states_to_try(circuit, worst_ties(circuit))


def chain(count: int, style: str = "SPST") -> str:
    rows = [f"S{n} switch {style} : L{n} -- L{n + 1}" for n in range(1, count + 1)]
    return "\n".join(
        ["P1 plug two-blade : line=L1, neutral=N1", *rows, f"R1 resistor 1k : L{count + 1} -- N1"]
    )


def test_every_combination_of_a_few_switches_both_ways_round():
    assert len(tried(chain(3)).rows) == 2 * 2**3
    assert len(set(tried(chain(3)).rows)) == 16


def test_beyond_six_switches_all_on_all_off_and_one_at_a_time_and_it_is_said():
    found = tried(chain(9))
    assert len(found.rows) == 2 * (2 + 2 * 9)
    assert "9 switches are on tied nodes" in found.words
    assert "one at a time" in checked(chain(9)).note


def test_a_switch_off_the_mains_is_not_tried():
    text = chain(1) + "\nS9 switch : A -- B\nR2 resistor 1k : A -- B\n"
    assert [axis.names for axis in tried(text).axes[1:]] == [("S1",)]


def test_ganged_switches_move_together():
    text = """
P1 plug two-blade      : line=L1, neutral=N1
S1 switch              : L1 -- L2
S2 switch ganged S1    : N1 -- N2
R1 dummy load 1k       : L2 -- N2
"""
    assert len(tried(text).rows) == 4
    whens = {when.words() for when in hazards(checked(text))["L2"].when}
    assert whens == {"plug as drawn, S1 ON, connected directly"}


def test_umbilicals_are_tried_mated_and_pulled():
    text = """
P1 plug two-blade            : line=L1, neutral=N1
X1 connector socket mates X2 : 1=L1, 2=N1
X2 connector plug            : 1=A, 2=B
R1 dummy load 1k             : A -- B
"""
    assert len(tried(text).rows) == 4
    assert {when.words() for when in hazards(checked(text))["A"].when} == {
        "plug as drawn, X1 mated, connected directly"
    }


def test_a_node_between_two_loads_is_hot_both_ways_round():
    text = """
P1 plug two-blade : line=L1, neutral=N1
R1 dummy load 1k  : L1 -- MID
R2 dummy load 1k  : MID -- N1
"""
    assert {when.words() for when in hazards(checked(text))["MID"].when} == {
        "plug as drawn, any switch position, through R1",
        "plug reversed, any switch position, through R2",
    }


def test_what_hangs_on_the_cold_conductor_only_is_not_hot():
    text = """
P1 plug two-blade : line=L1, neutral=N1
R1 resistor 1k    : L1 -- N1
R2 dummy load 1k  : N1 -- END
open END
"""
    assert {when.words() for when in hazards(checked(text))["END"].when} == {
        "plug reversed, any switch position, through R2"
    }


def test_what_a_capacitor_hangs_on_a_load_is_hot_while_the_load_is():
    text = """
P1 plug two-blade  : line=L1, neutral=N1
S1 switch          : L1 -- L2
R1 resistor 1k     : L2 -- N1
C1 capacitor .1 uF : L2 -- CASE
CH1 chassis        : CASE
"""
    assert {when.words() for when in hazards(checked(text))["CASE"].when} == {
        "plug as drawn, S1 ON, through a capacitor: C1",
        "plug reversed, S1 OFF, through a capacitor: R1, C1",
    }
