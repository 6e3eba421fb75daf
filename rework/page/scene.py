"""A drawing as plain values: what the renderer drew, group by group, each with the part, pin or
node it stands for.

The page builds its picture from these values with an element for each and never from markup, so
nothing that a netlist says can become markup in the browser. ``box`` is left, top, right, bottom in
the drawing's own measure; a group has ``facts`` (part, unit, kind, state, node, pin, wire) and
``shapes``, each a tag, its attributes, and a text or shapes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree

from rework.page.board import Plain

_SVG = "{http://www.w3.org/2000/svg}"
_DATA = "data-"
#: Between two sheets of one scene, in the drawing's measure.
_APART = 40.0
#: What the renderer draws with; anything else is left out.
_ATTRIBUTES = frozenset(
    [
        "class",
        "d",
        "points",
        "x",
        "y",
        "cx",
        "cy",
        "rx",
        "ry",
        "r",
        "width",
        "height",
        "fill",
        "stroke",
        "stroke-width",
        "stroke-dasharray",
        "text-anchor",
        "font-family",
        "font-size",
        "font-weight",
        "font-style",
        "text-decoration",
        "textLength",
        "pointer-events",
        "lengthAdjust",
        "stroke-linejoin",
        "stroke-linecap",
        "transform",
    ]
)
#: A tag, its attributes, and its text or the shapes in it.
Shape = list[Any]
_TAGS = frozenset({"path", "polygon", "polyline", "ellipse", "circle", "rect", "text"})


def scene(svg: bytes) -> Plain:
    """Return the scene in an SVG that ``rework.draw`` made: of a circuit, or of its sockets."""
    root = ElementTree.fromstring(svg)
    graph = next((group for group in root if group.get("class") == "graph"), None)
    if graph is None:
        left, top, wide, high = (float(n) for n in root.get("viewBox", "0 0 0 0").split())
        box = [left, top, left + wide, top + high]
    else:
        points = [tuple(map(float, pair.split(","))) for pair in _frame(graph).split()]
        box = [
            min(x for x, _ in points),
            min(y for _, y in points),
            max(x for x, _ in points),
            max(y for _, y in points),
        ]
    groups: list[Plain] = []
    loose: list[Shape] = []
    for element in root if graph is None else graph:
        if element.tag == f"{_SVG}g":
            shapes, moved = _shapes(element), element.get("transform")
            if moved:
                shapes = [["g", {"transform": moved}, shapes]]
            groups.append({"facts": _facts(element), "shapes": shapes})
        elif graph is None or element.tag != f"{_SVG}polygon":
            loose += _shape(element)
    # What no group holds lies underneath: the ground and the headings.
    return {
        "box": box,
        "groups": _keyed([{"facts": {}, "shapes": loose}, *groups] if loose else groups),
    }


def sheet_scene(box: Sequence[float], elements: Sequence[str]) -> Plain:
    """Return the scene of a schematic from its elements (``rework.draw.ink``); ``box`` is left,
    top, right, bottom in their measure.
    """
    groups: list[Plain] = []
    loose: list[Shape] = []
    for facts, shapes in (drawn for element in elements for drawn in _drawn(element)):
        if facts is None:
            loose += shapes
        else:
            groups.append({"facts": facts, "shapes": shapes})
    return {"box": list(box), "groups": _keyed([{"facts": {}, "shapes": loose}, *groups])}


@lru_cache(maxsize=4096)
def _drawn(markup: str) -> tuple[tuple[dict[str, str] | None, list[Shape]], ...]:
    """Return the facts and the shapes of every group in some markup; no facts for what is in none.

    Most of a drawing is as it was before the last save.
    """
    root = ElementTree.fromstring(f'<svg xmlns="{_SVG[1:-1]}">{markup}</svg>')
    return tuple(
        (_facts(element), _shapes(element))
        if element.tag == f"{_SVG}g"
        else (None, _shape(element))
        for element in root
    )


def beneath(scenes: Mapping[str, Plain]) -> Plain:
    """Return scenes as one, each under the one before it; ``sheets`` has the name and the box of
    each.
    """
    names = list(scenes)
    whole = scenes[names[0]]
    sheets = [{"name": names[0], "box": whole["box"]}]
    for name in names[1:]:
        shown = scenes[name]
        left, top, right, bottom = whole["box"]
        dx, dy = left - shown["box"][0], bottom + _APART - shown["box"][1]
        moved = {"transform": f"translate({dx:.1f} {dy:.1f})"}
        groups = [{**group, "shapes": [["g", moved, group["shapes"]]]} for group in shown["groups"]]
        wide, high = shown["box"][2] - shown["box"][0], shown["box"][3] - shown["box"][1]
        low = bottom + _APART
        sheets.append({"name": name, "box": [left, low, left + wide, low + high]})
        whole = {
            "box": [left, top, max(right, left + wide), low + high],
            "groups": _keyed([*whole["groups"], *groups]),
        }
    return {**whole, "sheets": sheets}


def _frame(graph: ElementTree.Element) -> str:
    """Return the corners of the polygon that is the ground of a graph.

    Raises ValueError where there is none.
    """
    polygon = graph.find(f"{_SVG}polygon")
    points = polygon.get("points") if polygon is not None else None
    if points is None:
        raise ValueError("a drawing without its ground")
    return points


def _keyed(groups: list[Plain]) -> list[Plain]:
    """Return the groups with a key each that stays the same from one drawing of a circuit to the
    next.
    """
    seen: dict[str, int] = {}
    for group in groups:
        key = "|".join(group["facts"].get(fact, "") for fact in ("part", "unit", "node", "pin"))
        seen[key] = seen.get(key, 0) + 1
        group["key"] = f"{key}|{seen[key]}"
    return groups


def _facts(element: ElementTree.Element) -> dict[str, str]:
    return {
        name.removeprefix(_DATA): value
        for name, value in element.attrib.items()
        if name.startswith(_DATA)
    }


def _shapes(element: ElementTree.Element) -> list[Shape]:
    shapes: list[Shape] = []
    for child in element:
        shapes += _shape(child)
    return shapes


def _shape(element: ElementTree.Element) -> list[Shape]:
    """Return an element as one shape; a group without facts, or a link, as the shapes in it."""
    tag = element.tag.removeprefix(_SVG)
    if tag in ("g", "a"):
        facts, inner = _facts(element), _shapes(element)
        moved = {"transform": element.get("transform")} if element.get("transform") else {}
        return (
            [["g", {**moved, **{_DATA + name: value for name, value in facts.items()}}, inner]]
            if facts or moved
            else inner
        )
    if tag not in _TAGS:
        return []
    drawn = {
        name: value
        for name, value in element.attrib.items()
        if name in _ATTRIBUTES or name.startswith(_DATA)
    }
    return [[tag, drawn, "".join(element.itertext()) if tag == "text" else ""]]
