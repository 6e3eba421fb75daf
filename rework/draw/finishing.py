"""From a draft to the finished sheet: runs and dots, words where they cover nothing, what the
overlay points out, and the title block.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

from rework.draw.draft import Draft, dots_of, runs_of
from rework.draw.ghosting import in_place, named
from rework.draw.hazard_way import ways_of
from rework.draw.layout.netlist import FLAG, own
from rework.draw.layout.sketch import Spot
from rework.draw.layout.wording import NO_LABEL
from rework.draw.lettered import (
    Taken,
    lettered,
    linkage_boxes,
    note_on,
    obstacles,
    relabelled,
    run_box,
    sign_box,
)
from rework.draw.overlay import PLAIN, Overlay
from rework.draw.schematic import (
    DIAMOND,
    At,
    Note,
    Placed,
    Run,
    Schematic,
    Sign,
)
from rework.draw.symbols import can, ends
from rework.draw.symbols.pen import Box, around, turned
from rework.draw.titling import with_block

#: Half the width of the double line of a hazard's way, u.
_WAY_HALF = 0.45
#: Volts nearer to 0 than this are not written beside a wire.
_LEAST_VOLTS = 0.05


def finished(
    draft: Draft, *, overlay: Overlay = PLAIN, title: str = "", condition: str = ""
) -> Schematic:
    """Return a draft as geometry, its words where they cover nothing."""
    runs = [run for task in draft.tasks for run in runs_of(draft, task)]
    dots = [dot for task in draft.tasks for dot in dots_of(draft, task)]
    placed = [_placed(draft, spot, overlay) for spot in draft.spots.values()] + _flags(draft)
    signs = lettered(_signs(draft), Taken(obstacles(placed, runs, ())))
    taken = Taken([*obstacles(placed, runs, signs), *linkage_boxes(draft.linkages)])
    gone = {spot.piece.key: spot.piece for spot in draft.ghosts}
    ghosts = in_place((_placed(draft, spot, overlay) for spot in draft.ghosts), taken)
    pieces = {key: spot.piece for key, spot in draft.spots.items()}
    placed = relabelled(placed, pieces, draft.nets, taken)
    ghosts = named(ghosts, gone, taken)
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
        linkages=tuple(draft.linkages),
        cans=can.cans(draft.nets.circuit),
    )
    ways = ways_of(sheet, overlay.ways)
    for way in ways:
        for (x1, y1), (x2, y2) in pairwise(way):
            line = Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
            taken.add(line.grown(_WAY_HALF))
    notes = _notes(draft, runs, taken, overlay)
    sheet = replace(
        sheet,
        box=_size([*placed, *ghosts], runs, signs, notes),
        notes=tuple(notes),
        ghosts=tuple(ghosts),
        ways=ways,
    )
    return with_block(sheet, overlay, condition)


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


def _flags(draft: Draft) -> list[Placed]:
    """Return the flags at which nets end that no wire could join."""
    return [
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
