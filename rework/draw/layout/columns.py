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

from rework.draw.layout.level import levelled
from rework.draw.layout.sketch import PiecePlace, Sketch, Spot
from rework.draw.symbols.pen import AHEAD, Box, around

#: Weight of a net told by a sign in the length to be made short; of the page's width.
_WIDE = 0.02
#: Weight that draws the plug to the left edge, and what else stands there.
_ANCHOR = 1.5
_LEFTMOST = ("plug", "outlet", "jack", "pickup", "microphone")


@dataclass(frozen=True, slots=True)
class Spacing:
    """Units kept between two pieces beside each other, one of them a tube, and between two bands;
    ``level`` moves pieces up and down where wires run straighter then, ``ahead`` keeps a step free
    before each lead where a net of the supply turns; ``nested`` lets a piece be in the corner
    that another leaves free between its body and its label.
    """

    gap: int = 2
    bands: int = 4
    level: bool = False
    ahead: bool = True
    nested: bool = False


#: What is drawn with where nothing speaks against it; as near as can be without crowding, in both
#: directions or in height alone; and with pieces in the corners of others.
PLAIN_SPACING, TIGHT_SPACING = Spacing(), Spacing(gap=1, bands=2)
FLAT_SPACING = Spacing(bands=2)
NESTED_SPACING = Spacing(gap=1, bands=2, nested=True)


def places(sketch: Sketch, spacing: Spacing = PLAIN_SPACING) -> Mapping[str, PiecePlace]:
    """Return the place of every piece of a sketch."""
    heights = _heights(sketch, spacing)
    columns = _columns(sketch, heights, spacing)
    heights = _closed_up(sketch, heights, columns, spacing)
    place = {
        key: PiecePlace(columns[spot.column] + spot.dx, heights[spot.band] + spot.y)
        for key, spot in sketch.spots.items()
    }
    return levelled(sketch, place) if spacing.level else place


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
    spots = sorted(every, key=lambda spot: (place[spot.column], spot.piece.key))
    index = {column: number for number, column in enumerate(sketch.order)}
    rows: list[tuple[int, int, float]] = []  # x[b] - x[a] >= gap
    outlines = [_outline(spot, heights, spacing) for spot in spots]
    boxes = [around(outline) for outline in outlines]
    for second, box in enumerate(boxes):
        for first in range(second):
            near, far = spots[first], spots[second]
            if near.column != far.column and _beside(boxes[first], box):
                gap = _gap(outlines[first], outlines[second], _clear(near, far, spacing))
                if gap is not None:
                    rows.append((index[near.column], index[far.column], gap))
    for key, follower, gap in sketch.followers:
        near, far = sketch.spots[key], sketch.spots[follower]
        if place[near.column] >= place[far.column]:
            continue  # only what agrees with the order keeps all constraints soluble
        ends = max(lead.x for lead in near.symbol.leads) + near.dx
        begins = min(lead.x for lead in far.symbol.leads) + far.dx
        rows.append((index[near.column], index[far.column], ends - begins + gap))
    spans = _spans(sketch, index, heights, ahead=spacing.ahead)
    count = len(sketch.order)
    anchored = {index[spot.column] for spot in spots if spot.piece.kind in _LEFTMOST}
    solution = _solve(count, rows, spans, boxes, [index[spot.column] for spot in spots], anchored)
    return {column: round(solution[number]) for column, number in index.items()}


def _outline(spot: Spot, heights: Mapping[str, int], spacing: Spacing) -> list[Box]:
    """Return what a piece keeps others away from, off its column: all of it, or box by box."""
    boxes = spot.boxes if spacing.nested else (spot.box,)
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


def _clear(spot: Spot, other: Spot, spacing: Spacing) -> int:
    apart = spacing.nested or "tube" in (spot.piece.kind, other.piece.kind)
    return spacing.gap if apart else spacing.gap - 1


def _spans(
    sketch: Sketch, index: Mapping[int, int], heights: Mapping[str, int], *, ahead: bool
) -> list[list[tuple[int, int]]]:
    """Return for each net drawn as a wire the columns of its pins, each with the pin's offset.

    A net of the supply that leaves its row is taken one step ahead of each lead, so that its wire
    need not turn back.
    """
    spans = []
    both = [(net, {**sketch.spots, **sketch.variants}) for net in sketch.nets.nets.values()]
    if sketch.earlier is not None:
        both += [(net, sketch.earlier[1]) for net in sketch.earlier[0].nets.values()]
    for net, spots in both:
        if net.shown == "sign":
            continue
        pins = []
        rows = set()
        in_signal = False
        for key, terminal in net.pins:
            spot = spots.get(key)
            lead = spot.symbol.lead(terminal) if spot else None
            if spot is not None and lead is not None:
                pins.append((index[spot.column], spot.dx + lead.x, AHEAD[lead.side][0]))
                rows.add(heights[spot.band] + spot.y + lead.y)
                in_signal = in_signal or spot.band.startswith("signal")
        if len(pins) > 1:
            step = int(ahead and len(rows) > 1 and not in_signal)
            spans.append([(column, x + step * toward) for column, x, toward in pins])
    return spans


def _solve(
    count: int,
    rows: list[tuple[int, int, float]],
    spans: list[list[tuple[int, int]]],
    boxes: list[Box],
    columns: list[int],
    anchored: set[int],
) -> list[float]:
    """Return the x of each column: short nets, then everything as far left as it goes."""
    if not count:
        return []
    total = count + 2 * len(spans)
    data: list[tuple[int, int, float]] = []
    bounds: list[float] = []

    def at_least(first: int, second: int, gap: float) -> None:
        """Hold x[other] - x[one] >= gap, as x[one] - x[other] <= -gap."""
        row = len(bounds)
        data.extend(((row, first, 1.0), (row, second, -1.0)))
        bounds.append(-gap)

    for first, second, gap in rows:
        at_least(first, second, gap)
    cost = np.full(total, 0.0)
    cost[:count] = _WIDE
    cost[list(anchored)] = _ANCHOR
    for number, pins in enumerate(spans):
        low, high = count + 2 * number, count + 2 * number + 1
        cost[low], cost[high] = -1.0, 1.0
        for column, offset in pins:
            at_least(low, column, -float(offset))
            at_least(column, high, float(offset))
    limits: list[tuple[float | None, float | None]] = [(None, None)] * total
    for box, column in zip(boxes, columns, strict=True):
        low_x = limits[column][0]
        least = math.ceil(-box.left)
        limits[column] = (max(least, low_x if low_x is not None else least), None)
    for number in range(count):
        if limits[number][0] is None:
            limits[number] = (0.0, None)
    if not bounds:
        return [float(limits[number][0] or 0.0) for number in range(count)]
    taken = np.array(data)
    matrix = coo_array(
        (taken[:, 2], (taken[:, 0].astype(int), taken[:, 1].astype(int))),
        shape=(len(bounds), total),
    )
    solved = linprog(cost, A_ub=matrix.tocsr(), b_ub=bounds, bounds=limits, method="highs-ds")
    return [float(value) for value in solved.x[:count]]
