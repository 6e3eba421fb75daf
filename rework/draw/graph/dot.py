"""A sheet as DOT source: blocks and lines under plain identifiers."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from rework.draw.colours import PALETTES, Theme
from rework.draw.graph import packing
from rework.draw.graph.blocks import text
from rework.draw.graph.sheet import Sheet

if TYPE_CHECKING:
    from graphviz import Graph

#: Blocks that no line reaches are set in rows of this many.
_ROW = 12
#: The one family whose widths the embedded renderer brings along; with a list of families it
#: guesses, and texts overflow.
_FONT = "Arial"
Vertices = dict[str, dict[str, str]]
#: Lays a DOT source out and returns graphviz's JSON.
Layout = Callable[[str], str]


def graph(theme: Theme, title: str) -> Graph:
    """Return an empty graph of a page with its title."""
    from graphviz import Graph

    palette = PALETTES[theme]
    words = " ".join(text(word) for word in title.split()) or " "
    page = Graph("circuit", strict=False)
    page.attr(
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
    page.attr("node", fontname=_FONT, fontsize="9", fontcolor=palette.ink)
    page.attr("edge", dir="none")
    return page


def ids(drawn: Sheet) -> dict[str, str]:
    """Return plain identifiers, so that no part's name is ever part of the DOT syntax."""
    return {key: f"v{number}" for number, key in enumerate(sorted(drawn.vertices))}


def write(page: Graph, drawn: Sheet, keys: Iterable[str], names: Mapping[str, str]) -> None:
    """Write some vertices of a sheet and the lines between them, lines running away from the
    sources.
    """
    keys = list(keys)
    for key in keys:
        page.node(names[key], **drawn.vertices[key])
    inside = set(keys)
    edges = {
        key: attributes
        for key, attributes in drawn.edges.items()
        if key[0] in inside and key[3] in inside
    }
    for edge, attributes in edges.items():
        ends = [":".join(filter(None, (names[edge[0]], edge[1], edge[2]))), names[edge[3]]]
        if drawn.level[edge[0]] > drawn.level[edge[3]]:
            ends.reverse()
        page.edge(*ends, **attributes, comment=edge_id(edge))
    joined = {end for key in edges for end in (key[0], key[3])}
    lone = [key for key in keys if key not in joined]
    if len(lone) <= packing.MOST_PIECES // 2:
        return
    for start in range(0, len(lone), _ROW):
        row = lone[start : start + _ROW]
        for first, second in itertools.pairwise(row):
            page.edge(names[first], names[second], style="invis")


def edge_id(key: tuple[str, ...]) -> str:
    """Return a plain identifier of a line."""
    return "e" + "-".join(
        letter if letter.isalnum() and letter.isascii() else format(ord(letter), "x")
        for letter in "_".join(key)
    )
