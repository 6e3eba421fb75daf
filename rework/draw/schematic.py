"""The whole circuit as a drawing: line and inputs at the left, speaker at the right, B+ on top of each block, commons below."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.draw.blocks import text
from rework.draw.colours import PALETTES, Theme
from rework.draw.sheet import Marks, Sheet, directed, sheet

#: Parts where the drawing begins, at the left.
_SOURCES = ("plug", "jack", "pickup", "microphone")
#: Blocks that no line reaches are set in rows of this many.
_ROW = 9
#: The one family whose widths the embedded renderer brings along; with a list of families it guesses, and texts overflow.
_FONT = "Arial"

#: Lays a DOT source out and returns graphviz's JSON.
Layout = Callable[[str], str]


def source(circuit: Circuit, *, theme: Theme = "light", hazards: frozenset[str] = frozenset(), live: frozenset[str] = frozenset(),
           states: Mapping[str, str] | None = None) -> str:
    """Return the DOT source of one circuit."""
    drawn = sheet(circuit, theme, Marks(hazards, live, states or {}))
    return _dot(drawn, circuit, theme, circuit.title)


def pair_sources(before: Circuit, after: Circuit, layout: Layout, *, theme: Theme = "light", before_marks: Marks = Marks(),
                 after_marks: Marks = Marks()) -> tuple[str, str]:
    """Return the DOT sources of two circuits in which whatever is in both stands in the same place.

    The union of the two is laid out once; each is then drawn at those places (for ``neato -n2``). Parts that go are told
    as "removed" in the first, parts that come as "new" in the second, parts that change as "changed" in both.
    """
    old, new = before.by_name, after.by_name
    gone = {name: "removed" for name in old if name not in new}
    come = {name: "new" for name in new if name not in old}
    changed = {name: "changed" for name in old.keys() & new.keys()
               if (old[name].kind, old[name].type, old[name].values) != (new[name].kind, new[name].type, new[name].values)}
    first = sheet(before, theme, replace(before_marks, states={**gone, **changed}))
    second = sheet(after, theme, replace(after_marks, states={**come, **changed}))
    union = Sheet(_roomier(first.vertices, second.vertices), _roomier(first.edges, second.edges),
                  {name: list(dict.fromkeys([*first.clusters.get(name, []), *second.clusters.get(name, [])]))
                   for name in {**first.clusters, **second.clusters}})
    places = _places(layout(_dot(union, after, theme, after.title, sources=_first_blocks(before, after))))
    return (_placed(first, union, places, theme, f"Before: {before.title}"), _placed(second, union, places, theme, f"After: {after.title}"))


def _roomier(first: Mapping, second: Mapping) -> dict:
    """Return everything of both; of what is in both the one that takes more room, so that each has room in its drawing."""
    return {key: max((things[key] for things in (second, first) if key in things),
                     key=lambda attributes: (attributes.get("label", "").count("<TR>"), len(attributes.get("label", ""))))
            for key in {**first, **second}}


def _first_blocks(*circuits: Circuit) -> list[str]:
    return [f"p:{part.name}" for circuit in circuits for part in circuit.parts if part.kind in _SOURCES]


def _graph(theme: Theme, title: str):
    from graphviz import Graph

    palette = PALETTES[theme]
    graph = Graph("circuit", strict=False)
    graph.attr("graph", rankdir="LR", bgcolor=palette.paper, fontname=_FONT, fontcolor=palette.ink, fontsize="13", labelloc="t", labeljust="l",
               label=f"<<B>{text_long(title)}</B>>", nodesep="0.16", ranksep="0.34", splines="true", margin="0.25", pad="0.1",
               forcelabels="true", outputorder="edgesfirst")
    graph.attr("node", fontname=_FONT, fontsize="9.5")
    graph.attr("edge", fontname=_FONT, fontsize="7.5", dir="none")
    return graph


def text_long(raw: str) -> str:
    """Return a title for a label, in rows of at most 28 letters a word but as many words as there are."""
    return " ".join(text(word) for word in raw.split()) or " "


def _dot(drawn: Sheet, circuit: Circuit, theme: Theme, title: str, *, sources: list[str] | None = None) -> str:
    graph = _graph(theme, title)
    ids = _ids(drawn)
    palette = PALETTES[theme]
    inside = {key for keys in drawn.clusters.values() for key in keys}
    for key, attributes in drawn.vertices.items():
        if key not in inside:
            graph.node(ids[key], **attributes)
    for number, (name, keys) in enumerate(sorted(drawn.clusters.items())):
        with graph.subgraph(name=f"cluster_{number}") as cluster:
            cluster.attr(label=f"<<B>{text(name)}</B> on its own chassis>", style="rounded,dashed", color=palette.faint, fontcolor=palette.ink,
                         fontsize="11", margin="10")
            for key in keys:
                cluster.node(ids[key], **drawn.vertices[key])
    steps = directed(drawn, sources if sources is not None else _first_blocks(circuit))
    for key, attributes in drawn.edges.items():
        ends = [(key[0], key[1]), (key[2], key[3])]
        if steps.get(ends[0][0], 0) > steps.get(ends[1][0], 0):
            ends.reverse()
        graph.edge(*(f"{ids[vertex]}:{port}" if port else ids[vertex] for vertex, port in ends), **attributes, id=_edge_id(key, ids))
    _rows(graph, drawn, ids)
    return graph.source


def _rows(graph, drawn: Sheet, ids: Mapping[str, str]) -> None:
    """Set blocks that no line reaches in rows instead of one tall column."""
    reached = {end for edge in drawn.edges for end in (edge[0], edge[2])}
    home = {key: name for name, keys in drawn.clusters.items() for key in keys}
    alone: dict[str, list[str]] = {}
    for key in drawn.vertices:
        if key not in reached:
            alone.setdefault(home.get(key, ""), []).append(key)
    for keys in alone.values():
        for start in range(0, len(keys), _ROW):
            row = keys[start : start + _ROW]
            for one, other in zip(row, row[1:], strict=False):
                graph.edge(ids[one], ids[other], style="invis")


def _ids(drawn: Sheet) -> dict[str, str]:
    """Return plain identifiers, so that no part's name is ever part of the DOT syntax."""
    return {key: f"v{number}" for number, key in enumerate(sorted(drawn.vertices))}


