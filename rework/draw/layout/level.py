"""Pieces moved up or down where wires then run straighter, as long as nothing meets anything.

Bends are counted without routing: between two leads the fewest that a wire needs which leaves each
on its own side, over the shortest tree that joins the leads of a net.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rework.draw.layout.netlist import Netlist
from rework.draw.layout.sketch import PiecePlace, Sketch, Spot
from rework.draw.routing.way import fewest_bends
from rework.draw.symbols.pen import Box, Side

#: How far a piece may be moved, u, and how often all are tried.
_FAR, _ROUNDS = 9, 3
#: Room kept around what was moved, u.
_CLEAR = 1.0
#: A bend counts as so many units of wire.
_BEND = 6.0

End = tuple[str, int, int, Side]


def levelled(sketch: Sketch, place: Mapping[str, PiecePlace]) -> Mapping[str, PiecePlace]:
    """Return the places with what may be moved where it bends fewest wires."""
    board = _Board(sketch, dict(place))
    movable = sorted(key for key, spot in sketch.spots.items() if _moves(spot))
    for _ in range(_ROUNDS):
        if not sum(board.settle(key) for key in movable):
            break
    return board.place


def _moves(spot: Spot) -> bool:
    """True for what keeps no row: all of the supply, and the ends of the signal."""
    if spot.band == "supply":
        return True
    ends = ("transformer", "output transformer", "speaker", "connector", "jack", "flag")
    return spot.band.startswith("signal") and spot.piece.kind in ends


@dataclass(slots=True)
class _Board:
    sketch: Sketch
    place: dict[str, PiecePlace]

    def settle(self, key: str) -> bool:
        """Move one piece to where its nets cost least; say whether it moved."""
        x, y = self.place[key].x, self.place[key].y
        others = [box for other in self.place if other != key for box in self._boxes(other)]
        best, least = y, self._cost(key) - 0.5
        for dy in sorted(range(-_FAR, _FAR + 1), key=lambda step: (abs(step), step)):
            if not dy:
                continue
            self.place[key] = PiecePlace(x, y + dy)
            mine = [box.grown(_CLEAR) for box in self._boxes(key)]
            if any(box.meets(other) for box in mine for other in others):
                continue
            cost = self._cost(key)
            if cost < least:
                best, least = y + dy, cost
        self.place[key] = PiecePlace(x, best)
        return best != y

    def _spots(self, key: str) -> list[Spot]:
        spots = (self.sketch.spots.get(key), self.sketch.variants.get(key))
        return [spot for spot in spots if spot is not None]

    def _boxes(self, key: str) -> list[Box]:
        at = self.place[key]
        return [spot.box.moved(at.x, at.y) for spot in self._spots(key)]

    def _cost(self, key: str) -> float:
        """Return the cost of all nets on a piece, in both circuits where there are two."""
        total = 0.0
        for nets, spots in self._circuits():
            piece = nets.pieces.get(key)
            for node in piece.nodes if piece is not None else ():
                if nets.shown(node) != "sign":
                    total += _tree(list(self._ends(nets, spots, node)))
        return total

    def _circuits(self) -> list[tuple[Netlist, Mapping[str, Spot]]]:
        now = {**self.sketch.spots, **self.sketch.variants}
        circuits: list[tuple[Netlist, Mapping[str, Spot]]] = [(self.sketch.nets, now)]
        if self.sketch.earlier is not None:
            circuits.append(self.sketch.earlier)
        return circuits

    def _ends(self, nets: Netlist, spots: Mapping[str, Spot], node: str) -> Iterable[End]:
        for key, terminal in nets.nets[node].pins:
            spot = spots.get(key)
            lead = spot.symbol.lead(terminal) if spot is not None else None
            if lead is not None and key in self.place:
                yield key, self.place[key].x + lead.x, self.place[key].y + lead.y, lead.side


def _tree(ends: list[End]) -> float:
    """Return the cost of the cheapest tree that joins some leads (Prim 1957)."""
    total = 0.0
    joined, rest = ends[:1], ends[1:]
    while rest:
        cost, nearest = min(
            (_between(first, second), second) for first in joined for second in rest
        )
        total += cost
        rest.remove(nearest)
        joined.append(nearest)
    return total


def _between(first: End, second: End) -> float:
    """Return the cost of a wire between two leads: its length, and the bends it needs."""
    across, down = second[1] - first[1], second[2] - first[2]
    return abs(across) + abs(down) + _BEND * fewest_bends(first[3], second[3], across, down)
