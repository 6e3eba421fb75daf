"""Where the signal band begins: every source in the first column, what hangs beside it, and the way
of a second one to where the first one comes too.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.draw.layout.branches import SHUNT, Branches
from rework.draw.layout.flow import TRANSFORMERS, Flow
from rework.draw.layout.netlist import FLAG, Piece
from rework.draw.layout.pose import Pose, hanging, lying
from rework.draw.layout.sketch import Sketch

#: Units from one source to the next below it.
_SOURCES_APART = 10
#: Units from what hangs beside a source to the row of the next.
_UNDER = 7
SOURCES = ("jack", "pickup", "microphone")


@dataclass(slots=True)
class Sources:
    """Places the sources among the pieces of a band; ``lanes`` are those that were begun."""

    flow: Flow
    branches: Branches
    lanes: int = 0

    @property
    def sketch(self) -> Sketch:
        """The sketch that is filled."""
        return self.flow.sketch

    def put(self) -> dict[str, tuple[int, int]]:
        """Put all sources into the first column; return the row and lane of each one's net.

        A source that meets the first one on its way comes below it, any other has its own lane.
        """
        nets = self.sketch.nets
        pieces = [nets.pieces[key] for key in sorted(self.flow.pieces)]
        sources = [piece for piece in pieces if self._is_source(piece)]
        column = self.sketch.column() if sources else 0
        starts: dict[str, tuple[int, int]] = {}
        first, lowest = "", -(10**6)
        for piece in sources:
            net = self._hot_net(piece)
            if not net or net in starts:
                self.sketch.put(piece, Pose(), "signal0", max(lowest, 0), column)
                lowest = max(lowest, 0) + _SOURCES_APART
                continue
            row, lane = self._source_row(net), 0
            if not first:
                first = net
            elif self._meet(net, first) or self._is_dead(net):
                row = max(row, lowest)
            else:
                self.lanes += 1
                lane = self.lanes
            lowest = row + _SOURCES_APART if lane == 0 else lowest
            lead = next((t for t, node in piece.pins if node == net), "")
            pose = Pose(mirrored=piece.kind == FLAG)
            self.sketch.put(piece, pose, f"signal{lane}", row, column, lead=lead)
            starts[net] = (row, lane)
            foot = self._beside_source(piece, net, f"signal{lane}")
            lowest = max(lowest, foot + _UNDER) if lane == 0 else lowest
        for net, (row, lane) in starts.items():
            if net != first and lane == 0:
                self._mixed(net, row, first)
        return starts

    def _down(self, first: str, net: str) -> set[str]:
        """Return the nets that a first source reaches, but for those a second one begins with."""
        return (self.flow.downstream(first) | self.flow.reached(first, net)) - {net}

    def _meet(self, net: str, first: str) -> bool:
        """True where what a second source leads to is reached by the first one too."""
        return bool(self.flow.reached(net, first) & self._down(first, net))

    def _is_dead(self, net: str) -> bool:
        """True where a source leads to no tube."""
        return not any(self.flow.reach(piece, net) for piece in self.flow.here(net)) and not (
            self.flow.has_grid(net)
        )

    def _is_source(self, piece: Piece) -> bool:
        if piece.kind == FLAG:  # the signal comes from another sheet
            net = piece.nodes[0]
            ways = any(
                self.flow.reach(source, net)
                for source in self.flow.here(net)
                if source is not piece
                if source.bulb_unit is None or self.flow.element_net(source, "grid") == net
            )
            from_grid = self.flow.shown(net) == "wire" and not self.flow.is_plate(net)
            return from_grid and (ways or self.flow.has_grid(net))
        if piece.kind in TRANSFORMERS:  # an input transformer: a winding on a grid, none on a plate
            plates = any(self.flow.is_plate(node) for node in piece.nodes)
            return not plates and any(map(self._is_driver, piece.nodes))
        return piece.kind in SOURCES and not {"output", "speaker"} & set(piece.part.words)

    def _is_driver(self, net: str) -> bool:
        return self.flow.shown(net) == "wire" and self.flow.drives(net)

    def _hot_net(self, piece: Piece) -> str:
        if piece.kind in TRANSFORMERS:
            return next(filter(self._is_driver, piece.nodes))
        return next((node for _, node in piece.pins if self.flow.shown(node) != "sign"), "")

    def _source_row(self, net: str) -> int:
        """Return the row of a source: that of the first grid, or of the top of a pot before it."""
        row = self.flow.row_of(net)
        return row - 3 if self.flow.meets_pot(net) else row

    def _beside_source(self, source: Piece, hot: str, band: str) -> int:
        """Place what goes from any lead of a source to a sign right beside it; return its row, or
        that of the source where nothing does.
        """
        foot = self.sketch.spots[source.key].y
        spot = self.sketch.spots[source.key]
        for node in dict.fromkeys((*source.nodes, hot)):
            if not node or self.flow.shown(node) != "wire":
                continue
            for piece in self.flow.here(node):
                far = self.flow.far(piece, node)
                if piece.is_two_ended and self.flow.shown(far) == "sign":
                    y = max(spot.y + 8, SHUNT)
                    self.sketch.put(piece, hanging(piece, node), band, y, self.sketch.column())
                    self.sketch.follow([source, piece], 3)
                    foot = max(foot, y)
            if node != hot and source.kind not in TRANSFORMERS:
                self.flow.done.add(node)
        return foot

    def _mixed(self, net: str, row: int, first: str) -> None:
        """Lay what leads from a second source to where the first one comes too."""
        flow = self.flow
        reached = self._down(first, net) - self._up(net, first)
        while net not in reached and net not in flow.done:
            ready = [
                p
                for p in flow.here(net)
                if (flow.lies(p) and flow.shown(flow.far(p, net)) == "wire") or p.kind == "pot"
            ]
            if len(ready) != 1:
                return
            flow.done.add(net)
            piece, column = ready[0], self.sketch.column()
            if piece.kind == "pot":
                pose = Pose(quarters=2) if piece.node("cw") != net else Pose()
                self.sketch.put(piece, pose, "signal0", row + 3, column)
                net, row = piece.node("wiper") or "", row + 3
                if not net or flow.shown(net) != "wire":
                    return
            else:
                self.sketch.put(piece, lying(piece, net), "signal0", row, column)
                net = flow.far(piece, net)
        self.branches.lowest[net] = row

    def _up(self, net: str, first: str) -> set[str]:
        """Return the nets from a second source to where more than one way meets."""
        above, here = {net}, net
        while True:
            ways = {
                node
                for piece in self.sketch.nets.on[here]
                if (self.flow.lies(piece) or piece.kind == "pot")
                for node in piece.nodes
                if self.flow.shown(node) == "wire" and node not in above
            }
            if len(ways) != 1 or first in ways or self.flow.has_grid(here):
                return above - {here}
            here = ways.pop()
            above.add(here)
