"""The signal band: from the sources along grid and plate to the load, stage by stage.

Every net has a row. A plate's row is at the foot of its load; a grid's row is at the height of the
grid it goes to. Resistors to the rail hang above, what goes to common below, branches that go
nowhere else hang, and the coupling to the next stage lies in the row. A second way through the
tubes has a lane of its own below. Roles decide; geometry never does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from rework.draw.layout.branches import LOAD, PLATE, SHUNT, SHUNT_TOP, Branches
from rework.draw.layout.flow import TRANSFORMERS, Flow
from rework.draw.layout.netlist import Piece
from rework.draw.layout.pose import Pose, hanging, lying
from rework.draw.layout.sketch import Sketch, Spot
from rework.draw.layout.sources import Sources
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Side

#: The row of feedback.
FEEDBACK = 22
#: Units that a grid's net keeps before a lead that goes up to a rail.
_RISER = 2


@dataclass(slots=True)
class SignalBand:
    """Walks the signal part of a netlist and puts every piece it meets into the sketch."""

    flow: Flow
    branches: Branches
    bridges: dict[str, Piece] = field(default_factory=dict)
    entries: dict[str, Piece] = field(default_factory=dict)
    late: list[tuple[str, int, int]] = field(default_factory=list)
    lanes: int = 0

    @property
    def sketch(self) -> Sketch:
        """The sketch that is filled."""
        return self.flow.sketch

    def run(self) -> None:
        """Place everything that can be reached from a source, then what other tubes reach."""
        sources = Sources(self.flow, self.branches)
        starts = sources.put()
        self.lanes = sources.lanes
        for net, (row, lane) in starts.items():
            self.walk(net, row, lane)
        self._remaining_tubes()
        while self.late:
            net, row, lane = self.late.pop(0)
            self._ends(net, row, lane)
        self._bridge_all()
        self._in_flow()

    # the walk

    def walk(self, net: str, row: int, lane: int) -> None:
        """Place what is on a net, then go on along it."""
        flow = self.flow
        if net in flow.done or flow.shown(net) == "sign":
            return
        flow.done.add(net)
        band = f"signal{lane}"
        self.branches.shunts(net, row, band)
        self.branches.hangers(net, row, band)
        self.branches.ups(net, band)
        self._pots(net, row, lane)
        stages = [p for p in flow.here(net) if flow.element_net(p, "grid") == net]
        for number, piece in enumerate(stages):
            if piece.key not in self.sketch.spots:
                self.stage(piece, self._lane(lane) if number else lane)
        self._onward(net, row, lane, used=len(stages))
        self._interstage(net, lane)
        self.late.append((net, row, lane))

    def _lane(self, lane: int) -> int:
        """Return a new lane under all there are."""
        self.lanes = max(self.lanes, lane) + 1
        return self.lanes

    def _pots(self, net: str, row: int, lane: int) -> None:
        """Place a pot the signal goes through, its wiper in the row of the grid it leads to."""
        flow = self.flow
        for piece in [p for p in flow.here(net) if p.kind == "pot"]:
            wiper = piece.node("wiper") or ""
            below = flow.row_of(wiper) if wiper and wiper != net else row
            pose = Pose(quarters=2) if piece.node("ccw") == net != piece.node("cw") else Pose()
            tap = piece.node("tap")
            beside = self.sketch.column() if tap and tap != net else 0
            spot = self.sketch.put(piece, pose, f"signal{lane}", below, self.sketch.column())
            for node in self.sketch.others(piece, net):
                if node != wiper and flow.shown(node) == "wire" and node not in flow.done:
                    self._under_pot(node, spot, beside if node == tap else spot.column)
            for node in self.sketch.others(piece, net):
                self.walk(node, below, lane)

    def _under_pot(self, net: str, spot: Spot, first: int) -> None:
        """Place what lies between the lower end or the tap of a pot and a sign lower than the pot,
        in a ``first`` column and in new ones.
        """
        hangers = [p for p in self.flow.here(net) if self.flow.leads_nowhere(p, net)]
        if hangers:
            self.flow.done.add(net)
        for number, piece in enumerate(hangers):
            column = first if not number else self.sketch.column()
            self.branches.hang(piece, net, spot.y + 4, spot.band, column)

    def stage(self, piece: Piece, lane: int) -> None:
        """Place a tube with its screen at the left, load above, cathode parts below; then go on."""
        flow, band = self.flow, f"signal{lane}"
        screen, plate, cathode = (
            flow.element_net(piece, name) for name in ("screen", "plate", "cathode")
        )
        sides: tuple[tuple[str, Side], ...] = (("suppressor", "right"), ("screen", "left"))
        if screen and flow.shown(screen) == "wire" and screen not in flow.done:
            flow.done.add(screen)
            self.branches.screen(screen, band)
        column = self.sketch.column()
        self.sketch.put(piece, Pose(sides=sides), band, 0, column)
        if plate and flow.shown(plate) == "wire":
            self.branches.load(plate, screen, band, column)
        inner: list[str] = []
        if cathode and flow.shown(cathode) == "wire":
            inner = self.branches.cathode(cathode, band, column)
        known = len(self.sketch.spots)
        if plate:
            self.walk(plate, PLATE, lane)
        grown = len(self.sketch.spots) > known
        if cathode and flow.shown(cathode) == "wire" and cathode not in flow.done:
            drives = any(flow.reach(branch, cathode) for branch in flow.here(cathode))
            if drives and grown:
                self.walk(cathode, flow.row_of(cathode), self._lane(lane))
            else:
                self.walk(cathode, SHUNT_TOP, lane)
        for net in inner:
            drives = any(flow.reach(branch, net) for branch in flow.here(net))
            if drives and grown:
                self.walk(net, flow.row_of(net), self._lane(lane))
            else:
                self.walk(net, SHUNT_TOP + 7, lane)

    def _onward(self, net: str, row: int, lane: int, *, used: int) -> None:
        """Lay couplings in the row and go on with what they lead to, short branches first."""
        flow = self.flow
        here = [p for p in flow.here(net) if flow.lies(p) or p.part.kind == "shielded cable"]
        here.sort(key=lambda piece: (flow.reach(piece, net), piece.key))
        lower = 0
        for piece in here:
            far = flow.far(piece, net)
            if piece.key in self.sketch.spots:
                continue
            if far in flow.done or flow.feeds_back(net, far):
                self.bridges[piece.key] = piece
                continue
            at = self._lane(lane) if used and flow.reach(piece, net) else lane
            y = (
                (PLATE if flow.is_plate(net) else row) + 3 * lower
                if at == lane
                else flow.row_of(far)
            )
            self.sketch.put(piece, lying(piece, net), f"signal{at}", y, self.sketch.column())
            self.entries[far] = piece
            used, lower = used + 1, lower + 1
            self.walk(far, flow.row_of(far), at)

    def _interstage(self, net: str, lane: int) -> None:
        """Place a transformer that drives grids as soon as its primary is reached."""
        for piece in self.flow.here(net):
            if piece.kind in TRANSFORMERS and self.flow.reach(piece, net):
                self._transformer(piece, net, lane)

    # ends

    def _ends(self, net: str, row: int, lane: int) -> None:
        """Place transformers, speakers, jacks and other ends of the net, then go on behind them."""
        for piece in self.flow.here(net):
            if piece.key in self.sketch.spots:
                continue
            if piece.kind in TRANSFORMERS:
                self._transformer(piece, net, lane)
            elif piece.bulb_unit is not None and piece.kind != bulb.HEATER_UNIT:
                self.stage(piece, self._lane(lane))
            elif not piece.is_two_ended:
                self._end(piece, net, PLATE if self.flow.is_plate(net) else row, lane)

    def _end(self, piece: Piece, net: str, row: int, lane: int) -> None:
        lead = next(t for t, node in piece.pins if node == net)
        band = f"signal{lane}"
        above = self._speaker_above(piece, band)
        column = self.sketch.column() if above is None else above.column
        spot = self.sketch.put(piece, Pose(), band, row, column, lead=lead)
        if above is not None:
            row += max(0, math.ceil(above.y + above.box.bottom - spot.y - spot.box.top) + 1)
            spot = self.sketch.put(piece, Pose(), band, row, column, lead=lead)
        entered = spot.symbol.lead(lead)
        turns = len(piece.pins) < 4 or piece.kind == "switch"
        if entered is not None and entered.side == "right" and turns:
            spot = self.sketch.put(piece, Pose(mirrored=True), band, row, column, lead=lead)
        for terminal, node in piece.pins:
            at = spot.symbol.lead(terminal)
            self.walk(node, spot.y + (at.y if at else 0), lane)

    def _speaker_above(self, piece: Piece, band: str) -> Spot | None:
        """Return the lowest speaker in a band, which another one comes under."""
        speakers = [
            spot
            for spot in self.sketch.spots.values()
            if piece.kind == spot.piece.kind == "speaker" and spot.band == band
        ]
        return max(speakers, key=lambda spot: spot.y, default=None)

    def _transformer(self, piece: Piece, net: str, lane: int) -> None:
        terminal = next(t for t, node in piece.pins if node == net)
        on_rail = [t for t, node in piece.pins if self.flow.shown(node) == "rail"]
        run = [t for t, _ in piece.pins if t.split(".")[0] == terminal.split(".")[0]]
        flip = bool(on_rail) and on_rail[0] in run and run.index(on_rail[0]) > run.index(terminal)
        pose = Pose(quarters=2, mirrored=True) if flip and len(run) == 2 else Pose()
        y = PLATE if self.flow.is_plate(net) else 0
        band, column = f"signal{lane}", self.sketch.column()
        spot = self.sketch.put(piece, pose, band, y, column, lead=terminal)
        for pin, node in piece.pins:
            lead = spot.symbol.lead(pin)
            if lead is not None and self.flow.shown(node) == "wire":
                self.walk(node, spot.y + lead.y, lane)

    # what is left

    def _remaining_tubes(self) -> None:
        """Walk from the grids of tubes that no source reaches."""
        flow = self.flow
        for key in sorted(flow.pieces):
            piece = self.sketch.nets.pieces[key]
            if key in self.sketch.spots or piece.bulb_unit is None:
                continue
            grid = flow.element_net(piece, "grid")
            lane = self._lane(0) if self._has_tubes() and piece.pins else 0
            if grid and grid not in flow.done and flow.shown(grid) == "wire":
                self.walk(grid, flow.row_of(grid), lane)
            if key not in self.sketch.spots:
                self.stage(piece, lane)

    def _has_tubes(self) -> bool:
        return any(spot.piece.bulb_unit is not None for spot in self.sketch.spots.values())

    def _bridge_all(self) -> None:
        """Lay what joins two nets that both have their place."""
        for piece in self.bridges.values():
            if piece.key not in self.sketch.spots:
                self._bridge(piece)

    def _bridge(self, piece: Piece) -> None:
        """Lay a bridge in the row of feedback; place it as a grid leak if its ends are near."""
        spots = self.sketch.spots
        places = {}
        for node in piece.nodes:
            keys = [key for key, _ in self.sketch.net(node).pins if key in spots]
            columns = [self.sketch.order.index(spots[key].column) for key in keys]
            places[node] = min(columns, default=0)
        left = min(piece.nodes, key=lambda node: (places[node], node))
        near = max(places.values()) - min(places.values()) <= 3
        column = self.sketch.column(after=self.sketch.order[places[left]])
        band = next((spots[k].band for k, _ in self.sketch.net(left).pins if k in spots), "signal0")
        if near and self.flow.has_grid(left):
            self.sketch.put(piece, hanging(piece, left), band, SHUNT, column)
        else:
            band = self._lowest_between(*places.values())
            self.sketch.put(piece, lying(piece, left), band, FEEDBACK, column)

    def _lowest_between(self, *ends: int) -> str:
        """Return the lowest band that has a tube from one place in the order to another: a bridge
        lies under all that it spans.
        """
        place = {column: number for number, column in enumerate(self.sketch.order)}
        lanes = [
            int(spot.band.removeprefix("signal"))
            for spot in self.sketch.spots.values()
            if spot.piece.bulb_unit is not None and min(ends) <= place[spot.column] <= max(ends)
        ]
        return f"signal{max(lanes, default=0)}"

    def _in_flow(self) -> None:
        """Hold what a coupling leads to right of the coupling, and what hangs on a net left of what
        the net enters at the left.
        """
        self._hang_before_entries()
        place = {column: number for number, column in enumerate(self.sketch.order)}
        for net, entry in self.entries.items():
            here = self.sketch.spots[entry.key]
            for piece in self.sketch.nets.on[net]:
                spot = self.sketch.spots.get(piece.key)
                if spot is not None and place[spot.column] > place[here.column]:
                    self.sketch.follow([entry, piece], _before(spot))

    def _hang_before_entries(self) -> None:
        sketch = self.sketch
        place = {column: number for number, column in enumerate(sketch.order)}
        for net in sketch.nets.nets.values():
            if net.shown != "wire":
                continue
            spots = [(sketch.spots[key], pin) for key, pin in net.pins if key in sketch.spots]
            sides = [(spot, lead.side) for spot, pin in spots if (lead := spot.symbol.lead(pin))]
            hung = [spot for spot, side in sides if side == "up" and spot.piece.is_two_ended]
            for entered in (spot for spot, side in sides if side == "left"):
                for spot in hung:
                    if place[spot.column] < place[entered.column]:
                        gap = max(_before(entered), _beside_signs(entered))
                        sketch.followers.append((spot.piece.key, entered.piece.key, gap))

    # a second circuit in the same places

    def go_on(self) -> None:
        """Place what hangs on nets whose other pieces have their places already."""
        for key in sorted(self.flow.pieces):
            piece = self.sketch.nets.pieces[key]
            if key in self.sketch.spots or not self.flow.lies(piece):
                continue
            near = [
                (node, self.sketch.spots[other.key])
                for node in piece.nodes
                for other in self.sketch.nets.on[node]
                if self.flow.shown(node) == "wire" and other.key in self.sketch.spots
            ]
            if near:
                self._beside(piece, *near[0])

    def _beside(self, piece: Piece, net: str, spot: Spot) -> None:
        """Place a piece, upright or level, right beside another one on its net."""
        column = self.sketch.column(after=spot.column)
        far = self.flow.far(piece, net)
        shown = self.flow.shown(far)
        if shown == "rail":
            self.sketch.put(piece, hanging(piece, far), spot.band, LOAD, column)
        elif shown == "sign":
            y = PLATE + 3 if self.flow.is_plate(net) else SHUNT
            self.sketch.put(piece, hanging(piece, net), spot.band, y, column)
        else:
            self.sketch.put(piece, lying(piece, net), spot.band, FEEDBACK, column)


def _before(entered: Spot) -> int:
    """Return how far before a lead of a piece the net that enters it turns: clear of the numbers at
    a tube, and of a screen's way up to its rail.
    """
    if entered.piece.bulb_unit is None:
        return 0
    return 1 if entered.riser is None else _RISER


def _beside_signs(entered: Spot) -> int:
    """Return how far before a jack or a speaker something hangs: clear of its signs."""
    if entered.piece.kind not in ("jack", "speaker"):
        return 0
    left = min(lead.x for lead in entered.symbol.leads)
    return max((math.ceil(left - tag.box.left) for tag in entered.tags), default=0)


def signal_band(sketch: Sketch, pieces: frozenset[str]) -> SignalBand:
    """Return the band for some pieces of a sketch."""
    flow = Flow(sketch, pieces)
    return SignalBand(flow, Branches(flow))
