"""Measures of a sheet that say how well it reads: overlaps, crossings, bends, sizes of type."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from rework.draw.layout.wording import SIZE, SMALL
from rework.draw.lettered import letter_box, linkage_boxes, number_box, sign_ink
from rework.draw.schematic import Run, Schematic
from rework.draw.symbols.pen import Box

#: Paper, mm, lying, and its margin.
PAPERS = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
PAPER_MARGIN = 10.0
#: Side of the squares that what is white is counted in, u.
_SQUARE = 5


@dataclass(frozen=True, slots=True)
class Measures:
    """Counts and sizes of one sheet.

    ``overlaps`` names pairs that cover one another, ``through`` wires that run through a body or a
    text; millimetres hold for the paper that was asked for.
    """

    crossings: int
    bends: int
    pins: int
    overlaps: tuple[str, ...]
    through: tuple[str, ...]
    text_mm: float
    number_mm: float


def measures(sheet: Schematic, paper: str = "a4") -> Measures:
    """Return the measures of a sheet on a paper."""
    u = unit_mm(sheet.box, paper)
    return Measures(
        len(crossings(sheet)),
        bends(sheet),
        sum(len(placed.leads()) for placed in sheet.placed),
        tuple(overlaps(sheet)),
        tuple(through(sheet)),
        SIZE * u,
        SMALL * u,
    )


def unit_mm(box: Box, paper: str) -> float:
    """Return how many millimetres a unit of a sheet is when it fills the paper, 2.5 at most."""
    wide, high = PAPERS[paper]
    return min(
        2.5,
        (wide - 2 * PAPER_MARGIN) / (box.right - box.left),
        (high - 2 * PAPER_MARGIN) / (box.bottom - box.top),
    )


def crossings(sheet: Schematic) -> list[tuple[int, int]]:
    """Return the points where a level and an upright wire of two nets cross."""
    level = [run for run in sheet.runs if run.start[1] == run.stop[1]]
    upright = [run for run in sheet.runs if run.start[0] == run.stop[0]]
    return [
        (b.start[0], a.start[1])
        for a in level
        for b in upright
        if a.net != b.net
        and a.start[0] < b.start[0] < a.stop[0]
        and b.start[1] < a.start[1] < b.stop[1]
    ]


def bends(sheet: Schematic) -> int:
    """Return at how many points a wire turns without a junction."""
    dots = {dot.at for dot in sheet.dots}
    level: set[tuple[int, int]] = set()
    upright: set[tuple[int, int]] = set()
    for run in sheet.runs:
        (level if run.start[1] == run.stop[1] else upright).update((run.start, run.stop))
    at_leads = {
        at
        for placed in sheet.placed
        for _, at, side in placed.leads()
        if (side in ("left", "right")) == (at in upright) and (at in level) != (at in upright)
    }
    return len(((level & upright) | at_leads) - dots)


def bends_of(sheet: Schematic) -> dict[str, int]:
    """Return how often each net turns that is no rail: neither B+ nor a line of heaters."""
    dots = {dot.at for dot in sheet.dots}
    ends: dict[str, tuple[set[tuple[int, int]], set[tuple[int, int]]]] = {}
    for run in sheet.runs:
        if run.role not in ("b-plus", "heater"):
            level, upright = ends.setdefault(run.net, (set(), set()))
            (level if run.start[1] == run.stop[1] else upright).update((run.start, run.stop))
    return {net: len((level & upright) - dots) for net, (level, upright) in ends.items()}


def side_by_side(sheet: Schematic) -> list[tuple[str, str, int]]:
    """Return wires of two nets that run side by side a unit apart: the nets, and how far, u."""
    near = []
    for first, second in combinations(sheet.runs, 2):
        for across, along in ((1, 0), (0, 1)):
            lies = all(run.start[across] == run.stop[across] for run in (first, second))
            apart = abs(first.start[across] - second.start[across])
            far = min(first.stop[along], second.stop[along]) - max(
                first.start[along], second.start[along]
            )
            if first.net != second.net and lies and apart == 1 and far > 0:
                near.append((first.net, second.net, far))
    return near


def white_share(sheet: Schematic) -> float:
    """Return the share of the frame that nothing is in: squares of 5 u without a body, a word, a
    wire or a sign.
    """
    boxes = [box for _, _, box in (*_bodies(sheet), *_texts(sheet))]
    boxes += [_thin(run) for run in sheet.runs]
    boxes += [box for sign in sheet.signs for box in sign_ink(sign)]
    if sheet.block is not None:
        boxes += [sheet.block.title_box, sheet.block.notes_box, sheet.block.signs_box]
    left, top = sheet.box.left, sheet.box.top
    taken = {
        (column, row)
        for box in boxes
        for column in range(
            int((box.left - left) // _SQUARE), int((box.right - left) // _SQUARE) + 1
        )
        for row in range(int((box.top - top) // _SQUARE), int((box.bottom - top) // _SQUARE) + 1)
    }
    across = math.ceil((sheet.box.right - left) / _SQUARE)
    down = math.ceil((sheet.box.bottom - top) / _SQUARE)
    return 1 - len(taken) / (across * down)


def overlaps(sheet: Schematic) -> Iterator[str]:
    """Yield pairs of bodies, labels, notes, signs, numbers and letters, ghosts, and the blocks of
    title, notes and key, that cover one another, by name.
    """
    boxes = [*_bodies(sheet), *_texts(sheet)]
    boxes += [
        (f"sign at {sign.at}", str(sign.at), box) for sign in sheet.signs for box in sign_ink(sign)
    ]
    if sheet.block is not None:
        block = sheet.block
        boxes += [
            (word, word, box)
            for word, box in (
                ("title", block.title_box),
                ("notes", block.notes_box),
                ("key", block.signs_box),
            )
            if box.bottom > box.top
        ]
    for (name, owner, first), (other, whose, second) in combinations(boxes, 2):
        joined = name.endswith("body") and other.startswith("sign")
        if owner != whose and first.meets(second) and not joined:
            yield f"{name} and {other}"


def _bodies(sheet: Schematic) -> Iterator[tuple[str, str, Box]]:
    """Yield what symbols cover: a name, whose it is, the box."""
    for placed in (*sheet.placed, *sheet.ghosts):
        for box in placed.solid:
            yield f"{placed.key} body", placed.key, box


def _texts(sheet: Schematic) -> Iterator[tuple[str, str, Box]]:
    """Yield what words cover, as wide as they are in the type: labels, notes, numbers of pins and
    colours of leads, letters of signs.
    """
    for placed in (*sheet.placed, *sheet.ghosts):
        if placed.label.lines:
            yield f"the label of {placed.key}", placed.key, placed.label.box
    for placed in sheet.placed:
        for lead in placed.symbol.leads:
            if lead.number:
                box = number_box(lead).moved(placed.x, placed.y)
                yield f"{lead.number} at {placed.key}", placed.key, box
    for note in sheet.notes:
        yield f"the note {note.text}", f"the note {note.text}", note.box
    for sign in sheet.signs:
        if sign.word and sign.kind != "flag":
            yield f"letter {sign.word} at {sign.at}", str(sign.at), letter_box(sign)


def through(sheet: Schematic) -> Iterator[str]:
    """Yield wires and linkages that run through a body or a text, by name."""
    lines = [(run.net, _thin(run)) for run in sheet.runs]
    lines += [("a linkage", box) for box in linkage_boxes(sheet.linkages)]
    bodies = [(name, box.grown(-0.05)) for name, _, box in _bodies(sheet)]
    texts = [(name, box) for name, _, box in _texts(sheet)]
    for net, line in lines:
        for name, box in (*bodies, *texts):
            if box.meets(line):
                yield f"{net} through {name}"


def _thin(run: Run) -> Box:
    (x1, y1), (x2, y2) = run.start, run.stop
    return Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)).grown(0.05)
