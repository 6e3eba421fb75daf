"""The linkage of a switch and the pot it is on: a dashed line over its full length, across wires
where it must, which it never joins.
"""

from __future__ import annotations

from rework.draw.draft import Draft
from rework.draw.layout.pose import LINKAGE
from rework.draw.layout.sketch import Spot
from rework.draw.routing.grid import SIDE_NUMBER
from rework.draw.routing.way import Costs, cheapest
from rework.draw.schematic import At
from rework.draw.symbols.pen import AHEAD

#: A linkage crosses wires: it is no wire, and a straight one is seen best.
_COSTS = Costs(bend=4.0, crossing=3.0)
#: How far over a switch its linkage begins, u.
_OVER = 2


def linkages(draft: Draft) -> list[tuple[At, ...]]:
    """Return the points of every linkage of a switch and a pot on the sheet for which there is
    room; the rest stay stubs with the name of the pot.
    """
    pots = {spot.piece.part.name: spot for spot in draft.spots.values() if spot.piece.kind == "pot"}
    switches = [
        (spot, pots[on])
        for _, spot in sorted(draft.spots.items())
        if spot.piece.kind == "switch" and (on := spot.piece.part.setting("on")) in pots
    ]
    found = (_linkage(draft, switch, pot) for switch, pot in switches)
    return [line for line in found if line]


def _linkage(draft: Draft, switch: Spot, pot: Spot) -> tuple[At, ...]:
    """Return the way from the stub at a pot to the stub over a switch; empty if there is none."""
    grid = draft.grid
    wiper, end = pot.symbol.lead("wiper"), pot.symbol.lead("ccw")
    aside = [lead.y for lead in switch.symbol.leads if lead.side in ("left", "right")]
    if wiper is None or end is None or not aside:
        return ()
    (dx, dy), (px, py) = AHEAD[wiper.side], AHEAD[end.side]
    place = draft.place[pot.piece.key]
    root = (place.x + LINKAGE * dx, place.y + LINKAGE * dy)
    start = grid.point((root[0] + px, root[1] + py))
    place = draft.place[switch.piece.key]
    goal = grid.point((place.x, place.y + min(aside) - _OVER))
    if any(grid.closed[p] or grid.node[p] for p in (start, goal)):
        return ()
    number = max(grid.wires, default=0) + 1
    grid.hold(number, start, (SIDE_NUMBER[end.side] + 2) % 4)
    x, y = goal % grid.width, goal // grid.width
    points = cheapest(grid, number, (start,), {goal}, (x, y, x, y), _COSTS, ends=_comes_down)
    grid.lift(number, {})
    return tuple(grid.at(point) for point in points or ())


def _comes_down(point: int, direction: int) -> bool:
    """True where a linkage arrives upright at the stub over a switch."""
    return point >= 0 and direction % 2 == 1
