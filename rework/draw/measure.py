"""Measures of a sheet that say how well it reads: overlaps, crossings, bends, sizes of type."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from rework.draw.layout.wording import SIZE, SMALL
from rework.draw.schematic import Run, Schematic
from rework.draw.symbols.pen import Box

#: Paper, mm, lying, and its margin.
PAPERS = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
PAPER_MARGIN = 10.0


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


def overlaps(sheet: Schematic) -> Iterator[str]:
    """Yield pairs of bodies, labels, notes, signs, and the blocks of title, notes and key, that
    cover one another, by name.
    """
    boxes = [(f"{p.key} body", box) for p in sheet.placed for box in p.solid]
    boxes += [(f"{p.key} label", p.label.box) for p in sheet.placed if p.label.lines]
    boxes += [(f"note {note.text}", note.box) for note in sheet.notes]
    boxes += [
        (f"sign at {sign.at}", sign_box(sign.at)) for sign in sheet.signs if sign.kind != "flag"
    ]
    if sheet.block is not None:
        block = sheet.block
        boxes += [
            (word, box)
            for word, box in (
                ("title", block.title_box),
                ("notes", block.notes_box),
                ("key", block.signs_box),
            )
            if box.bottom > box.top
        ]
    for (name, first), (other, second) in combinations(boxes, 2):
        if (
            name != other
            and first.meets(second)
            and not (name.endswith("body") and other.startswith("sign"))
        ):
            yield f"{name} and {other}"


def sign_box(at: tuple[int, int]) -> Box:
    """Return what a sign covers under its point."""
    return Box(at[0] - 0.9, at[1] + 1.0, at[0] + 0.9, at[1] + 2.3)


def through(sheet: Schematic) -> Iterator[str]:
    """Yield wires that run through a body or a text, by name."""
    for run in sheet.runs:
        box = _thin(run)
        for placed in sheet.placed:
            if any(solid.grown(-0.05).meets(box) for solid in placed.solid):
                yield f"{run.net} through {placed.key}"
            if placed.label.lines and placed.label.box.meets(box):
                yield f"{run.net} through the label of {placed.key}"
        for note in sheet.notes:
            if note.box.meets(box):
                yield f"{run.net} through the note {note.text}"


def _thin(run: Run) -> Box:
    (x1, y1), (x2, y2) = run.start, run.stop
    return Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)).grown(0.05)
