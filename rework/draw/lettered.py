"""Words after the wires: every label where it covers nothing, then names of rails and ports."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

from rework.draw.layout.netlist import Netlist, Piece
from rework.draw.layout.wording import MARGIN, SMALL, Label, candidates, lines_of
from rework.draw.lettering import CAPITALS, width
from rework.draw.schematic import At, Note, Placed, Run, Sign
from rework.draw.symbols.pen import Box, Lead, around

#: How far a label may be pushed from where it is wanted, u.
PUSHES = (
    (0, 0),
    (0, -1),
    (1, 0),
    (-1, 0),
    (0, 1),
    (2, 0),
    (-2, 0),
    (0, -2),
    (0, 2),
    (1, -1),
    (-1, -1),
    (3, 0),
    (-3, 0),
    (0, -3),
    (0, 3),
)
#: Size of the letter of a sign, u.
LETTER = 0.8
_CELL = 8.0


class Taken:
    """Boxes already on the sheet, found by the cell they lie in."""

    def __init__(self, boxes: Iterable[Box] = ()) -> None:
        self._cells: dict[tuple[int, int], list[Box]] = {}
        for box in boxes:
            self.add(box)

    def add(self, box: Box) -> None:
        """Take a box."""
        for cell in _cells(box):
            self._cells.setdefault(cell, []).append(box)

    def first_hit(self, box: Box) -> Box | None:
        """Return a box that one would cover, or None."""
        for cell in _cells(box):
            for other in self._cells.get(cell, ()):
                if other.meets(box):
                    return other
        return None

    def hits(self, box: Box) -> int:
        """Return how many boxes one would cover."""
        near = {
            id(other)
            for cell in _cells(box)
            for other in self._cells.get(cell, ())
            if other.meets(box)
        }
        return len(near)


def _cells(box: Box) -> Iterator[tuple[int, int]]:
    for x in range(int(box.left // _CELL), int(box.right // _CELL) + 1):
        for y in range(int(box.top // _CELL), int(box.bottom // _CELL) + 1):
            yield x, y


def number_box(lead: Lead) -> Box:
    """Return the box of the number beside a lead, around the symbol's origin."""
    wide = width(lead.number, SMALL)
    x, y, anchor = number_at(lead)
    left = x if anchor == "start" else x - wide
    return Box(left, y - 0.66 * SMALL, left + wide, y)


def number_at(lead: Lead) -> tuple[float, float, str]:
    """Return where the number of a lead is written: its base line and the edge it begins at."""
    if lead.number[0].isalpha() and lead.side in ("left", "right"):  # a colour, beside the winding
        inward = 0.45 if lead.side == "left" else -0.45
        return lead.x + inward, lead.y - 0.25, "start" if lead.side == "left" else "end"
    return {
        "up": (lead.x + 0.35, lead.y + 0.8, "start"),
        "down": (lead.x + 0.35, lead.y - 0.2, "start"),
        "left": (lead.x + 0.8, lead.y - 0.25, "end"),
        "right": (lead.x - 0.8, lead.y - 0.25, "start"),
    }[lead.side]


def run_box(run: Run) -> Box:
    """Return what a wire covers."""
    (x1, y1), (x2, y2) = run.start, run.stop
    return Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)).grown(0.15)


def linkage_boxes(linkages: Iterable[tuple[At, ...]]) -> list[Box]:
    """Return what mechanical linkages cover."""
    return [
        Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)).grown(0.1)
        for points in linkages
        for (x1, y1), (x2, y2) in pairwise(points)
    ]


def sign_box(sign: Sign) -> Box:
    """Return what a sign covers with its lead."""
    x, y = sign.at
    half = 1.5 if sign.kind == "chassis" else 1.0
    box = Box(x - half, y, x + half, y + 2.3)
    return around([box, letter_box(sign)]) if sign.word and sign.kind != "flag" else box


def sign_ink(sign: Sign) -> list[Box]:
    """Return what a sign fills under its lead: three steps for the triangle of a common."""
    boxes = {
        "common": [
            Box(-0.95, 1, 0.95, 1.45),
            Box(-0.62, 1.45, 0.62, 1.9),
            Box(-0.3, 1.9, 0.3, 2.3),
        ],
        "chassis": [Box(-1.5, 1, 1.2, 2)],
        "earth": [Box(-1, 1, 1, 2)],
        "flag": [],
    }
    return [box.moved(*sign.at) for box in boxes[sign.kind]]


