"""Connectors at the right edge of the supply band, the wires of their contacts at the left."""

from __future__ import annotations

from dataclasses import dataclass

from rework.draw.layout.flow import TRANSFORMERS
from rework.draw.layout.netlist import FLAG, Piece
from rework.draw.layout.pose import Pose, hanging, lying
from rework.draw.layout.sketch import Sketch

BAND = "supply"
#: Units by which a connector is moved to the row of what goes to its first contact, at most.
_NEAR = 4
#: What joins two contacts from the row of the upper one, where others hang.
_LIES = ("switch", "fuse", "breaker")


@dataclass(slots=True)
class Contacts:
    """Places the connectors among some pieces; ``has_rails`` where B+ runs above in a line."""

    sketch: Sketch
    pieces: frozenset[str]
    has_rails: bool

    def run(self) -> list[Piece]:
        """Place every connector that has no place, and the wires of its contacts; return them."""
        nets = self.sketch.nets
        listed = [
            nets.pieces[key]
            for key in sorted(self.pieces - self.sketch.spots.keys())
            if nets.pieces[key].kind == "connector"
        ]
        if not listed:
            return []
        column = self.sketch.column()
        y = self._row_before(listed[0])
        for piece in listed:
            spot = self.sketch.put(piece, Pose(), BAND, y, column)
            y += round(spot.box.bottom - spot.box.top) + 2
        for piece in listed:
            self._before_connector(piece, column)
            self._across(piece, column)
        return listed

    def _far(self, piece: Piece, net: str) -> str:
        others = self.sketch.others(piece, net)
        return others[0] if others else net

    def hold_right(self, connector: Piece) -> None:
        """Hold a connector right of what in the line of B+ goes on to its left contacts."""
        for lead in self.sketch.spots[connector.key].symbol.leads:
            node = connector.node(lead.terminals[0])
            if node is None or lead.side != "left":
                continue
            for piece in self.sketch.nets.on[node]:
                spot = self.sketch.spots.get(piece.key)
                if spot is None or not piece.is_two_ended:
                    continue
                if spot.band != BAND:
                    self.sketch.followers.append((piece.key, connector.key, 2))
                elif self.has_rails and self.sketch.nets.shown(self._far(piece, node)) == "rail":
                    self._follow_rail(self._far(piece, node), piece)

    def _follow_rail(self, rail: str, wire: Piece) -> None:
        """Hold a wire to a rail right of what lies in the rail, and of the lead of a transformer
        on it, so that the rail comes straight down.
        """
        for piece in self.sketch.nets.on[rail]:
            spot = self.sketch.spots.get(piece.key)
            if spot is None or spot.band == BAND:
                continue
            if piece.is_two_ended:
                self.sketch.followers.append((piece.key, wire.key, 1))
            elif piece.kind in TRANSFORMERS:
                last = max(lead.x for lead in spot.symbol.leads)
                on_rail = (a.x for a in spot.symbol.leads if piece.node(a.terminals[0]) == rail)
                self.sketch.followers.append((piece.key, wire.key, min(on_rail) - last))

    def _row_before(self, connector: Piece) -> int:
        """Return the row in which what goes to the first contact of a connector ends, if that is
        near to the first row.
        """
        net = connector.pins[0][1]
        ends = [
            (self.sketch.order.index(spot.column), spot.y + lead.y)
            for piece in self.sketch.nets.on[net]
            if (spot := self.sketch.spots.get(piece.key)) is not None and spot.band == BAND
            for lead in spot.symbol.leads
            if piece.node(lead.terminals[0]) == net and lead.side in ("right", "up")
        ]
        row = max(ends)[1] if ends else 0
        return row if abs(row) <= _NEAR else 0

    def _before_connector(self, piece: Piece, column: int) -> None:
        """Lay what goes from a contact to a sign in the contact's row, at its left."""
        spot = self.sketch.spots[piece.key]
        wires: dict[bool, int] = {}  # under one another, those to a sign beside the contacts
        for lead in spot.symbol.leads:
            node = piece.node(lead.terminals[0])
            laid = 0
            for other in self.sketch.free(node) if node is not None else ():
                far = self._far(other, node or "")
                to_sign = self.sketch.nets.shown(far) == "sign" and other.key in self.pieces
                if other.is_two_ended and (to_sign or other.part.is_conductor):
                    if other.part.is_conductor and not laid:
                        if to_sign not in wires:
                            nearest = column if to_sign else wires.get(True, column)
                            wires[to_sign] = self.sketch.column(before=nearest)
                        at = wires[to_sign]
                    else:
                        at = self.sketch.column(before=column)
                    laid += 1
                    self.sketch.put(other, lying(other, far), BAND, spot.y + lead.y, at)
                elif other.kind == FLAG:
                    at = self.sketch.column(before=column)
                    self.sketch.put(other, Pose(mirrored=True), BAND, spot.y + lead.y, at)

    def _across(self, connector: Piece, column: int) -> None:
        """Place what lies across two contacts, such as a bleeder, below or in the row of the upper
        one, before the wires of both.
        """
        rows = self._behind(connector)
        firsts = [column, *(self.sketch.spots[p.key].column for p in self._wires(connector))]
        first = min(firsts, key=self.sketch.order.index)
        for net, row in sorted(rows.items(), key=lambda it: (it[1], it[0])):
            for piece in self.sketch.free(net):
                far = self._far(piece, net)
                across = piece.is_two_ended and rows.get(far, row) > row
                if across and piece.key in self.pieces:
                    at = self.sketch.column(before=first)
                    if piece.kind in _LIES:
                        self.sketch.put(piece, lying(piece, far), BAND, row, at)
                    else:
                        self.sketch.put(piece, hanging(piece, net), BAND, row + 3, at)

    def _behind(self, connector: Piece) -> dict[str, int]:
        """Return the row of each net that a contact leads to, through its wire if it has one."""
        spot = self.sketch.spots[connector.key]
        rows = {
            node: spot.y + lead.y
            for lead in spot.symbol.leads
            if lead.side == "left" and (node := connector.node(lead.terminals[0])) is not None
        }
        for wire in self._wires(connector):
            near = next((net for net in wire.nodes if net in rows), None)
            if near is not None:
                rows.setdefault(self._far(wire, near), rows[near])
        return {net: row for net, row in rows.items() if self.sketch.nets.shown(net) != "sign"}

    def _wires(self, connector: Piece) -> list[Piece]:
        """Return the wires at the contacts of a connector that have their places."""
        return [
            piece
            for node in connector.nodes
            for piece in self.sketch.nets.on[node]
            if piece.part.is_conductor and piece.is_two_ended and piece.key in self.sketch.spots
        ]
