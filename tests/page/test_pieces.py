"""What the page is told, without a browser: the same as the report says, nothing lost, nothing
markup.
"""

from __future__ import annotations

import itertools
import json

import pytest
from serving import CIRCUITS

from rework.page import pieces
from rework.page.board import Board
from rework.page.figures import volts_words
from rework.page.hot import Hot
from rework.page.index import index
from rework.page.netlist import netlist
from rework.page.record import with_reading
from rework.page.scene import scene
from rework.report.table import Column, Table
from rework.rules.job_file import run_job_file
from rework.safety.check import check

DEMOS = sorted(path.stem for path in CIRCUITS.glob("*/*.job"))


@pytest.fixture(scope="module")
def runs():
    return {name: run_job_file(str(CIRCUITS / name / f"{name}.job")) for name in DEMOS}


@pytest.mark.parametrize("name", DEMOS)
def test_every_edit_is_told_at_its_part_and_in_its_step(runs, name):
    run = runs[name]
    told = pieces.parts(run)
    assert sum(len(step["edits"]) for step in pieces.steps(run)) == len(run.edits)
    assert all(
        told[part]["edits"] for part in {pieces.subject(edit) for edit in run.edits} & told.keys()
    )


@pytest.mark.parametrize("name", DEMOS)
def test_a_node_stands_in_every_state_as_the_report_says(runs, name):
    for circuit in (runs[name].before, runs[name].after):
        report = check(circuit)
        ties = Hot(circuit).ties(report)
        assert {one.node for one in (*report.hazards, *report.live)} <= ties["nodes"].keys()
        for hazard in report.hazards:
            assert [one["words"] for one in ties["nodes"][hazard.node]["when"]] == [
                when.words() for when in hazard.when
            ]
        assert len(ties["rows"]) == len(set(map(tuple, ties["rows"])))
        for row, node in itertools.product(ties["rows"], ties["nodes"]):
            way = Hot(circuit).way(node, tuple(row)) if row == ties["rows"][0] else None
            now = {
                axis["name"]: axis["values"][number]
                for axis, number in zip(ties["axes"], row, strict=True)
            }
            hot = any(
                all(now[axis] in values for axis, values in one["sets"].items())
                for one in ties["nodes"][node]["when"]
            )
            if way is not None and hot:
                assert way["words"].endswith(node)


def test_a_scene_holds_shapes_and_texts_only():
    svg = (
        b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><g class="graph"><polygon'
        b' points="0,0 9,9"/><g class="node" data-part="R1" onclick="x()"><script>x()</script><text'
        b' x="1" y="2" onload="x()">&lt;b&gt;</text><a href="http://e.example"><rect x="0" y="0"'
        b' width="1" height="1" style="x"/></a></g></g></svg>'
    )
    told = scene(svg)
    (group,) = told["groups"]
    assert group["facts"] == {"part": "R1"}
    assert group["shapes"] == [
        ["text", {"x": "1", "y": "2"}, "<b>"],
        ["rect", {"x": "0", "y": "0", "width": "1", "height": "1"}, ""],
    ]
    assert "script" not in json.dumps(told)
    assert "example" not in json.dumps(told)


def test_a_heater_that_is_wired_anew_is_told_as_rewired(runs):
    told = pieces.parts(runs["hostel"])["V1"]
    assert told["before"]["what"] == told["after"]["what"] == "tube 12AX7"
    assert told["state"] == "rewired", "its tap is in use now"
    assert pieces.parts(runs["pager"])["R4"]["state"] == "unchanged"
    assert pieces.parts(runs["pager"])["C9"]["state"] == "taken out"


@pytest.mark.parametrize(
    ("figures", "words"),
    [
        ((188.2, 171.3, 205.4, 0.0), "188 V DC (171 to 205)"),
        ((0.0, 0.0, 0.0, 117.0), "117 V AC"),
        ((252.0, 240.0, 262.0, 3.2), "252 V DC (240 to 262), 3.20 V AC"),
        ((0.0, 0.0, 0.0, 0.0), "0.00 V DC"),
        ((-0.696, -0.785, -0.612, 0.001), "-0.70 V DC (-0.79 to -0.61)"),
    ],
)
def test_volts_are_told_as_a_meter_shows_them(figures, words):
    assert volts_words(*figures) == words


def test_a_table_in_a_piece_is_told_as_values_and_kept_for_the_spreadsheet():
    board = Board()
    table = Table(
        "ohms",
        "Ohms",
        "",
        (Column("part", "name"), Column("ohms", "figure", "", "ohm")),
        (("R1", 470.0),),
    )
    board.put("lists", {"made": table})
    told = board.piece("lists")["made"]
    assert told["from"] == "lists"
    assert told["columns"] == ["part", "ohms, ohm"]
    assert board.table("lists", "ohms") == table
    assert board.table("lists", "other") is None


def test_the_netlist_names_parts_nodes_and_steps_under_their_full_names(runs):
    folder = CIRCUITS / "pager"
    files = [folder / name for name in ("pager.job", "pager.circuit", "supply.circuit")]
    job, circuit, supply = netlist(files, runs["pager"], ())
    line = next(line for line in circuit["lines"] if line["parts"] == ["V3"])
    named = {text: (what, name) for text, what, name in line["tokens"] if what}
    assert named["V3"] == ("part", "V3")
    assert named["G3"] == ("node", "G3")
    assert "C5" not in named, "the end of a type number is no part"
    fuse = next(line for line in supply["lines"] if line["parts"] == ["SUPPLY/F1"])
    assert ["F1", "part", "SUPPLY/F1"] in fuse["tokens"]
    assert [line["step"] for line in job["lines"] if line["step"]] == list(
        range(1, len(runs["pager"].taken) + 1)
    )


def test_what_is_found_has_values_however_they_are_written(runs):
    entries = {entry["name"]: entry["words"] for entry in index(runs["pager"])}
    assert {"100k", "resistor"} <= set(entries["R4"])
    assert {"12ba6", "6ba6"} <= set(entries["V1"])
    assert "blue" in entries["PL1"]
    assert "electrolytic" in entries["C11"]


def test_ohms_typed_at_a_point_leave_its_volts_alone_and_a_repair_begins_anew():
    job = "reading V3.grid 12 V\n"
    both = with_reading(job, "V3.grid", "reading V3.grid 325 kohm off")
    assert both == "reading V3.grid 12 V\nreading V3.grid 325 kohm off\n"
    assert with_reading(both, "V3.grid", "reading V3.grid 13 V").startswith(
        "reading V3.grid 13 V\n"
    )
    repaired = "reading V3.grid 12 V\nrepaired C7\nreading B1 200 V\n"
    pulled = job + "bench after without V2\n"
    assert (
        with_reading(pulled, "V3.grid", "reading V3.grid 1 V") == pulled + "reading V3.grid 1 V\n"
    )
    again = with_reading(repaired, "V3.grid", "reading V3.grid 0 V")
    assert again == repaired + "reading V3.grid 0 V\n"
