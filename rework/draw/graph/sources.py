"""The whole circuit as a drawing: line and inputs at the left, speaker at the right, B+ on top of
each block, commons below.

Each area of the page (line and filter, signal, heaters, attached circuits) is laid out by graphviz
on its own; the areas are then set on the page one under another. Of two circuits the union is laid
out, so that what is in both stands still.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.colours import PALETTES, STYLES, WIRE, Role, Theme, ink
from rework.draw.graph import packing
from rework.draw.graph.areas import HEATERS, LINE, SIGNAL, TITLES
from rework.draw.graph.blocks import text
from rework.draw.graph.sheet import Marks, Sheet, name_of, sheet, steps

#: Blocks that no line reaches are set in rows of this many.
_ROW = 12
#: The one family whose widths the embedded renderer brings along; with a list of families it
#: guesses, and texts overflow.
_FONT = "Arial"
#: Points by which the frame of an attached circuit is wider than what stands in it, and by which it
#: is higher for its caption.
_FRAME, _HEAD = 14, 19
#: Longer captions are shortened.
_LONGEST_CAPTION = 60
#: What a mark means, and what its absence does not.
_UNMARKED = (
    "What bears no mark can still be at line voltage: rework check lists all, a meter decides."
)
_MARKS = {
    "HAZARD": "!! and double outline: HAZARD, within reach and tied to the mains.",
    "LIVE": "LIVE: line side, not to be touched.",
}
_LEADS = "Transformer leads: US colour code, second-hand. A meter proves a winding."
#: The key: its place on the page, how many roles stand in a row, and their order.
_KEY, _KEYS_A_ROW = "key", 4
_LEGEND: tuple[Role, ...] = (
    "line",
    "b-plus",
    "b-minus",
    "common",
    "chassis",
    "heater",
    "plate",
    "screen",
    "grid",
    "cathode",
    "signal",
)

Vertices = dict[str, dict[str, str]]
#: Nothing to point out.
_PLAIN = Marks()

#: Lays a DOT source out and returns graphviz's JSON.
Layout = Callable[[str], str]


def source(
    circuit: Circuit,
    *,
    theme: Theme = "light",
    hazards: frozenset[str] = frozenset(),
    live: frozenset[str] = frozenset(),
    states: Mapping[str, str] | None = None,
) -> str:
    """Return the DOT source of one circuit, nothing placed: graphviz sets the areas where it likes."""
    drawn = sheet(circuit, theme, Marks(hazards, live, states or {}))
    graph, ids = _graph(theme, circuit.title), _ids(drawn)
    for number, area in enumerate(sorted(set(drawn.area.values()))):
        keys = [key for key in drawn.vertices if drawn.area[key] == area]
        if area in TITLES:
            _write(graph, drawn, keys, ids)
            continue
        with graph.subgraph(name=f"cluster_{number}") as cluster:
            cluster.attr(
                label=f"<<I>{text(_title(area), 60)}</I>>",
                fontsize="10",
                fontcolor=PALETTES[theme].faint,
                color=PALETTES[theme].faint,
                style="rounded,dashed",
                margin="8",
            )
            _write(cluster, drawn, keys, ids)
    return graph.source


def placed_source(
    circuit: Circuit,
    layout: Layout,
    *,
    chassis: str | None = None,
    theme: Theme = "light",
    marks: Marks = _PLAIN,
) -> str:
    """Return the DOT source of a circuit with every area in its place (for ``neato -n2``): whole,
    or one chassis of it.
    """
    drawn = _with_key(sheet(circuit, theme, marks, chassis=chassis), theme)
    return _placed(drawn, _arranged(drawn, theme, layout), theme, _titled(circuit.title, chassis))


def pair_sources(
    before: Circuit,
    after: Circuit,
    layout: Layout,
    *,
    chassis: str | None = None,
    theme: Theme = "light",
    before_marks: Marks = _PLAIN,
    after_marks: Marks = _PLAIN,
) -> tuple[str, str]:
    """Return the DOT sources of two circuits, or one chassis of them; what is in both stands in one
    place (for ``neato -n2``).

    Parts that go are told as "removed" in the first, parts that come as "new" in the second, parts
    that change as "changed" in both.
    """
    old, new = before.by_name, after.by_name
    gone = {name: "removed" for name in old if name not in new}
    come = {name: "new" for name in new if name not in old}
    other = {name for name in old.keys() & new.keys() if _is_another(old[name], new[name])}
    gone |= dict.fromkeys(other, "removed")
    come |= dict.fromkeys(other, "new")
    changed = {
        name: "changed"
        for name in (old.keys() & new.keys()) - other
        if (old[name].kind, old[name].type, old[name].values)
        != (new[name].kind, new[name].type, new[name].values)
    }
    marks = (
        replace(before_marks, states={**gone, **changed}),
        replace(after_marks, states={**come, **changed}),
    )
    drawn = [_with_key(one, theme) for one in _drafted((before, after), marks, theme, chassis)]
    places = _arranged(_union(drawn, theme, layout), theme, layout)
    titles = (f"Before: {before.title}", f"After: {after.title}")
    first, second = (
        _placed(one, places, theme, _titled(title, chassis))
        for one, title in zip(drawn, titles, strict=True)
    )
    return first, second


def _titled(title: str, chassis: str | None) -> str:
    return f"{title}: {chassis}" if chassis else title


def series_sources(
    circuits: Sequence[Circuit], layout: Layout, *, theme: Theme = "light", marks: Sequence[Marks]
) -> tuple[str, ...]:
    """Return the DOT sources of circuits that came one out of another, whatever is in two of them
    in the same place in both.

    ``marks`` has one entry a circuit. A part that goes or comes between two of them under the same
    name, but as another part, has a place for each.
    """
    drawn = _drafted(circuits, marks, theme, None)
    places = _arranged(_union(drawn, theme, layout), theme, layout)
    return tuple(
        _placed(one, places, theme, circuit.title)
        for one, circuit in zip(drawn, circuits, strict=True)
    )


def _drafted(
    circuits: Sequence[Circuit], marks: Sequence[Marks], theme: Theme, chassis: str | None
) -> list[Sheet]:
    """Return a sheet of each circuit, whatever is in two of them in one area, and its lines on one
    side, in both.
    """
    last = {part.name: part for circuit in circuits for part in circuit.parts}
    drafts: list[tuple[Circuit, Marks, dict[str, str], set[str]]] = []
    sheets: list[Sheet] = []
    area_of: dict[str, str] = {}
    for circuit, mark in zip(reversed(circuits), reversed(marks), strict=True):
        apart = {part.name for part in circuit.parts if _is_another(part, last[part.name])}
        known = {name: area for name, area in area_of.items() if name not in apart}
        drafts.insert(0, (circuit, mark, known, apart))
        sheets.insert(0, sheet(circuit, theme, mark, chassis=chassis, area_of=known, apart=apart))
        area_of = {
            name_of(key): area
            for key, area in sheets[0].area.items()
            if key[0] in "pw" and name_of(key) not in apart
        } | area_of
    level = steps(
        *(
            [thing for one in sheets for thing in getattr(one, what)]
            for what in ("joints", "sources", "detours")
        )
    )
    return [
        sheet(circuit, theme, mark, chassis=chassis, area_of=known, apart=apart, level=level)
        for circuit, mark, known, apart in drafts
    ]


def _is_another(old: Part, new: Part) -> bool:
    """True where a name was given to another part: of another kind, or on none of the nodes that
    the old one was on.
    """
    if old.kind != new.kind:
        return new.kind != "socket"
    return old.values != new.values and not {node for _, node in old.pins} & {
        node for _, node in new.pins
    }


def _union(sheets: Sequence[Sheet], theme: Theme, layout: Layout) -> Sheet:
    """Return all that stands on any of the sheets, as the last of them has it."""
    together = Sheet(_roomy([one.vertices for one in sheets], theme, layout))
    for one in sheets:
        together.edges |= one.edges
        together.area |= one.area
        together.level |= one.level
    return together


def _roomy(every: Sequence[Vertices], theme: Theme, layout: Layout) -> Vertices:
    """Return the vertices of all; one that does not look the same everywhere gets room for each of
    its looks.
    """
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
    size = {
        thing["name"]: (float(thing["width"]), float(thing["height"]))
        for thing in json.loads(layout(graph.source))["objects"]
    }
    for number, (key, seen) in enumerate(several.items()):
        sizes = [size[f"v{number}_{count}"] for count in range(len(seen))]
        most = tuple(map(max, zip(*sizes, strict=True)))
        found[key] = next(
            (
                look
                for look, own_size in reversed(list(zip(seen, sizes, strict=True)))
                if own_size == most
            ),
            {
                **seen[-1],
                "shape": "none",
                "margin": "0",
                "width": f"{most[0]:.4f}",
                "height": f"{most[1]:.4f}",
            },
        )
    return found


# DOT


def _graph(theme: Theme, title: str):
    from graphviz import Graph

    palette = PALETTES[theme]
    words = " ".join(text(word) for word in title.split()) or " "
    graph = Graph("circuit", strict=False)
    graph.attr(
        "graph",
        rankdir="LR",
        bgcolor=palette.paper,
        fontname=_FONT,
        fontcolor=palette.ink,
        fontsize="13",
        labelloc="t",
        labeljust="l",
        label=f"<<B>{words}</B>>",
        nodesep="0.07",
        ranksep="0.09",
        splines="true",
        margin="0",
        pad="0.12",
        outputorder="edgesfirst",
    )
    graph.attr("node", fontname=_FONT, fontsize="9", fontcolor=palette.ink)
    graph.attr("edge", dir="none")
    return graph


def _ids(drawn: Sheet) -> dict[str, str]:
    """Return plain identifiers, so that no part's name is ever part of the DOT syntax."""
    return {key: f"v{number}" for number, key in enumerate(sorted(drawn.vertices))}


