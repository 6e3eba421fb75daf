"""Every x by linear programming, every y by stacking the bands.

For each pair of pieces that overlap in height, the one in the later column stays clear of the
other; what is minimised is the length of the nets, then the width (difference constraints, whose
vertices are whole numbers; solved by scipy's HiGHS).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from rework.draw.layout import rails
from rework.draw.layout.level import levelled
from rework.draw.layout.netlist import Piece
from rework.draw.layout.sketch import PiecePlace, Sketch, Spot
from rework.draw.symbols.pen import AHEAD, Box, Side, around

#: Weight of a net told by a sign in the length to be made short; of the page's width.
_WIDE = 0.02
#: Weight that draws the plug to the left edge, and what else stands there.
_ANCHOR = 1.5
#: Weight of each u by which a wire of the supply turns back on its way.
_TURN = 1.5
#: Half the width that a rail on its way up takes, u.
_RISER = 0.2
_LEFTMOST = ("plug", "jack", "pickup", "microphone")


@dataclass(frozen=True, slots=True)
class Spacing:
    """Units kept between two pieces beside each other, one of them a tube, and between two bands;
    other pieces may be a unit nearer unless it is ``even``;
    ``level`` moves pieces up and down where wires run straighter then, ``ahead`` keeps a step free
    before each lead where a net of the supply turns; ``risers`` keeps a column for each rail that
    comes up from the supply; ``nested`` lets a piece be in the corner
    that another leaves free between its body and its label.
    """

    gap: int = 2
    bands: int = 4
    level: bool = False
    ahead: bool = True
    nested: bool = False
    even: bool = False
    risers: bool = True


#: What is drawn with where nothing speaks against it; nearer in height alone, at tubes too, with no
#: room for risers, and everywhere; and with pieces in the corners of others.
PLAIN_SPACING, FLAT_SPACING = Spacing(), Spacing(bands=2)
SNUG_SPACING = Spacing(gap=1, bands=2, even=True)
CLOSED_SPACING = Spacing(gap=1, bands=2, even=True, risers=False)
TIGHT_SPACING = Spacing(gap=1, bands=2, risers=False)
NESTED_SPACING = Spacing(gap=1, bands=2, nested=True, risers=False)


def places(
    sketch: Sketch, spacing: Spacing = PLAIN_SPACING
) -> tuple[Mapping[str, PiecePlace], Mapping[str, int]]:
    """Return the place of every piece of a sketch, and the x at which each rail that comes up from
    the supply does.
    """
    heights = _heights(sketch, spacing)
    columns = _columns(sketch, heights, spacing)
    heights = _closed_up(sketch, heights, columns, spacing)
    place = {
        key: PiecePlace(columns[spot.column] + spot.dx, heights[spot.band] + spot.y)
        for key, spot in sketch.spots.items()
    }
    kept = sketch.risers if spacing.risers else {}
    risers = {net: columns[column] for net, column in kept.items()}
    return levelled(sketch, place) if spacing.level else place, risers


def _closed_up(
    sketch: Sketch, heights: Mapping[str, int], columns: Mapping[int, int], spacing: Spacing
) -> Mapping[str, int]:
    """Return the y of every band when each is moved up to what is above it."""
    closed_up: dict[str, int] = {}
    above: list[Box] = []
    every = [*sketch.spots.values(), *sketch.variants.values()]
    for band in sorted(heights, key=_band_order):
        boxes = [
            spot.box.moved(columns[spot.column] + spot.dx, spot.y)
            for spot in every
            if spot.band == band
        ]
        needed = [
            other.bottom - box.top + spacing.bands
            for box in boxes
            for other in above
            if box.left - 1.5 < other.right and other.left - 1.5 < box.right
        ]
        if band == "heaters" and above and boxes:  # at the foot of the sheet, beside nothing
            lowest = max(box.bottom for box in boxes)
            needed.append(max(box.bottom for box in above) - lowest)
        closed_up[band] = min(heights[band], math.ceil(max(needed))) if needed else heights[band]
        above += [box.moved(0, closed_up[band]) for box in boxes]
    return closed_up


def _heights(sketch: Sketch, spacing: Spacing) -> Mapping[str, int]:
    """Return the y of every band's middle, one below another."""
    every = [*sketch.spots.values(), *sketch.variants.values()]
    order = sorted({spot.band for spot in every}, key=_band_order)
    heights: dict[str, int] = {}
    top = 0
    for band in order:
        boxes = [spot.box.moved(0, spot.y) for spot in every if spot.band == band]
        high = math.floor(min(box.top for box in boxes))
        heights[band] = top - high
        top += math.ceil(max(box.bottom for box in boxes)) - high + spacing.bands
    return heights


