"""The signal band: from the sources along grid and plate to the load, stage by stage.

Every net has a row. A plate's row is at the foot of its load; a grid's row is at the height of the
grid it goes to. Resistors to the rail hang above, what goes to common below, branches that go
nowhere else hang, and the coupling to the next stage lies in the row. Roles decide; geometry never
does.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from rework.draw.layout.netlist import Piece
from rework.draw.layout.pose import Pose, hanging, lying, posed
from rework.draw.layout.sketch import Sketch, Spot
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Side

#: Rows of the band, u below the middle of its tubes: middle of a load, foot of a load, top and
#: middle of what hangs to common, the row of feedback.
LOAD, PLATE, SHUNT_TOP, SHUNT, FEEDBACK = -12, -9, 9, 12, 22
#: Units from one source to the next below it.
_SOURCES_APART = 9
SOURCES = ("jack", "pickup", "microphone")
_SINKS = ("speaker", "headphones", "jack", "connector")
_TRANSFORMERS = ("output transformer", "transformer", "autotransformer")
#: Kinds through which a branch may lead nowhere.
_PASSIVE = frozenset({"pot"})


@dataclass(slots=True)
class SignalBand:
    """Walks the signal part of a netlist and puts every piece it meets into the sketch."""

    sketch: Sketch
    pieces: frozenset[str]
    done: set[str] = field(default_factory=set)
    bridges: dict[str, Piece] = field(default_factory=dict)
    entries: dict[str, Piece] = field(default_factory=dict)
    lanes: int = 0

    def run(self) -> None:
        """Place everything that can be reached from a source, then what other tubes reach."""
        nets = self.sketch.nets
        sources = [nets.pieces[key] for key in sorted(self.pieces) if self._is_source(key)]
        column = self.sketch.column() if sources else 0
        rows: dict[str, int] = {}
        for number, piece in enumerate(sources):
            net = self._hot_net(piece)
            y = self._source_row(net) + _SOURCES_APART * number if net else 0
            lead = next((t for t, node in piece.pins if node == net), "")
            self.sketch.put(piece, Pose(), "signal0", y, column, lead=lead)
            if net:
                rows.setdefault(net, y)
            self._beside_source(piece, net)
        first = next(iter(rows), "")
        for net in rows:
            if net != first:
                self._mixed(net, rows[net], first)
        for net, y in rows.items():
            self.walk(net, y, 0)
        self._remaining_tubes()
        self._bridge_all()
        self._in_flow()

    def go_on(self) -> None:
        """Place what hangs on nets whose other pieces have their places already."""
        for key in sorted(self.pieces):
            piece = self.sketch.nets.pieces[key]
            if key in self.sketch.spots or not piece.is_two_ended or piece.kind == bulb.HEATER_UNIT:
                continue
            near = [
                (node, self.sketch.spots[other.key])
                for node in piece.nodes
                for other in self.sketch.nets.on[node]
                if self.sketch.nets.shown(node) == "wire" and other.key in self.sketch.spots
            ]
            if near:
                self._beside(piece, *near[0])

    def _beside(self, piece: Piece, net: str, spot: Spot) -> None:
        """Hang or lay a piece right beside another one on its net."""
        column = self.sketch.column(after=spot.column)
        far = self._far(piece, net)
        shown = self.sketch.nets.shown(far)
        if shown == "rail":
            self.sketch.put(piece, hanging(piece, far), spot.band, LOAD, column)
        elif shown == "sign":
            y = PLATE + 3 if self._is_plate(net) else SHUNT
            self.sketch.put(piece, hanging(piece, net), spot.band, y, column)
        else:
            self.sketch.put(piece, lying(piece, net), spot.band, FEEDBACK, column)

    def _in_flow(self) -> None:
        """Hold what a coupling leads to right of the coupling."""
        place = {column: number for number, column in enumerate(self.sketch.order)}
        for net, entry in self.entries.items():
            here = self.sketch.spots[entry.key]
            for piece in self.sketch.nets.on[net]:
                spot = self.sketch.spots.get(piece.key)
                if spot is not None and place[spot.column] > place[here.column]:
                    self.sketch.follow([entry, piece])

    def _source_row(self, net: str) -> int:
        """Return the row of a source: that of the first grid, or of the top of a pot before it."""
        row = self._row_of(net)
        into_pot = any(
            piece.kind == "pot" and piece.node("wiper") != net for piece in self.sketch.nets.on[net]
        )
        return row - 3 if into_pot else row

    def _beside_source(self, source: Piece, hot: str) -> None:
        """Hang what goes from any lead of a source to a sign right beside it."""
        spot = self.sketch.spots[source.key]
        for node in dict.fromkeys((*source.nodes, hot)):
            if not node or self.sketch.nets.shown(node) != "wire":
                continue
            for piece in self._here(node):
                far = self._far(piece, node)
                if piece.is_two_ended and self.sketch.nets.shown(far) == "sign":
                    y = max(spot.y + 8, SHUNT)
                    self.sketch.put(piece, hanging(piece, node), "signal0", y, self.sketch.column())
                    self.sketch.follow([source, piece], 3)
            if node != hot:
                self.done.add(node)

    def _mixed(self, net: str, row: int, first: str) -> None:
        """Lay what leads from a second source to where the first one comes too."""
        reached = self._reached(first, net)
        while net not in reached and net not in self.done:
            ready = [
                p
                for p in self._here(net)
                if p.is_two_ended and self.sketch.nets.shown(self._far(p, net)) == "wire"
            ]
            if len(ready) != 1:
                return
            self.done.add(net)
            self.sketch.put(ready[0], lying(ready[0], net), "signal0", row, self.sketch.column())
            net = self._far(ready[0], net)

    def _reached(self, net: str, without: str) -> set[str]:
        """Return the nets that two-ended parts and pots lead to from a net, but for one."""
        seen, waiting = {net, without}, [net]
        while waiting:
            for piece in self.sketch.nets.on[waiting.pop()]:
                if piece.is_two_ended or piece.kind == "pot":
                    for node in piece.nodes:
                        if node not in seen and self.sketch.nets.shown(node) == "wire":
                            seen.add(node)
                            waiting.append(node)
        return seen - {without}

    # what is where

    def _is_source(self, key: str) -> bool:
        piece = self.sketch.nets.pieces[key]
        return piece.kind in SOURCES and not {"output", "speaker"} & set(piece.part.words)

    def _hot_net(self, piece: Piece) -> str:
        return next((node for _, node in piece.pins if self.sketch.nets.shown(node) != "sign"), "")

    def _row_of(self, net: str) -> int:
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
                        if node not in seen and self.sketch.nets.shown(node) == "wire":
                            seen.add(node)
                            waiting.append(node)
        return 0

    def _grid_row(self, piece: Piece, net: str) -> int | None:
        if piece.bulb_unit is None or piece.kind == bulb.HEATER_UNIT:
            return None
        grids = {piece.node(pin) for pin in piece.bulb_unit.pins.get("grid", ())}
        if net not in grids:
            return None
        symbol = posed(piece, Pose(), self.sketch.style)
        pin = next(p for p in piece.bulb_unit.pins["grid"] if piece.node(p) == net)
        lead = symbol.lead(pin)
        return lead.y if lead else 0

    def element_net(self, piece: Piece, element: str) -> str:
        """Return the net of a tube's element, or an empty string."""
        if piece.bulb_unit is None:
            return ""
        pins = piece.bulb_unit.pins.get(element, ())
        return next((node for pin in pins if (node := piece.node(pin))), "")

    def _is_plate(self, net: str) -> bool:
        return any(
            piece.bulb_unit is not None
            and self.element_net(piece, "plate") == net
            and piece.kind != bulb.HEATER_UNIT
            for piece in self.sketch.nets.on[net]
        )

    def _far(self, piece: Piece, net: str) -> str:
        others = self.sketch.others(piece, net)
        return others[0] if others else net

    # the walk

    def walk(self, net: str, row: int, lane: int) -> None:
        """Place what is on a net, then go on along it."""
        if net in self.done or self.sketch.nets.shown(net) == "sign":
            return
        self.done.add(net)
        band = f"signal{lane}"
        self._shunts(net, row, band)
        self._hangers(net, row, band)
        self._ups(net, band)
        self._pots(net, row, lane)
        stages = [
            piece
            for piece in self._here(net)
            if piece.bulb_unit is not None and self.element_net(piece, "grid") == net
        ]
        for number, piece in enumerate(stages):
            self.stage(piece, self._lane(lane) if number else lane)
        self._onward(net, row, lane)
        self._ends(net, row, lane)

    def _here(self, net: str) -> list[Piece]:
        return [piece for piece in self.sketch.free(net) if piece.key in self.pieces]

    def _lane(self, lane: int) -> int:
        """Return a new lane under all there are."""
        self.lanes = max(self.lanes, lane) + 1
        return self.lanes

    def _shunts(self, net: str, row: int, band: str) -> None:
        """Hang what goes from the net to a sign."""
        for piece in self._here(net):
            if not piece.is_two_ended or piece.kind == bulb.HEATER_UNIT:
                continue
            if self.sketch.nets.shown(self._far(piece, net)) != "sign":
                continue
            if self._is_plate(net):
                y = PLATE + 3
            else:
                y = max(SHUNT, row + 4)
            self.sketch.put(piece, hanging(piece, net), band, y, self.sketch.column())

    def _ups(self, net: str, band: str) -> None:
        """Hang what comes from a rail above the net."""
        for piece in self._here(net):
            if piece.is_two_ended and self.sketch.nets.shown(self._far(piece, net)) == "rail":
                far = self._far(piece, net)
                self.sketch.put(piece, hanging(piece, far), band, LOAD, self.sketch.column())

    def _hangers(self, net: str, row: int, band: str) -> None:
        """Hang branches that lead nowhere but to a sign."""
        for piece in self._here(net):
            if piece.kind == bulb.HEATER_UNIT or not self._leads_nowhere(piece, net):
                continue
            top = PLATE if self._is_plate(net) else max(SHUNT_TOP, row + 1)
            self.hang(piece, net, top, band, self.sketch.column())

    def hang(self, piece: Piece, net: str, top: int, band: str, column: int) -> None:
        """Hang a branch from a height: each piece below the one before, side branches beside it."""
        if piece.kind == "pot":
            self._hang_pot(piece, net, top, band, column)
            return
        pose = hanging(piece, net)
        reach = max(lead.y for lead in posed(piece, pose, self.sketch.style).leads)
        self.sketch.put(piece, pose, band, top + reach, column)
        below = self._far(piece, net)
        if self.sketch.nets.shown(below) == "sign" or below in self.done:
            return
        self.done.add(below)
        more = [p for p in self._here(below) if p.is_two_ended or p.kind == "pot"]
        for number, one in enumerate(more):
            self.hang(
                one,
                below,
                top + 2 * reach + 1,
                band,
                column if not number else self.sketch.column(),
            )

    def _hang_pot(self, piece: Piece, net: str, top: int, band: str, column: int) -> None:
        end = next((t for t, node in piece.pins if node == net and t != "shaft"), "cw")
        pose = Pose(quarters=2) if end == "ccw" else Pose()
        if end == "wiper":
            pose = Pose(mirrored=True)
            self.sketch.put(piece, pose, band, top + 3, column)
        else:
            self.sketch.put(piece, pose, band, top + 3, column)
        for node in self.sketch.others(piece, net):
            if self.sketch.nets.shown(node) == "wire" and node not in self.done:
                self.done.add(node)
                for one in self._here(node):
                    if one.is_two_ended:
                        self.hang(one, node, top + 7, band, self.sketch.column())

    def _leads_nowhere(self, piece: Piece, net: str) -> bool:
        """True where all that a piece leads to ends at signs, without a tube or an end."""
        if not (piece.is_two_ended or piece.kind == "pot"):
            return False
        seen = {net} | self.done
        waiting = [node for node in piece.nodes if node not in seen]
        if not waiting:
            return False
        met = {piece.key}
        while waiting:
            node = waiting.pop()
            shown = self.sketch.nets.shown(node)
            if shown == "sign" or node in seen:
                continue
            if shown == "rail":
                return False
            seen.add(node)
            for other in self.sketch.nets.on[node]:
                if other.key in met:
                    continue
                met.add(other.key)
                if not (other.is_two_ended or other.kind == "pot") or set(other.nodes) & self.done:
                    return False
                waiting += other.nodes
        return True

    def _pots(self, net: str, row: int, lane: int) -> None:
        """Place a pot the signal goes through, its wiper in the row of the grid it leads to."""
        for piece in [p for p in self._here(net) if p.kind == "pot"]:
            wiper = piece.node("wiper") or ""
            band = f"signal{lane}"
            below = self._row_of(wiper) if wiper and wiper != net else row
            pose = Pose(quarters=2) if piece.node("ccw") == net != piece.node("cw") else Pose()
            spot = self.sketch.put(piece, pose, band, below, self.sketch.column())
            low = spot.y + 4
            for node in self.sketch.others(piece, net):
                if node == wiper or self.sketch.nets.shown(node) != "wire" or node in self.done:
                    continue
                hangers = [p for p in self._here(node) if self._leads_nowhere(p, node)]
                self.done.add(node) if hangers else None
                for number, one in enumerate(hangers):
                    self.hang(
                        one, node, low, band, spot.column if not number else self.sketch.column()
                    )
            for node in self.sketch.others(piece, net):
                self.walk(node, below, lane)

    # stages

    def stage(self, piece: Piece, lane: int) -> None:
        """Place a tube with its screen at the left, load above, cathode parts below; then go on."""
        band = f"signal{lane}"
        screen, plate = self.element_net(piece, "screen"), self.element_net(piece, "plate")
        cathode = self.element_net(piece, "cathode")
        sides: list[tuple[str, Side]] = [("suppressor", "right"), ("screen", "left")]
        if screen and self.sketch.nets.shown(screen) == "wire" and screen not in self.done:
            self.done.add(screen)
            self._screen(screen, band)
        column = self.sketch.column()
        self.sketch.put(piece, Pose(sides=tuple(sides)), band, 0, column)
        if plate and self.sketch.nets.shown(plate) == "wire":
            self._load(plate, band, column)
        if cathode and self.sketch.nets.shown(cathode) == "wire":
            self._cathode(cathode, band, column)
        if plate:
            self.walk(plate, PLATE, lane)
        if cathode:
            self._from_cathode(cathode, lane)

    def _screen(self, net: str, band: str) -> None:
        for piece in self._here(net):
            if piece.is_two_ended and self.sketch.nets.shown(self._far(piece, net)) == "sign":
                self.sketch.put(piece, hanging(piece, net), band, PLATE + 3, self.sketch.column())
        for piece in self._here(net):
            far = self._far(piece, net)
            if piece.is_two_ended and self.sketch.nets.shown(far) == "rail":
                self.sketch.put(piece, hanging(piece, far), band, LOAD, self.sketch.column())

    def _load(self, net: str, band: str, column: int) -> None:
        """Put the plate's load over the plate."""
        ups = [
            piece
            for piece in self._here(net)
            if piece.is_two_ended and self.sketch.nets.shown(self._far(piece, net)) == "rail"
        ]
        ups = [piece for piece in ups if piece.kind not in ("capacitor", "electrolytic")]
        for piece in ups[:1]:
            self.sketch.put(piece, hanging(piece, self._far(piece, net)), band, LOAD, column)

    def _cathode(self, net: str, band: str, column: int) -> None:
        """Hang the cathode resistor under the cathode and what is beside it at its right."""
        if net in self.done:
            return
        downs = [
            piece
            for piece in self._here(net)
            if piece.is_two_ended
            and piece.kind != bulb.HEATER_UNIT
            and (
                self.sketch.nets.shown(self._far(piece, net)) == "sign"
                or self._leads_nowhere(piece, net)
            )
        ]
        downs.sort(key=lambda piece: (piece.kind in ("capacitor", "electrolytic"), piece.key))
        self.done.add(net)
        for number, piece in enumerate(downs):
            at = column if number == 0 else self.sketch.column()
            self.hang(piece, net, SHUNT_TOP, band, at)
        self.done.discard(net)

    def _from_cathode(self, net: str, lane: int) -> None:
        """Go on from a cathode that drives something."""
        if self.sketch.nets.shown(net) != "wire" or net in self.done:
            return
        self.walk(net, SHUNT_TOP, lane)

    # what follows

    def _onward(self, net: str, row: int, lane: int) -> None:
        """Lay couplings in the row and go on with what they lead to, short branches first."""
        here = [p for p in self._here(net) if p.is_two_ended and p.kind != bulb.HEATER_UNIT]
        here += [p for p in self._here(net) if p.part.kind == "shielded cable"]
        ready = [p for p in here if self._far(p, net) not in self.done]
        self.bridges |= {p.key: p for p in here if p not in ready}
        ready.sort(key=lambda piece: (self._reach(piece, net), piece.key))
        used = 0
        for piece in ready:
            if piece.key in self.sketch.spots:
                continue
            far = self._far(piece, net)
            if far in self.done:
                self.bridges[piece.key] = piece
                continue
            at = lane
            if used and self._reach(piece, net):
                at = self._lane(lane)
            band = f"signal{lane}"
            y = (PLATE if self._is_plate(net) else row) + 3 * used
            self.sketch.put(piece, lying(piece, net), band, y, self.sketch.column())
            self.entries[far] = piece
            used += 1
            self.walk(far, self._row_of(far), at)

    def _reach(self, piece: Piece, net: str) -> int:
        """Return how many tubes a piece leads to that have no place yet."""
        seen, waiting, count = {net} | self.done, [self._far(piece, net)], 0
        met: set[str] = set()
        while waiting:
            node = waiting.pop()
            if node in seen or self.sketch.nets.shown(node) != "wire":
                continue
            seen.add(node)
            for other in self.sketch.free(node):
                if other.key in met or other.kind == bulb.HEATER_UNIT:
                    continue
                met.add(other.key)
                count += other.bulb_unit is not None
                waiting += other.nodes
        return count

    def _ends(self, net: str, row: int, lane: int) -> None:
        """Place transformers, speakers, jacks and other ends of the net, then go on behind them."""
        for piece in self._here(net):
            if piece.key in self.sketch.spots:
                continue
            if piece.kind in _TRANSFORMERS:
                self._transformer(piece, net, lane)
            elif piece.bulb_unit is not None and piece.kind != bulb.HEATER_UNIT:
                self.stage(piece, self._lane(lane))
            elif not piece.is_two_ended:
                lead = next(t for t, node in piece.pins if node == net)
                y = row if not self._is_plate(net) else PLATE
                spot = self.sketch.put(
                    piece, Pose(), f"signal{lane}", y, self.sketch.column(), lead=lead
                )
                for terminal, node in piece.pins:
                    at = spot.symbol.lead(terminal)
                    self.walk(node, spot.y + (at.y if at else 0), lane)

    def _transformer(self, piece: Piece, net: str, lane: int) -> None:
        terminal = next(t for t, node in piece.pins if node == net)
        on_rail = [t for t, node in piece.pins if self.sketch.nets.shown(node) == "rail"]
        run = [t for t, _ in piece.pins if t.split(".")[0] == terminal.split(".")[0]]
        flip = bool(on_rail) and on_rail[0] in run and run.index(on_rail[0]) > run.index(terminal)
        pose = Pose(quarters=2, mirrored=True) if flip else Pose()
        y = PLATE if self._is_plate(net) else 0
        spot = self.sketch.put(piece, pose, f"signal{lane}", y, self.sketch.column(), lead=terminal)
        for one, node in piece.pins:
            lead = spot.symbol.lead(one)
            if lead is not None and self.sketch.nets.shown(node) == "wire":
                self.walk(node, spot.y + lead.y, lane)

    # what is left

    def _remaining_tubes(self) -> None:
        """Walk from the grids of tubes that no source reaches."""
        for key in sorted(self.pieces):
            piece = self.sketch.nets.pieces[key]
            if key in self.sketch.spots or piece.bulb_unit is None:
                continue
            grid = self.element_net(piece, "grid")
            lane = self._lane(0) if self.sketch.spots else 0
            if grid and grid not in self.done and self.sketch.nets.shown(grid) == "wire":
                self.walk(grid, self._row_of(grid), lane)
            if key not in self.sketch.spots:
                self.stage(piece, lane)

    def _bridge_all(self) -> None:
        """Lay what joins two nets that both have their place in the row of feedback."""
        for piece in self.bridges.values():
            if piece.key not in self.sketch.spots:
                self._bridge(piece)

    def _bridge(self, piece: Piece) -> None:
        places = []
        for node in piece.nodes:
            keys = [key for key, _ in self.sketch.net(node).pins if key in self.sketch.spots]
            columns = [self.sketch.spots[key].column for key in keys]
            places.append(min((self.sketch.order.index(c) for c in columns), default=0))
        left = piece.nodes[0] if places[0] <= places[-1] else piece.nodes[-1]
        column = self.sketch.column(after=self.sketch.order[min(places)])
        band = next(
            (
                self.sketch.spots[k].band
                for k, _ in self.sketch.net(left).pins
                if k in self.sketch.spots
            ),
            "signal0",
        )
        self.sketch.put(piece, lying(piece, left), band, FEEDBACK, column)