def _write(graph, drawn: Sheet, keys: Iterable[str], ids: Mapping[str, str]) -> None:
    """Write some vertices of a sheet and the lines between them, lines running away from the
    sources.
    """
    keys = list(keys)
    for key in keys:
        graph.node(ids[key], **drawn.vertices[key])
    inside = set(keys)
    edges = {
        key: attributes
        for key, attributes in drawn.edges.items()
        if key[0] in inside and key[3] in inside
    }
    for key, attributes in edges.items():
        ends = [":".join(filter(None, (ids[key[0]], key[1], key[2]))), ids[key[3]]]
        if drawn.level[key[0]] > drawn.level[key[3]]:
            ends.reverse()
        graph.edge(*ends, **attributes, comment=_edge_id(key))
    joined = {end for key in edges for end in (key[0], key[3])}
    lone = [key for key in keys if key not in joined]
    if len(lone) <= packing.MOST_PIECES // 2:
        return
    for start in range(0, len(lone), _ROW):
        row = lone[start : start + _ROW]
        for one, other in itertools.pairwise(row):
            graph.edge(ids[one], ids[other], style="invis")


def _edge_id(key: tuple[str, ...]) -> str:
    return "e" + "-".join(
        letter if letter.isalnum() and letter.isascii() else format(ord(letter), "x")
        for letter in "_".join(key)
    )


