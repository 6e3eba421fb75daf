"""What a reader of sheets expects, held on the four sets as found: signs, numbers, heaters in the
order of the string, what is fed from above and what leads down.
"""

from __future__ import annotations

import pytest
from each import each
from svg_reading import DEMOS, ROOT
from test_schematic import drawn

from rework.circuit.parts import Part
from rework.draw import measure
from rework.draw.ink import WIDTHS
from rework.draw.layout.netlist import pieces_of
from rework.draw.layout.pose import hanging, lying, posed
from rework.draw.sheeting import PAGE
from rework.draw.symbols.pen import Box, bounds

#: Heaters from the line to common, as the files say.
STRINGS = {
    "pager": ["V4", "V3", "V2", "V1"],
    "hostel": ["V2", "V1"],
    "skihut": ["V2", "V1"],
    "rink": ["V3", "V2", "V1"],
}


def sheet_of(name):
    return drawn(ROOT / "circuits" / name / f"{name}.circuit")[1][""]


@pytest.mark.parametrize("name", DEMOS)
def test_a_sheet_keeps_what_a_reader_expects(name):
    sheet = sheet_of(name)
    heaters = [placed for placed in sheet.placed if placed.unit == "heater"]
    assert [p.part for p in sorted(heaters, key=lambda p: p.x)] == STRINGS[name]
    assert len({placed.y for placed in heaters}) == 1
    for placed in sheet.placed:
        if placed.kind in ("tube", "connector") or placed.unit == "heater":
            assert all(lead.number for lead in placed.symbol.leads), placed.key
        if placed.kind == "tube":
            role_of = {terminal: role for terminal, _, role in placed.pins}
            for terminal, (_, y), side in placed.leads():
                if role_of[terminal] == "b-plus" and placed.unit != "rectifier" and side != "down":
                    assert y <= placed.y, f"{terminal} of {placed.key} is fed from below"
    signs = {(sign.kind, sign.word): sign.net for sign in sheet.signs if sign.kind != "flag"}
    assert all(signs[s.kind, s.word] == s.net for s in sheet.signs if s.kind != "flag")
    assert max(measure.bends_of(sheet).values()) <= 4


def test_no_line_is_thinner_than_a_quarter_of_a_millimetre_on_the_fullest_sheet():
    unit = min(measure.unit_mm(Box(0, 0, PAGE.across, PAGE.down), p) for p in measure.PAPERS)
    assert min(WIDTHS.values()) * unit >= 0.25


@each("style", ["us", "iec"])
def test_the_plus_of_an_electrolytic_and_the_bar_of_a_diode_are_at_their_terminals(style):
    marks = {"electrolytic": ("plus", "minus"), "diode": ("cathode", "anode")}
    for kind, (marked, other) in marks.items():
        part = Part("X1", kind, pins=((marked, "A"), (other, "B")))
        (piece,) = pieces_of(part)
        poses = [pose(piece, node) for pose in (hanging, lying) for node in ("A", "B")]
        for pose in poses:
            symbol = posed(piece, pose, style)
            near, far = symbol.lead(marked), symbol.lead(other)
            assert near is not None
            assert far is not None
            middle = [
                (box.left + box.right, box.top + box.bottom)
                for stroke in symbol.strokes
                for box in [bounds(stroke)]
                if _marks(kind, box)
            ]
            along = near.x - far.x, near.y - far.y
            assert middle
            assert all(x * along[0] + y * along[1] > 0 for x, y in middle)


def _marks(kind, box):
    """True for an arm of the plus sign, or for the bar across the axis of a diode."""
    wide, high = box.right - box.left, box.bottom - box.top
    if kind == "electrolytic":
        return {round(wide, 2), round(high, 2)} == {0.0, 1.0}
    return min(wide, high) == 0 and 1.5 <= max(wide, high) <= 2.5 and box.left * box.top != 0
