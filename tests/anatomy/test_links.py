"""What lies between the terminals of each kind of part."""

from __future__ import annotations

import pytest

from rework.anatomy.links import closed_contacts, joints, links
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.language.resolve import read_circuit


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text, file="bench.circuit")
    assert not problems, [problem.message for problem in problems]
    assert circuit is not None
    return circuit


def how(part: Part) -> dict[tuple[str, str], str]:
    return {(link.a, link.b): link.how for link in links(part)}


def part(kind: str, *terminals: str, type_: str = "", words=(), settings=()) -> Part:
    return Part(
        "X1",
        kind,
        type=type_,
        words=tuple(words),
        settings=tuple(settings),
        pins=tuple((terminal, f"N{number}") for number, terminal in enumerate(terminals)),
    )


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("wire", "conductor"),
        ("trace", "conductor"),
        ("fuse", "conducts"),
        ("resistor", "conducts"),
        ("thermistor", "conducts"),
        ("lamp", "conducts"),
        ("choke", "conducts"),
        ("diode", "conducts"),
        ("selenium", "conducts"),
        ("dummy load", "conducts"),
        ("capacitor", "capacitor"),
        ("electrolytic", "capacitor"),
    ],
)
def test_two_terminal_parts_pass_current_both_ways(kind, expected):
    one, other = KINDS[kind].terminals
    assert how(part(kind, one, other)) == {(one, other): expected}


def test_primary_halves_are_not_isolated_from_one_another_but_from_the_rest():
    found = how(
        part(
            "transformer",
            "primary1.start",
            "primary1.finish",
            "primary2.start",
            "primary2.finish",
            "hv.start",
            "hv.finish",
            "heater.start",
            "heater.finish",
            "screen",
            "core",
        )
    )
    assert found["primary1.start", "primary1.finish"] == "conducts"
    assert found["primary1.start", "primary2.finish"] == "unproved"
    assert found["hv.start", "heater.finish"] == "unproved"
    assert (
        found["primary1.start", "hv.start"]
        == found["primary2.finish", "screen"]
        == found["hv.start", "core"]
        == "isolated"
    )


def test_a_transformer_without_a_primary_isolates_nothing():
    found = how(
        part("transformer", "secondary.start", "secondary.finish", "heater.start", "heater.finish")
    )
    assert found["secondary.start", "heater.finish"] == "unproved"


def test_a_winding_of_unknown_name_is_tied_to_all_others():
    found = how(
        part("transformer", "primary.start", "primary.finish", "mystery.start", "mystery.finish")
    )
    assert found["primary.start", "mystery.start"] == "unproved"


def test_a_screen_with_two_ends_is_a_winding():
    found = how(
        part(
            "transformer",
            "primary.start",
            "primary.finish",
            "screen.start",
            "screen.finish",
            "hv.start",
            "hv.finish",
        )
    )
    assert found["screen.start", "hv.start"] == "unproved"


def test_an_autotransformer_isolates_nothing():
    found = how(
        part(
            "autotransformer",
            "winding.start",
            "winding.tap",
            "winding.finish",
            "winding2.start",
            "winding2.finish",
            "core",
        )
    )
    assert "isolated" not in found.values()
    assert found["winding.start", "winding2.start"] == found["winding.start", "core"] == "unproved"


def test_an_output_transformer_isolates_primary_from_secondary():
    found = how(
        part(
            "output transformer",
            "primary.start",
            "primary.tap",
            "primary.finish",
            "secondary.start",
            "secondary.finish",
            "core",
        )
    )
    assert found["primary.start", "primary.tap"] == "conducts"
    assert (
        found["primary.finish", "secondary.start"] == found["primary.start", "core"] == "isolated"
    )


def test_cores_of_a_cable_are_apart_and_the_shield_is_apart_from_both():
    found = how(
        part("shielded cable", "core1.1", "core1.2", "core2.1", "core2.2", "shield.1", "shield.2")
    )
    assert found["core1.1", "core1.2"] == found["shield.1", "shield.2"] == "conductor"
    assert found["core1.1", "core2.1"] == found["core1.1", "shield.2"] == "isolated"


