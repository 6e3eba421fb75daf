"""From a draft to the finished sheet: runs and dots, words where they cover nothing, what the
overlay points out, and the title block.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import replace
from itertools import pairwise

from rework.draw.chassis import chassis_of
from rework.draw.draft import Draft, dots_of, runs_of
from rework.draw.layout.netlist import FLAG, own
from rework.draw.layout.sketch import Spot
from rework.draw.layout.wording import NO_LABEL
from rework.draw.lettered import Taken, note_on, obstacles, relabelled, run_box, sign_box
from rework.draw.lettering import width
from rework.draw.overlay import PLAIN, Overlay, Way
from rework.draw.routing.router import along
from rework.draw.schematic import (
    DIAMOND,
    NOTE,
    NOTE_ROW,
    SIGN_ROW,
    TITLE,
    At,
    Block,
    Note,
    Placed,
    Run,
    Schematic,
    Sign,
)
from rework.draw.symbols import can, ends
from rework.draw.symbols.pen import AHEAD, Box, around, turned

#: Room kept around title, notes and key, u.
_CLEAR = 0.6
#: How high the box of title and condition is, u.
_TITLE_HIGH = 4.6
#: How far the way of a hazard goes into the plug and into what a hand touches, u.
_INSIDE = 5
#: How tall a sheet is for its width where words go beside it: as A4 that lies.
_TALL = 0.71
#: Half the width of the double line of a hazard's way, u.
_WAY_HALF = 0.45
#: Volts nearer to 0 than this are not written beside a wire.
_LEAST_VOLTS = 0.05
#: What a mark means, and what its absence does not.
_UNMARKED = "A node without a mark can still be at line voltage. Verify by measurement."
_LEADS = "Lead colours: the trade's code. Verify each winding with a meter."
_WOUND = ("transformer", "output transformer")
_MEANINGS = {"common": "common", "chassis": "chassis", "earth": "protective earth"}


def finished(
    draft: Draft, *, overlay: Overlay = PLAIN, title: str = "", condition: str = ""
) -> Schematic:
    """Return a draft as geometry, its words where they cover nothing."""
    runs = [run for task in draft.tasks for run in runs_of(draft, task)]
    dots = [dot for task in draft.tasks for dot in dots_of(draft, task)]
    placed = [_placed(draft, spot, overlay) for spot in draft.spots.values()]
    placed += [
        Placed(
            f"flag {number} {net}",
            "",
            FLAG,
            FLAG,
            turned(ends.flag(own(net)), 0, mirrored=side == "right"),
            *at,
            NO_LABEL,
        )
        for number, (net, at, side) in enumerate(draft.flags)
    ]
    signs = _signs(draft)
    ghosts = [_placed(draft, spot, overlay) for spot in draft.ghosts]
    taken = Taken([*obstacles(placed, runs, signs), *(ghost.body for ghost in ghosts)])
    pieces = {key: spot.piece for key, spot in draft.spots.items()}
    placed = relabelled(placed, pieces, draft.nets, taken)
    moved = _moved(placed, overlay)
    for x, y in moved:
        taken.add(Box(x, y, x, y).grown(DIAMOND))
    sheet = Schematic(
        title or draft.nets.circuit.title,
        _size(placed, runs, signs, []),
        tuple(runs),
        tuple(dots),
        tuple(signs),
        tuple(placed),
        moved=moved,
        cans=can.cans(draft.nets.circuit),
    )
    ways = _ways(sheet, overlay.ways)
    for way in ways:
        for (x1, y1), (x2, y2) in pairwise(way):
            line = Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
            taken.add(line.grown(_WAY_HALF))
    notes = _notes(draft, runs, taken, overlay)
    sheet = replace(
        sheet,
        box=_size(placed, runs, signs, notes),
        notes=tuple(notes),
        ghosts=tuple(_ghost_labels(ghosts, taken)),
        ways=ways,
    )
    return _with_block(sheet, overlay, condition)


def _placed(draft: Draft, spot: Spot, overlay: Overlay) -> Placed:
    place, part = draft.place[spot.piece.key], spot.piece.part
    return Placed(
        spot.piece.key,
        part.name,
        spot.piece.unit,
        spot.piece.kind,
        spot.symbol,
        place.x,
        place.y,
        spot.label.moved(place.x, place.y),
        overlay.changes.get(part.name, ""),
        "HAZARD" in draft.nets.words.get(part.name, ""),
        tuple(
            (terminal, node, draft.nets.nets[node].role)
            for terminal, node in spot.piece.pins
            if node in draft.nets.nets
        ),
    )


def _ghost_labels(ghosts: list[Placed], taken: Taken) -> list[Placed]:
    """Return ghosts with their labels where there is room, without one where there is none."""
    placeds = []
    for ghost in ghosts:
        free = taken.first_hit(ghost.label.box) is None
        if free:
            taken.add(ghost.label.box)
        placeds.append(replace(ghost, label=ghost.label if free else NO_LABEL, change="removed"))
    return placeds


def _signs(draft: Draft) -> list[Sign]:
    nets = draft.nets

    def sign(net: str, at: At) -> Sign:
        return Sign(nets.nets[net].sign or "flag", at, net, nets.letters.get(net, ""))

    signs = [sign(tag.net, (tag.x, tag.y)) for tag in draft.tags]
    for key, spot in draft.spots.items():
        at = (draft.place[key].x, draft.place[key].y)
        node = spot.piece.nodes[0] if spot.piece.nodes else ""
        if spot.piece.kind == FLAG:
            signs.append(Sign("flag", at, node, node))
        elif spot.piece.kind in ("chassis", "earth") and node and nets.shown(node) == "sign":
            signs.append(sign(node, at))
    return signs + [Sign("flag", at, net, net) for net, at, _ in draft.flags]


def _notes(draft: Draft, runs: list[Run], taken: Taken, overlay: Overlay) -> list[Note]:
    """Return names of rails and ports, and volts, each over a wire of its net."""
    words = {name: own(name) for name, net in draft.nets.nets.items() if net.shown == "rail"}
    for port, node in draft.nets.circuit.ports:
        net = draft.nets.nets.get(node)
        flagged = any(piece.kind == FLAG for piece in draft.nets.on.get(node, ()))
        if net is not None and net.shown != "sign" and "/" not in port and not flagged:
            words[node] = f"{words[node]}, {port}" if node in words else port
    notes = []
    live = {name: "LIVE" for name in overlay.live if name in draft.nets.nets}
    for kind, texts in (("net", words), ("live", live), ("volts", _volts(draft, overlay))):
        for name, word in sorted(texts.items()):
            note = note_on([run for run in runs if run.net == name], word, kind, name, taken)
            if note is not None:
                notes.append(note)
    return notes


def _volts(draft: Draft, overlay: Overlay) -> dict[str, str]:
    """Return the volts of each net drawn as a wire, as a chart would give them."""
    return {
        name: f"{volts:.3g} V"
        for name, volts in overlay.volts.items()
        if name in draft.nets.nets
        and draft.nets.shown(name) != "sign"
        and abs(volts) >= _LEAST_VOLTS
    }


def _moved(placed: list[Placed], overlay: Overlay) -> tuple[At, ...]:
    return tuple(
        sorted(
            at
            for piece in placed
            for terminal, at, _ in piece.leads()
            if f"{piece.part}.{terminal}" in overlay.moved
        )
    )


# the way of a hazard


def _ways(sheet: Schematic, ways: tuple[Way, ...]) -> tuple[tuple[At, ...], ...]:
    """Return the corners of every way from the blade to the hand, along wires and through parts."""
    at: dict[str, list[At]] = {}
    inner: dict[At, At] = {}
    for placed in sheet.placed:
        for terminal, (x, y), side in placed.leads():
            at.setdefault(f"{placed.part}.{terminal}", []).append((x, y))
            dx, dy = AHEAD[side]
            inner[x, y] = (x - _INSIDE * dx, y - _INSIDE * dy)
    lines: list[tuple[At, ...]] = []
    for way in sorted(ways, key=lambda way: (way.rank, len(way.steps)))[:1]:
        reached = ""
        for step in way.steps:
            into, out_of = f"{step.part}.{step.into}", f"{step.part}.{step.out_of}"
            pins = [at[pin][0] for pin in (into, out_of) if pin in at]
            if not step.into and pins:  # from the blade of the plug
                lines.append((inner[pins[0]], pins[0]))
            if reached in at and into in at:
                lines += _along_net(sheet, at[reached][0], at[into][0])
            elif step.into and (reached in at or into in at):  # the other end is on another sheet
                lines += _to_sign(sheet, at[reached if reached in at else into][0])
            if len(pins) == 2:
                lines.append(tuple(pins))
            reached = out_of
        touch = [
            point
            for placed in sheet.placed
            if placed.hazard
            for terminal, point, _ in placed.leads()
            for sign in sheet.signs
            if sign.net == way.node and sign.at == point
        ]
        if reached in at and touch:
            lines += _along_net(sheet, at[reached][0], touch[0])
            lines.append((touch[0], inner[touch[0]]))
    return tuple(dict.fromkeys(lines))


def _along_net(sheet: Schematic, start: At, stop: At) -> list[tuple[At, ...]]:
    """Return the way along wires between two points; by way of signs the way to each sign."""
    line = _walk(sheet, start, {stop})
    return [line] if line else [*_to_sign(sheet, start), *_to_sign(sheet, stop)]


def _to_sign(sheet: Schematic, end: At) -> list[tuple[At, ...]]:
    """Return the way along wires from a point to the nearest sign of its net, and into a sign."""
    kinds = {sign.at: sign.kind for sign in sheet.signs}
    line = (end,) if end in kinds else _walk(sheet, end, set(kinds))
    if not line:
        return []
    x, y = line[-1]
    return [line if kinds[x, y] == "flag" else (*line, (x, y + 2))]


def _walk(sheet: Schematic, start: At, goals: set[At]) -> tuple[At, ...]:
    """Return the points from a start to the nearest goal along the net's wires; empty if none."""
    net = next((run.net for run in sheet.runs if start in (run.start, run.stop)), None)
    steps: dict[At, set[At]] = {}
    for run in sheet.runs:
        if run.net == net:
            for first, second in pairwise(along((run.start, run.stop))):
                steps.setdefault(first, set()).add(second)
                steps.setdefault(second, set()).add(first)
    came: dict[At, At] = {start: start}
    waiting = deque([start])
    while waiting:
        here = waiting.popleft()
        if here in goals and (here != start or len(goals) > 1):
            path = [here]
            while came[path[-1]] != path[-1]:
                path.append(came[path[-1]])
            return tuple(path[::-1])
        for after in sorted(steps.get(here, ())):
            if after not in came:
                came[after] = here
                waiting.append(after)
    return ()


