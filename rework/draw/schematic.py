"""The whole circuit as a drawing: line and inputs at the left, speaker at the right, B+ on top of each block, commons below.

Each area of the page (line and filter, signal, heaters, attached circuits) is laid out by graphviz on its own; the areas
are then set on the page one under another. Of two circuits the union is laid out, so that what is in both stands still.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.areas import HEATERS, LINE, SIGNAL, TITLES
from rework.draw.blocks import text
from rework.draw.colours import PALETTES, STYLES, WIRE, Role, Theme, ink
from rework.draw.sheet import Marks, Sheet, name_of, sheet, steps

#: Blocks that no line reaches are set in rows of this many.
_ROW = 12
#: The one family whose widths the embedded renderer brings along; with a list of families it guesses, and texts overflow.
_FONT = "Arial"
#: Points between two areas, and between an area and the frame of an attached circuit.
_GAP, _FRAME = 18, 14
#: Longer captions are shortened.
_LONGEST_CAPTION = 60
#: A4 lying, in millimetres.
_PAGE = (297, 210)
#: Every order of more areas than this is not tried.
_MOST_ORDERED = 5
#: What a mark means, and what its absence does not.
_MARKS = {"HAZARD": "!! and double outline: HAZARD, within reach and tied to the mains.", "LIVE": "LIVE: line side, not to be touched."}
_UNMARKED = "What bears no mark can still be at line voltage: rework check lists all, a meter decides."
_LEGEND: tuple[Role, ...] = ("line", "b-plus", "b-minus", "common", "chassis", "heater", "plate", "screen", "grid", "cathode", "signal")

Vertices = dict[str, dict[str, str]]
#: Nothing to point out.
_PLAIN = Marks()

#: Lays a DOT source out and returns graphviz's JSON.
Layout = Callable[[str], str]


def source(circuit: Circuit, *, theme: Theme = "light", hazards: frozenset[str] = frozenset(), live: frozenset[str] = frozenset(),
           states: Mapping[str, str] | None = None) -> str:
    """Return the DOT source of one circuit, nothing placed: graphviz sets the areas where it likes."""
    drawn = sheet(circuit, theme, Marks(hazards, live, states or {}))
    graph, ids = _graph(theme, circuit.title), _ids(drawn)
    for number, area in enumerate(sorted(set(drawn.area.values()))):
        keys = [key for key in drawn.vertices if drawn.area[key] == area]
        if area in TITLES:
            _write(graph, drawn, keys, ids)
            continue
        with graph.subgraph(name=f"cluster_{number}") as cluster:
            cluster.attr(label=f"<<I>{text(_title(area), 60)}</I>>", fontsize="10", fontcolor=PALETTES[theme].faint, color=PALETTES[theme].faint,
                         style="rounded,dashed", margin="8")
            _write(cluster, drawn, keys, ids)
    return graph.source


def placed_source(circuit: Circuit, layout: Layout, *, theme: Theme = "light", marks: Marks = _PLAIN) -> str:
    """Return the DOT source of one circuit with every area in its place (for ``neato -n2``)."""
    drawn = sheet(circuit, theme, marks)
    return _placed(drawn, _arranged(drawn, theme, layout), theme, circuit.title)


def pair_sources(before: Circuit, after: Circuit, layout: Layout, *, theme: Theme = "light", before_marks: Marks = _PLAIN,
                 after_marks: Marks = _PLAIN) -> tuple[str, str]:
    """Return the DOT sources of two circuits in which whatever is in both stands in the same place (for ``neato -n2``).

    Parts that go are told as "removed" in the first, parts that come as "new" in the second, parts that change as
    "changed" in both.
    """
    old, new = before.by_name, after.by_name
    gone = {name: "removed" for name in old if name not in new}
    come = {name: "new" for name in new if name not in old}
    other = {name for name in old.keys() & new.keys() if _is_another(old[name], new[name])}
    gone |= dict.fromkeys(other, "removed")
    come |= dict.fromkeys(other, "new")
    changed = {name: "changed" for name in (old.keys() & new.keys()) - other
               if (old[name].kind, old[name].type, old[name].values) != (new[name].kind, new[name].type, new[name].values)}
    second = sheet(after, theme, replace(after_marks, states={**come, **changed}))
    kept = {name_of(key): area for key, area in second.area.items() if key[0] in "pw" and name_of(key) in old.keys() - other}
    first = sheet(before, theme, replace(before_marks, states={**gone, **changed}), kept, other)
    places = _arranged(_union((first, second), theme, layout), theme, layout)
    return (_placed(first, places, theme, f"Before: {before.title}"), _placed(second, places, theme, f"After: {after.title}"))


def series_sources(circuits: Sequence[Circuit], layout: Layout, *, theme: Theme = "light", marks: Sequence[Marks]) -> tuple[str, ...]:
    """Return the DOT sources of circuits that came one out of another, whatever is in two of them in the same place in both.

    ``marks`` has one entry a circuit. A part that goes or comes between two of them under the same name, but as another part,
    has a place for each.
    """
    last = {part.name: part for circuit in circuits for part in circuit.parts}
    drawn: list[Sheet] = []
    area_of: dict[str, str] = {}
    for circuit, mark in zip(reversed(circuits), reversed(marks), strict=True):
        apart = {part.name for part in circuit.parts if _is_another(part, last[part.name])}
        one = sheet(circuit, theme, mark, area_of={name: area for name, area in area_of.items() if name not in apart}, apart=apart)
        area_of = {name_of(key): area for key, area in one.area.items() if key[0] in "pw" and name_of(key) not in apart} | area_of
        drawn.insert(0, one)
    places = _arranged(_union(drawn, theme, layout), theme, layout)
    return tuple(_placed(one, places, theme, circuit.title) for one, circuit in zip(drawn, circuits, strict=True))


def _is_another(old: Part, new: Part) -> bool:
    """True where a name was given to another part: of another kind, or on none of the nodes that the old one was on."""
    if old.kind != new.kind:
        return new.kind != "socket"
    return old.values != new.values and not {node for _, node in old.pins} & {node for _, node in new.pins}


def _union(sheets: Sequence[Sheet], theme: Theme, layout: Layout) -> Sheet:
    """Return all that stands on any of the sheets, as the last of them has it."""
    return Sheet(_roomy([one.vertices for one in sheets], theme, layout), {key: look for one in sheets for key, look in one.edges.items()},
                 {key: area for one in sheets for key, area in one.area.items()}, list(dict.fromkeys(key for one in sheets for key in one.sources)))


def _roomy(every: Sequence[Vertices], theme: Theme, layout: Layout) -> Vertices:
    """Return the vertices of all; one that does not look the same everywhere gets room for each of its looks."""
    looks: dict[str, list[dict[str, str]]] = {}
    for vertices in every:
        for key, look in vertices.items():
            if look not in looks.setdefault(key, []):
                looks[key].append(look)
    found = {key: seen[-1] for key, seen in looks.items()}
    several = {key: seen for key, seen in looks.items() if len(seen) > 1}
    if not several:
        return found
    graph = _graph(theme, "")
    for number, seen in enumerate(several.values()):
        for count, look in enumerate(seen):
            graph.node(f"v{number}_{count}", **look)
    size = {thing["name"]: (float(thing["width"]), float(thing["height"])) for thing in json.loads(layout(graph.source))["objects"]}
    for number, (key, seen) in enumerate(several.items()):
        sizes = [size[f"v{number}_{count}"] for count in range(len(seen))]
        most = tuple(map(max, zip(*sizes, strict=True)))
        found[key] = next((look for look, own_size in reversed(list(zip(seen, sizes, strict=True))) if own_size == most),
                          {**seen[-1], "shape": "none", "margin": "0", "width": f"{most[0]:.4f}", "height": f"{most[1]:.4f}"})
    return found


# DOT


def _graph(theme: Theme, title: str):
    from graphviz import Graph

    palette = PALETTES[theme]
    words = " ".join(text(word) for word in title.split()) or " "
    graph = Graph("circuit", strict=False)
    graph.attr("graph", rankdir="LR", bgcolor=palette.paper, fontname=_FONT, fontcolor=palette.ink, fontsize="15", labelloc="t", labeljust="l",
               label=f"<<B>{words}</B>>", nodesep="0.08", ranksep="0.09", splines="true", margin="0", pad="0.25", outputorder="edgesfirst")
    graph.attr("node", fontname=_FONT, fontsize="9", fontcolor=palette.ink)
    graph.attr("edge", dir="none")
    return graph


def _ids(drawn: Sheet) -> dict[str, str]:
    """Return plain identifiers, so that no part's name is ever part of the DOT syntax."""
    return {key: f"v{number}" for number, key in enumerate(sorted(drawn.vertices))}


