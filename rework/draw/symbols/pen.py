"""What a symbol is made of: strokes, words and leads on the modular grid.

All lengths are grid units ``u`` (2.5 mm at full size), x to the right and y down the page; every
lead ends on whole units (IEEE 315-1975, connection points on a modular grid). The shapes are drawn
after IEEE 315-1975, which allows copying its symbols, and IEC 60617.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, TypedDict, Unpack

Side = Literal["left", "right", "up", "down"]
Weight = Literal["line", "bold", "thin"]
Style = Literal["us", "iec"]
#: A step of a path: ``M x y``, ``L x y``, ``C x1 y1 x2 y2 x y`` or ``Z``.
Step = tuple[str, tuple[float, ...]]

#: The way a wire leaves a lead on each side.
AHEAD: dict[Side, tuple[int, int]] = {
    "left": (-1, 0),
    "right": (1, 0),
    "up": (0, -1),
    "down": (0, 1),
}
_SIDE_OF = {ahead: side for side, ahead in AHEAD.items()}
#: Control points of a quarter of a circle of radius 1 in a cubic curve (4/3 (sqrt 2 - 1)).
_QUARTER = 0.5522847498


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle in grid units."""

    left: float
    top: float
    right: float
    bottom: float

    def moved(self, dx: float, dy: float) -> Box:
        """Return the box shifted."""
        return Box(self.left + dx, self.top + dy, self.right + dx, self.bottom + dy)

    def grown(self, by: float) -> Box:
        """Return the box with a margin all round."""
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def meets(self, other: Box) -> bool:
        """True where two boxes share more than an edge."""
        return (
            self.left < other.right - 1e-9
            and other.left < self.right - 1e-9
            and self.top < other.bottom - 1e-9
            and other.top < self.bottom - 1e-9
        )


def around(boxes: Iterable[Box]) -> Box:
    """Return the smallest box that holds all of them. Raises ValueError where there is none."""
    every = list(boxes)
    if not every:
        raise ValueError("no box to go around")
    return Box(
        min(box.left for box in every),
        min(box.top for box in every),
        max(box.right for box in every),
        max(box.bottom for box in every),
    )


@dataclass(frozen=True, slots=True)
class Stroke:
    """One path; ``filled`` with ink, or ``blank``: filled with paper."""

    path: tuple[Step, ...]
    weight: Weight = "line"
    dashed: bool = False
    filled: bool = False
    blank: bool = False


def bounds(stroke: Stroke) -> Box:
    """Return the box around a stroke, for a curve that of its control points."""
    numbers = [number for _, step in stroke.path for number in step]
    across, down = numbers[::2], numbers[1::2]
    return Box(min(across), min(down), max(across), max(down))


class Ink(TypedDict, total=False):
    """How a stroke is drawn: the fields of ``Stroke`` beside its path."""

    weight: Weight
    dashed: bool
    filled: bool
    blank: bool


@dataclass(frozen=True, slots=True)
class Word:
    """A word that belongs to the symbol, its middle at (x, y): ``L``, ``M``, ``CW``."""

    text: str
    x: float
    y: float
    size: float = 1.0


@dataclass(frozen=True, slots=True)
class Lead:
    """Where a wire meets the symbol: its terminals (several where they are one element), the side
    the wire leaves on, and what is printed beside it.
    """

    terminals: tuple[str, ...]
    x: int
    y: int
    side: Side
    number: str = ""

    @property
    def at(self) -> tuple[int, int]:
        """The grid point of the lead."""
        return self.x, self.y


@dataclass(frozen=True, slots=True)
class Symbol:
    """A symbol around its own origin; ``body`` is what wires and words keep out of.

    ``stands`` is true for what must not be turned on its side (tubes, signs).
    """

    leads: tuple[Lead, ...]
    strokes: tuple[Stroke, ...]
    body: Box
    words: tuple[Word, ...] = ()
    stands: bool = field(default=False)

    def lead(self, terminal: str) -> Lead | None:
        """Return the lead of a terminal, or None."""
        return next((lead for lead in self.leads if terminal in lead.terminals), None)


# paths


def line(*points: tuple[float, float], **how: Unpack[Ink]) -> Stroke:
    """Return an open path through points."""
    return Stroke(_steps(points), **how)


def shape(*points: tuple[float, float], **how: Unpack[Ink]) -> Stroke:
    """Return a closed path through points."""
    return Stroke((*_steps(points), ("Z", ())), **how)


def rectangle(left: float, top: float, right: float, bottom: float, **how: Unpack[Ink]) -> Stroke:
    """Return a closed rectangle."""
    return shape((left, top), (right, top), (right, bottom), (left, bottom), **how)


def circle(x: float, y: float, radius: float, **how: Unpack[Ink]) -> Stroke:
    """Return a circle as four cubic quarters."""
    k = _QUARTER * radius
    steps: list[Step] = [("M", (x + radius, y))]
    for x1, y1, x2, y2, x3, y3 in (
        (radius, k, k, radius, 0, radius),
        (-k, radius, -radius, k, -radius, 0),
        (-radius, -k, -k, -radius, 0, -radius),
        (k, -radius, radius, -k, radius, 0),
    ):
        steps.append(("C", (x + x1, y + y1, x + x2, y + y2, x + x3, y + y3)))
    return Stroke((*steps, ("Z", ())), **how)


def arc(x: float, y: float, radius: float, start: float, stop: float, **how: Unpack[Ink]) -> Stroke:
    """Return part of a circle from one angle to another, degrees clockwise from the right."""
    return Stroke(_arc(x, y, radius, start, stop, "M"), **how)


