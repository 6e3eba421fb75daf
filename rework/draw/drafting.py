"""From a netlist to a sheet with everything in its place and all wires laid."""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.draft import Draft, runs_of
from rework.draw.graph.roles import roles
from rework.draw.layout import rails
from rework.draw.layout.columns import Place, places
from rework.draw.layout.netlist import Netlist, netlist
from rework.draw.layout.plan import add_to, plan
from rework.draw.layout.pose import Tag
from rework.draw.layout.sketch import Spot
from rework.draw.overlay import PLAIN, Overlay
from rework.draw.routing.grid import SIDE_NUMBER, Grid
from rework.draw.routing.router import End, Router, Task, along
from rework.draw.signing import flag_failed, sign_bare_pins
from rework.draw.symbols.pen import Box, Style, around
from rework.draw.symbols.table import style_of

#: What a wire pays for a point under text.
_TEXT = 9.0
_OPPOSITE = {"left": "right", "right": "left", "up": "down", "down": "up"}


def draft(
    circuit: Circuit,
    *,
    style: Style | None = None,
    parts: tuple[Part, ...] | None = None,
    overlay: Overlay = PLAIN,
    only: Container[str] | None = None,
) -> Draft:
    """Return a circuit, some of its parts, or ``only`` some pieces, on one sheet with wires."""
    role_of = roles(circuit)
    nets = overlay.on(netlist(circuit, role_of, parts, only=only))
    sketch = plan(nets, style or style_of(circuit), role_of)
    return _wired(nets, sketch.spots, places(sketch), list(sketch.spots.values()), None)


def draft_pair(
    circuits: tuple[Circuit, Circuit],
    *,
    style: Style | None = None,
    parts: tuple[tuple[Part, ...] | None, tuple[Part, ...] | None] = (None, None),
    overlays: tuple[Overlay, Overlay] = (PLAIN, PLAIN),
) -> tuple[Draft, Draft]:
    """Return two circuits on sheets of one size, what is in both in one place.

    The first is planned as if it were alone; what only the second has takes the places of what
    went, or finds its own. Wires whose net and pins are the same lie the same.
    """
    before, after = circuits
    role_of = roles(before)
    nets = overlays[0].on(netlist(before, role_of, parts[0]))
    sketch = plan(nets, style or style_of(before), role_of)
    first = dict(sketch.spots)
    later_roles = roles(after)
    later = overlays[1].on(netlist(after, later_roles, parts[1], beside=nets))
    sketch.vary(later)
    add_to(sketch, first, later, later_roles)
    second = {key: sketch.variants.get(key) or sketch.spots[key] for key in later.pieces}
    place = places(sketch)
    every = [*sketch.spots.values(), *sketch.variants.values()]
    one = _wired(nets, first, place, every, None)
    gone = [spot for key, spot in first.items() if key not in later.pieces]
    other = _wired(later, second, place, every, one, gone)
    other.ghosts = [spot for spot in gone if not _taken_over(spot, second.values(), place)]
    return one, other


def _taken_over(spot: Spot, spots: Iterable[Spot], place: Mapping[str, Place]) -> bool:
    """True where another piece has the place of one that went."""
    at = place[spot.piece.key]
    body = spot.symbol.body.moved(at.x, at.y)
    return any(
        other.symbol.body.moved(place[other.piece.key].x, place[other.piece.key].y).meets(body)
        for other in spots
    )


def _wired(
    nets: Netlist,
    spots: Mapping[str, Spot],
    place: Mapping[str, Place],
    every: list[Spot],
    like: Draft | None,
    ghosts: Iterable[Spot] = (),
) -> Draft:
    """Return a sheet with its wires, as large as ``every`` spot needs; wires keep out of
    ``ghosts``, and nets that are as in the draft ``like`` lie as there.
    """
    boxes = [spot.box.moved(place[spot.piece.key].x, place[spot.piece.key].y) for spot in every]
    grid = Grid(around(boxes) if boxes else Box(0, 0, 1, 1))
    draft = Draft(nets, spots, place, grid, [])
    for spot in (*spots.values(), *ghosts):
        at = place[spot.piece.key]
        grid.close(spot.symbol.body.moved(at.x, at.y))
    for key, spot in spots.items():
        _take(draft, spot, place[key].x, place[key].y)
    for spot in spots.values():
        sign_bare_pins(draft, spot)
    draft.tasks = _tasks(draft)
    if like is not None:
        _as_before(draft, like)
    router = Router(grid)
    router.prepare(draft.tasks)
    router.route([task for task in draft.tasks if len(task.ends) > 1])
    draft.failed = router.failed
    flag_failed(draft, router)
    return draft