# the title block


def _with_block(sheet: Schematic, overlay: Overlay, condition: str) -> Schematic:
    """Return a sheet with its title block and its notes where the drawing leaves room for them, or
    in a strip under it, beside it where it is taller than paper.
    """
    kinds = {(sign.kind, sign.word): sign.net for sign in sheet.signs if sign.kind != "flag"}
    key = tuple(
        (kind, word, f"{_MEANINGS[kind]}, node {own(net)}{_of_chassis(net)}")
        for (kind, word), net in sorted(kinds.items())
    )
    block = Block(
        sheet.title,
        condition,
        key,
        tuple(_remarks(sheet, overlay)),
        Box(0, 0, 0, 0),
        Box(0, 0, 0, 0),
        Box(0, 0, 0, 0),
    )
    title_wide = max(width(sheet.title, TITLE, bold=True), width(condition, NOTE), 22.0) + 2
    signs = (
        max((width(meaning, NOTE) for _, _, meaning in key), default=0.0) + 5,
        SIGN_ROW * len(key) + 0.5,
    )
    notes = (
        max((width(row, NOTE, bold=True) for row in block.notes), default=0.0) + 0.5,
        NOTE_ROW * len(block.notes) + 0.5,
    )
    taken = Taken(
        [
            *obstacles([*sheet.placed, *sheet.ghosts], sheet.runs, sheet.signs),
            *(placed.label.box for placed in (*sheet.placed, *sheet.ghosts)),
            *(note.box for note in sheet.notes),
        ]
    )
    title = _title_place(sheet.box, taken, title_wide, _TITLE_HIGH)
    taken.add(title)
    box = around([sheet.box, title])
    boxes = [title]
    for wide, high in (notes, signs):
        place = _corner(box, taken, wide, high)
        if place is None and box.bottom - box.top > _TALL * (box.right - box.left):
            foot = min([box.bottom, *(other.top - 1 for other in boxes if other.left > box.right)])
            place = Box(box.right + 1, foot - high, box.right + 1 + wide, foot)
        elif place is None:
            left = _strip_left(boxes, box)
            over = [other.bottom for other in boxes if other.left < left + wide]
            top = max([box.bottom, *(foot for foot in over if foot > box.bottom)])
            place = Box(left, top, left + wide, top + high)
        taken.add(place)
        boxes.append(place)
    block = replace(block, title_box=boxes[0], notes_box=boxes[1], signs_box=boxes[2])
    return replace(sheet, block=block, box=around([box, *boxes]))


