"""Given two netlists, what does the bench have to change?

Order, names of nodes and turned resistors are nothing.
"""

from __future__ import annotations

import json
import random
import time
from dataclasses import replace

import pytest
from boards import ohms, output_stage, random_circuit, random_circuits, renamed, tube, two
from hypothesis import given
from hypothesis import strategies as st

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.edits import (
    AttachCircuit,
    CutConductor,
    ExchangeTube,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    SetValue,
    apply_edit,
)
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, Value
from rework.compare.difference import difference
from rework.compare.entries import (
    Difference,
    Merge,
    Opening,
    PinMove,
    PortMoved,
    Reversal,
    Seat,
    Split,
    TubeExchange,
)
from rework.compare.sentences import describe


def entries(found: Difference) -> list[object]:
    """Return every entry of a difference but the renamed nodes."""
    listed = [
        entry
        for field in (
            "added",
            "removed",
            "changed",
            "exchanged",
            "moved",
            "reversed",
            "opened",
            "joined",
            "cut",
            "run",
            "split",
            "merged",
            "ports",
        )
        for entry in getattr(found, field)
    ]
    return listed + [
        entry for entry in (*found.in_reach, *found.out_of_reach, found.mains, found.title) if entry
    ]


def mirrored(found: Difference) -> Difference:
    """Return what the difference would be with the two circuits exchanged, apart from the order
    within each kind.
    """

    def attribute(one):
        return replace(one, before=one.after, after=one.before)

    return Difference(
        added=found.removed,
        removed=found.added,
        cut=found.run,
        run=found.cut,
        changed=tuple(
            replace(one, attributes=tuple(map(attribute, one.attributes))) for one in found.changed
        ),
        exchanged=tuple(
            TubeExchange(
                one.part,
                one.type_after,
                one.type,
                tuple(
                    Seat(seat.node_after, seat.node, seat.pins_after, seat.pins)
                    for seat in one.moves
                ),
            )
            for one in found.exchanged
        ),
        moved=tuple(
            PinMove(one.part, one.type, one.terminal_after, one.terminal, one.after, one.before)
            for one in found.moved
        ),
        reversed=tuple(
            replace(one, nodes=one.nodes_after, nodes_after=one.nodes) for one in found.reversed
        ),
        opened=found.joined,
        joined=found.opened,
        split=tuple(Split(one.into, one.nodes) for one in found.merged),
        merged=tuple(Merge(one.into, one.node) for one in found.split),
        in_reach=found.out_of_reach,
        out_of_reach=found.in_reach,
        ports=tuple(PortMoved(one.name, one.after, one.before) for one in found.ports),
        mains=found.mains and found.mains[::-1],
        title=found.title and found.title[::-1],
        renamed=tuple((other, one) for one, other in found.renamed),
    )


def in_any_order(found: Difference) -> list[str]:
    """Return the entries as texts, sorted; the order of pins within a seat is of no account."""

    def tidy(exchange):
        return replace(exchange, moves=tuple(sorted(exchange.moves, key=repr)))

    found = replace(found, exchanged=tuple(map(tidy, found.exchanged)))
    return sorted(map(repr, [*entries(found), *found.renamed]))


def test_a_part_taken_out_and_a_part_put_in():
    before = output_stage()
    after = apply_edit(
        apply_edit(before, RemovePart("C2")), FitPart(two("R9", "resistor", "SP", "COMMON", 100))
    )
    found = difference(before, after)
    assert [part.name for part in found.removed] == ["C2"]
    assert [part.name for part in found.added] == ["R9"]
    assert len(entries(found)) == 2
    assert describe(found) == (
        "C2 is taken out: electrolytic, K to COMMON.",
        "R9 is new: resistor 100 ohm, SP to COMMON.",
    )


def test_a_conductor_cut_and_a_conductor_run_are_told_as_such():
    before = output_stage()
    after = apply_edit(
        apply_edit(before, CutConductor("W1")), RunWire(two("W2", "wire", "V3.3", "SP"))
    )
    found = difference(before, after)
    assert [part.name for part in found.cut] == ["W1"]
    assert [part.name for part in found.run] == ["W2"]
    assert describe(found) == ("W1 is cut: wire, H1 to COMMON.", "W2 is run: wire, H1 to SP.")


def test_a_value_changed():
    before = output_stage()
    found = difference(
        before, apply_edit(before, SetValue("R2", ohms(270, "270 ohm"), ("wirewound",)))
    )
    assert describe(found) == ("R2: resistance 150 ohm, now 270 ohm; words wirewound is new.",)


