"""Taps of a winding by volts, turns or per cent; what is not stated is assumed with a note."""

from __future__ import annotations

import pytest

from rework.circuit.taps import tap_shares
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.solve.windings import windings


def read(line: str):
    nodes = [node for node in "ABCDEF" if f" {node}" in line]
    return read_circuit(f"{line}\nopen {', '.join(nodes)}\n", file="t.circuit")


def part(line: str):
    circuit, problems = read(line)
    assert circuit is not None, problems
    assert read_circuit(write_circuit(circuit), file="t.circuit")[0] == circuit
    return circuit.parts[0]


SECOND = ", secondary 6.3 V = E -- F"


@pytest.mark.parametrize(
    ("winding", "shares"),
    [
        ("primary 220 V tap 110 V tap 127 V = A -- B -- C -- D", (0.5, 127 / 220)),
        ("primary 220 V tap 50% tap 75 % = A -- B -- C -- D", (0.5, 0.75)),
        ("primary 220 V 2000 turns tap 500 turns tap 1500 turns = A -- B -- C -- D", (0.25, 0.75)),
        ("primary 220 V tap 110 V = A -- B -- C -- D", (0.5, None)),
        ("primary 220 V = A -- B -- C -- D", (None, None)),
    ],
)
def test_a_tap_is_where_the_file_states_it(winding, shares):
    nodes = part(f"TR1 transformer 20 VA : {winding}{SECOND}")
    assert tap_shares(nodes, "primary") == pytest.approx(shares)


def test_two_halves_have_their_tap_in_the_middle():
    supply = part(
        "TR1 transformer 20 VA : primary 117 V = A -- B, hv 250-0-250 V = C -- D -- E, core = F"
    )
    assert tap_shares(supply, "hv") == (0.5,)


@pytest.mark.parametrize(
    ("winding", "message"),
    [
        ("primary 220 V tap 127 V tap 110 V = A -- B -- C -- D", "not in order"),
        ("primary 220 V tap 240 V = A -- B -- C", "not in order"),
        ("primary 220 V tap 110 V tap 127 V = A -- B -- C", "2 taps of primary are stated, and 1"),
        ("primary 220 V tap = A -- B -- C", "the word tap needs a value after it"),
    ],
)
def test_taps_that_cannot_be_are_told(winding, message):
    circuit, problems = read(f"TR1 transformer 20 VA : {winding}{SECOND}")
    assert circuit is None
    assert message in problems[0].message


def turns(line: str):
    notes, faults = [], []
    wound, _ = windings(part(line), 50.0, lambda *told: faults.append(told), notes.append)
    assert not faults
    of_taps = [note for note in notes if "taps" in note and "ohms" not in note]
    return {one.row: one.turns for one in wound}, of_taps


def test_the_numbers_go_by_the_stated_taps_and_note_those_that_are_not_stated():
    """Volts along a winding go as its turns (the ideal autotransformer)."""
    rows, notes = turns("TR1 autotransformer 20 VA : winding 220 V tap 127 V = A -- B -- C")
    assert rows["TR1.winding.1"] == pytest.approx(127 / 220)
    assert rows["TR1.winding.2"] == pytest.approx(93 / 220)
    assert notes == []
    rows, notes = turns("TR1 autotransformer 20 VA : winding 220 V = A -- B -- C")
    assert rows["TR1.winding.1"] == pytest.approx(0.5)
    assert "taken as evenly spaced" in notes[0]


def test_stated_turns_make_the_ratio():
    rows, _ = turns(
        "TR1 transformer 20 VA : primary 220 V 2200 turns = A -- B, secondary 6 V 66 turns = C -- D"
    )
    assert rows["TR1.secondary"] == pytest.approx(0.03)