def _edge_id(key: tuple[str, ...], ids: Mapping[str, str]) -> str:
    return "e" + "-".join(format(ord(letter), "x") if not letter.isalnum() or not letter.isascii() else letter for letter in "_".join(key))


def _places(laid_out: str) -> dict[str, dict[str, str]]:
    """Return what graphviz placed, by identifier: ``pos`` of vertices, ``pos`` and ``lp`` of lines, ``bb`` of the page."""
    data = json.loads(laid_out)
    found = {"": {"bb": data["bb"]}}
    for thing in data.get("objects", []):
        if "pos" in thing:
            found[thing["name"]] = {name: thing[name] for name in ("pos", "xlp") if name in thing}
        elif thing["name"].startswith("cluster"):
            found[thing["name"]] = {name: thing[name] for name in ("bb", "lp") if name in thing}
    for thing in data.get("edges", []):
        if "id" in thing and "pos" in thing:
            found[thing["id"]] = {name: thing[name] for name in ("pos", "lp") if name in thing}
    return found


def _placed(drawn: Sheet, union: Sheet, places: Mapping[str, dict[str, str]], theme: Theme, title: str) -> str:
    """Return a sheet drawn at places found before; two unseen corners keep both pages the same size."""
    graph = _graph(theme, title)
    graph.attr("graph", bb=places[""]["bb"], splines="true", notranslate="true")
    ids = _ids(union)
    left, bottom, right, top = (float(number) for number in places[""]["bb"].split(","))
    for name, corner in (("corner1", (left, bottom)), ("corner2", (right, top))):
        graph.node(name, shape="point", style="invis", width="0.01", label="", pos=f"{corner[0]},{corner[1]}")
    for number, (name, keys) in enumerate(sorted(union.clusters.items())):
        if name in drawn.clusters:
            with graph.subgraph(name=f"cluster_{number}") as cluster:
                cluster.attr(label=f"<<B>{text(name)}</B> on its own chassis>", style="rounded,dashed", color=PALETTES[theme].faint,
                             fontcolor=PALETTES[theme].ink, fontsize="11", **places.get(f"cluster_{number}", {}))
                for key in drawn.clusters[name]:
                    cluster.node(ids[key])
    for key, attributes in drawn.vertices.items():
        graph.node(ids[key], **attributes, **places.get(ids[key], {}))
    for key, attributes in drawn.edges.items():
        found = places.get(_edge_id(key, ids), {})
        graph.edge(ids[key[0]], ids[key[2]], **attributes, **found)
    return graph.source