def test_the_same_amount_written_in_another_way_is_no_difference():
    part = Part(
        "C1",
        "capacitor",
        values=(Value("capacitance", 0.05 * 1e-6, text=".05 uF"),),
        pins=(("1", "A"), ("2", "A")),
    )
    other = replace(part, values=(Value("capacitance", 50 * 1e-9, text="50n"),))
    assert difference(Circuit(parts=(part,)), Circuit(parts=(other,))).is_empty


def test_a_winding_with_other_volts_is_a_change_of_that_winding():
    pins = (("heater.start", "A"), ("heater.finish", "B"))
    part = Part(
        "T1",
        "transformer",
        pins=pins,
        windings=(("heater", (Value("voltage", 6.3, text="6.3 V"),)),),
    )
    other = replace(part, windings=(("heater", (Value("voltage", 12.6, text="12.6 V"),)),))
    assert describe(difference(Circuit(parts=(part,)), Circuit(parts=(other,)))) == (
        "T1: heater voltage 6.3 V, now 12.6 V.",
    )


def test_a_part_of_another_kind_is_one_part_out_and_one_in():
    before = output_stage()
    after = apply_edit(
        apply_edit(before, RemovePart("R3")), FitPart(two("R3", "choke", "B1", "B2"))
    )
    found = difference(before, after)
    assert [part.kind for part in found.removed] == ["resistor"]
    assert [part.kind for part in found.added] == ["choke"]
    assert len(entries(found)) == 2


def test_a_pin_moved_is_told_once():
    before = output_stage()
    r3 = replace(before.part("R3"), pins=(("1", "B1"), ("2", "SP")))
    found = difference(
        before, before.with_parts(tuple(r3 if part.name == "R3" else part for part in before.parts))
    )
    assert entries(found) == [PinMove("R3", "", "2", "2", "B2", "SP")]
    assert describe(found) == ("R3.2 is disconnected from B2 and connected to SP.",)


def test_a_pin_lifted_stays_on_nothing():
    before = output_stage()
    found = difference(before, apply_edit(before, LiftPin("V3", "3")))
    assert entries(found) == [PinMove("V3", "50C5", "3", "3", "H1", None)]
    words = describe(
        found, pin=lambda part, type_, terminal: f"{part} pin {terminal} of the {type_}"
    )
    assert words == ("V3 pin 3 of the 50C5 is disconnected from H1 and left open.",)


def test_a_resistor_turned_round_and_moved_is_told_by_both_its_ends():
    before = Circuit(
        parts=(
            two("R1", "resistor", "A", "B", 1),
            two("D1", "diode", "A", "B"),
            two("D2", "diode", "B", "C"),
            two("D3", "diode", "C", "A"),
        )
    )
    after = before.with_parts((two("R1", "resistor", "C", "A", 1), *before.parts[1:]))
    assert entries(difference(before, after)) == [PinMove("R1", "", "2", "1", "B", "C")]


def test_a_diode_turned_round_is_a_difference():
    before = Circuit(
        parts=(
            two("D1", "diode", "A", "B"),
            two("R1", "resistor", "A", "C", 1),
            two("R2", "resistor", "B", "C", 2),
        )
    )
    after = before.with_parts((two("D1", "diode", "B", "A"), *before.parts[1:]))
    found = difference(before, after)
    leads = ("anode", "cathode")
    assert entries(found) == [Reversal("D1", "", leads, ("A", "B"), ("B", "A"), True)]
    assert describe(found) == ("D1 is reversed: anode is on B, cathode on A.",)


def test_two_heater_leads_exchanged_are_one_thing():
    before = output_stage()
    v3 = replace(
        before.part("V3"),
        pins=tuple(
            (pin, {"3": "H2", "4": "H1"}.get(pin, node)) for pin, node in before.part("V3").pins
        ),
    )
    after = before.with_parts((v3, *before.parts[1:]))
    assert describe(difference(before, after)) == ("V3.3 and V3.4 are exchanged: on H2 and H1.",)


def test_an_open_connection_of_two_pins_names_both():
    before = Circuit(
        parts=(
            two("R1", "resistor", "A", "B", 1),
            two("R2", "resistor", "B", "C", 2),
            two("R3", "resistor", "C", "A", 3),
        )
    )
    after = before.with_parts((two("R1", "resistor", "A", "LOOSE", 1), *before.parts[1:]))
    row = Opening("B", (("R1", "2"), ("R2", "1")), ("", ""))
    assert entries(difference(before, after)) == [row]
    assert describe(difference(before, after)) == (
        "R1.2 and R2.1 are no longer connected to each other (node B).",
    )
    assert describe(difference(after, before)) == (
        "R1.2 and R2.1 are now connected to each other; before, each was open.",
    )


