"""Switches of any number of poles and throws, and the position each is drawn in."""

from __future__ import annotations

import pytest

from rework.anatomy.links import closed_contacts, positions
from rework.circuit.parts import drawn_position
from rework.circuit.switches import style_named
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit


def read(line: str, more: str = ""):
    circuit, problems = read_circuit(f"{line}\n{more}", file="s.circuit")
    return circuit, problems


def switch(line: str, nodes: str = "A, B, C, D, E, F"):
    circuit, problems = read(line, f"open {nodes}\n")
    assert circuit is not None, problems
    assert read_circuit(write_circuit(circuit), file="s.circuit")[0] == circuit
    return circuit.parts[0]


@pytest.mark.parametrize(
    ("word", "poles", "throws"),
    [
        ("SPST", 1, 1),
        ("DPDT", 2, 2),
        ("SP3T", 1, 3),
        ("2P6T", 2, 6),
        ("3PDT", 3, 2),
        ("TPST", 3, 1),
    ],
)
def test_a_style_is_read_by_the_trades_letters_and_numbers(word, poles, throws):
    style = style_named(word)
    assert (style.poles, style.throws) == (poles, throws)


@pytest.mark.parametrize("word", ["PT", "SP", "0PDT", "99PST", "SPXT", "spdt"])
def test_what_is_no_style_is_none(word):
    assert style_named(word) is None


def test_three_positions_and_the_one_it_is_drawn_in():
    selector = switch("S2 switch SP3T in throw2 : A -- B -- C -- D", "A, B, C, D")
    assert positions(selector) == ("throw1", "throw2", "throw3")
    assert drawn_position(selector) == "throw2"
    assert closed_contacts(selector, "throw2") == (("pole", "throw2"),)


def test_a_switch_that_says_nothing_is_drawn_in_its_last_position():
    assert drawn_position(switch("S1 switch : A -- B", "A, B")) == "ON"
    assert drawn_position(switch("S1 switch in OFF : A -- B", "A, B")) == "OFF"


def test_a_centre_off_switch_joins_nothing_in_the_middle():
    toggle = switch("S1 switch DPDT centre-off : A -- B -- C, D -- E -- F")
    assert positions(toggle) == ("OFF", "throw1", "throw2")
    assert closed_contacts(toggle, "OFF") == ()
    assert closed_contacts(toggle, "throw1") == (("a.pole", "a.throw1"), ("b.pole", "b.throw1"))


@pytest.mark.parametrize(
    ("text", "message", "expected"),
    [
        ("S1 switch in half : A -- B", "S1 has no position half", "one of OFF, ON"),
        ("S1 switch SPDT : A -- B", "a switch is not connected like this", "pole -- throw1"),
        (
            "S1 switch ganged S1 : A -- B",
            "S1 cannot be ganged to itself",
            "the name of another switch",
        ),
        (
            "S1 switch ganged S2 : A -- B\nS2 switch SP3T : A -- B -- C -- D",
            "S1 has 2 positions and S2, on the same shaft, 3",
            "as many positions",
        ),
        (
            "X1 connector mates X1 : 1=A, 2=B",
            "X1 cannot be mated with itself",
            "the name of another connector",
        ),
    ],
)
def test_what_cannot_be_is_a_problem(text, message, expected):
    nodes = ", ".join(sorted({word for word in "ABCD" if f" {word}" in text or f"={word}" in text}))
    circuit, problems = read(text, f"open {nodes}\n")
    assert circuit is None
    assert [problem.message for problem in problems] == [message]
    assert expected in problems[0].expected


def test_pole_and_throw_are_explained():
    _, problems = read("S1 switch SPDT : A -- B", "open A, B\n")
    assert "the pole (the contact that moves)" in problems[0].hint


def test_a_part_with_both_ends_on_one_node_is_cautioned():
    circuit, problems = read("R1 resistor 1k : A -- A")
    assert circuit is not None
    assert problems[0].message == "both ends of R1 are on the node A, so it does nothing"


def test_the_position_of_a_pot_is_read():
    circuit, _ = read("R1 pot 500k at 30 % : ccw=A, wiper=B, cw=C", "open A, B, C\n")
    assert circuit.parts[0].value("fraction", role="at") == 0.3
