"""Marks on a sheet say what they mean without their colour: what came out stays on it by name, what
is ganged is joined by a dashed line, what is new, live or a hazard says so in a word.
"""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from svg_reading import ROOT, circuit_of

from rework.draw import measure
from rework.draw.drawing import pair, schematic
from rework.draw.ink import svg
from rework.draw.overlay import found_by
from rework.language.files import read_circuit_file
from rework.rules.job_file import run_job_file
from rework.safety.check import check


@pytest.fixture(scope="module")
def run():
    return run_job_file(str(ROOT / "circuits" / "rink" / "rink.job"))


@pytest.fixture(scope="module")
def sheets(run):
    return pair(
        run.before, run.after, overlays=(found_by(check(run.before)), found_by(check(run.after)))
    )


def test_what_came_out_is_dashed_with_its_name_and_no_wire_runs_through_it(sheets):
    before, after = sheets[0][""], sheets[1][""]
    out = {placed.part for placed in before.placed if placed.change == "removed"}
    named = {ghost.part for ghost in after.ghosts}
    assert {"C7", "C10", "R1", "LP1", "P1"} <= named
    assert out - named <= {"C8"}  # C11 has its place
    for ghost in after.ghosts:
        assert ghost.label.lines[0].text.split()[-1] == "OUT", ghost.key
    assert [*measure.overlaps(after), *measure.through(after)] == []


def test_a_ghost_is_where_the_part_was_or_within_sight_of_it(sheets):
    before, after = sheets[0][""], sheets[1][""]
    at = {placed.key: (placed.x, placed.y) for placed in before.placed}
    steps = [abs(g.x - at[g.key][0]) + abs(g.y - at[g.key][1]) for g in after.ghosts]
    assert max(steps) <= 12
    assert steps.count(0) >= len(steps) / 2


def test_a_bleeder_hangs_between_the_contacts_it_lies_across(sheets):
    after = sheets[1][""]
    leads = {(p.part, terminal): at for p in after.placed for terminal, at, _ in p.leads()}
    (x, top), (same, bottom) = leads["R12", "1"], leads["R12", "2"]
    assert x == same
    assert top == leads["W7", "1"][1]  # the row of B+
    assert top < leads["W8", "1"][1] <= bottom


def test_every_mark_is_a_word_or_a_form_too(sheets):
    """Read in gray: no colour alone tells new, out, hazard or live (issue, before and after)."""
    before, after = sheets[0][""], sheets[1][""]
    for sheet in (before, after):
        for placed in sheet.placed:
            words = " ".join(line.text for line in placed.label.lines)
            if placed.change == "new" and words:
                assert "NEW" in words, placed.key
            if placed.change == "removed" and words and placed.kind != "heater":
                assert "OUT" in words, placed.key
            if placed.hazard and words:
                assert "HAZARD" in words, placed.key
    assert any(note.text == "LIVE" for note in before.notes)
    assert before.ways
    assert after.moved
    struck = [line for p in after.placed for line in p.label.lines if line.struck]
    assert struck
    drawn = svg(after)
    ghost = re.search(r'<g class="node"[^>]*data-state="ghost".*?</g>', drawn, re.DOTALL)
    assert ghost is not None
    assert all("stroke-dasharray" in path for path in re.findall("<path[^>]*>", ghost[0]))


def test_what_is_ganged_is_joined_by_a_dashed_line_from_the_pot_to_the_switch(sheets):
    for side in sheets:
        (linkage,) = side[""].linkages
        at = {p.part: (p.x, p.y) for p in side[""].placed}
        (pot_x, pot_y), (switch_x, switch_y) = at["R3"], at["S1"]
        assert abs(linkage[0][0] - pot_x) + abs(linkage[0][1] - pot_y) <= 3
        assert linkage[-1] == (switch_x, switch_y - 2)
        assert all(abs(x1 - x2) + abs(y1 - y2) == 1 for (x1, y1), (x2, y2) in pairwise(linkage))
    drawn = re.search(r'<g class="linkage">(.*?)</g>', svg(sheets[0][""]))
    assert drawn is not None
    assert "stroke-dasharray" in drawn[1]