@pytest.mark.parametrize(
    ("part", "turned"),
    [
        (
            Part(
                "S1",
                "switch",
                words=("DPST",),
                pins=(("a.1", "A"), ("a.2", "B"), ("b.1", "C"), ("b.2", "D")),
            ),
            (("a.1", "B"), ("a.2", "A"), ("b.1", "C"), ("b.2", "D")),
        ),
        (
            Part(
                "W1",
                "shielded cable",
                pins=(("core1.1", "A"), ("core1.2", "B"), ("core2.1", "C"), ("core2.2", "D")),
            ),
            (("core1.1", "A"), ("core1.2", "B"), ("core2.1", "D"), ("core2.2", "C")),
        ),
        (
            Part("D1", "bridge", pins=(("ac1", "A"), ("ac2", "B"), ("plus", "C"), ("minus", "D"))),
            (("ac1", "B"), ("ac2", "A"), ("plus", "C"), ("minus", "D")),
        ),
        (
            Part("C1", "electrolytic", words=("bipolar",), pins=(("plus", "A"), ("minus", "B"))),
            (("plus", "B"), ("minus", "A")),
        ),
    ],
)
def test_what_may_be_turned_round_may(part, turned):
    frame = tuple(two(f"X{node}", "diode", node, "Z") for node in "ABCD")
    assert difference(
        Circuit(parts=(part, *frame)), Circuit(parts=(replace(part, pins=turned), *frame))
    ).is_empty


def test_an_exchanged_tube_with_moved_pins_is_one_entry():
    before = output_stage()
    after = apply_edit(
        before,
        ExchangeTube(
            "V3",
            "6AQ5",
            tuple(
                {"1": "G", "2": "K", "3": "H1", "4": "H2", "5": "PL", "6": "B2", "7": "G"}.items()
            ),
            (),
        ),
    )
    found = difference(before, after)
    assert entries(found) == [
        TubeExchange(
            "V3",
            "50C5",
            "6AQ5",
            (
                Seat("G", "G", ("2", "5"), ("1", "7")),
                Seat("K", "K", ("1",), ("2",)),
                Seat("PL", "PL", ("7",), ("5",)),
            ),
        )
    ]
    assert describe(found) == (
        (
            "V3 is a 6AQ5 in place of the 50C5; G moves from V3.2 and V3.5 to V3.1 and V3.7; K"
            " moves from V3.1 to V3.2; PL moves from V3.7 to V3.5."
        ),
    )


def test_tubes_that_stand_alone_on_the_heater_string_still_know_their_nodes():
    before = Circuit(
        parts=(
            tube("V1", "12AU6", p3="H1", p4="H2"),
            tube("V2", "12AV6", p3="H2", p4="H3"),
            tube("V3", "50C5", p3="H3", p4="H1"),
        )
    )
    after = Circuit(
        parts=(
            tube("V1", "6AU6", p3="X", p4="Y"),
            tube("V2", "6AV6", p3="Y", p4="Z"),
            tube("V3", "6CU5", p3="Z", p4="X"),
        )
    )
    found = difference(before, after)
    assert [exchange.moves for exchange in found.exchanged] == [(), (), ()]
    assert not found.moved
    assert found.renamed == (("H1", "X"), ("H2", "Y"), ("H3", "Z"))


def test_a_node_split_in_two_is_told_as_one_thing():
    before = output_stage()
    lifted = {"C2": "minus", "C3": "minus", "R1": "2"}
    after = before.with_parts(
        tuple(
            replace(
                part,
                pins=tuple(
                    (pin, "QUIET" if lifted.get(part.name) == pin else node)
                    for pin, node in part.pins
                ),
            )
            for part in before.parts
        )
    )
    assert entries(difference(before, after)) == [Split("COMMON", ("COMMON", "QUIET"))]
    assert entries(difference(after, before)) == [Merge(("COMMON", "QUIET"), "COMMON")]
    assert describe(difference(before, after)) == ("Node COMMON is split into COMMON and QUIET.",)


def test_what_is_said_of_nodes_follows_them_through_a_new_name():
    before = output_stage()
    moves = {"SP": "VOICE", "B1": "PLUS"}
    after = replace(
        before,
        parts=tuple(part.rebound(moves) for part in before.parts),
        touchable=("VOICE",),
        ports=(("bplus", "PLUS"),),
    )
    found = difference(before, after)
    assert found.is_empty
    assert found.renamed == (("B1", "PLUS"), ("SP", "VOICE"))
    assert describe(found) == ()