# places


@dataclass(frozen=True, slots=True)
class _Places:
    """Where everything stands, in points from the lower left; ``ids`` and ``looks`` are those of
    the union.
    """

    ids: Mapping[str, str]
    looks: Vertices
    vertex: Mapping[str, str]
    edge: Mapping[str, str]
    boxes: Mapping[str, tuple[float, float, float, float]]


def _arranged(union: Sheet, theme: Theme, layout: Layout) -> _Places:
    ids = _ids(union)
    names = {identifier: key for key, identifier in ids.items()}
    order = {LINE: 0, SIGNAL: 2, HEATERS: 3, _KEY: 4}
    areas = {}
    for area in sorted(set(union.area.values()), key=lambda area: (order.get(area, 1), area)):
        graph = _graph(theme, "")
        graph.attr("graph", label="")
        _write(graph, union, [key for key in union.vertices if union.area[key] == area], ids)
        areas[area] = packing.area(json.loads(layout(graph.source)))
    shapes, corners = packing.page(areas, {area: _caption_width(area) for area in areas})
    vertex, edge, boxes = {}, {}, {}
    for area, (x, y) in corners.items():
        shape, top = shapes[area], y - packing.BETWEEN_AREAS / 2
        points, curves = areas[area].placed(shape, x, top)
        vertex |= {names[name]: pos for name, pos in points.items()}
        edge |= curves
        boxes[area] = (x, top - shape.height, x + max(shape.width, _caption_width(area)), top)
    return _Places(ids, union.vertices, vertex, edge, boxes)