def humps(
    x: float, y: float, count: int, radius: float, *, up: bool = True, **how: Unpack[Ink]
) -> Stroke:
    """Return half circles side by side from (x, y) to the right: a winding."""
    steps: list[Step] = []
    for number in range(count):
        middle = x + radius * (2 * number + 1)
        ends = (180.0, 360.0) if up else (180.0, 0.0)
        steps += _arc(middle, y, radius, *ends, "L" if number else "M")
    return Stroke(tuple(steps), **how)


def _arc(
    x: float, y: float, radius: float, start: float, stop: float, opening: str
) -> tuple[Step, ...]:
    pieces = max(1, math.ceil(abs(stop - start) / 90 - 1e-9))
    turn = math.radians(stop - start) / pieces
    pull = 4 / 3 * math.tan(turn / 4) * radius
    angle = math.radians(start)
    steps: list[Step] = [(opening, (x + radius * math.cos(angle), y + radius * math.sin(angle)))]
    for _ in range(pieces):
        after = angle + turn
        steps.append(
            (
                "C",
                (
                    x + radius * math.cos(angle) - pull * math.sin(angle),
                    y + radius * math.sin(angle) + pull * math.cos(angle),
                    x + radius * math.cos(after) + pull * math.sin(after),
                    y + radius * math.sin(after) - pull * math.cos(after),
                    x + radius * math.cos(after),
                    y + radius * math.sin(after),
                ),
            )
        )
        angle = after
    return tuple(steps)


def _steps(points: Sequence[tuple[float, float]]) -> tuple[Step, ...]:
    return tuple(("M" if number == 0 else "L", point) for number, point in enumerate(points))


# turning


def turned(symbol: Symbol, quarters: int, *, mirrored: bool = False) -> Symbol:
    """Return a symbol turned clockwise by quarters after being mirrored left to right."""
    if quarters % 4 == 0 and not mirrored:
        return symbol
    matrix = _matrix(quarters % 4, mirrored=mirrored)
    corners = [
        _moved(matrix, (x, y))
        for x in (symbol.body.left, symbol.body.right)
        for y in (symbol.body.top, symbol.body.bottom)
    ]
    return replace(
        symbol,
        leads=tuple(_lead(lead, matrix) for lead in symbol.leads),
        strokes=tuple(
            replace(
                stroke, path=tuple((what, _moved(matrix, numbers)) for what, numbers in stroke.path)
            )
            for stroke in symbol.strokes
        ),
        words=tuple(
            replace(word, x=x, y=y)
            for word in symbol.words
            for x, y in (_moved(matrix, (word.x, word.y)),)
        ),
        body=Box(
            min(x for x, _ in corners),
            min(y for _, y in corners),
            max(x for x, _ in corners),
            max(y for _, y in corners),
        ),
    )


def shifted(strokes: Iterable[Stroke], dx: float, dy: float) -> tuple[Stroke, ...]:
    """Return strokes moved by (dx, dy)."""
    return tuple(
        replace(
            stroke,
            path=tuple(
                (what, tuple(n + (dy if i % 2 else dx) for i, n in enumerate(numbers)))
                for what, numbers in stroke.path
            ),
        )
        for stroke in strokes
    )


_Matrix = tuple[int, int, int, int]


def _matrix(quarters: int, *, mirrored: bool) -> _Matrix:
    a, b, c, d = ((1, 0, 0, 1), (0, -1, 1, 0), (-1, 0, 0, -1), (0, 1, -1, 0))[quarters]
    return (-a, b, -c, d) if mirrored else (a, b, c, d)


def _moved(matrix: _Matrix, numbers: Sequence[float]) -> tuple[float, ...]:
    a, b, c, d = matrix
    moved: list[float] = []
    for x, y in zip(numbers[::2], numbers[1::2], strict=True):
        moved += [a * x + b * y, c * x + d * y]
    return tuple(moved)


def _lead(lead: Lead, matrix: _Matrix) -> Lead:
    x, y = _moved(matrix, (lead.x, lead.y))
    ahead = _moved(matrix, AHEAD[lead.side])
    return replace(lead, x=round(x), y=round(y), side=_SIDE_OF[round(ahead[0]), round(ahead[1])])


def cut_off(stroke: Stroke, roots: Mapping[tuple[int, int], tuple[float, float]]) -> Stroke:
    """Return a stroke that begins or ends at one of some points, cut off at the root of that; one
    that does not run straight from there to the root is left as it is.
    """
    points = [numbers for what, numbers in stroke.path if what in ("M", "L")]
    if len(points) != len(stroke.path) or len(points) < 2:
        return stroke
    for end, inner in ((0, 1), (-1, -2)):
        (x, y), (near_x, near_y) = points[end], points[inner]
        root = roots.get((round(x), round(y))) if (x, y) == (round(x), round(y)) else None
        if root is None or not (near_x == x == root[0] or near_y == y == root[1]):
            continue
        beyond = (near_x - root[0]) * (x - root[0]) + (near_y - root[1]) * (y - root[1])
        points[end] = root if beyond <= 0 else (near_x, near_y)
    steps = tuple((what, point) for (what, _), point in zip(stroke.path, points, strict=True))
    return replace(stroke, path=steps)


def shortened(symbol: Symbol, terminal: str) -> Symbol:
    """Return a symbol with one lead shorter by a unit."""
    lead = symbol.lead(terminal)
    if lead is None:
        return symbol
    dx, dy = AHEAD[lead.side]
    nearer = replace(lead, x=lead.x - dx, y=lead.y - dy)
    strokes = tuple(cut_off(stroke, {lead.at: nearer.at}) for stroke in symbol.strokes)
    leads = tuple(nearer if other is lead else other for other in symbol.leads)
    return replace(symbol, leads=leads, strokes=strokes)
