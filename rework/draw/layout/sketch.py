"""The plan of a sheet before anything has an x: what is in which column, and how high.

A column is one x; the pieces in it are aligned by the lead that is given as the column's. Columns
have an order from left to right in which no two pieces that overlap in height may change places.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from rework.draw.layout.netlist import DrawnNet, Netlist, Piece
from rework.draw.layout.pose import Pose, Tag, dressed, posed, tags
from rework.draw.layout.wording import Label, label_of
from rework.draw.symbols import tube
from rework.draw.symbols.pen import AHEAD, Box, Side, Style, Symbol, around

#: From more throws than these at one side of a switch some are tied crosswise, in so many units
#: before them.
_THROWS, _TIED = 2, 3


@dataclass(frozen=True, slots=True)
class PiecePlace:
    """Where the origin of a piece is on the sheet, in whole u."""

    x: int
    y: int


@dataclass(frozen=True)
class Spot:
    """One piece in the plan: column, x off the column, band and y in the band."""

    piece: Piece
    pose: Pose
    symbol: Symbol
    tags: tuple[Tag, ...]
    label: Label
    column: int
    dx: int
    band: str
    y: int
    #: The x of a lead at the left of a tube that goes up to a rail beside it, around the origin.
    riser: int | None = None

    @cached_property
    def boxes(self) -> tuple[Box, ...]:
        """Body, signs, label, leads and the room for a riser, each by itself, around the origin."""
        body = self.symbol.body
        boxes = [body, *(tag.box for tag in self.tags), self.label.box]
        for lead in self.symbol.leads:
            root_x = min(max(lead.x, body.left), body.right)
            root_y = min(max(lead.y, body.top), body.bottom)
            boxes.append(
                around([Box(lead.x, lead.y, lead.x, lead.y), Box(root_x, root_y, root_x, root_y)])
            )
        if self.piece.kind == "switch":
            boxes += self._before_throws()
        if self.riser is not None:
            left = min(lead.x for lead in self.symbol.leads)
            boxes.append(Box(left - 2, 0, left, 1))
        return tuple(boxes)

    def _before_throws(self) -> list[Box]:
        """Return the room in which the throws of a switch with several poles are tied crosswise."""
        boxes = []
        sides: tuple[Side, ...] = ("left", "right")
        for side in sides:
            leads = [lead for lead in self.symbol.leads if lead.side == side]
            if len(leads) > _THROWS:
                (dx, _), x = AHEAD[side], leads[0].x
                low, high = min(lead.y for lead in leads), max(lead.y for lead in leads)
                far = x + _TIED * dx
                boxes.append(Box(min(x, far), low, max(x, far), high))
        return boxes

    @cached_property
    def box(self) -> Box:
        """What the piece takes up with leads, signs and label, around its origin."""
        return around(self.boxes)

    @cached_property
    def outline(self) -> tuple[Box, ...]:
        """What the piece takes up: one box; for a tube in the signal two, its label at a corner."""
        if not (self.band.startswith("signal") and self.piece.bulb_unit and self.label.lines):
            return (self.box,)
        label = self.label.box
        return (around([box for box in self.boxes if box != label]), label)


@dataclass(slots=True)
class Sketch:
    """What is planned so far. ``order`` lists the columns from left to right.

    ``variants`` are the same pieces as they are in a second circuit that shares the places;
    ``earlier`` is the first circuit with its spots then. ``risers`` are the columns kept for rails
    that come up from the supply.
    """

    nets: Netlist
    style: Style
    spots: dict[str, Spot] = field(default_factory=dict)
    order: list[int] = field(default_factory=list)
    columns: int = 0
    followers: list[tuple[str, str, int]] = field(default_factory=list)
    variants: dict[str, Spot] = field(default_factory=dict)
    risers: dict[str, int] = field(default_factory=dict)
    earlier: tuple[Netlist, dict[str, Spot]] | None = None

    def column(self, *, after: int | None = None, before: int | None = None) -> int:
        """Return a new column: the last one, or right after or before another."""
        self.columns += 1
        if before is not None:
            self.order.insert(self.order.index(before), self.columns)
        elif after is None:
            self.order.append(self.columns)
        else:
            self.order.insert(self.order.index(after) + 1, self.columns)
        return self.columns

    def put(
        self,
        piece: Piece,
        pose: Pose,
        band: str,
        y: int,
        column: int,
        *,
        lead: str = "",
        dx: int = 0,
    ) -> Spot:
        """Place a piece, its origin or one of its leads at y and ``dx`` off the column."""
        symbol = posed(piece, pose, self.style)
        at = symbol.lead(lead) if lead else None
        dx, dy = (dx - at.x, -at.y) if at else (dx, 0)
        spot = self._spot(piece, pose, band, y + dy, column, dx)
        self.spots[piece.key] = spot
        return spot

    def _spot(
        self,
        piece: Piece,
        pose: Pose,
        band: str,
        y: int,
        column: int,
        dx: int,
        symbol: Symbol | None = None,
    ) -> Spot:
        symbol = symbol or dressed(piece, posed(piece, pose, self.style), self.nets)
        ends = tags(piece, symbol, self.nets)
        return Spot(
            piece,
            pose,
            symbol,
            ends,
            label_of(piece, symbol, self.nets, ends),
            column,
            dx,
            band,
            y,
            _riser(piece, symbol, self.nets),
        )

    def vary(self, nets: Netlist) -> None:
        """Go over to a second netlist: pieces of both keep their places, as they are in it."""
        self.earlier = (self.nets, dict(self.spots))
        self.nets = nets
        self.variants = {
            key: self.like(piece, spot)
            for key, piece in nets.pieces.items()
            if (spot := self.spots.get(key)) is not None
        }

    def like(self, piece: Piece, spot: Spot) -> Spot:
        """Return a piece in the place and pose of a spot; a socket that a tube left as its empty
        envelope.
        """
        left = piece.kind == "socket" and spot.piece.bulb_unit is not None
        empty = tube.emptied(spot.symbol, dict(piece.pins)) if left else None
        return self._spot(piece, spot.pose, spot.band, spot.y, spot.column, spot.dx, empty)

    def follow(self, pieces: list[Piece], gap: int = 0) -> None:
        """Hold that each of some pieces begins right of where the one before it ends."""
        self.followers += [(piece.key, other.key, gap) for piece, other in pairwise(pieces)]

    def free(self, net: str) -> list[Piece]:
        """Return the pieces on a net that have no place yet."""
        return [piece for piece in self.nets.on[net] if piece.key not in self.spots]

    def net(self, name: str) -> DrawnNet:
        """Return a net by name."""
        return self.nets.nets[name]

    def others(self, piece: Piece, net: str) -> list[str]:
        """Return the nets of a piece beside one."""
        return [node for node in piece.nodes if node != net]

    def is_loose(self, pieces: Iterable[Piece]) -> list[Piece]:
        """Return those pieces that have no place yet."""
        return [piece for piece in pieces if piece.key not in self.spots]


def _riser(piece: Piece, symbol: Symbol, nets: Netlist) -> int | None:
    """Return the x of a lead at the left of a tube that goes up to a rail beside it, or None."""
    if piece.bulb_unit is None:
        return None
    on_rails = (
        lead.x
        for lead in symbol.leads
        if lead.side == "left" and nets.shown(piece.node(lead.terminals[0]) or "") == "rail"
        if piece.node(lead.terminals[0]) is not None
    )
    return min(on_rails, default=None)
