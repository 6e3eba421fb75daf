"""Where pictures come from: the renderer that pip brings along, and the machine's own dot only when
it is asked for.
"""

from __future__ import annotations

import re
import struct
import sys
from xml.etree import ElementTree

import pytest
from svg_reading import STAGE, circuit_of, drawing_of

from rework.draw.graph import render
from rework.draw.graph.render import CannotDraw, rendered
from rework.draw.graph.sources import source
from rework.draw.paper import to_pdf, to_png
from rework.draw.sockets import socket_sheet

SMALL = "graph { a -- b }"


@pytest.fixture
def own_dot(tmp_path, monkeypatch):
    """Put a program called dot first on the path; it draws something of its own."""
    program = tmp_path / "dot"
    program.write_text("#!/bin/sh\ncat > /dev/null\necho '<svg>from the system</svg>'\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")


def test_the_machines_dot_is_left_alone_unless_asked_for(own_dot):
    assert b"from the system" not in rendered(SMALL, "svg")
    assert b"from the system" in rendered(SMALL, "svg", renderer="system")


def test_a_missing_dot_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(CannotDraw, match="leave --renderer out, or install graphviz"):
        rendered(SMALL, "svg", renderer="system")


def test_a_missing_renderer_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr(sys, "executable", str(tmp_path / "python"))
    with pytest.raises(CannotDraw, match="pip install graphviz-pure"):
        rendered(SMALL, "svg")


def test_what_the_renderer_cannot_read_is_told_with_its_own_words():
    with pytest.raises(CannotDraw, match=r"could not draw this: .*syntax error"):
        rendered("graph {", "svg")


def test_a_renderer_that_hangs_is_given_up(tmp_path, monkeypatch):
    program = tmp_path / "dot"
    program.write_text("#!/bin/sh\nexec sleep 30\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    monkeypatch.setattr(render, "_SECONDS", 0.2)
    with pytest.raises(CannotDraw, match="did not finish"):
        rendered(SMALL, "svg", renderer="system")


@pytest.mark.parametrize("theme", ["light", "dark", "print"])
def test_a_circuit_and_its_sockets_come_out_as_svg_png_and_pdf(theme):
    circuit = circuit_of(STAGE)
    dot, sockets = source(circuit, theme=theme), socket_sheet(circuit, theme=theme)
    ElementTree.fromstring(sockets)
    assert drawing_of(rendered(dot, "svg")).title == "Output stage"
    for picture in (rendered(dot, "png"), to_png(sockets)):
        assert picture[:8] == b"\x89PNG\r\n\x1a\n"
        width, height = struct.unpack(">II", picture[16:24])
        assert width > 800
        assert height > 300
    for page in (rendered(dot, "pdf"), to_pdf([sockets])):
        assert page[:5] == b"%PDF-"
        assert len(re.findall(rb"/Type\s*/Page\b", page)) == 1


def test_the_same_circuit_gives_the_same_bytes_of_every_format():
    dot = source(circuit_of(STAGE))
    assert all(
        rendered(dot, format_) == rendered(dot, format_) for format_ in ("svg", "png", "pdf")
    )


def test_parts_nodes_and_pins_are_named_in_the_picture_itself():
    circuit = circuit_of(STAGE)
    for svg in (rendered(source(circuit), "svg").decode(), socket_sheet(circuit)):
        told = {
            what: {one.get(f"data-{what}") for one in ElementTree.fromstring(svg).iter()} - {None}
            for what in ("part", "node", "pin")
        }
        assert told["part"] == (set(circuit.by_name) if "graph" in svg else {"V1"})
        assert told["node"] == (
            set(circuit.at) if "graph" in svg else {node for _, node in circuit.by_name["V1"].pins}
        )
        assert {"V1.1", "V1.3"} <= told["pin"]


def test_a_wire_that_is_told_on_a_pin_is_named_there():
    svg = rendered(
        source(
            circuit_of(STAGE.replace("cathode=CATH", "cathode=KATH") + "W9 wire : KATH -- CATH\n")
        ),
        "svg",
    ).decode()
    assert 'data-part="W9"' in svg or 'data-wire="W9"' in svg


def test_a_pdf_is_one_page_of_a4():
    for picture in (
        rendered(source(circuit_of(STAGE)), "svg").decode(),
        socket_sheet(circuit_of(STAGE)),
    ):
        box = re.search(rb"/MediaBox ?\[ ?0 0 ([\d.]+) ([\d.]+) ?\]", to_pdf([picture]))
        assert sorted(float(side) for side in box.groups()) == pytest.approx(
            [595.28, 841.89], abs=0.5
        )