def _placed(drawn: Sheet, places: _Places, theme: Theme, title: str) -> str:
    """Return a sheet drawn at its places.

    Lines whose ends look as they did when laid out keep their way; the others find one.
    """
    graph = _graph(theme, title)
    here = {drawn.area[key] for key in drawn.vertices}
    shown = {area: box for area, box in places.boxes.items() if area in here or area not in TITLES}
    width = max((box[2] for box in places.boxes.values()), default=0.0)
    low = min((box[1] for box in places.boxes.values()), default=0.0)
    for name, x, y in (("corner1", -_FRAME, 0.0), ("corner2", width + _FRAME, low - _FRAME / 2)):
        graph.node(
            name, shape="point", style="invis", width="0.01", label="", pos=f"{x:.2f},{y:.2f}"
        )
    for number, (area, box) in enumerate(shown.items()):
        if area != _KEY:
            _caption(graph, number, area if area in here else f"Room for {area}", box, theme)
    for key, attributes in drawn.vertices.items():
        graph.node(places.ids[key], **attributes, pos=places.vertex[key])
    same = {key for key, look in drawn.vertices.items() if look == places.looks[key]}
    for key, attributes in drawn.edges.items():
        kept = (
            {"pos": places.edge[_edge_id(key)]}
            if key[0] in same and key[3] in same and _edge_id(key) in places.edge
            else {}
        )
        graph.edge(
            ":".join(filter(None, (places.ids[key[0]], key[1], key[2]))),
            places.ids[key[3]],
            **attributes,
            **kept,
        )
    return graph.source


def _caption(
    graph, number: int, area: str, box: tuple[float, float, float, float], theme: Theme
) -> None:
    """Write what an area is above it; a chassis of its own has a frame, and so has the room left
    for one.
    """
    palette = PALETTES[theme]
    words = _title(area)
    graph.node(
        f"caption{number}",
        shape="plain",
        label=(
            '<<FONT POINT-SIZE="10"'
            f' COLOR="{palette.faint}"><I>{text(words, _LONGEST_CAPTION)}</I></FONT>>'
        ),
        pos=f"{box[0] + _caption_width(area) / 2:.2f},{box[3] + 9:.2f}",
    )
    if area not in TITLES:
        middle = f"{(box[0] + box[2]) / 2:.2f},{(box[1] + box[3] + _HEAD - _FRAME / 2) / 2:.2f}"
        graph.node(
            f"frame{number}",
            shape="box",
            style="rounded,dashed",
            label="",
            color=palette.faint,
            fixedsize="true",
            pos=middle,
            width=f"{(box[2] - box[0] + _FRAME) / 72:.3f}",
            height=f"{(box[3] - box[1] + _HEAD + _FRAME / 2) / 72:.3f}",
        )


def _title(area: str) -> str:
    return TITLES.get(area) or f"{area}, on its own chassis"


def _caption_width(area: str) -> float:
    """Return the room a caption takes in points: wide letters, which the renderer cannot measure,
    at their full size.
    """
    return sum(5.6 if letter.isascii() else 10 for letter in _title(area)[:_LONGEST_CAPTION])


def _with_key(drawn: Sheet, theme: Theme) -> Sheet:
    """Return a sheet with a key of its roles, the trade's colour by name on the ink it is drawn
    with, and of its marks.
    """
    palette = PALETTES[theme]
    cells = [
        f'<TD BGCOLOR="{ink(role, theme)}"><FONT COLOR="{palette.on_strip}"> {_role_words(role)}'
        " </FONT></TD>"
        for role in _LEGEND
        if role in drawn.roles
    ]
    rows = [
        "".join(cells[start : start + _KEYS_A_ROW]) for start in range(0, len(cells), _KEYS_A_ROW)
    ]
    marks = " ".join(look["label"] for look in drawn.vertices.values())
    told = [words for mark, words in _MARKS.items() if mark in marks]
    told += [_UNMARKED] * bool(told) + [_LEADS] * drawn.has_leads
    rows += [
        f'<TD COLSPAN="{_KEYS_A_ROW}" ALIGN="LEFT" BGCOLOR="{palette.paper}"><FONT'
        f' COLOR="{palette.ink}">{words}</FONT></TD>'
        for words in told
    ]
    table = "".join(f"<TR>{row}</TR>" for row in rows)
    if rows:
        drawn.vertices[_KEY] = {
            "shape": "plain",
            "label": (
                '<<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="2"'
                f' CELLPADDING="1">{table}</TABLE>>'
            ),
        }
        drawn.area[_KEY] = _KEY
    return drawn


def _role_words(role: Role) -> str:
    """Return a role, the trade's colour for it, and how its line looks: ``B+ red, thick``."""
    style, width = STYLES[role]
    look = " ".join(
        word
        for word in (
            "thick" if width >= 2 else "thin" if width <= 1 else "",
            "" if style == "solid" else style,
        )
        if word
    )
    return (
        role.replace("b-plus", "B+").replace("b-minus", "B-")
        + f" {WIRE[role]}"
        + (f", {look}" if look else "")
    )
