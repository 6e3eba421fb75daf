"""The drawing that always succeeds: pieces in rows, each with a flag at every lead.

What no wire can join is joined by name. Nothing is routed here, so nothing can touch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from rework.draw.draft import Draft
from rework.draw.layout.netlist import FLAG, Netlist, Piece, own
from rework.draw.layout.pose import Pose, Tag, half_of, posed
from rework.draw.layout.sketch import PiecePlace, Spot
from rework.draw.layout.wording import label_of
from rework.draw.routing.grid import Grid
from rework.draw.routing.router import Router
from rework.draw.symbols import ends
from rework.draw.symbols.pen import Box, Lead, Side, Style, around
from rework.draw.wiring import take, tasks_of

At = tuple[int, int]
#: Room between two cells, u.
_BETWEEN = 3


@dataclass(slots=True)
class _Cell:
    """A piece with its flags: the wire to each, its point, the side of it on which its lead is."""

    spot: Spot
    flags: list[tuple[str, tuple[At, ...], Side]] = field(default_factory=list)

    @property
    def box(self) -> Box:
        boxes = [self.spot.box]
        boxes += [_flag_box(own(node), wire[-1], side) for node, wire, side in self.flags]
        return around(boxes)


def labelled(netlists: tuple[Netlist, ...], style: Style, across: float) -> tuple[Draft, ...]:
    """Return each netlist as rows of pieces with flags, in the same places, ``across`` u wide."""
    cells = [
        {
            key: _cell(piece, nets, style)
            for key, piece in sorted(nets.pieces.items())
            if piece.kind != FLAG
        }
        for nets in netlists
    ]
    place = _rows(cells, across)
    return tuple(_draft(nets, cell, place) for nets, cell in zip(netlists, cells, strict=True))


def _cell(piece: Piece, nets: Netlist, style: Style) -> _Cell:
    symbol = posed(piece, Pose(), style)
    label = label_of(piece, symbol, nets, ())
    cell = _Cell(Spot(piece, Pose(), symbol, (), label, 0, 0, "rest", 0))
    for side in ("left", "right", "up", "down"):
        leads = [lead for lead in symbol.leads if lead.side == side]
        known = [lead for lead in leads if piece.node(lead.terminals[0]) is not None]
        cell.flags += (_aside if side in ("left", "right") else _upright)(piece, side, known)
    return cell


def _aside(piece: Piece, side: Side, leads: list[Lead]) -> list[tuple[str, tuple[At, ...], Side]]:
    """Return the flags at one side, further out where the one above is near."""
    aside: list[tuple[str, tuple[At, ...], Side]] = []
    sign = -1 if side == "left" else 1
    reach, above = 0, -(10**6)
    for lead in sorted(leads, key=lambda lead: lead.y):
        node = piece.node(lead.terminals[0]) or ""
        out = reach if lead.y - above < 2 else 0
        end = (lead.x + sign * out, lead.y)
        aside.append((node, (lead.at, end) if out else (lead.at,), _turned(side)))
        reach, above = out + math.ceil(_long(own(node))) + 1, lead.y
    return aside


def _upright(piece: Piece, side: Side, leads: list[Lead]) -> list[tuple[str, tuple[At, ...], Side]]:
    """Return the flags above or below, as a stair: the leftmost lead reaches furthest."""
    upright: list[tuple[str, tuple[At, ...], Side]] = []
    sign = -1 if side == "up" else 1
    ordered = sorted(leads, key=lambda lead: -lead.x)
    low = max((sign * lead.y for lead in ordered), default=0)
    for number, lead in enumerate(ordered):
        node = piece.node(lead.terminals[0]) or ""
        end = (lead.x, sign * (low + 1 + 2 * number))
        upright.append((node, (lead.at, end), "left"))
    return upright


def _turned(side: Side) -> Side:
    return "right" if side == "left" else "left"


def _long(word: str) -> float:
    return ends.flag(word).body.right


def _flag_box(word: str, at: At, side: Side) -> Box:
    long = _long(word)
    left = at[0] - long if side == "right" else at[0]
    return Box(left, at[1] - 0.9, left + long, at[1] + 0.9)


def _rows(cells: list[dict[str, _Cell]], across: float) -> Mapping[str, PiecePlace]:
    """Return the place of every piece, row by row, in the order of their names."""
    boxes: dict[str, Box] = {}
    for by_key in cells:
        for key, cell in by_key.items():
            boxes[key] = around([cell.box, boxes[key]]) if key in boxes else cell.box
    place: dict[str, PiecePlace] = {}
    x, top, high = 0, 0, 0
    for key in sorted(boxes):
        box = boxes[key]
        wide = math.ceil(box.right) - math.floor(box.left) + _BETWEEN
        if x and x + wide > across - 6:
            x, top, high = 0, top + high, 0
        place[key] = PiecePlace(x - math.floor(box.left), top - math.floor(box.top))
        x += wide
        high = max(high, math.ceil(box.bottom) - math.floor(box.top) + _BETWEEN)
    return place


def _draft(nets: Netlist, cells: Mapping[str, _Cell], place: Mapping[str, PiecePlace]) -> Draft:
    """Return the rows as a draft whose only wires are the stubs to the flags."""
    spots = {key: cell.spot for key, cell in cells.items()}
    boxes = [cell.box.moved(place[key].x, place[key].y) for key, cell in cells.items()]
    whole = around([*boxes, Box(0, 0, 1, 1)])
    bounds = replace(whole, right=whole.right + 20, bottom=whole.bottom + 8)
    draft = Draft(nets, spots, place, Grid(bounds), [])
    stubs: dict[str, list[tuple[At, ...]]] = {}
    for key, cell in cells.items():
        at = place[key]
        take(draft, cell.spot, at.x, at.y)
        for node, wire, side in cell.flags:
            moved = tuple((x + at.x, y + at.y) for x, y in wire)
            draft.flags.append((node, moved[-1], side))
            if len(moved) > 1:
                stubs.setdefault(node, []).append(moved)
    _signed(draft)
    draft.tasks = tasks_of(draft)
    for task in draft.tasks:
        task.laid = stubs.get(task.name, [])
    Router(draft.grid).prepare(draft.tasks)
    return draft


def _signed(draft: Draft) -> None:
    """Put under the rows, for every net that other sheets tell by a sign, its flag and its sign."""
    x, low = 0, draft.grid.top + draft.grid.height - 10
    for name in sorted(draft.nets.nets):
        if draft.nets.shown(name) == "sign":
            draft.flags.append((name, (x, low), "left"))
            draft.tags.append(Tag(name, x, low, half=half_of(name, draft.nets)))
            x += math.ceil(_long(own(name))) + _BETWEEN