def _write(graph, drawn: Sheet, keys: Iterable[str], ids: Mapping[str, str]) -> None:
    """Write some vertices of a sheet and the lines between them, lines running away from the sources."""
    keys = list(keys)
    for key in keys:
        graph.node(ids[key], **drawn.vertices[key])
    inside = set(keys)
    edges = {key: attributes for key, attributes in drawn.edges.items() if key[0] in inside and key[3] in inside}
    level = steps(edges, [key for key in drawn.sources if key in inside])
    for key, attributes in edges.items():
        ends = [":".join(filter(None, (ids[key[0]], key[1], key[2]))), ids[key[3]]]
        if level[key[0]] > level[key[3]]:
            ends.reverse()
        graph.edge(*ends, **attributes, comment=_edge_id(key))
    lone = [key for key in keys if key not in level]
    for start in range(0, len(lone), _ROW):
        row = lone[start : start + _ROW]
        for one, other in itertools.pairwise(row):
            graph.edge(ids[one], ids[other], style="invis")


def _edge_id(key: tuple[str, ...]) -> str:
    return "e" + "-".join(letter if letter.isalnum() and letter.isascii() else format(ord(letter), "x") for letter in "_".join(key))


# places


@dataclass(frozen=True, slots=True)
class _Places:
    """Where everything stands, in points from the lower left; ``ids`` and ``looks`` are those of the union."""

    ids: Mapping[str, str]
    looks: Vertices
    vertex: Mapping[str, str]
    edge: Mapping[str, str]
    boxes: Mapping[str, tuple[float, float, float, float]]


