"""What the page is told, without a browser: the same as the report says, nothing lost, nothing
markup.
"""

from __future__ import annotations

import itertools
import json

import pytest
from serving import CIRCUITS

from rework.page import pieces
from rework.page.hot import Hot
from rework.page.scene import scene
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