def _of_chassis(net: str) -> str:
    """Return of which attached circuit a net is; nothing for one of the circuit's own."""
    chassis = chassis_of(net)
    return f" of {chassis}" if chassis else ""


def _strip_left(boxes: list[Box], box: Box) -> float:
    """Return where the strip under a sheet is free from the left on."""
    strip = [
        other.right + 1 for other in boxes if other.top >= box.bottom and other.left < box.left + 2
    ]
    return max(strip, default=box.left + 0.5)


def _title_place(box: Box, taken: Taken, wide: float, high: float) -> Box:
    """Return the place of the title: the lower right corner where it is free; else under the sheet
    while that stays no taller than paper for its width; else where it is free, or beside the sheet.
    """
    corner = Box(box.right - wide, box.bottom - high, box.right, box.bottom)
    if taken.first_hit(corner.grown(_CLEAR)) is None and wide <= box.right - box.left:
        return corner
    under = corner.moved(0, high + 0.5)
    if under.bottom - box.top <= _TALL * max(wide, box.right - box.left):
        return under
    free = _corner(box, taken, wide, high, right=True)
    beside = Box(box.right + 1, box.bottom - high, box.right + 1 + wide, box.bottom)
    return free or beside


def _corner(box: Box, taken: Taken, wide: float, high: float, *, right: bool = False) -> Box | None:
    """Return the lowest free place of a size from one side; None where there is none."""
    free = box.right - box.left - wide
    for step in range(int(box.bottom - box.top - high)):
        top = box.bottom - high - step
        across = 0.0
        while across < max(1, int(free)):
            left = box.right - wide - across if right else box.left + 0.5 + across
            place = Box(left, top, left + wide, top + high)
            hit = taken.first_hit(place.grown(_CLEAR))
            if hit is None:
                return place
            past = place.right - hit.left if right else hit.right - place.left
            across += max(0.5, math.ceil(2 * (past + _CLEAR)) / 2)
    return None