def _take(draft: Draft, spot: Spot, x: int, y: int) -> None:
    """Take the points of a piece: its signs, its leads, and those under its label dearly."""
    grid = draft.grid
    draft.labels[spot.piece.key] = spot.label.moved(x, y)
    grid.write(draft.labels[spot.piece.key].box, _TEXT)
    for tag in spot.tags:
        wires = tuple(tuple((a + x, b + y) for a, b in wire) for wire in tag.wires)
        moved = Tag(tag.net, tag.x + x, tag.y + y, wires, tag.half)
        draft.tags.append(moved)
        grid.close(moved.box)
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


def _tasks(draft: Draft) -> list[Task]:
    """Return a task a net drawn with lines, and one a sign that stands at several pins."""
    tasks = []
    number = 0
    for name, net in draft.nets.nets.items():
        number += 1
        found = []
        for key, terminal in net.pins:
            spot = draft.spots.get(key)
            lead = spot.symbol.lead(terminal) if spot else None
            if lead is None:
                continue
            x, y = draft.place[key].x + lead.x, draft.place[key].y + lead.y
            found.append(End(x, y, SIDE_NUMBER[_OPPOSITE[lead.side]]))
        tags = [tag for tag in draft.tags if tag.net == name]
        found += [End(tag.x, tag.y, SIDE_NUMBER["down"]) for tag in tags]
        task = Task(name, number, sorted(set(found), key=lambda end: (end.x, end.y, end.lead)))
        task.signs = [(tag.x, tag.y) for tag in tags]
        task.signs += [
            (draft.place[key].x, draft.place[key].y)
            for key, _ in net.pins
            if draft.nets.pieces[key].kind in ("chassis", "earth") and net.shown == "sign"
        ]
        task.laid = [wire for tag in tags for wire in tag.wires]
        if net.shown == "rail":
            task.trunks = _trunk(draft, task)
        tasks.append(task)
    _heater_trunks(draft, tasks)
    return tasks


def _heater_trunks(draft: Draft, tasks: list[Task]) -> None:
    """Give the two nets that feed heaters in parallel a line over and a line under their row."""
    row = next(
        (draft.place[k].y - s.y for k, s in sorted(draft.spots.items()) if s.band == "heaters"),
        None,
    )
    if row is None:
        return
    taken = False
    for task in tasks:
        if task.trunks or draft.nets.shown(task.name) == "sign":
            continue
        above = [end for end in task.ends if row - 6 <= end.y < row]
        below = [end for end in task.ends if row < end.y <= row + 6]
        level = [end for end in task.ends if end.y == row]
        if len(level) > 2 and not above and not below:
            above, below = ([], level) if taken else (level, [])
            taken = True
        for near, y in ((above, row - 6), (below, row + 6)):
            xs = [end.x for end in near]
            if len(xs) > 1 and draft.nets.nets[task.name].role == "heater":
                task.trunks = [((min(xs), y), (max(xs), y))]


def _trunk(draft: Draft, task: Task) -> list[tuple[tuple[int, int], ...]]:
    """Return the line of a rail across the top, over the pins it feeds in the first band."""
    tops = {
        spot.band: draft.place[key].y - spot.y + rails.RAIL
        for key, spot in sorted(draft.spots.items())
        if spot.band.startswith("signal")
    }
    trunks: list[tuple[tuple[int, int], ...]] = []
    for band, top in sorted(tops.items()):
        deep = 40 if band == rails.BAND else 12
        xs = [end.x for end in task.ends if top <= end.y <= top + deep]
        if len(xs) > 1 and min(xs) != max(xs):
            trunks.append(((min(xs), top), (max(xs), top)))
    return trunks
