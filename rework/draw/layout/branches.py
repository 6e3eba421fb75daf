"""What hangs on a net of the signal band: loads from the rail, parts to common, dead ends, and what
is under a cathode.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from rework.draw.layout.flow import Flow
from rework.draw.layout.netlist import Piece
from rework.draw.layout.pose import Pose, hanging, posed

#: Rows of the band, u below the middle of its tubes: middle of a load, foot of a load, top and
#: middle of what hangs to common.
LOAD, PLATE, SHUNT_TOP, SHUNT = -12, -9, 9, 12
_BLOCKS_DIRECT = ("capacitor", "electrolytic")


@dataclass(slots=True)
class Branches:
    """Places branches below and above nets, in a sketch that is being walked; ``lowest`` has the
    row in which a net that more than one source comes to meets the last of them.
    """

    flow: Flow
    lowest: dict[str, int] = field(default_factory=dict)

    def shunts(self, net: str, row: int, band: str) -> None:
        """Place what goes from the net to a sign, below the net."""
        flow = self.flow
        for piece in flow.here(net):
            if flow.lies(piece) and flow.shown(flow.far(piece, net)) == "sign":
                low = max(row + 4, self.lowest.get(net, row - 1) + 5)
                y = PLATE + 3 if flow.is_plate(net) else max(SHUNT, low)
                flow.sketch.put(piece, hanging(piece, net), band, y, flow.sketch.column())

    def ups(self, net: str, band: str) -> None:
        """Place what comes from a rail, above the net."""
        flow = self.flow
        for piece in flow.here(net):
            far = flow.far(piece, net)
            if flow.lies(piece) and flow.shown(far) == "rail":
                flow.sketch.put(piece, hanging(piece, far), band, LOAD, flow.sketch.column())

    def hangers(self, net: str, row: int, band: str) -> None:
        """Place branches that lead nowhere but to a sign, below the net."""
        flow = self.flow
        for piece in flow.here(net):
            if flow.leads_nowhere(piece, net):
                top = PLATE if flow.is_plate(net) else max(SHUNT_TOP, row + 1)
                self.hang(piece, net, top, band, flow.sketch.column())

    def hang(self, piece: Piece, net: str, top: int, band: str, column: int) -> None:
        """Place a branch from a height down: each piece below the last, side branches beside it."""
        flow = self.flow
        if piece.kind == "pot":
            self._hang_pot(piece, net, top, band, column)
            return
        pose = hanging(piece, net)
        reach = max(lead.y for lead in posed(piece, pose, flow.sketch.style).leads)
        flow.sketch.put(piece, pose, band, top + reach, column)
        below = flow.far(piece, net)
        if flow.shown(below) == "sign" or below in flow.done:
            return
        flow.done.add(below)
        more = [branch for branch in flow.here(below) if flow.lies(branch) or branch.kind == "pot"]
        for number, hung in enumerate(more):
            at = column if not number else flow.sketch.column()
            self.hang(hung, below, top + 2 * reach + 1, band, at)

    def _hang_pot(self, piece: Piece, net: str, top: int, band: str, column: int) -> None:
        flow = self.flow
        end = next((t for t, node in piece.pins if node == net and t != "shaft"), "cw")
        pose = {"ccw": Pose(quarters=2), "wiper": Pose(mirrored=True)}.get(end, Pose())
        flow.sketch.put(piece, pose, band, top + 3, column)
        for node in flow.sketch.others(piece, net):
            if flow.shown(node) == "wire" and node not in flow.done:
                flow.done.add(node)
                for branch in flow.here(node):
                    if flow.lies(branch):
                        self.hang(branch, node, top + 7, band, flow.sketch.column())

    def screen(self, net: str, band: str) -> None:
        """Place the bypass of a screen, then its dropper, left of the tube."""
        flow = self.flow
        for piece in flow.here(net):
            if flow.lies(piece) and flow.shown(flow.far(piece, net)) == "sign":
                flow.sketch.put(piece, hanging(piece, net), band, PLATE + 3, flow.sketch.column())
        self.ups(net, band)

    def load(self, net: str, screen: str, band: str, column: int) -> None:
        """Put the plate's load over the plate; without one, a capacitor from there to the rail of
        the screen.
        """
        flow = self.flow
        loads = [
            piece
            for piece in flow.here(net)
            if flow.lies(piece) and flow.shown(flow.far(piece, net)) == "rail"
            if piece.kind not in _BLOCKS_DIRECT or flow.far(piece, net) == screen
        ]
        loads.sort(key=lambda piece: piece.kind in _BLOCKS_DIRECT)
        for piece in loads[:1]:
            flow.sketch.put(piece, hanging(piece, flow.far(piece, net)), band, LOAD, column)

    def cathode(self, net: str, band: str, column: int) -> list[str]:
        """Place what carries the cathode's current under the cathode, the rest at its right; return
        the nets between the parts under the cathode.
        """
        flow = self.flow
        if net in flow.done:
            return []
        flow.done.add(net)
        here, top = net, SHUNT_TOP
        levels: list[tuple[str, int]] = [(net, top)]
        for piece in flow.tail(net):
            pose = hanging(piece, here)
            flow.sketch.put(piece, pose, band, top + 3, column)
            here, top = flow.far(piece, here), top + 7
            if flow.shown(here) == "wire":
                flow.done.add(here)
                levels.append((here, top))
        for level, at in levels:
            for piece in flow.here(level):
                far = flow.far(piece, level)
                beside = far in [name for name, _ in levels]
                if flow.lies(piece) and (
                    flow.shown(far) == "sign" or beside or flow.leads_nowhere(piece, level)
                ):
                    self.hang(piece, level, at, band, flow.sketch.column())
        flow.done.difference_update(name for name, _ in levels)
        return [name for name, _ in levels[1:]]
