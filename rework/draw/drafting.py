"""From a netlist to a sheet with everything in its place and all wires laid."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.graph.roles import roles
from rework.draw.layout import rails
from rework.draw.layout.columns import Place, places
from rework.draw.layout.netlist import FLAG, Netlist, netlist
from rework.draw.layout.plan import add_to, plan
from rework.draw.layout.pose import Tag, half_of
from rework.draw.layout.sketch import Spot
from rework.draw.layout.wording import NO_LABEL, Label
from rework.draw.lettered import Taken, note_on, obstacles, relabelled, run_box, sign_box
from rework.draw.routing.grid import SIDE_NUMBER, Grid
from rework.draw.routing.router import End, Router, Task, along
from rework.draw.schematic import Dot, Note, Placed, Run, Schematic, Sign
from rework.draw.symbols import ends
from rework.draw.symbols.pen import AHEAD, Box, Side, Style, around, turned
from rework.draw.symbols.table import style_of

#: What a wire pays for a point under text.
_TEXT = 9.0
_OPPOSITE = {"left": "right", "right": "left", "up": "down", "down": "up"}


@dataclass(slots=True)
class Draft:
    """A sheet before it is drawn: the plan, the places, the wires in the grid, labels and signs."""

    nets: Netlist
    spots: Mapping[str, Spot]
    place: Mapping[str, Place]
    grid: Grid
    tasks: list[Task]
    tags: list[Tag] = field(default_factory=list)
    labels: dict[str, Label] = field(default_factory=dict)
    failed: set[str] = field(default_factory=set)
    flags: list[tuple[str, tuple[int, int], Side]] = field(default_factory=list)


def draft(
    circuit: Circuit, *, style: Style | None = None, parts: tuple[Part, ...] | None = None
) -> Draft:
    """Return a circuit, or some of its parts, placed and wired on one sheet."""
    role_of = roles(circuit)
    nets = netlist(circuit, role_of, parts)
    sketch = plan(nets, style or style_of(circuit), role_of)
    return _wired(nets, sketch.spots, places(sketch), list(sketch.spots.values()), None)


def draft_pair(
    before: Circuit,
    after: Circuit,
    *,
    style: Style | None = None,
    parts: tuple[tuple[Part, ...] | None, tuple[Part, ...] | None] = (None, None),
) -> tuple[Draft, Draft]:
    """Return two circuits on sheets of one size, what is in both in one place.

    The first is planned as if it were alone; what only the second has takes the places of what
    went, or finds its own. Wires whose net and pins are the same lie the same.
    """
    chosen = style or style_of(before)
    role_of = roles(before)
    nets = netlist(before, role_of, parts[0])
    sketch = plan(nets, chosen, role_of)
    first = dict(sketch.spots)
    later_roles = roles(after)
    later = netlist(after, later_roles, parts[1], beside=nets)
    sketch.vary(later)
    add_to(sketch, first, later, later_roles)
    second = {key: sketch.variants.get(key) or sketch.spots[key] for key in later.pieces}
    place = places(sketch)
    every = [*sketch.spots.values(), *sketch.variants.values()]
    one = _wired(nets, first, place, every, None)
    gone = [spot for key, spot in first.items() if key not in later.pieces]
    return one, _wired(later, second, place, every, one, gone)


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
        _sign_bare_pins(draft, spot)
    draft.tasks = _tasks(draft)
    if like is not None:
        _as_before(draft, like)
    router = Router(grid)
    router.prepare(draft.tasks)
    router.route([task for task in draft.tasks if len(task.ends) > 1])
    draft.failed = router.failed
    _flag_failed(draft, router)
    return draft


def _flag_failed(draft: Draft, router: Router) -> None:
    """Join what no wire could join by a flag at each piece of it."""
    for task in draft.tasks:
        if task.name not in router.failed:
            continue
        long = math.ceil(ends.flag(task.name).body.right) + 1
        signs = {draft.grid.point(at) for at in task.signs}
        for group in router.groups(task.number):
            if group & signs:
                continue
            found = router.to_free_room(task.number, group, _room_for(draft.grid, long))
            if found is not None:
                at, direction = draft.grid.at(found[0]), found[1]
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


def _as_before(draft: Draft, like: Draft) -> None:
    """Lay nets that have the same ends as in another draft as they lie there."""
    known = {task.name: task for task in like.tasks}
    for task in draft.tasks:
        other = known.get(task.name)
        if other is None or other.ends != task.ends or task.name in like.failed:
            continue
        runs = [(run.start, run.stop) for run in runs_of(like, other)]
        pins = {(end.x, end.y) for end in task.ends}
        inner = {at for run in runs for at in along(run)} - pins
        if any(draft.grid.closed[draft.grid.point(at)] for at in inner):
            continue
        task.laid = list(runs)
        task.trunks = []


def _close_lead(grid: Grid, body: Box, x: int, y: int, side: str) -> None:
    """Close the points under a lead between its end and the body."""
    dx, dy = {"left": (1, 0), "right": (-1, 0), "up": (0, 1), "down": (0, -1)}[side]
    for _ in range(12):
        x, y = x + dx, y + dy
        if body.left <= x <= body.right and body.top <= y <= body.bottom:
            return
        grid.closed[grid.point((x, y))] = 1


def _sign_bare_pins(draft: Draft, spot: Spot) -> None:
    """Put a sign near every pin on a net told by signs that has none yet."""
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


def _tag_near(draft: Draft, node: str, at: tuple[int, int], side: str) -> Tag | None:
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
    found = set()
    for key, spot in draft.spots.items():
        for lead in spot.symbol.leads:
            dx, dy = AHEAD[lead.side]
            x, y = draft.place[key].x + lead.x, draft.place[key].y + lead.y
            found |= {draft.grid.point((x + out * dx, y + out * dy)) for out in range(4)}
    for tag in draft.tags:
        found.add(draft.grid.point((tag.x, tag.y)))
        found |= {draft.grid.point(at) for wire in tag.wires for at in along(wire)}
    return found


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


def runs_of(draft: Draft, task: Task) -> list[Run]:
    """Return the straight runs of a net's wires between bends, ends and junctions."""
    grid = draft.grid
    arms = grid.wires[task.number].arms
    role = draft.nets.nets[task.name].role
    found = []
    for point, mask in sorted(arms.items()):
        for direction in (0, 1):
            if not _wired_to(draft, task.number, point, direction):
                continue
            back = (direction + 2) % 4
            if _wired_to(draft, task.number, point, back) and mask.bit_count() == 2:
                continue
            last = point + grid.step[direction]
            while arms[last].bit_count() == 2 and _wired_to(draft, task.number, last, direction):
                last += grid.step[direction]
            found.append(Run(grid.at(point), grid.at(last), task.name, role))
    return found