def _arranged(union: Sheet, theme: Theme, layout: Layout) -> _Places:
    ids = _ids(union)
    names = {identifier: key for key, identifier in ids.items()}
    order = {LINE: 0, SIGNAL: 2, HEATERS: 3}
    areas = sorted({union.area[key] for key in union.vertices}, key=lambda area: (order.get(area, 1), area))
    found: list[tuple[str, dict]] = []
    for area in areas:
        graph = _graph(theme, "")
        graph.attr("graph", label="")
        _write(graph, union, [key for key in union.vertices if union.area[key] == area], ids)
        found.append((area, json.loads(layout(graph.source))))
    bounds = {area: _bounds(area, data) for area, data in found}
    corners = _shelves({area: (right - left, high - low) for area, (left, low, right, high) in bounds.items()})
    vertex, edge, boxes = {}, {}, {}
    for area, data in found:
        left, low, right, high = bounds[area]
        dx, dy = corners[area][0] - left, corners[area][1] - high
        boxes[area] = (left + dx, low + dy, right + dx, high + dy)
        vertex |= {names[thing["name"]]: _moved(thing["pos"], dx, dy) for thing in data.get("objects", ()) if "pos" in thing}
        edge |= {thing["comment"]: _moved(thing["pos"], dx, dy) for thing in data.get("edges", ()) if "comment" in thing}
    return _Places(ids, union.vertices, vertex, edge, boxes)


def _bounds(area: str, data: Mapping) -> tuple[float, float, float, float]:
    """Return left, low, right and high of an area as laid out, wide enough for its caption."""
    left, low, right, high = (float(number) for number in data["bb"].split(","))
    return left, low, max(right, left + _caption_width(area)), high


def _shelves(sizes: Mapping[str, tuple[float, float]]) -> dict[str, tuple[float, float]]:
    """Return the upper left corner of every area, on shelves in the order and of the width with which most fits on A4 lying.

    The line stands first, and no attached circuit so far right that its plug would stand behind the speaker.
    """
    if not sizes:
        return {}
    first, *others = sizes
    orders = itertools.permutations(others) if len(others) <= _MOST_ORDERED else [others]
    best, least = {}, float("inf")
    for order in orders:
        ordered = {area: sizes[area] for area in (first, *order)}
        for wide in dict.fromkeys(itertools.accumulate(width + 2 * _GAP for width, _ in ordered.values())):
            corners, width, height = _shelved(ordered, wide)
            end = corners[SIGNAL][0] + 0.8 * sizes[SIGNAL][0] if SIGNAL in sizes else width
            score = max(width / _PAGE[0], height / _PAGE[1]) * (1 if all(corners[area][0] < end for area in sizes if area not in TITLES) else 10)
            if score < 0.999 * least:
                best, least = corners, score
    return best


def _shelved(sizes: Mapping[str, tuple[float, float]], widest: float) -> tuple[dict[str, tuple[float, float]], float, float]:
    """Return corners, width and height where areas stand side by side as long as a shelf is not wider than ``widest``."""
    corners, x, top, low, right = {}, 0.0, 0.0, 0.0, 0.0
    for area, (width, height) in sizes.items():
        if x and x + width > widest:
            x, top = 0.0, low
        corners[area] = (x, top - _GAP)
        low, right = min(low, top - 2 * _GAP - height), max(right, x + width)
        x += width + 2 * _GAP
    return corners, right, -low


