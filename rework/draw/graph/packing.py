"""Areas and their pieces moved close together, so that most fits on a sheet of A4 lying.

Points, from the upper left.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypedDict

from rework.circuit.graph import Merged

#: A4 lying, in millimetres: a shape is all that is taken from it.
_A4 = (297, 210)
#: Points between two pieces of an area, and between two areas, where captions and frames stand.
BETWEEN_PIECES, BETWEEN_AREAS = 9, 26
#: Every order of more areas than this is not tried; more pieces than these stay where graphviz put
#: them.
_MOST_ORDERED, MOST_PIECES = 5, 16

Size = tuple[float, float]
#: A block or line of graphviz's JSON: its attributes as text.
Thing = Mapping[str, str]


class Laid(TypedDict, total=False):
    """What is used of graphviz's JSON: the box of all, the blocks and clusters, the lines."""

    bb: str
    objects: list[Thing]
    edges: list[Thing]


Corners = dict[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Shape:
    """One way to set boxes close together: the upper left corner of each, and width and height of
    all.
    """

    corners: Corners
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Area:
    """An area as graphviz laid it out, in pieces that no line joins, and the shapes it can be
    given.
    """

    blocks: Mapping[str, list[Thing]]
    lines: Mapping[str, list[Thing]]
    spans: Mapping[str, tuple[float, float, float, float]]
    shapes: tuple[Shape, ...]

    def placed(
        self, shape: Shape, left: float, top: float
    ) -> tuple[dict[str, str], dict[str, str]]:
        """Return where the blocks stand, by identifier, and how the lines run, by comment, with the
        area's corner at a point.
        """
        points: dict[str, str] = {}
        curves: dict[str, str] = {}
        for piece, (x, y) in shape.corners.items():
            dx, dy = left + x - self.spans[piece][0], top + y - self.spans[piece][3]
            points |= {thing["name"]: _moved(thing["pos"], dx, dy) for thing in self.blocks[piece]}
            curves |= {
                thing["comment"]: _moved(thing["pos"], dx, dy)
                for thing in self.lines.get(piece, ())
            }
        return points, curves


def area(data: Laid) -> Area:
    """Return an area from graphviz's JSON."""
    joined = Merged()
    for line in data.get("edges", ()):
        joined.join(str(line["tail"]), str(line["head"]))
    blocks: dict[str, list[Thing]] = {}
    lines: dict[str, list[Thing]] = {}
    for thing in data.get("objects", ()):
        if "pos" in thing:
            blocks.setdefault(joined.find(str(thing["_gvid"])), []).append(thing)
    for line in data.get("edges", ()):
        if "comment" in line:
            lines.setdefault(joined.find(str(line["tail"])), []).append(line)
    spans = {piece: _span(things, lines.get(piece, ())) for piece, things in blocks.items()}
    if len(spans) > MOST_PIECES:
        left, low, right, high = (float(number) for number in data["bb"].split(","))
        return Area(
            blocks,
            lines,
            spans,
            (
                Shape(
                    {piece: (span[0] - left, span[3] - high) for piece, span in spans.items()},
                    right - left,
                    high - low,
                ),
            ),
        )
    sizes = {piece: (right - left, high - low) for piece, (left, low, right, high) in spans.items()}
    largest_first = dict(
        sorted(sizes.items(), key=lambda size: (-size[1][0] * size[1][1], size[0]))
    )
    return Area(blocks, lines, spans, tuple(_shapes(largest_first, BETWEEN_PIECES)))


def page(areas: Mapping[str, Area], least: Mapping[str, float]) -> tuple[dict[str, Shape], Corners]:
    """Return the shape and the upper left corner of every area, in the order and width with which
    most fits on A4 lying.

    The first stays first; every other goes as high as there is room for it, and there as far left.
    ``least`` is the width that an area takes at least.
    """
    if not areas:
        return {}, {}
    picked, corners = _page(
        tuple(
            (name, tuple((shape.width, shape.height) for shape in box.shapes), least[name])
            for name, box in areas.items()
        )
    )
    return {
        name: areas[name].shapes[number] for name, number in zip(areas, picked, strict=True)
    }, dict(corners)


@lru_cache(maxsize=64)
def _page(
    options: tuple[tuple[str, tuple[Size, ...], float], ...],
) -> tuple[tuple[int, ...], Corners]:
    """Return the number of the shape of every area, and the corners; the same sizes come again
    whenever a set is drawn anew.
    """
    first, *others = (name for name, _, _ in options)
    orders = list(itertools.permutations(others)) if len(others) <= _MOST_ORDERED else [others]
    best: tuple[tuple[int, ...], Corners] = (), {}
    score = float("inf")
    for picked in itertools.product(*(range(len(shapes)) for _, shapes, _ in options)):
        sizes = {
            name: (max(shapes[number][0], least), shapes[number][1])
            for (name, shapes, least), number in zip(options, picked, strict=True)
        }
        for order in orders:
            for shape in _shapes({name: sizes[name] for name in (first, *order)}, BETWEEN_AREAS):
                scale = max(shape.width / _A4[0], shape.height / _A4[1])
                if scale < 0.999 * score:
                    best, score = (picked, shape.corners), scale
    return best


def _shapes(sizes: Mapping[str, Size], gap: float) -> Iterable[Shape]:
    """Return the shapes that boxes can be given in their order, from narrow and tall to wide and
    low.
    """
    widths = [width + gap for width, _ in sizes.values()]
    lowest = float("inf")
    for limit in sorted(
        {max(widths) * (1 + step / 30) for step in range(15)} | {max(sum(widths), max(widths))}
        if widths
        else ()
    ):
        corners = _within(sizes, limit, gap)
        shape = Shape(
            corners,
            max(x + sizes[name][0] for name, (x, _) in corners.items()),
            max(sizes[name][1] - y for name, (_, y) in corners.items()),
        )
        if shape.height < lowest:
            lowest = shape.height
            yield shape


def _within(sizes: Mapping[str, Size], limit: float, gap: float) -> Corners:
    """Return corners where each box in turn finds the highest, then leftmost room."""
    taken: list[tuple[float, float, float, float]] = []
    for width, height in sizes.values():
        lefts = sorted({0.0, *(right for _, _, right, _ in taken)})
        tops = sorted({0.0, *(low for *_, low in taken)}, reverse=True)
        x, y = next(
            (x, y)
            for y in tops
            for x in lefts
            if x + width + gap <= limit + 0.01 and _is_free(taken, x, y, width + gap, height + gap)
        )
        taken.append((x, y, x + width + gap, y - height - gap))
    return {name: box[:2] for name, box in zip(sizes, taken, strict=True)}


def _is_free(
    taken: Sequence[tuple[float, float, float, float]],
    x: float,
    y: float,
    width: float,
    height: float,
) -> bool:
    return not any(
        x < right and left < x + width and low < y and high > y - height
        for left, high, right, low in taken
    )


def _spot(word: str) -> tuple[float, float]:
    """Return one point of graphviz's ``pos``, which may be marked as the start or end of a line."""
    x, y = word.removeprefix("s,").removeprefix("e,").split(",")[:2]
    return float(x), float(y)


def _span(blocks: Iterable[Thing], lines: Iterable[Thing]) -> tuple[float, float, float, float]:
    """Return left, low, right and high of a piece as laid out."""
    spots: list[tuple[float, float]] = []
    for block in blocks:
        x, y = (float(number) for number in block["pos"].split(","))
        wide, tall = 36 * float(block["width"]), 36 * float(block["height"])
        spots += [(x - wide, y - tall), (x + wide, y + tall)]
    for line in lines:
        spots += map(_spot, line["pos"].split())
    xs, ys = zip(*spots, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def _moved(pos: str, dx: float, dy: float) -> str:
    """Return a point or a spline of graphviz, shifted."""
    shifted = []
    for word in pos.split():
        lead, point = (word[:2], word[2:]) if word[:2] in ("s,", "e,") else ("", word)
        x, y = point.split(",")[:2]
        shifted.append(f"{lead}{float(x) + dx:.2f},{float(y) + dy:.2f}")
    return " ".join(shifted)
