"""Title block, key of the signs and notes: where the drawing leaves room for them, else where the
sheet grows least.
"""

from __future__ import annotations

import math
from dataclasses import replace

from rework.draw.chassis import chassis_of
from rework.draw.layout.netlist import own
from rework.draw.lettered import Taken, linkage_boxes, obstacles
from rework.draw.lettering import width
from rework.draw.overlay import Overlay
from rework.draw.schematic import NOTE, NOTE_ROW, SIGN_ROW, TITLE, Block, Schematic
from rework.draw.sheeting import PAGE
from rework.draw.symbols import can
from rework.draw.symbols.pen import Box, around

#: Room kept around title, notes and key, u.
_CLEAR = 0.6
#: How high the box of title and condition is, u.
_TITLE_HIGH = 4.6
#: How tall a sheet is for its width where words go beside it: as A4 that lies.
_TALL = 0.71
#: What a mark means, and what its absence does not.
_UNMARKED = "A node without a mark can still be at line voltage. Verify by measurement."
_LEADS = "Lead colours: the trade's code. Verify each winding with a meter."
_WOUND = ("transformer", "output transformer")
_MEANINGS = {"common": "common", "chassis": "chassis", "earth": "protective earth"}


def with_block(sheet: Schematic, overlay: Overlay, condition: str) -> Schematic:
    """Return a sheet with its title block and its notes where the drawing leaves room for them, or
    in a strip under it, beside it where it is taller than paper.
    """
    kinds = {(sign.kind, sign.word): sign.net for sign in sheet.signs if sign.kind != "flag"}
    key = tuple(
        (kind, word, f"{_MEANINGS[kind]}, node {own(net)}{_of_chassis(net)}")
        for (kind, word), net in sorted(kinds.items())
    )
    block = Block(
        sheet.title,
        condition,
        key,
        tuple(_remarks(sheet, overlay)),
        Box(0, 0, 0, 0),
        Box(0, 0, 0, 0),
        Box(0, 0, 0, 0),
    )
    title_wide = max(width(sheet.title, TITLE, bold=True), width(condition, NOTE), 22.0) + 2
    signs = (
        max((width(meaning, NOTE) for _, _, meaning in key), default=0.0) + 5,
        SIGN_ROW * len(key) + 0.5,
    )
    notes = (
        max((width(row, NOTE, bold=True) for row in block.notes), default=0.0) + 0.5,
        NOTE_ROW * len(block.notes) + 0.5,
    )
    taken = Taken(
        [
            *obstacles([*sheet.placed, *sheet.ghosts], sheet.runs, sheet.signs),
            *(placed.label.box for placed in (*sheet.placed, *sheet.ghosts)),
            *(note.box for note in sheet.notes),
            *linkage_boxes(sheet.linkages),
        ]
    )
    title = _title_place(sheet.box, taken, title_wide, _TITLE_HIGH)
    taken.add(title)
    boxes = [title]
    for wide, high in (notes, signs):
        place = _place(around([sheet.box, *boxes]), taken, wide, high)
        taken.add(place)
        boxes.append(place)
    block = replace(block, title_box=boxes[0], notes_box=boxes[1], signs_box=boxes[2])
    return replace(sheet, block=block, box=around([sheet.box, *boxes]))


def _of_chassis(net: str) -> str:
    """Return of which attached circuit a net is; nothing for one of the circuit's own."""
    chassis = chassis_of(net)
    return f" of {chassis}" if chassis else ""


def _place(box: Box, taken: Taken, wide: float, high: float) -> Box:
    """Return a free place on a sheet, else under it or beside it, where it grows least."""
    if (free := _corner(box, taken, wide, high)) is not None:
        return free
    under = Box(box.left + 0.5, box.bottom, box.left + 0.5 + wide, box.bottom + high)
    beside = Box(box.right + 1, box.bottom - high, box.right + 1 + wide, box.bottom)
    return min((under, beside), key=lambda place: _cost(around([box, place])))


def _cost(box: Box) -> tuple[float, ...]:
    """Return what distinguishes the better of two sheets, the less the better: one that fits on a
    page first, then the smaller one.
    """
    wide, high = box.right - box.left, box.bottom - box.top
    if PAGE.holds(box):
        return (0.0, wide * high)
    return (max(wide / PAGE.across, high / PAGE.down), wide * high)


def _title_place(box: Box, taken: Taken, wide: float, high: float) -> Box:
    """Return the place of the title: the lower right corner where it is free; else under the sheet
    while that stays no taller than paper for its width; else where it is free, or beside the sheet.
    """
    corner = Box(box.right - wide, box.bottom - high, box.right, box.bottom)
    if taken.first_hit(corner.grown(_CLEAR)) is None and wide <= box.right - box.left:
        return corner
    under = corner.moved(0, high + 0.5)
    if under.bottom - box.top <= _TALL * max(wide, box.right - box.left):
        return under
    free = _corner(box, taken, wide, high, right=True)
    beside = Box(box.right + 1, box.bottom - high, box.right + 1 + wide, box.bottom)
    return free or min((under, beside), key=lambda place: _cost(around([box, place])))


def _corner(box: Box, taken: Taken, wide: float, high: float, *, right: bool = False) -> Box | None:
    """Return the lowest free place of a size from one side; None where there is none."""
    free = box.right - box.left - wide
    for step in range(int(box.bottom - box.top - high)):
        top = box.bottom - high - step
        across = 0.0
        while across < max(1, int(free)):
            left = box.right - wide - across if right else box.left + 0.5 + across
            place = Box(left, top, left + wide, top + high)
            hit = taken.first_hit(place.grown(_CLEAR))
            if hit is None:
                return place
            past = place.right - hit.left if right else hit.right - place.left
            across += max(0.5, math.ceil(2 * (past + _CLEAR)) / 2)
    return None


def _remarks(sheet: Schematic, overlay: Overlay) -> list[str]:
    remarks = [f"HAZARD {way.words}" for way in overlay.ways[:3]]
    if sheet.moved:
        remarks.append("Diamond: pin on another node than before.")
    if sheet.ghosts:
        remarks.append("Dashed, gray: taken out.")
    if overlay.hazards or overlay.live:
        remarks.append(_UNMARKED)
    if any(lead.number for p in sheet.placed if p.kind in _WOUND for lead in p.symbol.leads):
        remarks.append(_LEADS)
    shown = {placed.part for placed in sheet.placed}
    remarks += [
        f"{own(name)}, one can: "
        + ", ".join(f"{own(part)} {mark}" for part, mark in zip(parts, can.MARKS, strict=False))
        for name, parts in sheet.cans.items()
        if shown & set(parts)
    ]
    if any(note.kind == "volts" for note in sheet.notes):
        taken = overlay.taken
        if taken is not None:
            line = f", {taken.line:g} V line" if taken.line is not None else ""
            remarks.append(f"DC volts against {taken.common}, {taken.meter} meter{line}.")
        remarks.append("DC volts are computed. Verify by measurement.")
    return remarks
