"""The eight primitive edits on small circuits: what each leaves, and what it refuses with which
words.
"""

from __future__ import annotations

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    AttachCircuit,
    CutConductor,
    Edit,
    EditError,
    ExchangeTube,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    SetValue,
    apply_edit,
    replay,
)
from rework.circuit.graph import bipartite, contracted
from rework.circuit.parts import Part, Value
from rework.language.resolve import read_circuit


def circuit(text: str) -> Circuit:
    found, problems = read_circuit(text)
    assert found is not None, problems
    return found


STAGE = circuit("""
K1  trace            : V1.4 -- COMMON
V1  tube 12AU6       : grid=G, suppressor=COMMON, 3=H1, plate=P, screen=B, cathode=COMMON
R1  resistor 220k    : B -- P
R2  resistor 1M      : G -- COMMON
C1  electrolytic 47u : B -- COMMON
touchable COMMON
open H1
""")


def test_cutting_a_trace_leaves_its_two_ends_apart():
    after = apply_edit(STAGE, CutConductor("K1"))
    assert after.part("K1") is None
    assert after.part("V1").node("4") == "V1-4"
    assert STAGE.part("K1") is not None, "the circuit before stays as it was"


def test_only_conductors_can_be_cut():
    with pytest.raises(EditError, match="R1 is not a trace"):
        apply_edit(STAGE, CutConductor("R1"))


def test_a_lifted_pin_is_on_nothing_and_a_wire_finds_it_there():
    lifted = apply_edit(STAGE, LiftPin("V1", "1"))
    assert lifted.part("V1").node("1") is None
    assert "1" in lifted.part("V1").unused
    wired = apply_edit(lifted, RunWire(Part("W1", "wire", pins=(("1", "V1.1"), ("2", "B")))))
    assert wired.part("W1").node("1") == wired.part("V1").node("1") == "V1-1"
    assert [terminal for terminal, _ in wired.part("V1").pins] == [
        "1",
        "2",
        "3",
        "4",
        "5",
        "6",
        "7",
    ]


def test_lifting_twice_is_refused():
    lifted = apply_edit(STAGE, LiftPin("V1", "1"))
    with pytest.raises(EditError, match="V1 has nothing on pin 1"):
        apply_edit(lifted, LiftPin("V1", "1"))


def test_a_wire_to_a_pin_that_is_not_there_is_refused():
    with pytest.raises(EditError, match="V1 has no pin 9"):
        apply_edit(STAGE, RunWire(Part("W1", "wire", pins=(("1", "V1.9"), ("2", "B")))))


def test_what_is_said_of_a_node_goes_with_its_last_pin():
    after = apply_edit(STAGE, LiftPin("V1", "3"))
    assert after.open_nodes == ()
    assert after.touchable == ("COMMON",)


def test_names_are_taken_once():
    with pytest.raises(EditError, match="there is a part R1 already"):
        apply_edit(STAGE, FitPart(Part("R1", "resistor", pins=(("1", "B"), ("2", "P")))))
    with pytest.raises(EditError, match="there is no part R9"):
        apply_edit(STAGE, RemovePart("R9"))


def test_a_set_value_changes_the_value_only():
    after = apply_edit(STAGE, SetValue("R1", (Value("resistance", 100e3),)))
    assert after.part("R1").value("resistance") == 100e3
    assert after.part("R1").pins == STAGE.part("R1").pins


def test_an_exchanged_tube_carries_what_it_is_given():
    after = apply_edit(STAGE, ExchangeTube("V1", "6AU6", STAGE.part("V1").pins, ()))
    assert after.part("V1").type == "6AU6"


def test_an_attached_circuit_is_led_by_its_name_in_every_respect():
    supply = circuit("""
    X1 connector socket         : 1=BP, 2=C
    X2 connector plug mates X1  : 1=UB, 2=UC
    R1 resistor 10k             : BP -- C
    port bplus = UB, common = UC
    """)
    after = apply_edit(STAGE, AttachCircuit(supply, "SUPPLY"))
    assert after.part("SUPPLY/X2").setting("mates") == "SUPPLY/X1"
    assert after.part("SUPPLY/R1").node("1") == "SUPPLY/BP"
    assert ("SUPPLY/bplus", "SUPPLY/UB") in after.ports
    with pytest.raises(EditError, match="under another name than SUPPLY"):
        apply_edit(after, AttachCircuit(supply, "SUPPLY"))


def test_replaying_gives_the_same_circuit():
    edits = (
        Edit(CutConductor("K1")),
        Edit(LiftPin("V1", "4")),
        Edit(RunWire(Part("W1", "wire", pins=(("1", "V1.4"), ("2", "B"))))),
    )
    assert replay(STAGE, edits) == replay(STAGE, edits)


names = st.sampled_from("ABCDEFGH")


@given(
    st.lists(
        st.tuples(st.sampled_from(["wire", "resistor"]), names, names), min_size=1, max_size=25
    )
)
def test_contraction_agrees_with_networkx(rows):
    """Oracle: networkx connected components over the wires alone."""
    whole = Circuit(
        parts=tuple(
            Part(f"X{i}", kind, pins=(("1", one), ("2", other)))
            for i, (kind, one, other) in enumerate(rows)
        )
    )
    graph = networkx.Graph()
    graph.add_nodes_from(whole.nodes)
    graph.add_edges_from((one, other) for kind, one, other in rows if kind == "wire")
    expected = {
        node: min(component)
        for component in networkx.connected_components(graph)
        for node in component
    }
    assert contracted(whole) == expected


def test_the_bipartite_graph_keeps_parallel_parts_and_every_pin():
    graph = bipartite(
        circuit(
            "R1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\nW1 wire : A -- A\nW2 wire : B -- B"
        )
    )
    assert graph.degree(("node", "A")) == 4
    assert networkx.is_bipartite(networkx.Graph(graph))
    assert graph.number_of_edges() == 8


def test_parts_are_equal_however_their_values_and_words_were_ordered():
    written = (
        "R1 resistor 10% bleeder 22k wirewound 10 W : A -- B",
        "R1 resistor wirewound bleeder 10 W 22k 10% : A -- B",
    )
    first, second = (read_circuit(f"{line}\nR2 resistor 1k : A -- B\n")[0] for line in written)
    assert first == second
    assert [value.text for value in first.by_name["R1"].values] == ["22k", "10 W", "10%"]
    wound = ("primary dcr 9 ohm 117 V = A -- B", "primary 117 V dcr 9 ohm = A -- B")
    assert (
        len(
            {
                read_circuit(f"T1 transformer : {winding}, hv 5 V = A -- B\n")[0].parts
                for winding in wound
            }
        )
        == 1
    )