def letter_box(sign: Sign) -> Box:
    """Return what the letter of a sign covers: inside of a common, beside a chassis or an earth."""
    x, y = letter_at(sign)
    half = width(sign.word, LETTER, bold=True) / 2
    return Box(x - half, y - CAPITALS * LETTER, x + half, y).moved(*sign.at)


def letter_at(sign: Sign) -> tuple[float, float]:
    """Return the middle of the base line of the letter of a sign, off its point."""
    if sign.kind == "common":
        return 0.0, 1.72
    return (1.7 if sign.beside == "right" else -2.0), 1.9


def lettered(signs: list[Sign], taken: Taken) -> list[Sign]:
    """Return the signs, the letter of each chassis and earth at the left where the right is taken
    and the left is not.
    """
    placed = []
    for sign in signs:
        other = replace(sign, beside="left")
        moves = sign.kind in ("chassis", "earth") and sign.word
        if moves and taken.first_hit(letter_box(sign)) and not taken.first_hit(letter_box(other)):
            placed.append(other)
        else:
            placed.append(sign)
    return placed


def obstacles(placed: Iterable[Placed], runs: Iterable[Run], signs: Iterable[Sign]) -> list[Box]:
    """Return the boxes of everything that words keep out of."""
    boxes: list[Box] = []
    for symbol in placed:
        boxes += symbol.solid
        for lead in symbol.symbol.leads:
            boxes.append(lead_box(symbol, lead))
            if lead.number:
                boxes.append(number_box(lead).moved(symbol.x, symbol.y))
        boxes += [
            Box(
                w.x - 0.5 * w.size, w.y - 0.4 * w.size, w.x + 0.5 * w.size, w.y + 0.4 * w.size
            ).moved(symbol.x, symbol.y)
            for w in symbol.symbol.words
        ]
    boxes += [run_box(run) for run in runs]
    boxes += [sign_box(sign) for sign in signs]
    return boxes


def lead_box(placed: Placed, lead: Lead) -> Box:
    """Return what a lead covers between its end and the body."""
    x, y = lead.x + placed.x, lead.y + placed.y
    body = placed.body
    ends = {
        "left": Box(x, y, max(x, body.left), y),
        "right": Box(min(x, body.right), y, x, y),
        "up": Box(x, y, x, max(y, body.top)),
        "down": Box(x, min(y, body.bottom), x, y),
    }
    return ends[lead.side].grown(0.15)


def relabelled(
    placed: list[Placed], pieces: dict[str, Piece], nets: Netlist, taken: Taken
) -> list[Placed]:
    """Return the symbols with every label at the first place where it covers nothing; where there
    is none, at the one where it covers least.
    """
    placeds = []
    for symbol in placed:
        if symbol.key not in pieces:
            placeds.append(symbol)
            continue
        wanted = candidates(pieces[symbol.key], symbol.symbol, lines_of(pieces[symbol.key], nets))
        label = _best([label.moved(symbol.x, symbol.y) for label in wanted], taken)
        if label.lines:
            taken.add(label.box)
        placeds.append(replace(symbol, label=label))
    return placeds


def _best(wanted: list[Label], taken: Taken) -> Label:
    best, least = wanted[0], 10**6
    for push in PUSHES:
        for label in wanted:
            moved = label.moved(*push)
            if taken.first_hit(moved.box) is None:
                return moved
            hits = taken.hits(moved.box)
            if hits < least:
                best, least = moved, hits
    return best


def note_on(runs: list[Run], text: str, kind: str, net: str, taken: Taken) -> Note | None:
    """Return a word over one of the wires of a net where it covers nothing, the longest first."""
    wide = width(text, SMALL)
    level = sorted(
        (run for run in runs if run.start[1] == run.stop[1]),
        key=lambda run: (-(run.stop[0] - run.start[0]), run.start),
    )
    for run in level:
        for x in range(run.start[0] + 1, run.stop[0] - int(wide) - 1):
            y = run.start[1] - 0.35
            box = Box(x, y - 0.7 * SMALL, x + wide, y).grown(MARGIN * 0.5)
            if taken.first_hit(box) is None:
                taken.add(box)
                return Note(text, x, y, "start", box, kind, net)
    for run in sorted(runs, key=lambda run: (run.start[1] - run.stop[1], run.start)):
        right = run.start[0] + 0.35
        for low in range(run.start[1] + 1, run.stop[1]):
            box = Box(right, low - 0.7 * SMALL, right + wide, low).grown(MARGIN * 0.5)
            if run.start[0] == run.stop[0] and taken.first_hit(box) is None:
                taken.add(box)
                return Note(text, right, low, "start", box, kind, net)
    return None