def _moved(pos: str, dx: float, dy: float) -> str:
    """Return a point or a spline of graphviz, shifted."""
    shifted = []
    for word in pos.split():
        lead, point = (word[:2], word[2:]) if word[:2] in ("s,", "e,") else ("", word)
        x, y = point.split(",")[:2]
        shifted.append(f"{lead}{float(x) + dx:.2f},{float(y) + dy:.2f}")
    return " ".join(shifted)


def _placed(drawn: Sheet, places: _Places, theme: Theme, title: str) -> str:
    """Return a sheet drawn at its places. Lines whose ends look as they did when laid out keep their way; the others find one."""
    graph = _graph(theme, title)
    here = {drawn.area[key] for key in drawn.vertices}
    shown = {area: box for area, box in places.boxes.items() if area in here or area not in TITLES}
    width = max((box[2] for box in places.boxes.values()), default=0.0)
    low = min((box[1] for box in shown.values()), default=0.0)
    for name, x, y in (("corner1", -_FRAME, 4.0), ("corner2", width + _FRAME, low - _GAP - 24)):
        graph.node(name, shape="point", style="invis", width="0.01", label="", pos=f"{x:.2f},{y:.2f}")
    for number, (area, box) in enumerate(shown.items()):
        _caption(graph, number, area if area in here else f"Room for {area}", box, theme)
    for key, attributes in drawn.vertices.items():
        graph.node(places.ids[key], **attributes, pos=places.vertex[key])
    same = {key for key, look in drawn.vertices.items() if look == places.looks[key]}
    for key, attributes in drawn.edges.items():
        kept = {"pos": places.edge[_edge_id(key)]} if key[0] in same and key[3] in same and _edge_id(key) in places.edge else {}
        graph.edge(":".join(filter(None, (places.ids[key[0]], key[1], key[2]))), places.ids[key[3]], **attributes, **kept)
    graph.node("legend", shape="plain", label=_legend(drawn, theme), pos=f"{width / 2:.2f},{low - _GAP - 6:.2f}")
    return graph.source


def _caption(graph, number: int, area: str, box: tuple[float, float, float, float], theme: Theme) -> None:
    """Write what an area is above it; a chassis of its own has a frame, and so has the room left for one."""
    palette = PALETTES[theme]
    words = _title(area)
    graph.node(f"caption{number}", shape="plain", label=f'<<FONT POINT-SIZE="10" COLOR="{palette.faint}"><I>{text(words, _LONGEST_CAPTION)}</I></FONT>>',
               pos=f"{box[0] + _caption_width(area) / 2:.2f},{box[3] + 11:.2f}")
    if area not in TITLES:
        middle = f"{(box[0] + box[2]) / 2:.2f},{(box[1] + box[3]) / 2 + 5:.2f}"
        graph.node(f"frame{number}", shape="box", style="rounded,dashed", label="", color=palette.faint, fixedsize="true", pos=middle,
                   width=f"{(box[2] - box[0] + _FRAME) / 72:.3f}", height=f"{(box[3] - box[1] + _FRAME + 16) / 72:.3f}")


def _title(area: str) -> str:
    return TITLES.get(area) or f"{area}, on its own chassis"


def _caption_width(area: str) -> float:
    """Return the room a caption takes in points: wide letters, which the renderer cannot measure, at their full size."""
    return sum(5.6 if letter.isascii() else 10 for letter in _title(area)[:_LONGEST_CAPTION])


def _legend(drawn: Sheet, theme: Theme) -> str:
    """Return a key of the roles that this drawing has: the trade's colour by name, on the ink it is drawn with."""
    palette = PALETTES[theme]
    cells = [f'<TD BGCOLOR="{ink(role, theme)}"><FONT COLOR="{palette.on_strip}"> {role.replace("b-plus", "B+").replace("b-minus", "B-")} '
             f"{WIRE[role]}, {STYLES[role][0]} {STYLES[role][1]:g} </FONT></TD>" for role in _LEGEND if role in drawn.roles]
    rows = [f"<TR>{''.join(cells)}</TR>"] if cells else []
    marks = " ".join(look["label"] for look in drawn.vertices.values())
    told = [words for mark, words in _MARKS.items() if mark in marks]
    if told:
        words = "  ".join([*told, _UNMARKED])
        rows.append(f'<TR><TD COLSPAN="{max(1, len(cells))}" BGCOLOR="{palette.paper}"><FONT COLOR="{palette.ink}"> {words} </FONT></TD></TR>')
    return f'<<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="3" CELLPADDING="2">{"".join(rows)}</TABLE>>' if rows else " "
