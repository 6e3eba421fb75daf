"""What the signal band asks of a netlist while it walks: which net is a plate's, what a part leads
to, in which row a net goes on.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from rework.draw.layout.netlist import Piece
from rework.draw.layout.pose import Pose, posed
from rework.draw.layout.sketch import Sketch
from rework.draw.symbols import bulb

TRANSFORMERS = ("output transformer", "transformer", "autotransformer")
#: Pieces in a row between a cathode and its sign, at most.
_TAIL = 4


@dataclass(slots=True)
class Flow:
    """A netlist being walked: the sketch, the pieces that belong to the band, the nets done."""

    sketch: Sketch
    pieces: frozenset[str]
    done: set[str] = field(default_factory=set)

    def here(self, net: str) -> list[Piece]:
        """Return the pieces of the band on a net that have no place yet."""
        return [piece for piece in self.sketch.free(net) if piece.key in self.pieces]

    def shown(self, net: str) -> str:
        """Return how a net is shown."""
        return self.sketch.nets.shown(net)

    def far(self, piece: Piece, net: str) -> str:
        """Return the net at the other end of a piece."""
        others = self.sketch.others(piece, net)
        return others[0] if others else net

    def lies(self, piece: Piece) -> bool:
        """True for a part of two ends that is no heater."""
        return piece.is_two_ended and piece.kind != bulb.HEATER_UNIT

    def element_net(self, piece: Piece, element: str) -> str:
        """Return the net of a tube's element, or an empty string."""
        if piece.bulb_unit is None:
            return ""
        pins = piece.bulb_unit.pins.get(element, ())
        return next((node for pin in pins if (node := piece.node(pin))), "")

    def is_plate(self, net: str) -> bool:
        """True for a net that a plate is on."""
        return any(
            piece.kind != bulb.HEATER_UNIT and self.element_net(piece, "plate") == net
            for piece in self.sketch.nets.on[net]
        )

    def has_grid(self, net: str) -> bool:
        """True for a net that a grid is on."""
        return any(self.element_net(piece, "grid") == net for piece in self.sketch.nets.on[net])

    def row_of(self, net: str) -> int:
        """Return the row of the first grid that a net leads to: 2 under the middle of a pentode."""
        seen, waiting = {net}, [net]
        while waiting:
            here = waiting.pop(0)
            for piece in self.sketch.nets.on[here]:
                grid = self._grid_row(piece, here)
                if grid is not None:
                    return grid
                if piece.is_two_ended or piece.kind == "pot":
                    for node in piece.nodes:
                        if node not in seen and self.shown(node) == "wire":
                            seen.add(node)
                            waiting.append(node)
        return 0

    def meets_pot(self, net: str) -> bool:
        """True where a net leads along parts in its row to an end of a pot."""
        seen = {net}
        while True:
            here = self.sketch.nets.on[net]
            if any(piece.kind == "pot" and piece.node("wiper") != net for piece in here):
                return True
            ways = [
                self.far(piece, net)
                for piece in here
                if self.lies(piece) and self.shown(self.far(piece, net)) == "wire"
            ]
            onward = [node for node in ways if node not in seen]
            if len(onward) != 1 or self.has_grid(net):
                return False
            net = onward[0]
            seen.add(net)

    def _grid_row(self, piece: Piece, net: str) -> int | None:
        if piece.bulb_unit is None or piece.kind == bulb.HEATER_UNIT:
            return None
        pins = [pin for pin in piece.bulb_unit.pins.get("grid", ()) if piece.node(pin) == net]
        lead = posed(piece, Pose(), self.sketch.style).lead(pins[0]) if pins else None
        return lead.y if lead else None

    def reached(self, net: str, without: str) -> set[str]:
        """Return the nets that two-ended parts and pots lead to from a net, but for one."""
        seen, waiting = {net, without}, [net]
        while waiting:
            for piece in self.sketch.nets.on[waiting.pop()]:
                if self.lies(piece) or piece.kind == "pot":
                    for node in piece.nodes:
                        if node not in seen and self.shown(node) == "wire":
                            seen.add(node)
                            waiting.append(node)
        return seen - {without}

    def drives(self, net: str) -> bool:
        """True for a net that leads to a grid along parts of two ends and pots, and to no plate."""
        nets = self.reached(net, "")
        return any(map(self.has_grid, nets)) and not any(map(self.is_plate, nets))

    def feeds_back(self, net: str, far: str) -> bool:
        """True where what lies between two nets comes back from a load: from a winding of the
        transformer that a plate drives by another.
        """
        loads = [piece for piece in self.sketch.nets.on[far] if piece.kind in TRANSFORMERS]
        driven = any(self.is_plate(node) for piece in loads for node in piece.nodes)
        return driven and not self.is_plate(far) and all(net not in p.nodes for p in loads)

    def downstream(self, net: str) -> set[str]:
        """Return the nets that the signal on a net reaches, through tubes and transformers too."""
        seen, waiting = {net}, [net]
        while waiting:
            here = waiting.pop()
            for piece in self.sketch.nets.on[here]:
                following: tuple[str, ...] = ()
                if self.lies(piece) or piece.kind == "pot" or piece.kind in TRANSFORMERS:
                    following = piece.nodes
                elif self.element_net(piece, "grid") == here:
                    following = tuple(self.element_net(piece, e) for e in ("plate", "cathode"))
                for node in following:
                    if node and node not in seen and self.shown(node) == "wire":
                        seen.add(node)
                        waiting.append(node)
        return seen

    def reach(self, piece: Piece, net: str) -> int:
        """Return how many tubes a piece leads to by their grids that have no place yet."""
        seen, waiting, count = {net} | self.done, list(self.sketch.others(piece, net)), 0
        met = {piece.key}
        while waiting:
            node = waiting.pop()
            if node in seen or self.shown(node) != "wire":
                continue
            seen.add(node)
            for other in self.here(node):
                if other.key in met or other.kind == bulb.HEATER_UNIT:
                    continue
                if other.bulb_unit is not None and self.element_net(other, "grid") != node:
                    continue
                met.add(other.key)
                count += other.bulb_unit is not None
                waiting += other.nodes
        return count

    def leads_nowhere(self, piece: Piece, net: str) -> bool:
        """True where all that a piece leads to ends at signs, without a tube or an end."""
        if not (self.lies(piece) or piece.kind == "pot"):
            return False
        seen = {net} | self.done
        waiting = [node for node in piece.nodes if node not in seen]
        met = {piece.key}
        if not waiting:
            return False
        while waiting:
            node = waiting.pop()
            if self.shown(node) == "sign" or node in seen:
                continue
            if self.shown(node) == "rail":
                return False
            seen.add(node)
            for other in self.sketch.nets.on[node]:
                if other.key in met:
                    continue
                met.add(other.key)
                passes = self.lies(other) or other.kind == "pot"
                if not passes or set(other.nodes) & self.done:
                    return False
                waiting += other.nodes
        return True

    def tail(self, net: str) -> list[Piece]:
        """Return the parts that carry a cathode's current to a sign, from the cathode down; empty
        where there are none within reach.
        """
        ways: list[tuple[str, list[Piece]]] = [(net, [])]
        for _ in range(_TAIL):
            longer: list[tuple[str, list[Piece]]] = []
            for node, pieces in ways:
                for piece in self.here(node):
                    passes = piece.kind in ("resistor", "choke", "pot") or piece.part.is_conductor
                    if not (passes and self.lies(piece)):
                        continue
                    far = self.far(piece, node)
                    if self.shown(far) == "sign":
                        return [*pieces, piece]
                    if self.shown(far) == "wire" and far not in self.done and far != net:
                        longer.append((far, [*pieces, piece]))
            ways = longer
        return []
