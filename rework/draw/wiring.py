"""Wires for pieces that have their places: the points that symbols, signs and words take, then a
task a net for the router.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rework.draw.draft import Draft, runs_of
from rework.draw.layout import rails
from rework.draw.layout.netlist import FLAG, Netlist
from rework.draw.layout.pose import Tag
from rework.draw.layout.sketch import PiecePlace, Spot
from rework.draw.linking import linkages
from rework.draw.routing.grid import SIDE_NUMBER, Grid
from rework.draw.routing.router import End, Router, Task, along
from rework.draw.routing.way import Costs
from rework.draw.signing import flag_failed, sign_bare_pins
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Box, around

#: What a wire pays for a point under text, which gives way where it can, for one close beside a
#: body, and for one where a part was that came out: less than a way round that bends four times.
_TEXT, _CLOSE, _GHOST = 1, 1, 1
#: How far from a body is close, u: less than from the envelope of a tube to the ends of its leads.
_NEAR = 0.9
#: How far around the pieces a wire may go without paying more, u, and what a point outside costs.
_ROUND, _OUTSIDE = 2.0, 3
#: How far behind a flag no wire runs, u.
_BACK = 0.6
#: Where the letter of a chassis or an earth is, around the sign's point, and what it costs there.
_LETTER, _AT_LETTER = Box(2, 1, 2, 2), 6
_OPPOSITE = {"left": "right", "right": "left", "up": "down", "down": "up"}


def wired(
    nets: Netlist,
    spots: Mapping[str, Spot],
    place: Mapping[str, PiecePlace],
    every: Iterable[Spot],
    costs: Costs,
    like: Draft | None = None,
    ghosts: Iterable[Spot] = (),
    risers: Mapping[str, int] | None = None,
) -> Draft:
    """Return a sheet with its wires, as large as ``every`` spot needs; wires rather keep out of
    where ``ghosts`` were, nets that are as in the draft ``like`` lie as there, and rails come up
    from the supply at the x of their ``risers``.
    """
    boxes = [spot.box.moved(place[spot.piece.key].x, place[spot.piece.key].y) for spot in every]
    box = around(boxes) if boxes else Box(0, 0, 1, 1)
    grid = Grid(box)
    grid.shun(box.grown(_ROUND), _OUTSIDE)
    draft = Draft(nets, spots, place, grid, [])
    for spot in ghosts:
        at = place[spot.piece.key]
        grid.write(spot.symbol.body.moved(at.x, at.y), _GHOST)
    for spot in spots.values():
        at = place[spot.piece.key]
        body = spot.symbol.body
        if spot.piece.kind == FLAG:  # no wire runs up to its back as if it went on there
            body = Box(body.left - _BACK, body.top, body.right + _BACK, body.bottom)
        grid.close(body.moved(at.x, at.y))
        grid.write(body.moved(at.x, at.y).grown(_NEAR), _CLOSE)
    for key, spot in spots.items():
        take(draft, spot, place[key].x, place[key].y)
    for spot in spots.values():
        sign_bare_pins(draft, spot)
    draft.tasks = tasks_of(draft)
    for task in draft.tasks:
        if nets.shown(task.name) == "rail":
            task.trunks = _trunk(draft, task, (risers or {}).get(task.name))
    _heater_trunks(draft, draft.tasks)
    if like is not None:
        _as_before(draft, like)
    router = Router(grid, costs)
    router.prepare(draft.tasks)
    router.route([task for task in draft.tasks if len(task.ends) > 1])
    draft.failed = router.failed
    flag_failed(draft, router)
    draft.linkages = linkages(draft)
    return draft


def take(draft: Draft, spot: Spot, x: int, y: int) -> None:
    """Take the points of a piece: its signs, its leads, and those under its label dearly."""
    grid = draft.grid
    draft.labels[spot.piece.key] = spot.label.moved(x, y)
    grid.write(draft.labels[spot.piece.key].box, _TEXT)
    for tag in spot.tags:
        wires = tuple(tuple((a + x, b + y) for a, b in wire) for wire in tag.wires)
        moved = Tag(tag.net, tag.x + x, tag.y + y, wires, tag.half)
        draft.tags.append(moved)
        grid.close(moved.box)
        if draft.nets.letters.get(tag.net) and draft.nets.nets[tag.net].sign != "common":
            grid.write(_LETTER.moved(moved.x, moved.y), _AT_LETTER)
    for lead in spot.symbol.leads:
        _close_lead(grid, spot.symbol.body.moved(x, y), lead.x + x, lead.y + y, lead.side)
        if all(spot.piece.node(terminal) is None for terminal in lead.terminals):
            grid.closed[grid.point((lead.x + x, lead.y + y))] = 1  # led out, joined to nothing


def _as_before(draft: Draft, like: Draft) -> None:
    """Lay nets that have the same ends as in another draft as they lie there."""
    known = {task.name: task for task in like.tasks}
    held = _held(draft)
    for task in draft.tasks:
        other = known.get(task.name)
        if other is None or other.ends != task.ends or task.name in like.failed:
            continue
        runs = [(run.start, run.stop) for run in runs_of(like, other)]
        pins = {(end.x, end.y) for end in task.ends}
        inner = {at for run in runs for at in along(run)} - pins
        if any(draft.grid.closed[draft.grid.point(at)] for at in inner):
            continue
        if any(held.get(at, task.name) != task.name for at in inner | pins):
            continue
        task.laid = list(runs)
        task.trunks = []


def _held(draft: Draft) -> dict[tuple[int, int], str]:
    """Return the net of every point that a pin, a sign or the wire of a sign takes."""
    return {
        at: task.name
        for task in draft.tasks
        for at in (
            *((end.x, end.y) for end in task.ends),
            *(at for corners in task.laid for at in along(corners)),
        )
    }


def _close_lead(grid: Grid, body: Box, x: int, y: int, side: str) -> None:
    """Close the points under a lead between its end and the body."""
    dx, dy = {"left": (1, 0), "right": (-1, 0), "up": (0, 1), "down": (0, -1)}[side]
    for _ in range(12):
        x, y = x + dx, y + dy
        if body.left <= x <= body.right and body.top <= y <= body.bottom:
            return
        grid.closed[grid.point((x, y))] = 1


def tasks_of(draft: Draft) -> list[Task]:
    """Return a task a net drawn with lines, and one a sign that is at several pins."""
    tasks = []
    number = 0
    for name, net in draft.nets.nets.items():
        number += 1
        ends = []
        for key, terminal in net.pins:
            spot = draft.spots.get(key)
            lead = spot.symbol.lead(terminal) if spot else None
            if lead is None:
                continue
            x, y = draft.place[key].x + lead.x, draft.place[key].y + lead.y
            ends.append(End(x, y, SIDE_NUMBER[_OPPOSITE[lead.side]]))
        tags = [tag for tag in draft.tags if tag.net == name]
        ends += [End(tag.x, tag.y, SIDE_NUMBER["down"]) for tag in tags]
        task = Task(name, number, sorted(set(ends), key=lambda end: (end.x, end.y, end.lead)))
        task.signs = [(tag.x, tag.y) for tag in tags]
        task.signs += [
            (draft.place[key].x, draft.place[key].y)
            for key, _ in net.pins
            if draft.nets.pieces[key].kind in ("chassis", "earth") and net.shown == "sign"
        ]
        task.laid = [wire for tag in tags for wire in tag.wires]
        tasks.append(task)
    return tasks


def _heater_trunks(draft: Draft, tasks: list[Task]) -> None:
    """Give the two nets that feed heaters in parallel a line over and a line under their row."""
    spots = [(draft.place[k], s) for k, s in draft.spots.items() if s.band == "heaters"]
    if not any(spot.piece.kind == bulb.HEATER_UNIT for _, spot in spots):
        return
    row = spots[0][0].y - spots[0][1].y
    leads = {(at.x + lead.x, at.y + lead.y) for at, spot in spots for lead in spot.symbol.leads}
    taken = False
    for task in tasks:
        if task.trunks or draft.nets.shown(task.name) == "sign":
            continue
        ends = [end for end in task.ends if (end.x, end.y) in leads]
        above = [end for end in ends if end.y < row]
        below = [end for end in ends if row < end.y]
        level = [end for end in ends if end.y == row]
        if len(level) > 2 and not above and not below:
            above, below = ([], level) if taken else (level, [])
            taken = True
        if len(level) > 1 and len(below) > 1 and not above:
            below += level  # twin tubes whose halves are in parallel, beside other heaters
        upper = min([row - 6, *(end.y for end in above)])
        for near, y in ((above, upper), (below, row + 6)):
            xs = [end.x for end in near]
            if len(xs) > 1 and draft.nets.nets[task.name].role == "heater":
                task.trunks = [((min(xs), y), (max(xs), y))]


def _trunk(draft: Draft, task: Task, riser: int | None) -> list[tuple[tuple[int, int], ...]]:
    """Return the line of a rail across the top, over the pins it feeds in the first band, and the
    line in which it comes up from the supply.
    """
    tops = {
        spot.band: draft.place[key].y - spot.y + rails.RAIL
        for key, spot in sorted(draft.spots.items())
        if spot.band.startswith("signal")
    }
    trunks: list[tuple[tuple[int, int], ...]] = []
    for band, top in sorted(tops.items()):
        deep = 40 if band == rails.BAND else 12
        xs = [end.x for end in task.ends if top <= end.y <= top + deep]
        below = [end.y for end in task.ends if end.y > top + deep]
        if band == rails.BAND and riser is not None and xs and below:
            xs.append(riser)
            trunks.append(((riser, top), (riser, min(below))))
        if len(xs) > 1 and min(xs) != max(xs):
            trunks.append(((min(xs), top), (max(xs), top)))
    return trunks