def _remarks(sheet: Schematic, overlay: Overlay) -> list[str]:
    remarks = [f"HAZARD {way.words}" for way in overlay.ways[:3]]
    if sheet.moved:
        remarks.append("Diamond: pin on another node than before.")
    if sheet.ghosts:
        remarks.append("Dashed, gray: taken out.")
    if overlay.hazards or overlay.live:
        remarks.append(_UNMARKED)
    if any(lead.number for p in sheet.placed if p.kind in _WOUND for lead in p.symbol.leads):
        remarks.append(_LEADS)
    shown = {placed.part for placed in sheet.placed}
    remarks += [
        f"{own(name)}, one can: "
        + ", ".join(f"{own(part)} {mark}" for part, mark in zip(parts, can.MARKS, strict=False))
        for name, parts in sheet.cans.items()
        if shown & set(parts)
    ]
    if any(note.kind == "volts" for note in sheet.notes):
        taken = overlay.taken
        if taken is not None:
            line = f", {taken.line:g} V line" if taken.line is not None else ""
            remarks.append(f"DC volts against {taken.common}, {taken.meter} meter{line}.")
        remarks.append("DC volts are computed. Verify by measurement.")
    return remarks


def _size(placed: list[Placed], runs: list[Run], signs: list[Sign], notes: list[Note]) -> Box:
    """Return the box of everything drawn."""
    boxes = [piece.body for piece in placed] + [
        piece.label.box for piece in placed if piece.label.lines
    ]
    boxes += [Box(x, y, x, y) for piece in placed for _, (x, y), _ in piece.leads()]
    boxes += [run_box(run) for run in runs] + [sign_box(sign) for sign in signs]
    boxes += [note.box for note in notes]
    box = around(boxes) if boxes else Box(0, 0, 10, 5)
    return Box(
        math.floor(box.left) - 0.5,
        math.floor(box.top) - 0.5,
        math.ceil(box.right) + 0.5,
        math.ceil(box.bottom) + 0.5,
    )