def _band_order(band: str) -> tuple[int, str]:
    return (
        0 if band.startswith("signal") else ("supply", "heaters", "rest").index(band) + 1,
        band,
    )


def _columns(sketch: Sketch, heights: Mapping[str, int], spacing: Spacing) -> Mapping[int, int]:
    """Return the x of every column."""
    place = {column: number for number, column in enumerate(sketch.order)}
    every = [*sketch.spots.values(), *sketch.variants.values()]
    taken = [_Taken(spot.column, _outline(spot, heights, spacing), spot.piece) for spot in every]
    taken += _risers(sketch, taken, heights) if spacing.risers else []
    taken.sort(key=lambda it: (place[it.column], it.piece.key if it.piece else ""))
    index = {column: number for number, column in enumerate(sketch.order)}
    rows: list[tuple[int, int, float]] = []  # x[b] - x[a] >= gap
    boxes = [around(it.outline) for it in taken]
    for second, box in enumerate(boxes):
        for first in range(second):
            left, right = taken[first], taken[second]
            if left.column != right.column and _beside(boxes[first], box):
                gap = _gap(left.outline, right.outline, _clear(left, right, spacing))
                if gap is not None:
                    rows.append((index[left.column], index[right.column], gap))
    for key, follower, gap in sketch.followers:
        near, far = sketch.spots[key], sketch.spots[follower]
        if place[near.column] >= place[far.column]:
            continue  # only what agrees with the order keeps all constraints soluble
        ends = max(lead.x for lead in near.symbol.leads) + near.dx
        begins = min(lead.x for lead in far.symbol.leads) + far.dx
        rows.append((index[near.column], index[far.column], ends - begins + gap))
    spans = _spans(sketch, index, heights, spacing)
    turns = _turns(sketch, index, heights) if spacing.ahead else []
    count = len(sketch.order)
    anchored = {index[spot.column] for spot in every if spot.piece.kind in _LEFTMOST}
    kept = [index[it.column] for it in taken]
    solution = _solve(count, rows, spans, turns, boxes, kept, anchored)
    return {column: round(solution[number]) for column, number in index.items()}


@dataclass(frozen=True, slots=True)
class _Taken:
    """What takes room in a column: its boxes off the column, and the piece, None for a rail."""

    column: int
    outline: list[Box]
    piece: Piece | None


def _risers(sketch: Sketch, taken: list[_Taken], heights: Mapping[str, int]) -> list[_Taken]:
    """Return the room of rails that come up to the line on top from under the signal."""
    signal = {s.piece.key for s in sketch.spots.values() if s.band.startswith("signal")}
    feet = [box.bottom for it in taken if it.piece and it.piece.key in signal for box in it.outline]
    if rails.BAND not in heights or not feet:
        return []
    room = Box(-_RISER, heights[rails.BAND] + rails.RAIL, _RISER, max(feet))
    return [_Taken(column, [room], None) for _, column in sorted(sketch.risers.items())]


def _outline(spot: Spot, heights: Mapping[str, int], spacing: Spacing) -> list[Box]:
    """Return what a piece keeps others away from, off its column: all of it, or box by box."""
    boxes = spot.boxes if spacing.nested else spot.outline
    return [box.moved(spot.dx, heights[spot.band] + spot.y) for box in boxes]


def _gap(left: list[Box], right: list[Box], clear: int) -> int | None:
    """Return the least distance of two columns at which no box of the one at the right reaches
    into one at the left beside it; None where they pass over one another.
    """
    gaps = [
        box.right - other.left + clear for box in left for other in right if _beside(box, other)
    ]
    return math.ceil(max(gaps) - 1e-6) if gaps else None


def _beside(box: Box, other: Box) -> bool:
    return box.top - 0.8 < other.bottom and other.top - 0.8 < box.bottom


def _clear(left: _Taken, right: _Taken, spacing: Spacing) -> int:
    kinds = [it.piece.kind for it in (left, right) if it.piece is not None]
    apart = spacing.nested or spacing.even or "tube" in kinds or len(kinds) < 2
    return spacing.gap if apart else spacing.gap - 1


