"""The heaters in a row of their own, from the line to common in the order of the string; in
parallel each between its two leads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from rework.draw.layout.netlist import FLAG, Piece
from rework.draw.layout.pose import Pose, hanging, lying
from rework.draw.layout.sketch import Sketch, Spot
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Side

BAND = "heaters"
#: A net with so many pieces of the row on it is a rail of heaters: the row does not go on there.
_HUB = 3
#: From the row to the lines over and under it that feed heaters in parallel, and to the row of what
#: lies at a tap, u.
_LINE = 6


@dataclass(slots=True)
class HeaterBand:
    """Walks the heaters and what lies in their string."""

    sketch: Sketch
    pieces: frozenset[str]
    done: set[str] = field(default_factory=set)

    def run(self) -> None:
        """Place heaters between two rails, then the string from its feeding end on, then every
        heater it did not reach.
        """
        self._ladder()
        from_taps = self._from_taps()
        self.pieces -= from_taps.keys()
        for net in self._starts():
            self.walk(net)
        self.pieces |= from_taps.keys()
        self._lay_from_taps(from_taps)
        for key in sorted(self.pieces):
            piece = self.sketch.nets.pieces[key]
            if key not in self.sketch.spots and piece.kind != FLAG and self._ends(piece):
                self._place(piece, self._ends(piece)[0])
                for node in self._ends(piece):
                    self.walk(node)
        for key in sorted(self.pieces):
            if key not in self.sketch.spots:
                flag = self.sketch.nets.pieces[key]
                y = self._line_of(flag.nodes[0])
                self.sketch.put(flag, Pose(), BAND, y, self.sketch.column())

    def _from_taps(self) -> dict[str, tuple[str, Piece]]:
        """Return what lies between the tap of a heater and a net outside of the string, as the
        resistor before a rectifier's plate: the net of the tap and the heater.
        """
        nets = self.sketch.nets
        heaters = [p for p in map(nets.pieces.get, sorted(self.pieces)) if p is not None]
        taps = {
            node: piece
            for piece in heaters
            if piece.kind == bulb.HEATER_UNIT and piece.key not in self.sketch.spots
            for node in set(piece.nodes) - set(self._ends(piece))
        }
        from_taps = {}
        for net, heater in taps.items():
            for piece in self.sketch.free(net):
                plain = piece.is_two_ended and not piece.part.is_conductor
                if not (plain and piece.key in self.pieces) or piece.kind == "lamp":
                    continue
                far = next((node for node in piece.nodes if node != net), net)
                if all(p is piece or p.key not in self.pieces for p in nets.on[far]):
                    from_taps[piece.key] = net, heater
        return from_taps

    def _lay_from_taps(self, from_taps: dict[str, tuple[str, Piece]]) -> None:
        """Lay each at the right of the heater, in the row of the lamp over it."""
        for key, (net, heater) in sorted(from_taps.items()):
            piece, spot = self.sketch.nets.pieces[key], self.sketch.spots[heater.key]
            column = self.sketch.column(after=spot.column)
            self.sketch.put(piece, lying(piece, net), BAND, -_LINE, column)

    def _line_of(self, net: str) -> int:
        """Return the row of the line over or under the heaters that a net runs in, 0 for none."""
        ends = [
            spot.y + lead.y
            for piece in self.sketch.nets.on[net]
            if (spot := self.sketch.spots.get(piece.key)) is not None and spot.band == BAND
            for lead in spot.symbol.leads
            if piece.node(lead.terminals[0]) == net
        ]
        side = sum((y > 0) - (y < 0) for y in ends)
        return 0 if not side or len(ends) < 2 else _LINE if side > 0 else -_LINE

    def _ladder(self) -> None:
        """Place what lies between the same two rails of heaters between their lines, so that each
        lead runs straight into one; a heater in halves points its tap to the upper line.
        """
        rungs: dict[frozenset[str], list[Piece]] = {}
        for key in sorted(self.pieces - self.sketch.spots.keys()):
            piece = self.sketch.nets.pieces[key]
            nets = frozenset(piece.nodes)
            is_rung = piece.is_two_ended or piece.bulb_unit is not None
            signed = any(self.sketch.nets.shown(net) == "sign" for net in nets)
            if len(nets) == 2 and is_rung and not signed:
                rungs.setdefault(nets, []).append(piece)
        for nets, pieces in sorted(rungs.items(), key=lambda rung: sorted(rung[0])):
            heaters = [piece for piece in pieces if piece.kind == bulb.HEATER_UNIT]
            if len(heaters) < 2:
                continue
            taps = [net for piece in heaters for net in nets - set(self._ends(piece))]
            upper = taps[0] if taps else min(nets, key=lambda net: (self._height(net), net))
            self.done |= nets
            for piece in pieces:
                in_halves = len(set(self._ends(piece))) == 1
                down = in_halves and upper in self._ends(piece)
                pose = (
                    Pose(quarters=2 * down)
                    if in_halves
                    else hanging(piece, self._top(piece, upper))
                )
                self.sketch.put(piece, pose, BAND, 0, self.sketch.column())

    def _top(self, piece: Piece, upper: str) -> str:
        """Return the node that hangs a piece with its lead on a net up."""
        first = self._ends(piece)[0]
        return (
            piece.pins[0][1]
            if (first == upper)
            else next(node for node in piece.nodes if node != piece.pins[0][1])
        )

    def _ends(self, piece: Piece) -> list[str]:
        """Return the nets at both ends of a piece of the string, taps left out."""
        if piece.bulb_unit is not None:
            pins = piece.bulb_unit.pins
            ends = [pins.get(name, ()) for name in ("heater1", "heater2")]
            return [node for end in ends for pin in end[:1] if (node := piece.node(pin))]
        return list(piece.nodes)[:2]

    def _starts(self) -> list[str]:
        """Return the nets where the row begins: fed from elsewhere and no sign, hubs first."""
        starts = {}
        for key in self.pieces:
            for net in self._ends(self.sketch.nets.pieces[key]):
                if self.sketch.nets.shown(net) == "sign":
                    continue
                mine = [p for p in self.sketch.nets.on[net] if p.key in self.pieces]
                others = [p for p in self.sketch.nets.on[net] if p.key not in self.pieces]
                if others or len(mine) == 1 or len(mine) >= _HUB:
                    fed = self.sketch.net(net).role == "line"
                    hub = len(mine) if len(mine) >= _HUB else 0
                    far = self._far_from_sign(net)
                    starts[net] = (not fed, not others, -hub, -far, -self._height(net), net)
        return sorted(starts, key=lambda net: starts[net])

    def _far_from_sign(self, net: str) -> int:
        """Return how many pieces of the row lie between a net and the nearest sign, so that a
        string begins at its far end.
        """
        seen, ring, steps = {net}, [net], 0
        while ring:
            if any(self.sketch.nets.shown(member) == "sign" for member in ring):
                return steps
            following = [
                node
                for member in ring
                for piece in self.sketch.nets.on[member]
                if piece.key in self.pieces
                for node in self._ends(piece)
            ]
            ring = [node for node in dict.fromkeys(following) if node not in seen]
            seen.update(ring)
            steps += 1
        return 0

    def _height(self, net: str) -> int:
        """Return how low the lowest lead on a net is that has its place: the row begins there."""
        return max(
            (
                spot.y + lead.y
                for piece in self.sketch.nets.on[net]
                if (spot := self.sketch.spots.get(piece.key)) is not None and spot.band != BAND
                for lead in spot.symbol.leads
                if piece.node(lead.terminals[0]) == net
            ),
            default=0,
        )

    def walk(self, net: str) -> None:
        """Lay the pieces on a net in the row and go on behind each."""
        if net in self.done or self.sketch.nets.shown(net) == "sign":
            return
        self.done.add(net)
        here = [
            p
            for p in self.sketch.free(net)
            if p.key in self.pieces and net in self._ends(p) and p.kind != FLAG
        ]
        here.sort(key=lambda p: (p.kind != bulb.HEATER_UNIT, p.key))
        for piece in here:
            if piece.key in self.sketch.spots:
                continue
            heater = self._fed_by(piece, net) if len(here) >= _HUB - 1 else None
            if heater is not None:
                self._feed(heater)
                continue
            self._place(piece, net)
            self._beside(piece)
            for far in self._ends(piece):
                on = [p for p in self.sketch.nets.on[far] if p.key in self.pieces]
                if far != net and len(on) < _HUB:
                    self.walk(far)

    def _fed_by(self, piece: Piece, hub: str) -> Piece | None:
        """Return the heater, or the lamp that has its place, that a wire from a rail of heaters
        goes to, or None.
        """
        if not piece.part.is_conductor or len(piece.nodes) != 2:
            return None
        far = next(node for node in piece.nodes if node != hub)
        on = self.sketch.nets.on[far]
        heaters = [p for p in on if p.kind == bulb.HEATER_UNIT or self._is_lamp(p)]
        return heaters[0] if len(on) == 2 and heaters else None

    def _is_lamp(self, piece: Piece) -> bool:
        spot = self.sketch.spots.get(piece.key)
        return piece.kind == "lamp" and spot is not None and spot.band == BAND

    def _feed(self, heater: Piece) -> None:
        """Place a heater that wires feed at both ends, and the wires."""
        if heater.key not in self.sketch.spots:
            column = self.sketch.column()
            self.sketch.put(heater, self._pose(heater, self._ends(heater)[0]), BAND, 0, column)
        self._beside(heater)

    def _beside(self, heater: Piece) -> None:
        """Place the wires that feed a heater at its leads: up at the left and at a tap, down at the
        right; under it what ties two of its own pins.
        """
        spot = self.sketch.variants.get(heater.key) or self.sketch.spots[heater.key]
        if heater.kind == "lamp":
            self._beside_lamp(heater, spot)
        if heater.kind != bulb.HEATER_UNIT or spot.band != BAND:
            return
        for lead in spot.symbol.leads:
            node = heater.node(lead.terminals[0])
            if node is None:
                continue
            for wire in self.sketch.free(node):
                if not wire.part.is_conductor or len(wire.nodes) != 2:
                    continue
                far = next(n for n in wire.nodes if n != node)
                if far in heater.nodes and lead.side == "left":
                    y = spot.y + math.ceil(spot.label.box.bottom) + 1
                    pose = lying(wire, node)
                    self.sketch.put(wire, pose, BAND, y, spot.column, dx=spot.dx)
                    continue
                on = self.sketch.nets.on[far]
                in_string = len(on) == 2 and any(p.kind == bulb.HEATER_UNIT for p in on)
                if len(self.sketch.nets.on[node]) != 2 or in_string:
                    continue
                up = lead.side != "right"
                y = spot.y + lead.y + (-3 if up else 3)
                pose = hanging(wire, far if up else node)
                self.sketch.put(wire, pose, BAND, y, spot.column, dx=spot.dx + lead.x)

    def _beside_lamp(self, lamp: Piece, spot: Spot) -> None:
        """Lay the wires that feed a lamp in its row, at both sides."""
        for lead in spot.symbol.leads:
            node = lamp.node(lead.terminals[0]) or ""
            for wire in self.sketch.free(node) if node else ():
                if not wire.part.is_conductor or len(wire.nodes) != 2:
                    continue
                far = next(n for n in wire.nodes if n != node)
                if lead.side == "left":
                    column, left = self.sketch.column(before=spot.column), far
                else:
                    column, left = self.sketch.column(after=spot.column), node
                self.sketch.put(wire, lying(wire, left), BAND, spot.y, column)

    def _place(self, piece: Piece, left: str) -> None:
        nodes = self._ends(piece)
        across = [
            other
            for other in self.sketch.spots.values()
            if other.band == BAND
            and other.y == 0
            and len(nodes) == 2
            and set(nodes) <= set(other.piece.nodes)
            and piece.kind != bulb.HEATER_UNIT
            and (len(other.piece.nodes) > 2 or other.piece.kind != bulb.HEATER_UNIT)
        ]
        if across:  # across a tapped part of a heater, or another part of the string
            self.sketch.put(piece, lying(piece, left), BAND, -_LINE, across[0].column)
            return
        near = self._neighbour(piece) if piece.is_two_ended and self.sketch.earlier else None
        if near is not None and piece.bulb_unit is None:  # beside a heater that has its place
            net, spot, side = near
            if side == "left":
                pose = lying(piece, next(node for node in nodes if node != net))
                self.sketch.put(piece, pose, BAND, 0, self.sketch.column(before=spot.column))
            else:
                column = self.sketch.column(after=spot.column)
                self.sketch.put(piece, lying(piece, net), BAND, 0, column)
            return
        self.sketch.put(piece, self._pose(piece, left), BAND, 0, self.sketch.column())

    def _neighbour(self, piece: Piece) -> tuple[str, Spot, Side] | None:
        """Return the net, the spot and the side of a heater in the row that a piece leads to."""
        if len(piece.nodes) != 2:
            return None
        for net in piece.nodes:
            for other in self.sketch.nets.on[net]:
                spot = self.sketch.variants.get(other.key)
                if other.kind != bulb.HEATER_UNIT or spot is None or spot.band != BAND:
                    continue
                for lead in spot.symbol.leads:
                    if other.node(lead.terminals[0]) == net and lead.side in ("left", "right"):
                        return net, spot, lead.side
        return None

    def _pose(self, piece: Piece, left: str) -> Pose:
        if piece.bulb_unit is not None:
            ends = self._ends(piece)
            return Pose() if not ends or ends[0] == left else Pose(mirrored=True)
        return lying(piece, left)