def test_reach_ports_mains_and_title():
    before = output_stage()
    after = replace(
        before,
        title="Reworked",
        mains=Mains(120, 60),
        touchable=("K",),
        ports=(("bplus", "B2"), ("common", "COMMON")),
    )
    assert describe(difference(before, after)) == (
        "Node K is now named as touchable.",
        "Node SP is no longer named as touchable.",
        "Port bplus moves from B1 to B2.",
        "Port common on COMMON is new.",
        "The mains were 117 V 60 Hz and are 120 V 60 Hz.",
        'The title was "Output stage" and is "Reworked".',
    )


def test_an_attached_supply_is_all_new_parts():
    before = output_stage()
    supply = Circuit(parts=(two("R1", "resistor", "A", "B", 1), two("R2", "resistor", "A", "B", 2)))
    found = difference(before, apply_edit(before, AttachCircuit(supply, "SUPPLY")))
    assert [part.name for part in found.added] == ["SUPPLY/R1", "SUPPLY/R2"]
    assert len(entries(found)) == 2


def test_the_json_is_plain_and_says_whether_anything_differs():
    before = output_stage()
    after = apply_edit(apply_edit(before, RemovePart("C2")), LiftPin("V3", "3"))
    told = json.loads(json.dumps(difference(before, after).as_json()))
    assert told["same"] is False
    assert told["removed"] == [
        {
            "part": "C2",
            "kind": "electrolytic",
            "type": "",
            "values": [],
            "words": [],
            "pins": {"plus": "K", "minus": "COMMON"},
        }
    ]
    assert told["moved"] == [
        {
            "part": "V3",
            "type": "50C5",
            "terminal": "3",
            "terminal_after": "3",
            "before": "H1",
            "after": None,
        }
    ]
    assert told["mains"] is None
    assert difference(before, before).as_json()["same"] is True


@given(random_circuits(), st.randoms(use_true_random=False))
def test_other_node_names_other_order_and_turned_parts_are_no_difference(circuit, chance):
    assert difference(circuit, renamed(circuit, chance)).is_empty


@given(random_circuits(), random_circuits(), st.randoms(use_true_random=False))
def test_seen_from_the_other_side_a_difference_is_its_mirror(one, other, chance):
    shuffled = list(other.parts)
    chance.shuffle(shuffled)
    other = other.with_parts(tuple(shuffled))
    assert in_any_order(mirrored(difference(one, other))) == in_any_order(difference(other, one))


@given(random_circuits(), st.randoms(use_true_random=False))
def test_one_edit_is_one_entry(circuit, chance):
    part = chance.choice(circuit.parts)
    marks = [two(f"D{end}{node}", "diode", node, "MARK") for node in circuit.nodes for end in "ab"]
    circuit = circuit.with_parts((*circuit.parts, *marks))
    others = [node for node in circuit.nodes if node not in dict(part.pins).values()]
    choices = ["value", "remove", "fit", "lift", *(["move"] if others else [])]
    what = chance.choice(choices)
    if what == "value":
        after, field = apply_edit(circuit, SetValue(part.name, ohms(330))), "changed"
    elif what == "remove":
        after, field = (
            circuit.with_parts(tuple(p for p in circuit.parts if p.name != part.name)),
            "cut" if part.is_conductor else "removed",
        )
    elif what == "fit":
        after, field = (
            apply_edit(
                circuit, FitPart(two("NEW", "resistor", circuit.nodes[0], circuit.nodes[-1], 5))
            ),
            "added",
        )
    else:
        terminal = chance.choice(part.pins)[0]
        pins = tuple(
            (
                (pin, chance.choice(others) if what == "move" else None)
                if pin == terminal
                else (pin, at)
            )
            for pin, at in part.pins
        )
        pins = tuple(pin for pin in pins if pin[1] is not None)
        after, field = (
            circuit.with_parts(
                tuple(replace(p, pins=pins) if p.name == part.name else p for p in circuit.parts)
            ),
            "moved",
        )
    found = difference(circuit, after)
    assert len(entries(found)) == 1
    assert getattr(found, field)


def test_five_times_the_parts_take_some_five_times_as_long_to_compare():
    took = []
    for size in (1000, 5000):
        chance = random.Random(5)
        before = random_circuit(chance, size)
        after = apply_edit(renamed(before, chance), SetValue("X77", ohms(330)))
        start = time.process_time()
        found = difference(before, after)
        took.append(time.process_time() - start)
    assert took[1] / took[0] < 15, "by the square it would be 25"
    assert [change.part for change in found.changed] == ["X77"]
    assert len(entries(found)) == 1


def test_every_kind_can_be_compared_with_itself():
    for kind in KINDS.values():
        part = Part(
            "A1", kind.name, pins=tuple((terminal, f"N{terminal}") for terminal in kind.terminals)
        )
        assert difference(Circuit(parts=(part,)), Circuit(parts=(part,))).is_empty