def _spans(
    sketch: Sketch, index: Mapping[int, int], heights: Mapping[str, int], spacing: Spacing
) -> list[list[tuple[int, int]]]:
    """Return for each net drawn as a wire the columns of its pins, each with the pin's offset.

    A net of the supply that leaves its row is taken one step ahead of each lead, so that its wire
    need not turn back. What hangs on a net of the signal hangs where the part before it ends.
    """
    spans = []
    both = [(net, {**sketch.spots, **sketch.variants}) for net in sketch.nets.nets.values()]
    if sketch.earlier is not None:
        both += [(net, sketch.earlier[1]) for net in sketch.earlier[0].nets.values()]
    for net, spots in both:
        if net.shown == "sign":
            continue
        pins = []
        in_line: dict[Side, list[tuple[int, int]]] = {}
        rows = set()
        in_signal = False
        for key, terminal in net.pins:
            spot = spots.get(key)
            lead = spot.symbol.lead(terminal) if spot else None
            if spot is not None and lead is not None:
                pins.append((index[spot.column], spot.dx + lead.x, AHEAD[lead.side][0]))
                in_line.setdefault(lead.side, []).append((index[spot.column], spot.dx + lead.x))
                rows.add(heights[spot.band] + spot.y + lead.y)
                in_signal = in_signal or spot.band.startswith("signal")
        if spacing.risers and net.name in sketch.risers:
            pins.append((index[sketch.risers[net.name]], 0, 0))
        if len(pins) > 1:
            step = int(spacing.ahead and len(rows) > 1 and not in_signal)
            spans.append([(column, x + step * toward) for column, x, toward in pins])
        if in_signal and len(in_line.get("right", ())) == len(in_line.get("up", ())) == 1:
            spans.append([*in_line["right"], *in_line["up"]])
    return spans


def _turns(
    sketch: Sketch, index: Mapping[int, int], heights: Mapping[str, int]
) -> list[tuple[int, int, int]]:
    """Return pairs of columns between which a net of supply and heaters goes from a lead at the
    right of one part to a lead at the left of another in another row, each with the distance at
    which its wire need not turn back.
    """
    turns = []
    for net in sketch.nets.nets.values():
        if net.shown != "wire":
            continue
        ends: dict[Side, list[tuple[int, int, int]]] = {}
        for key, terminal in net.pins:
            spot = sketch.variants.get(key) or sketch.spots.get(key)
            lead = spot.symbol.lead(terminal) if spot else None
            if spot is None or lead is None or spot.band.startswith("signal"):
                continue
            end = (index[spot.column], spot.dx + lead.x, heights[spot.band] + spot.y + lead.y)
            ends.setdefault(lead.side, []).append(end)
        if "right" in ends:
            first, x, row = min(ends["right"])
            entered = ends.get("left", ())
            turns += [(first, column, x - at + 2) for column, at, y in entered if y != row]
    return turns


@dataclass(slots=True)
class _Program:
    """A linear program over the x of ``count`` columns and some more variables that are made up as
    they are needed: what it costs, and the least distances it holds.
    """

    count: int
    cost: list[float]
    limits: list[tuple[float | None, float | None]]
    data: list[tuple[int, int, float]]
    bounds: list[float]

    def variable(self, cost: float, least: float | None = None) -> int:
        """Return the number of a new variable."""
        self.cost.append(cost)
        self.limits.append((least, None))
        return len(self.cost) - 1

    def at_least(self, first: int, second: int, gap: float, less: int | None = None) -> None:
        """Hold x[second] - x[first] >= gap, or as much less as another variable says."""
        row = len(self.bounds)
        self.data += [(row, first, 1.0), (row, second, -1.0)]
        self.data += [(row, less, -1.0)] if less is not None else []
        self.bounds.append(-gap)

    def solved(self) -> list[float]:
        """Return the x of each column."""
        if not self.bounds:
            return [float(low or 0.0) for low, _ in self.limits[: self.count]]
        taken = np.array(self.data)
        matrix = coo_array(
            (taken[:, 2], (taken[:, 0].astype(int), taken[:, 1].astype(int))),
            shape=(len(self.bounds), len(self.cost)),
        )
        found = linprog(
            np.array(self.cost),
            A_ub=matrix.tocsr(),
            b_ub=self.bounds,
            bounds=self.limits,
            method="highs-ds",
        )
        return [float(value) for value in found.x[: self.count]]


def _solve(
    count: int,
    rows: list[tuple[int, int, float]],
    spans: list[list[tuple[int, int]]],
    turns: list[tuple[int, int, int]],
    boxes: list[Box],
    columns: list[int],
    anchored: set[int],
) -> list[float]:
    """Return the x of each column: short nets, then everything as far left as it goes."""
    if not count:
        return []
    least = [0.0] * count
    for column in set(columns):
        own = (box for box, at in zip(boxes, columns, strict=True) if at == column)
        least[column] = max(math.ceil(-box.left) for box in own)
    cost = [_ANCHOR if number in anchored else _WIDE for number in range(count)]
    program = _Program(count, cost, [(low, None) for low in least], [], [])
    for first, second, gap in rows:
        program.at_least(first, second, gap)
    for pins in spans:
        low, high = program.variable(-1.0), program.variable(1.0)
        for column, offset in pins:
            program.at_least(low, column, -float(offset))
            program.at_least(column, high, float(offset))
    for first, second, distance in turns:
        program.at_least(first, second, distance, less=program.variable(_TURN, 0.0))
    return program.solved()
