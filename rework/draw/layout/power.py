"""The band of the line and the supply: from the plug along fuse, switch and transformer to the
rectifier, and in a circuit without a signal on along the filter to the connector.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

from rework.anatomy.rectifiers import rectifies
from rework.draw.layout.contacts import BAND, Contacts
from rework.draw.layout.doubler import divided
from rework.draw.layout.netlist import FLAG, Piece
from rework.draw.layout.pose import Pose, hanging, lying, posed
from rework.draw.layout.sketch import Sketch, Spot
from rework.draw.layout.windings import WINDINGS, feeds_heaters_above, primary, stacked
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Side

#: Units between two rows that begin at one part.
_ROWS_APART = 7
#: Units from a row within which nothing else is at one side.
_BESIDE = 3
#: Units between two rows of wires and cables.
_WIRES_APART = 5
#: Units between two transformers under one another.
_STACKED = 3
#: More than the parts of any sheet.
_MANY = 10_000
#: Units by which a side branch lies lower than the net it leaves.
_DROP = 9
#: What a supply begins with, in this order: what is met on the way from one is no start.
_STARTS = ("plug", "battery", "inlet filter")
#: What may lie in a row beside parts of two ends.
_IN_ROW = (FLAG, "shielded cable")
#: What opens a lead of the line, and lies in it.
_NEVER_HANG = ("switch", "fuse", "breaker")
#: Units between two capacitors in series that hang under one another.
_SERIES_APART = 7
#: So many loads on one side of the line hang from the other to it.
_LOADS = 3
#: What is kept for the right edge.
_LAST = ("connector",)


@dataclass(slots=True)
class PowerBand:
    """Walks what is not signal and not heater; ``has_rails`` where B+ runs above in a line.

    ``below`` has for each net of a winding the row of its lowest lead, under which things hang,
    ``lead_rows`` the row of the net's own lead;
    ``lowest`` is the row of B+ at which a filter stays clear of the windings under the first;
    ``own_rows`` are those of the contacts of switches, ``rows_of`` what of them is still to come.
    """

    sketch: Sketch
    pieces: frozenset[str]
    has_rails: bool
    done: set[str] = field(default_factory=set)
    rows: set[int] = field(default_factory=set)
    added: int | None = None
    apart: int | None = None
    below: dict[str, int] = field(default_factory=dict)
    lowest: int = _MANY
    lead_rows: dict[str, int] = field(default_factory=dict)
    rows_of: dict[str, int] = field(default_factory=dict)
    own_rows: dict[str, int] = field(default_factory=dict)

    def run(self) -> None:
        """Place from every plug on, then from transformers and connectors that were not reached."""
        nets = self.sketch.nets
        here = [spot for spot in self.sketch.spots.values() if spot.band == BAND]
        self.rows = {spot.y for spot in here}
        if here:  # what a second circuit has more goes in at the left
            for spot in sorted(here, key=lambda spot: spot.piece.key):
                self._outward(spot)
            self.added = self.sketch.column(before=self.sketch.order[0])
        for kinds in (*((kind,) for kind in _STARTS), WINDINGS):
            for key in sorted(self.pieces):
                piece = nets.pieces[key]
                if piece.kind in kinds and key not in self.sketch.spots:
                    self._start(piece)
        for key in sorted(self.pieces):
            piece = nets.pieces[key]
            if (
                piece.kind == FLAG
                and key not in self.sketch.spots
                and not self._at_connector(piece)
                and not self._flag_near(piece)
            ):
                self._start(piece)
        contacts = Contacts(self.sketch, self.pieces, self.has_rails)
        for connector in contacts.run():
            self._leave(connector, 0)
            contacts.hold_right(connector)
        self._rest()

    def _column(self) -> int:
        """Return a new column: the last, or in a second circuit the next at the left."""
        if self.added is not None:
            self.added = self.sketch.column(after=self.added)
        return self.added or self.sketch.column()

    def _outward(self, spot: Spot) -> None:
        """Lay what a second circuit has in a row at a lead of a part that has its place: on the
        side where the lead is, as far as the row goes on.
        """
        piece = self.sketch.nets.pieces.get(spot.piece.key)
        for lead in spot.symbol.leads:
            net = piece.node(lead.terminals[0]) if piece is not None else None
            if net is None or lead.side not in ("left", "right"):
                continue
            row = self._row_from(net)
            at, y = spot.column, spot.y + lead.y
            if row and not self._is_left_free(spot, y, lead.side):
                wires = all(piece.part.is_conductor or piece.kind in _IN_ROW for piece in row)
                y = self._free_row(y, _WIRES_APART if wires else _ROWS_APART)
            laid = [spot.piece]
            for neighbour in row:
                left = lead.side == "left"
                at = self.sketch.column(before=at) if left else self.sketch.column(after=at)
                if neighbour.kind == FLAG:
                    pose = Pose(mirrored=left)
                else:
                    pose = lying(neighbour, self._far(neighbour, net) if left else net)
                    self.done.add(net)
                    net = self._far(neighbour, net)
                self.sketch.put(neighbour, pose, BAND, y, at)
                laid.append(neighbour)
            self.done |= {net} if row else set()
            self.sketch.follow(laid[::-1] if lead.side == "left" else laid, 1)

    def _is_left_free(self, spot: Spot, row: int, side: Side) -> bool:
        """True where nothing at one side of a part is in the way of a row."""
        place = {column: number for number, column in enumerate(self.sketch.order)}
        return not any(
            0 < abs(other.y - row) < _BESIDE
            and (place[other.column] < place[spot.column]) == (side == "left")
            for key, other in self.sketch.spots.items()
            if other.band == BAND and key != spot.piece.key and key in self.sketch.nets.pieces
        )

    def _row_from(self, net: str) -> list[Piece]:
        """Return the parts of two ends that follow one another from a net, and the flag at their
        end; none where the net branches.
        """
        pieces: list[Piece] = []
        while net not in self.done and self.sketch.nets.shown(net) == "wire":
            here = [piece for piece in self._here(net) if piece not in pieces]
            if len(here) != 1 or not (here[0].is_two_ended or here[0].kind in _IN_ROW):
                break
            pieces.append(here[0])
            if here[0].kind == FLAG:
                break
            net = self._far(here[0], net)
        return pieces

    def _start(self, piece: Piece) -> None:
        base = self._free_row(0)
        pose = Pose(mirrored=piece.kind == FLAG)
        self.sketch.put(piece, pose, BAND, base, self._column())
        self._leave(piece, base)

    def _flag_near(self, flag: Piece) -> bool:
        """Place a flag of a net under a row that it joins; say whether there is one."""
        net = flag.nodes[0]
        for piece in self.sketch.nets.on[net]:
            spot = self.sketch.spots.get(piece.key)
            if spot is None or spot.band != BAND or self.added is None:
                continue
            for lead in spot.symbol.leads:
                if piece.node(lead.terminals[0]) == net and lead.side == "right":
                    column = self.sketch.column(after=spot.column)
                    self.sketch.put(flag, Pose(), BAND, spot.y + lead.y + _BESIDE, column)
                    return True
        return False

    def _at_connector(self, flag: Piece) -> bool:
        return any(piece.kind in _LAST for piece in self.sketch.nets.on[flag.nodes[0]])

    def _free_row(self, wanted: int, apart: int = _ROWS_APART) -> int:
        while any(abs(wanted - row) < apart for row in self.rows):
            wanted += apart
        self.rows.add(wanted)
        return wanted

    def _leave(self, piece: Piece, base: int) -> None:
        """Walk on from the leads of a part, the upper first."""
        spot = self.sketch.spots[piece.key]
        self._note_windings(piece, spot)
        leads = sorted(spot.symbol.leads, key=lambda lead: (lead.y, lead.x))
        rows: dict[str, int] = {}
        for number, lead in enumerate(leads):
            node = piece.node(lead.terminals[0])
            if node is not None and lead.side == "left" and piece.kind not in _LAST:
                self._flag_before(piece, node, spot.y + lead.y)
            if node is not None and node not in rows:
                row = spot.y + lead.y
                if piece.kind in _STARTS and number and self._is_long(node):
                    row = base + _ROWS_APART * number
                if rectifies(piece.part) and self.sketch.net(node).role == "b-plus":
                    row = min(row, self.lowest)
                rows[node] = row
        if piece.kind == "switch" or piece.kind in _STARTS:
            wires = {node for node in rows if self.sketch.nets.shown(node) == "wire"}
            self.rows_of |= {node: rows[node] for node in wires}
        if piece.kind == "switch":
            self.own_rows |= rows
        lowest_first = -1 if piece.kind in _STARTS else 1
        order = {n: (self._weight(n, piece, rows), lowest_first * row) for n, row in rows.items()}
        for node in sorted(rows, key=lambda node: order[node]):
            self.walk(node, rows[node])

    def _note_windings(self, piece: Piece, spot: Spot) -> None:
        """Note for the nets of each winding the row of its lowest lead that a wire leaves."""
        windings: dict[str, list[tuple[str, int]]] = {}
        for lead in spot.symbol.leads if piece.kind in WINDINGS else ():
            node = piece.node(lead.terminals[0])
            if node is not None and self.sketch.nets.shown(node) != "sign":
                winding = lead.terminals[0].partition(".")[0]
                windings.setdefault(winding, []).append((node, spot.y + lead.y))
        feet = [max(row for _, row in ends) for ends in windings.values()]
        tops = [
            min(row for _, row in ends)
            for name, ends in windings.items()
            if not name.startswith("rectifier")
        ]
        under = [top for top in tops if top > min(feet, default=0)]
        self.lowest = min([self.lowest, *(top - _DROP for top in under)])
        for ends in windings.values():
            self.below |= {node: max(row for _, row in ends) for node, _ in ends}
            self.lead_rows |= dict(ends)
            for node, row in ends:
                self._rectifier_heaters(node, row)

    def _rectifier_heaters(self, net: str, row: int) -> None:
        """Place a rectifier's heater right beside the winding that feeds it alone."""
        for heater in self._here(net):
            if heater.kind == bulb.HEATER_UNIT:
                up = self.below[net] == row
                top = self._far(heater, net) if up else net
                self.sketch.put(
                    heater, hanging(heater, top), BAND, row + (-3 if up else 3), self._column()
                )

    def _flag_before(self, piece: Piece, net: str, row: int) -> None:
        """Place the flag of a net that enters a part from the left at its left."""
        here = self._here(net)
        if net not in self.done and len(here) == 1 and here[0].kind == FLAG:
            column = self.sketch.column(before=self.sketch.spots[piece.key].column)
            self.sketch.put(here[0], Pose(mirrored=True), BAND, row, column)
            self.done.add(net)

    def _weight(self, net: str, start: Piece, nets: Iterable[str]) -> int:
        """Return a rank of a net, seen from a part: what has little behind it is placed first, of
        nets that lead to one block the one with the longer way; at a winding, what is tied there.
        """
        if start.kind in WINDINGS:
            return -int(self._is_tied(net))
        if start.kind not in _STARTS:
            return 0
        if self._is_return(net, nets):
            return _MANY
        block, outward = self._block_behind(net, start)
        if block and any(self._block_behind(n, start)[0] == block for n in nets if n != net):
            return _MANY - outward
        return max(
            (self._reach(piece, net) for piece in self._here(net) if piece is not start), default=0
        )

    def _is_return(self, net: str, nets: Iterable[str]) -> bool:
        """True for the one of a plug's nets that most of the loads across the line end at."""
        count = {n: sum(p.is_two_ended for p in self._here(n)) for n in nets}
        return count[net] >= _LOADS and all(count[net] > count[n] for n in nets if n != net)

    def _is_tied(self, net: str) -> bool:
        """True where conductors lead from a net to signs and nothing else is on it: they lie right
        at the winding, out of the way of what the other leads go to.
        """
        here = [p for p in self._here(net) if p.kind not in WINDINGS]
        return bool(here) and all(
            piece.part.is_conductor and self.sketch.nets.shown(self._far(piece, net)) == "sign"
            for piece in here
        )

    def _block_behind(self, net: str, start: Piece) -> tuple[str, int]:
        """Return the nearest part of more than two ends along a net and how many parts lie before
        it; "" where there is none.
        """
        seen, waiting = {net}, [(net, 0)]
        while waiting:
            here, outward = waiting.pop(0)
            for piece in self._here(here):
                if piece is start or self.sketch.nets.shown(here) == "sign":
                    continue
                if not piece.is_two_ended and piece.kind != FLAG:
                    return piece.key, outward
                for far in set(piece.nodes) - seen:
                    seen.add(far)
                    waiting.append((far, outward + 1))
        return "", 0

    def _is_long(self, net: str) -> bool:
        """True where something lies along a net, so that it needs a row of its own."""
        return any(piece.is_two_ended and not piece.part.is_conductor for piece in self._here(net))

    def _here(self, net: str) -> list[Piece]:
        return [piece for piece in self.sketch.free(net) if piece.key in self.pieces]

    def _far(self, piece: Piece, net: str) -> str:
        others = self.sketch.others(piece, net)
        return others[0] if others else net

    def walk(self, net: str, row: int) -> None:
        """Place what is on a net in its row, then go on along it."""
        shown = self.sketch.nets.shown(net)
        if net in self.done or shown == "sign" or (shown == "rail" and self.has_rails):
            return
        self.done.add(net)
        self.rows_of.pop(net, None)
        for piece in self._here(net):
            if self._is_rung(piece, net):
                self.sketch.put(piece, hanging(piece, net), BAND, row + 3, self._column())
            elif piece.is_two_ended and self._hangs(piece, net):
                under = max(row, self.below.get(net, row) + 1) if shown == "wire" else row
                self.sketch.put(piece, hanging(piece, net), BAND, under + 3, self._column())
        self._divided(net, row)
        branches = [piece for piece in self._here(net) if piece.kind not in _LAST]
        branches.sort(key=lambda piece: (self._reach(piece, net), piece.key))
        for number, piece in enumerate(branches):
            if piece.key not in self.sketch.spots:
                drop = 0 if piece is branches[-1] else _DROP * (number + 1)
                self._along(piece, net, row + drop)

    def _is_rung(self, piece: Piece, net: str) -> bool:
        """True for what lies across the line: from one lead of the plug to another."""
        return (
            piece.is_two_ended
            and not piece.part.is_conductor
            and self._far(piece, net) in self.rows_of
            and self._far(piece, net) not in self.own_rows
            and piece.kind not in _NEVER_HANG
        )

    def _divided(self, net: str, row: int) -> None:
        """Place capacitors in series between B+ and a sign under one another, as of a doubler, and
        beside each what lies across it.
        """
        for middle, halves in divided(self.sketch, self.pieces, net):
            top_row = max(row + 3, self.lead_rows.get(middle, row) - 3)
            self.done.add(middle)
            for number in range(max(map(len, halves))):
                column = self._column()
                for step, across in enumerate(halves):
                    top = (net, middle)[step]
                    for hung in across[number : number + 1]:
                        y = top_row + step * _SERIES_APART
                        self.sketch.put(hung, hanging(hung, top), BAND, y, column)

    def _hangs(self, piece: Piece, net: str) -> bool:
        far = self._far(piece, net)
        shown = self.sketch.nets.shown(far)
        lies = piece.part.is_conductor or piece.kind in _NEVER_HANG
        return shown == "sign" and not lies and far != net

    def _along(self, piece: Piece, net: str, row: int) -> None:
        far = self._far(piece, net)
        if piece.part.is_conductor and far in self.rows_of and far in self.own_rows:
            return  # it lies in the row of its other end, which comes later
        if piece.is_two_ended and far in self.done and row == self.own_rows.get(net):
            self.sketch.put(piece, lying(piece, net), BAND, row, self._column())
        elif piece.is_two_ended and far in self.done:
            self.sketch.put(piece, hanging(piece, net), BAND, row + 3, self._column())
        elif piece.is_two_ended:
            self.sketch.put(piece, lying(piece, net), BAND, row, self._column())
            self.walk(far, row)
        else:
            self._block(piece, net, row)

    def _block(self, piece: Piece, net: str, row: int) -> None:
        """Place a part of more than two leads, entered by one of them, and under a transformer
        those whose primaries are on the same nets.
        """
        terminal = next(t for t, node in piece.pins if node == net)
        pose = Pose()
        lead = posed(piece, pose, self.sketch.style).lead(terminal)
        y = row
        if lead is not None:
            y = row - lead.y
            if lead.side == "up":
                y -= 1 if lead.x else 0
                pose = Pose(mirrored=lead.x < 0)
            elif piece.kind == "switch" and feeds_heaters_above(self.sketch, self.pieces, piece):
                pose = Pose(quarters=2, mirrored=True)
                turned = posed(piece, pose, self.sketch.style).lead(terminal)
                y = row - turned.y if turned is not None else y
        stack = [piece]
        if piece.kind in WINDINGS:
            stack = stacked(self.sketch, self._here(min(primary(piece))), piece)
        column = self._column()
        spots = []
        for item in stack:
            spot = self.sketch.put(item, pose, BAND, y, column)
            spots.append(spot)
            y = math.ceil(spot.y + spot.box.bottom) + _STACKED
        for item, spot in zip(stack, spots, strict=True):
            self._leave(item, spot.y)

    def _reach(self, piece: Piece, net: str) -> int:
        """Return how many parts lie behind a piece, so that short branches come first."""
        seen, waiting, met = {net} | self.done, list(self.sketch.others(piece, net)), {piece.key}
        while waiting:
            node = waiting.pop()
            if node in seen or self.sketch.nets.shown(node) == "sign":
                continue
            seen.add(node)
            for other in self.sketch.nets.on[node]:
                if other.key not in met and other.key in self.pieces:
                    met.add(other.key)
                    waiting += other.nodes
        return len(met)

    def _rest(self) -> None:
        """Walk from whatever has no place yet, from rectifiers first."""
        pieces = (self.sketch.nets.pieces[key] for key in sorted(self.pieces))
        for piece in sorted(pieces, key=lambda piece: piece.bulb_unit is None):
            if piece.key in self.sketch.spots or piece.kind == bulb.HEATER_UNIT:
                continue
            self._isolated(piece)

    def _isolated(self, piece: Piece) -> None:
        if piece.bulb_unit is not None:  # a rectifier fed from the heaters
            self._start(piece)
            return
        band, y = "heaters", 0
        if self.added is not None:
            if self.apart is None:
                self.apart = self._free_row(0)
            band, y = BAND, self.apart
        self.sketch.put(piece, Pose(), band, y, self._column())
        for node in piece.nodes:
            if self.sketch.nets.shown(node) != "wire" or node in self.done:
                continue
            self.done.add(node)
            for other in self._here(node):
                if other.is_two_ended and other.key not in self.sketch.spots:
                    self.sketch.put(other, lying(other, node), band, y, self._column())
