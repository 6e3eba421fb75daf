"""The two edits that make a trouble: a lead on another node, and a bridge."""

from __future__ import annotations

import pytest

from rework.circuit.circuit import Circuit
from rework.circuit.edits import Bridge, EditError, MoveLead, apply_edit
from rework.circuit.parts import Part

CIRCUIT = Circuit(
    parts=(
        Part("R1", "resistor", pins=(("1", "A"), ("2", "B"))),
        Part("R2", "resistor", pins=(("1", "B"), ("2", "C"))),
    )
)


def test_a_moved_lead_is_on_its_new_node_and_the_others_stay():
    moved = apply_edit(CIRCUIT, MoveLead("R1", "2", "C"))
    assert moved.part("R1").pins == (("1", "A"), ("2", "C"))
    assert moved.part("R2") == CIRCUIT.part("R2")


def test_a_lead_moved_to_a_node_of_its_own_is_off():
    moved = apply_edit(CIRCUIT, MoveLead("R1", "2", "OFF"))
    assert [part.name for part, _ in moved.at["OFF"]] == ["R1"]


def test_a_bridge_without_ohms_is_a_wire_and_with_ohms_a_resistor():
    wire = apply_edit(CIRCUIT, Bridge("A", "C")).parts[-1]
    leak = apply_edit(CIRCUIT, Bridge("A", "C", 30e3)).parts[-1]
    assert (wire.kind, wire.pins) == ("wire", (("1", "A"), ("2", "C")))
    assert (leak.kind, leak.value("resistance")) == ("resistor", 30e3)


@pytest.mark.parametrize(
    ("action", "words"),
    [
        (MoveLead("R1", "3", "C"), "R1 has nothing on pin 3"),
        (MoveLead("R9", "1", "C"), "no part R9"),
        (Bridge("A", "Z"), "no node Z"),
        (Bridge("A", "A"), "nothing to bridge"),
    ],
)
def test_what_cannot_be_made_is_refused(action, words):
    with pytest.raises(EditError, match=words):
        apply_edit(CIRCUIT, action)