def test_heater_and_electrodes_of_a_tube_are_apart_and_units_are_apart():
    found = how(part("tube", "1", "2", "3", "4", "5", "6", "8", "9", type_="12AX7"))
    assert found["1", "3"] == found["4", "9"] == "conducts"
    assert found["3", "4"] == found["1", "6"] == "isolated"


@pytest.mark.parametrize("type_", ["117QQ9", ""])
def test_all_pins_of_an_unknown_tube_are_joined(type_):
    assert set(how(part("tube", "1", "2", "3", "4", "5", type_=type_)).values()) == {"conducts"}


def test_a_pin_the_tube_does_not_have_joins_everything():
    assert set(how(part("tube", "3", "4", "5", "7", "11", type_="35W4")).values()) == {"conducts"}


def test_internal_connections_go_anywhere():
    """A pin with an internal connection, once wired, joins all that the tube holds."""
    from rework.tubes import library

    known = next(
        tube
        for tube in map(library.find, library.types())
        if any("internal" in carried for _, carried in tube.elements) and len(tube.groups()) > 1
    )
    assert set(how(part("tube", *known.socket_pins, type_=known.type)).values()) >= {"conducts"}
    internal = next(pin for pin, carried in known.elements if "internal" in carried)
    wired = [pin for pin, carried in known.elements if not {"none", "absent"} & set(carried)]
    found = how(part("tube", *wired, type_=known.type))
    assert all(passes == "conducts" for pair, passes in found.items() if internal in pair)


def test_blades_contacts_and_a_jack_are_not_joined_but_the_break_contact_is():
    assert how(part("plug", "line", "neutral", "earth")) == {}
    assert how(part("connector", "1", "2", "3")) == {}
    assert how(part("socket", "1", "2")) == {}
    assert how(part("jack", "tip", "sleeve", "break")) == {("tip", "break"): "conducts"}


def test_metal_shaft_and_frame_are_not_isolated_a_plastic_shaft_is():
    assert (
        how(part("pot", "ccw", "wiper", "cw", "shaft", words=["metal-shaft"]))["ccw", "shaft"]
        == "unproved"
    )
    assert ("ccw", "shaft") not in how(
        part("pot", "ccw", "wiper", "cw", "shaft", words=["plastic-shaft"])
    )
    assert how(part("motor", "1", "2", "frame"))["1", "frame"] == "unproved"


@pytest.mark.parametrize(
    ("word", "terminals", "position", "closed"),
    [
        ("SPST", ("1", "2"), "ON", (("1", "2"),)),
        ("SPST", ("1", "2"), "OFF", ()),
        ("SPDT", ("pole", "throw1", "throw2"), "throw1", (("pole", "throw1"),)),
        ("SPDT", ("pole", "throw1", "throw2"), "throw2", (("pole", "throw2"),)),
        ("DPST", ("a.1", "a.2", "b.1", "b.2"), "ON", (("a.1", "a.2"), ("b.1", "b.2"))),
        ("DPST", ("a.1", "a.2", "b.1", "b.2"), "OFF", ()),
        ("SPST", ("1", "2"), "half way", (("1", "2"),)),
        ("SPST", ("1", "2", "9"), "OFF", (("1", "2", "9"),)),
    ],
)
def test_switch_positions_and_whatever_is_not_known_stays_closed(word, terminals, position, closed):
    assert closed_contacts(part("switch", *terminals, words=[word]), position) == closed


def test_mated_connectors_join_contacts_of_one_name_each_pair_once():
    circuit = read("""
X1 connector socket mates X2 : 1=A, 2=B, 3=C
X2 connector plug mates X1   : 1=D, 2=E, 4=F
R1 resistor 1k : A -- B
R2 resistor 1k : C -- D
R3 resistor 1k : E -- F
""")
    assert joints(circuit) == (("X1", "1", "X2", "1"), ("X1", "2", "X2", "2"))
