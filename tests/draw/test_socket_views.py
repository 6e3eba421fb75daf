"""Sockets from below: where each pin stands, what is written at it, which ones moved."""

from __future__ import annotations

import math
from dataclasses import dataclass
from xml.etree import ElementTree

import pytest
from svg_reading import DEMOS, ROOT, STAGE, circuit_of, inside, overlap, text_of

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.sockets import socket_sheet
from rework.rules.job_file import run_job_file
from rework.tubes import library


@dataclass(frozen=True)
class View:
    """One socket as drawn: its heading, pins by label with their angle clockwise from the bottom,
    moved pins, texts.
    """

    heading: str
    turn: dict[str, float]
    moved: frozenset[str]
    texts: tuple
    dashed: bool

    @property
    def words(self) -> str:
        return " ".join(text.words for text in self.texts)


def views(svg: str) -> list[View]:
    return [_view(group) for group in ElementTree.fromstring(svg) if group.tag.endswith("}g")]


def _view(group) -> View:
    circles = {
        name: [
            (float(one.get("cx")), float(one.get("cy")))
            for one in group
            if one.get("class") == name
        ]
        for name in ("rim", "pin", "moved")
    }
    rim = next((one for one in group if one.get("class") == "rim"), None)
    texts = [text_of(one) for one in group if one.tag.endswith("}text")]
    label = {
        at: next(
            text.words
            for text in texts
            if abs((text.box[0] + text.box[2]) / 2 - at[0]) < 2
            and text.box[1] < at[1] < text.box[3]
        )
        for at in circles["pin"]
    }
    turn = {
        label[x, y]: (
            math.degrees(math.atan2(y - circles["rim"][0][1], x - circles["rim"][0][0])) - 90
        )
        for x, y in circles["pin"]
    }
    return View(
        texts[0].words,
        {pin: angle % 360 for pin, angle in turn.items()},
        frozenset(label[at] for at in circles["moved"]),
        tuple(texts),
        bool(rim is not None and rim.get("stroke-dasharray")),
    )


def socket_of(type_: str) -> View:
    tube = library.find(type_)
    pins = tuple(
        (pin, f"N{pin}")
        for pin in tube.socket_pins
        if tube.element(pin) not in ("absent", "none", "internal")
    )
    (view,) = views(socket_sheet(Circuit(parts=(Part("V1", "tube", type=type_, pins=pins),))))
    return view


@pytest.mark.parametrize(
    ("type_", "first", "apart"),
    [
        pytest.param("6AQ5", 45, 45, id="7-pin: a gap where pin 8 would stand"),
        pytest.param("ECL82", 36, 36, id="noval: a gap where pin 10 would stand"),
        pytest.param("6V6GT", 22.5, 45, id="octal: the key lies between pins 1 and 8"),
        pytest.param("35A5", 22.5, 45, id="loctal"),
        pytest.param("UL41", 22.5, 45, id="rimlock"),
    ],
)
def test_pins_run_clockwise_from_gap_or_key_at_the_bottom(type_, first, apart):
    turn = socket_of(type_).turn
    count = len(library.find(type_).socket_pins)
    assert [turn[str(pin)] for pin in range(1, count + 1)] == pytest.approx(
        [first + apart * number for number in range(count)], abs=0.5
    )


def test_each_pin_names_its_element_and_its_node():
    words = socket_of("6AQ5").words
    for pin, element in (
        ("1", "grid"),
        ("2", "cathode"),
        ("5", "plate"),
        ("6", "screen"),
        ("7", "grid"),
    ):
        assert element in words
        assert f"N{pin}" in words


def test_a_50c5_that_becomes_a_6aq5_has_its_moved_pins_ringed_and_told():
    before = Part(
        "V1",
        "tube",
        type="50C5",
        pins=(("1", "K"), ("2", "G"), ("3", "H1"), ("4", "H2"), ("5", "G"), ("6", "S"), ("7", "P")),
    )
    after = Part(
        "V1",
        "tube",
        type="6AQ5",
        pins=(("1", "G"), ("2", "K"), ("3", "H1"), ("4", "H2"), ("5", "P"), ("6", "S"), ("7", "G")),
    )
    old, new = views(socket_sheet(Circuit(parts=(after,)), before=Circuit(parts=(before,))))
    assert new.moved == {"1", "2", "5", "7"}
    assert not old.moved
    assert {"was pin 1", "was pin 7"} <= {text.words for text in new.texts}, (
        "the ring is not told by colour alone"
    )
    assert "before" in old.words
    assert old.dashed
    assert "after" in new.words
    assert not new.dashed


def test_a_tube_that_only_changes_its_heater_has_no_moved_pin():
    pins = tuple((str(pin), f"N{pin}") for pin in range(1, 8))
    old, new = (
        Circuit(parts=(Part("V1", "tube", type=type_, pins=pins),)) for type_ in ("12AU6", "6AU6")
    )
    assert not any(view.moved for view in views(socket_sheet(new, before=old)))


@pytest.mark.parametrize("demo", DEMOS)
def test_every_pin_of_every_socket_of_a_demo_is_there_and_no_words_collide(demo):
    done = run_job_file(str(ROOT / "circuits" / demo / f"{demo}.job"))
    svg = socket_sheet(done.after, before=done.before)
    seen = views(svg)
    width, height = (float(ElementTree.fromstring(svg).get(side)) for side in ("width", "height"))
    assert width > height, "lies as A4 does"
    for circuit in (done.before, done.after):
        for part in circuit.parts:
            if part.kind in ("tube", "socket"):
                heading = f"{part.name}  {part.type or 'empty socket'}"
                view = next(view for view in seen if view.heading == heading)
                assert {pin for pin, _ in part.pins} | set(part.unused) <= set(view.turn), heading
    for view in seen:
        hits = [
            (one.words, other.words)
            for at, one in enumerate(view.texts)
            for other in view.texts[at + 1 :]
            if overlap(one.box, other.box) > 2.5
        ]
        assert not hits, view.heading
        assert all(inside(text.box, (0, 0, 390, 270), 8) for text in view.texts), view.heading


def test_a_type_nobody_knows_gets_a_list_and_no_guessed_places():
    (view,) = views(
        socket_sheet(
            Circuit(parts=(Part("V1", "tube", type="ZZ99", pins=(("1", "A"), ("4", "B"))),))
        )
    )
    assert not view.turn
    assert "pin 4: B" in view.words
    assert "base not known" in view.words


def test_a_circuit_without_tubes_says_so():
    assert "There is no tube socket" in socket_sheet(Circuit())


def test_a_tie_point_on_a_free_pin_is_told():
    circuit = circuit_of(
        STAGE.replace(
            "V1  tube 50C5           :",
            "V1  tube 35W4           : 1=L1, 7=B1, 5=L1, 3=L1, 4=N1, unused 2 6\nV2  tube 50C5     "
            "      :",
        )
    )
    assert (
        "tie point"
        in next(
            view for view in views(socket_sheet(circuit)) if view.heading.startswith("V1")
        ).words
    )