@pytest.mark.parametrize("name", ["hostel", "pager", "rink"])
def test_wires_stand_apart_turn_seldom_and_the_sheet_is_not_empty(name):
    """2 mm between wires of two nets on either paper, four bends a net that is no rail, and at most
    three fifths white (acceptance criteria, geometry and page).
    """
    circuit, _ = read_circuit_file(ROOT / "circuits" / name / f"{name}.circuit")
    assert circuit is not None
    sheet = schematic(circuit)[""]
    unit = min(measure.unit_mm(sheet.box, paper) for paper in measure.PAPERS)
    assert unit >= 2.0 or measure.side_by_side(sheet) == []
    assert max(measure.bends_of(sheet).values()) <= 4
    assert measure.white_share(sheet) <= 0.6


def test_notes_and_title_go_where_a_small_sheet_grows_least():
    lines = [
        'circuit "One output tube, on the line"',
        "mains 117 V 60 Hz",
        "P1 plug two-blade : line=L1, neutral=COM",
        "D1 diode 1000 V 1 A : anode=L1, cathode=B1",
        "C1 electrolytic 40 uF 150 V : B1 -- COM",
        "R1 resistor 470 ohm 20 W : L1 -- H1",
        "V1 tube 50EH5 : 3=H1, 4=COM, grid=G1, plate=PL, cathode=COM, screen=B1",
        "J1 jack input : tip=G1, sleeve=COM",
        "T1 output transformer 5 W : primary load 3k = B1 -- PL, secondary load 4 ohm = SP -- COM",
        "LS1 speaker 4 ohm 3 W : 1=SP, 2=COM",
    ]
    circuit = circuit_of("\n".join(lines) + "\n")
    sheet = schematic(circuit, overlay=found_by(check(circuit)))[""]
    assert sheet.block is not None
    assert measure.white_share(sheet) <= 0.6
    drawn = max(at[0] for placed in sheet.placed for _, at, _ in placed.leads())
    assert max(sheet.block.notes_box.right, sheet.block.title_box.right) <= drawn + 12


def test_a_tone_control_by_itself_runs_from_its_input_to_its_output():
    lines = [
        'circuit "Tone control, no tube and no supply"',
        "J1 jack input : tip=A, sleeve=G",
        "R1 resistor 100k : A -- B",
        "C1 capacitor 220p 500 V : A -- D",
        "C2 capacitor .022 uF 400 V : B -- G",
        "R3 pot 1M audio : ccw=B, wiper=E, cw=D",
        "J2 jack output : tip=E, sleeve=G",
    ]
    sheet = schematic(circuit_of("\n".join(lines) + "\n"))[""]
    x = {placed.part: placed.x for placed in sheet.placed}
    assert x["J1"] == min(x.values())
    assert x["J2"] == max(x.values())
    assert {sign.kind for sign in sheet.signs} == {"common"}


def test_the_heaters_of_a_supply_with_a_socket_are_no_b_plus():
    lines = [
        'circuit "Bench supply"',
        "mains 230 V 50 Hz",
        "P1 plug three-pin : line=L, neutral=N, earth=PE",
        "T1 transformer 60 VA : primary 230 V = L -- N, secondary 250 V = HA -- COM,",
        "   heater 6.3 V = HT1 -- HT2",
        "D1 diode 1000 V 1 A : anode=HA, cathode=B0",
        "C1 electrolytic 47 uF 450 V : B0 -- COM",
        "R2 resistor 100 ohm 1/2 W : HT1 -- COM",
        "X1 connector socket : 1=B0, 2=COM, 3=HT1, 4=HT2",
        "CH1 chassis : PE",
    ]
    sheet = schematic(circuit_of("\n".join(lines) + "\n"))[""]
    roles = {run.net: run.role for run in sheet.runs}
    assert roles["B0"] == "b-plus"
    assert roles["HT1"] == roles["HT2"] == "heater"
