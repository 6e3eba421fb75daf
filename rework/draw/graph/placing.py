"""Where everything is on the page: areas laid out one by one, then packed, the same for all sheets
of a series.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rework.draw.colours import PALETTES, Theme
from rework.draw.graph import packing
from rework.draw.graph.areas import HEATERS, LINE, SIGNAL, TITLES
from rework.draw.graph.blocks import text
from rework.draw.graph.dot import Layout, Vertices, edge_id, graph, ids, write
from rework.draw.graph.legend import KEY
from rework.draw.graph.sheet import Sheet

if TYPE_CHECKING:
    from graphviz import Graph

#: Points by which the frame of an attached circuit is wider than what stands in it, and by which it
#: is higher for its caption.
_FRAME, _HEAD = 14, 19
#: Longer captions are shortened.
_LONGEST_CAPTION = 60


@dataclass(frozen=True, slots=True)
class Places:
    """Where everything stands, in points from the lower left; ``ids`` and ``looks`` are those of
    the union.
    """

    ids: Mapping[str, str]
    looks: Vertices
    vertex: Mapping[str, str]
    edge: Mapping[str, str]
    boxes: Mapping[str, tuple[float, float, float, float]]


def arranged(union: Sheet, theme: Theme, layout: Layout) -> Places:
    """Return the places of everything on the union of some sheets, each area laid out alone."""
    plain = ids(union)
    names = {identifier: key for key, identifier in plain.items()}
    order = {LINE: 0, SIGNAL: 2, HEATERS: 3, KEY: 4}
    areas = {}
    for area in sorted(set(union.area.values()), key=lambda area: (order.get(area, 1), area)):
        page = graph(theme, "")
        page.attr("graph", label="")
        write(page, union, [key for key in union.vertices if union.area[key] == area], plain)
        areas[area] = packing.area(json.loads(layout(page.source)))
    shapes, corners = packing.page(areas, {area: _caption_width(area) for area in areas})
    vertex: dict[str, str] = {}
    edge: dict[str, str] = {}
    boxes: dict[str, tuple[float, float, float, float]] = {}
    for area, (x, y) in corners.items():
        shape, top = shapes[area], y - packing.BETWEEN_AREAS / 2
        points, curves = areas[area].placed(shape, x, top)
        vertex |= {names[name]: pos for name, pos in points.items()}
        edge |= curves
        boxes[area] = (x, top - shape.height, x + max(shape.width, _caption_width(area)), top)
    return Places(plain, union.vertices, vertex, edge, boxes)


def placed(drawn: Sheet, places: Places, theme: Theme, title: str) -> str:
    """Return a sheet drawn at its places.

    Lines whose ends look as they did when laid out keep their way; the others find one.
    """
    page = graph(theme, title)
    here = {drawn.area[key] for key in drawn.vertices}
    shown = {area: box for area, box in places.boxes.items() if area in here or area not in TITLES}
    width = max((box[2] for box in places.boxes.values()), default=0.0)
    low = min((box[1] for box in places.boxes.values()), default=0.0)
    for name, x, y in (("corner1", -_FRAME, 0.0), ("corner2", width + _FRAME, low - _FRAME / 2)):
        page.node(
            name, shape="point", style="invis", width="0.01", label="", pos=f"{x:.2f},{y:.2f}"
        )
    for number, (area, box) in enumerate(shown.items()):
        if area != KEY:
            _caption(page, number, area if area in here else f"Room for {area}", box, theme)
    for key, attributes in drawn.vertices.items():
        page.node(places.ids[key], **attributes, pos=places.vertex[key])
    same = {key for key, look in drawn.vertices.items() if look == places.looks[key]}
    for edge, attributes in drawn.edges.items():
        kept = (
            {"pos": places.edge[edge_id(edge)]}
            if edge[0] in same and edge[3] in same and edge_id(edge) in places.edge
            else {}
        )
        page.edge(
            ":".join(filter(None, (places.ids[edge[0]], edge[1], edge[2]))),
            places.ids[edge[3]],
            **attributes,
            **kept,
        )
    return str(page.source)


def _caption(
    page: Graph, number: int, area: str, box: tuple[float, float, float, float], theme: Theme
) -> None:
    """Write what an area is above it; a chassis of its own has a frame, and so has the room left
    for one.
    """
    palette = PALETTES[theme]
    words = title_of(area)
    page.node(
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
        page.node(
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


def title_of(area: str) -> str:
    """Return the caption of an area."""
    return TITLES.get(area) or f"{area}, on its own chassis"


def _caption_width(area: str) -> float:
    """Return the room a caption takes in points: wide letters, which the renderer cannot measure,
    at their full size.
    """
    return sum(5.6 if letter.isascii() else 10 for letter in title_of(area)[:_LONGEST_CAPTION])
