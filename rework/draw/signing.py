"""Signs and flags that the layout has no room kept for: near a bare pin, and where no wire went."""

from __future__ import annotations

import math
from collections.abc import Callable

from rework.draw.draft import Draft
from rework.draw.layout.pose import Tag, half_of
from rework.draw.layout.sketch import Spot
from rework.draw.routing.grid import Grid
from rework.draw.routing.router import Router, along
from rework.draw.symbols import ends
from rework.draw.symbols.pen import AHEAD, Box, Side


def sign_bare_pins(draft: Draft, spot: Spot) -> None:
    """Put a sign near every pin on a net shown by signs that has none yet."""
    if spot.piece.kind in ("chassis", "earth"):
        return
    place = draft.place[spot.piece.key]
    for lead in spot.symbol.leads:
        node = spot.piece.node(lead.terminals[0])
        if node is None or draft.nets.shown(node) != "sign":
            continue
        at = (lead.x + place.x, lead.y + place.y)
        known = any(
            tag.net == node and (at == (tag.x, tag.y) or any(at in along(w) for w in tag.wires))
            for tag in draft.tags
        )
        if not known:
            tag = _tag_near(draft, node, at, lead.side)
            if tag is not None:
                draft.tags.append(tag)
                draft.grid.close(tag.box)


def _tag_near(draft: Draft, node: str, at: tuple[int, int], side: Side) -> Tag | None:
    """Return a sign as near as there is room for one: out along the lead, then to a side, down."""
    x, y = at
    dx, dy = AHEAD[side]
    taken = _leads(draft)
    for out in range(1, 6):
        for across in (-2, 2, -3, 3, -4, 4, 0):
            corner = (x + out * dx, y + out * dy)
            end = (corner[0] + (across if dy else 0), corner[1] + (abs(across) if dx else 0))
            if dy and not across:
                continue
            tag = Tag(node, *end, ((at, corner, end),), half_of(node, draft.nets))
            points = set(along((at, corner, end))[1:])
            inside = set(draft.grid.inside(tag.box.grown(0.4)))
            numbers = {draft.grid.point(p) for p in points}
            numbers -= {draft.grid.point((x + n * dx, y + n * dy)) for n in range(4)}
            if not any(draft.grid.closed[p] for p in inside | numbers) and not taken & (
                inside | numbers
            ):
                return tag
    return None


def _leads(draft: Draft) -> set[int]:
    """Return the points of all leads and of the wires and ends of all signs."""
    leads = set()
    for key, spot in draft.spots.items():
        for lead in spot.symbol.leads:
            dx, dy = AHEAD[lead.side]
            x, y = draft.place[key].x + lead.x, draft.place[key].y + lead.y
            leads |= {draft.grid.point((x + out * dx, y + out * dy)) for out in range(4)}
    for tag in draft.tags:
        leads.add(draft.grid.point((tag.x, tag.y)))
        leads |= {draft.grid.point(at) for wire in tag.wires for at in along(wire)}
    return leads


def flag_failed(draft: Draft, router: Router) -> None:
    """Join what no wire could join by a flag at each piece of it."""
    for task in draft.tasks:
        if task.name not in router.failed:
            continue
        long = math.ceil(ends.flag(task.name).body.right) + 1
        signs = {draft.grid.point(at) for at in task.signs}
        for group in router.groups(task.number):
            if group & signs:
                continue
            place = router.to_free_room(task.number, group, _room_for(draft.grid, long))
            if place is not None:
                at, direction = draft.grid.at(place[0]), place[1]
                side: Side = "right" if direction == 2 else "left"
                draft.flags.append((task.name, at, side))
                draft.grid.close(_flag_box(at, direction, long))


def _flag_box(at: tuple[int, int], direction: int, long: int) -> Box:
    x, y = at
    dx = -1 if direction == 2 else 1
    return Box(min(x + dx, x + dx * long), y - 1, max(x + dx, x + dx * long), y + 1)


def _room_for(grid: Grid, long: int) -> Callable[[int, int], bool]:
    """Return a test whether a flag of some length fits where a wire arrives level."""

    def fits(point: int, direction: int) -> bool:
        if direction not in (0, 2) or grid.level[point] or grid.upright[point] or grid.node[point]:
            return False
        x, y = grid.at(point)
        if not (grid.left + long < x < grid.left + grid.width - long - 2):
            return False
        if not (grid.top + 2 < y < grid.top + grid.height - 3):
            return False
        return not any(
            grid.closed[p] or grid.level[p] or grid.upright[p] or grid.node[p] or grid.text[p]
            for p in grid.inside(_flag_box((x, y), direction, long))
        )

    return fits