def _wired_to(draft: Draft, number: int, point: int, direction: int) -> bool:
    """True where a wire of the net runs from a point to the next; a lead is no wire."""
    arms = draft.grid.wires[number].arms
    after = point + draft.grid.step[direction]
    return (
        bool(arms[point] >> direction & 1)
        and after in arms
        and bool(arms[after] >> (direction + 2) % 4 & 1)
    )


def _dots(draft: Draft, task: Task) -> list[Dot]:
    """Return the points where three wires or leads of a net meet."""
    arms = draft.grid.wires[task.number].arms
    role = draft.nets.nets[task.name].role
    return [
        Dot(draft.grid.at(point), task.name, role)
        for point, mask in sorted(arms.items())
        if mask.bit_count() > 2
    ]


def finished(draft: Draft) -> Schematic:
    """Return a draft as geometry, its words where they cover nothing."""
    runs = [run for task in draft.tasks for run in runs_of(draft, task)]
    dots = [dot for task in draft.tasks for dot in _dots(draft, task)]
    nets = draft.nets
    signs = [
        Sign(
            nets.nets[tag.net].sign or "flag",
            (tag.x, tag.y),
            tag.net,
            nets.letters.get(tag.net, ""),
        )
        for tag in draft.tags
    ]
    placed = []
    for key, spot in draft.spots.items():
        place = draft.place[key]
        part = spot.piece.part
        if spot.piece.kind == FLAG:
            node = spot.piece.nodes[0]
            signs.append(Sign("flag", (place.x, place.y), node, node))
        placed.append(
            Placed(
                key,
                part.name,
                spot.piece.unit,
                spot.piece.kind,
                spot.symbol,
                place.x,
                place.y,
                spot.label.moved(place.x, place.y),
            )
        )
        if part.kind in ("chassis", "earth"):
            signs += [
                Sign(
                    nets.nets[node].sign or "flag",
                    (place.x, place.y),
                    node,
                    nets.letters.get(node, ""),
                )
                for _, node in part.pins
                if nets.shown(node) == "sign"
            ]
    for number, (net, (x, y), side) in enumerate(draft.flags):
        symbol = turned(ends.flag(net), 0, mirrored=side == "right")
        placed.append(Placed(f"flag {number} {net}", "", "flag", "flag", symbol, x, y, NO_LABEL))
        signs.append(Sign("flag", (x, y), net, net))
    taken = Taken(obstacles(placed, runs, signs))
    pieces = {key: spot.piece for key, spot in draft.spots.items()}
    placed = relabelled(placed, pieces, nets, taken)
    notes = _notes(draft, runs, taken)
    return Schematic(
        nets.circuit.title,
        _size(placed, runs, signs, notes),
        tuple(runs),
        tuple(dots),
        tuple(signs),
        tuple(placed),
        tuple(notes),
    )


def _notes(draft: Draft, runs: list[Run], taken: Taken) -> list[Note]:
    """Return the names of rails and of ports, each over a wire of its net."""
    words = {name: name for name, net in draft.nets.nets.items() if net.shown == "rail"}
    for port, node in draft.nets.circuit.ports:
        net = draft.nets.nets.get(node)
        if net is not None and net.shown != "sign":
            words[node] = f"{words[node]}, {port}" if node in words else port
    found = []
    for name, word in sorted(words.items()):
        note = note_on([run for run in runs if run.net == name], word, "net", name, taken)
        if note is not None:
            found.append(note)
    return found


def _size(placed: list[Placed], runs: list[Run], signs: list[Sign], notes: list[Note]) -> Box:
    """Return the box of everything drawn."""
    boxes = [one.body for one in placed] + [one.label.box for one in placed]
    boxes += [Box(x, y, x, y) for one in placed for _, (x, y), _ in one.leads()]
    boxes += [run_box(run) for run in runs] + [sign_box(sign) for sign in signs]
    boxes += [note.box for note in notes]
    box = around(boxes) if boxes else Box(0, 0, 10, 5)
    return Box(
        math.floor(box.left) - 1,
        math.floor(box.top) - 1,
        math.ceil(box.right) + 1,
        math.ceil(box.bottom) + 1,
    )
