"""A wide drawing cut into strips that a page prints large enough to read: between blocks, never
through one.

Rows are taken apart where nothing stands; a row that is wider than the page is cut again where no
block stands and the fewest lines cross. Works on the SVG alone, so any drawing of ``rework.draw``
will do.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

#: Empty points between two rows, and the margin left around a strip.
_GAP, _MARGIN = 3.0, 5.0
#: A block wider than this is the frame of an attached circuit, though it may be empty in the
#: drawing before.
_FRAME = 400.0
#: A row no higher than this is a caption.
_CAPTION = 20.0
#: Of the width allowed, how much the search for the best cut may give away.
_SLACK = 0.4
_NUMBER = r"-?\d+(?:\.\d+)?"


@dataclass(frozen=True, slots=True)
class Strip:
    """A piece of a drawing, in its points from the upper left.

    ``goes_on`` is true where the row goes on in the next strip.
    """

    x: float
    y: float
    width: float
    height: float
    goes_on: bool = False


@dataclass(frozen=True, slots=True)
class Box:
    """What a block or a line takes up."""

    left: float
    top: float
    right: float
    bottom: float


def size(svg: str) -> tuple[float, float]:
    """Return width and height of a drawing in points."""
    found = re.search(
        rf'<svg\b[^>]*?\bwidth="({_NUMBER})(?:pt|px)?"[^>]*?\bheight="({_NUMBER})', svg, re.DOTALL
    )
    return (float(found[1]), float(found[2])) if found else (0.0, 0.0)


def smallest_text(svg: str) -> float:
    """Return the size of the smallest text in a drawing, in its points."""
    return min((float(one) for one in re.findall(rf'font-size="({_NUMBER})', svg)), default=0.0)


def boxes(svg: str) -> tuple[list[Box], list[Box]]:
    """Return what the blocks and what the lines of a drawing take up."""
    shift = re.search(rf'class="graph"[^>]*translate\(({_NUMBER}) ({_NUMBER})\)', svg)
    dx, dy = (float(shift[1]), float(shift[2])) if shift else (0.0, 0.0)
    found: dict[str, list[Box]] = {"node": [], "edge": []}
    starts = [*re.finditer(r'<g\b[^>]*\bclass="(node|edge)\b[^>]*>', svg)]
    for start, after in zip(starts, [*starts[1:], None], strict=True):
        box = _box(svg[start.end() : after.start() if after else len(svg)], dx, dy)
        if box is not None:
            found[start[1]].append(box)
    held = {box: sum(_holds(box, other) for other in found["node"]) for box in found["node"]}
    frames = [box for box, count in held.items() if count > 1]
    return [
        box for box, count in held.items() if count <= 1 and box.right - box.left <= _FRAME
    ], found["edge"] + frames


def _holds(frame: Box, other: Box) -> bool:
    return (
        other is not frame
        and frame.left <= other.left
        and other.right <= frame.right
        and frame.top <= other.top
        and other.bottom <= frame.bottom
    )


def _box(body: str, dx: float, dy: float) -> Box | None:
    points = [
        (float(x), float(y))
        for text in re.findall(r'(?:points|d)="([^"]*)"', body)
        for x, y in re.findall(rf"({_NUMBER}),({_NUMBER})", text)
    ]
    for tag in re.findall(r"<(?:ellipse|text)[^>]*>[^<]*", body):
        at = {
            name: float(value)
            for name, value in re.findall(rf'\b(cx|cy|rx|ry|x|y|font-size)="({_NUMBER})"', tag)
        }
        if "cx" in at:
            points += [
                (at["cx"] - at["rx"], at["cy"] - at["ry"]),
                (at["cx"] + at["rx"], at["cy"] + at["ry"]),
            ]
        elif "x" in at:
            wide = 0.56 * at.get("font-size", 9.0) * len(tag.partition(">")[2])
            left = at["x"] - wide * (
                0.5 if 'anchor="middle"' in tag else 1.0 if 'anchor="end"' in tag else 0.0
            )
            points += [(left, at["y"] - at.get("font-size", 9.0)), (left + wide, at["y"] + 2.0)]
    if not points:
        return None
    xs, ys = [x + dx for x, _ in points], [y + dy for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def strips(svg: str, widest: float) -> tuple[Strip, ...]:
    """Return the strips of a drawing, none wider than ``widest`` points unless a single block is,
    from top to bottom and left to right.

    Every block is whole in exactly one strip.
    """
    nodes, edges = boxes(svg)
    made: list[Strip] = []
    for row in _rows(nodes, edges, widest - 2 * _MARGIN):
        top, bottom = min(box.top for box in row), max(box.bottom for box in row)
        here = [box for box in nodes if top <= box.top <= bottom]
        lines = [box for box in edges if top <= box.top <= bottom]
        pieces = _pieces(here, lines, widest - 2 * _MARGIN) if here else []
        for number, piece in enumerate(pieces):
            left, right = min(box.left for box in piece), max(box.right for box in piece)
            more = number + 1 < len(pieces)
            if more:
                right = min(
                    right + _MARGIN, (right + min(box.left for box in pieces[number + 1])) / 2
                )
            inside = [*piece, *(box for box in lines if box.right > left and box.left < right)]
            high, low = min(box.top for box in inside), max(box.bottom for box in inside)
            made.append(
                Strip(
                    left - _MARGIN,
                    high - _MARGIN,
                    right - left + (_MARGIN if more else 2 * _MARGIN),
                    low - high + 2 * _MARGIN,
                    more,
                )
            )
    return tuple(made)


def _rows(nodes: list[Box], edges: list[Box], widest: float) -> list[list[Box]]:
    """Return what stands side by side, row by row; a row of captions goes with the row under it
    unless that makes it too wide.
    """
    rows: list[list[Box]] = []
    captions: list[Box] = []
    for row in _runs(nodes + edges, lambda box: (box.top, box.bottom), _GAP):
        if max(box.bottom for box in row) - min(box.top for box in row) <= _CAPTION:
            captions += row
            continue
        if captions and _width(row) <= widest < _width(captions + row):
            rows.append(captions)
            captions = []
        rows.append(captions + row)
        captions = []
    return rows + ([captions] if captions else [])


def _width(row: list[Box]) -> float:
    return max(box.right for box in row) - min(box.left for box in row)


def _runs(
    found: Iterable[Box], of: Callable[[Box], tuple[float, float]], gap: float
) -> list[list[Box]]:
    """Return boxes in groups between which, seen from one side, nothing stands."""
    groups: list[list[Box]] = []
    reach = float("-inf")
    for box in sorted(found, key=of):
        low, high = of(box)
        if low > reach + gap:
            groups.append([])
        groups[-1].append(box)
        reach = max(reach, high)
    return groups


def _pieces(nodes: list[Box], edges: list[Box], widest: float) -> list[list[Box]]:
    """Return the blocks of one row in as few groups as fit, cut where the fewest lines cross."""
    columns = _runs(nodes, lambda box: (box.left, box.right), 0.0)
    pieces: list[list[Box]] = []
    rest = columns
    while rest:
        left = rest[0][0].left
        fits = [
            count
            for count in range(1, len(rest) + 1)
            if max(box.right for group in rest[:count] for box in group) - left <= widest
        ]
        most = fits[-1] if fits else 1
        if most < len(rest):
            ends = [
                count
                for count in fits
                if max(box.right for group in rest[:count] for box in group) - left
                >= (1 - _SLACK) * widest
            ] or [most]
            most = min(ends, key=lambda count: (_crossing(rest, count, edges), -count))
        pieces.append([box for group in rest[:most] for box in group])
        rest = rest[most:]
    return pieces


def _crossing(columns: list[list[Box]], count: int, edges: list[Box]) -> int:
    at = (max(box.right for group in columns[:count] for box in group) + columns[count][0].left) / 2
    return sum(box.left < at < box.right for box in edges)
