"""Drawings read back from their SVG: blocks with their boxes and texts, lines as points, the page;
and circuits to draw.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from reportlab.pdfbase.pdfmetrics import stringWidth

from rework.language.resolve import read_circuit

ROOT = Path(__file__).parent.parent.parent
DEMOS = tuple(sorted(path.stem for path in (ROOT / "circuits").glob("*/*.job")))
#: A small output stage: a removable bypass, a pentode, a speaker.
STAGE = """circuit "Output stage"
mains 117 V 60 Hz
touchable CHASSIS, J1.sleeve
P1  plug two-blade      : line=L1, neutral=N1
C1  capacitor .05 uF    : L1 -- CHASSIS
CH1 chassis             : CHASSIS
J1  jack                : tip=IN, sleeve=COMMON
V1  tube 50C5           : cathode=CATH, grid=IN, screen=B1, plate=PL, 3=L1, 4=N1
R1  resistor 470k 1/2 W : IN -- COMMON
R2  resistor 150 ohm 1 W : CATH -- COMMON
C2  electrolytic 50 uF 150 V : B1 -- COMMON
T1  output transformer  : primary=B1 -- PL, secondary=SP -- COMMON
SP1 speaker 4 ohm       : SP -- COMMON
join COMMON N1
"""

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Text:
    """Words on the page: where they stand (left, top, right, bottom, as wide as Helvetica sets
    them), size, bold or not.
    """

    words: str
    box: Box
    bold: bool
    size: float


@dataclass(frozen=True)
class Seen:
    """A block or a net: the part it shows, the box of its outlines, its texts, and (dash, width) of
    every outline that is drawn.
    """

    part: str
    box: Box
    texts: tuple[Text, ...]
    outlines: tuple[tuple[str, float], ...]

    @property
    def words(self) -> str:
        return " ".join(text.words for text in self.texts)

    @property
    def name(self) -> str:
        """The name of a part as its own chassis knows it; nets have none."""
        return self.part.rpartition("/")[2] or self.part


@dataclass(frozen=True)
class Drawing:
    """A whole drawing; ``canvas`` is what the file says it shows, ``page`` what is painted as
    paper, both from the same corner.
    """

    canvas: tuple[float, float]
    page: Box
    title: str
    blocks: tuple[Seen, ...]
    lines: tuple[tuple[tuple[float, float], ...], ...]
    colours: frozenset[str]


def circuit_of(text: str):
    circuit, problems = read_circuit(text)
    assert circuit is not None, problems
    assert not [one for one in problems if one.severity == "error"], problems
    return circuit


def drawing_of(svg: bytes | str) -> Drawing:
    root = ElementTree.fromstring(svg)
    _without_links(root)
    groups = {
        name: [one for one in root.iter() if one.get("class") == name]
        for name in ("graph", "node", "edge")
    }
    (graph,) = groups["graph"]
    page = next(one for one in graph if _tag(one) == "polygon")
    title = " ".join(one.text or "" for one in graph if _tag(one) == "text")
    seen = [_seen(group) for group in groups["node"]]
    lines = [
        _curve(path.get("d")) for group in groups["edge"] for path in group if _tag(path) == "path"
    ]
    colours = {
        one.get(what) for one in root.iter() for what in ("fill", "stroke") if one.get(what)
    } - {"none", "transparent"}
    canvas = tuple(float(number) for number in root.get("viewBox").split()[2:])
    return Drawing(
        canvas,
        _span(_points(page.get("points"))),
        title,
        tuple(one for one in seen if one),
        tuple(lines),
        frozenset(colours),
    )


def _without_links(root) -> None:
    """Set what stands in a cell with a title of its own beside the other pieces of its block."""
    for block in root.iter():
        for at, inner in reversed(list(enumerate(block))):
            if inner.get("data-node") and _tag(inner) == "g" and not inner.get("class"):
                block[at : at + 1] = list(inner[0])


def text_of(element) -> Text:
    """Return a text element with the room it takes."""
    words, size, x, y = (
        element.text or "",
        float(element.get("font-size")),
        float(element.get("x")),
        float(element.get("y")),
    )
    bold = element.get("font-weight") == "bold"
    wide = stringWidth(words.strip(), "Helvetica-Bold" if bold else "Helvetica", size)
    x += stringWidth(" ", "Helvetica", size) * (len(words) - len(words.lstrip()))
    left = x - {"start": 0, "middle": wide / 2, "end": wide}[element.get("text-anchor", "start")]
    return Text(words.strip(), (left, y - 0.72 * size, left + wide, y + 0.2 * size), bold, size)


def overlap(one: Box, other: Box) -> float:
    """Return how far two boxes reach into one another, in points; 0 where they only touch."""
    return max(
        0.0,
        min(
            min(one[2], other[2]) - max(one[0], other[0]),
            min(one[3], other[3]) - max(one[1], other[1]),
        ),
    )


def inside(inner: Box, outer: Box, allowance: float = 0.0) -> bool:
    return (
        inner[0] >= outer[0] - allowance
        and inner[1] >= outer[1] - allowance
        and inner[2] <= outer[2] + allowance
        and inner[3] <= outer[3] + allowance
    )


def _tag(element) -> str:
    return element.tag.rpartition("}")[2]


def _seen(group) -> Seen | None:
    """Return a block, or nothing for what has no words: corners, and the frame round an attached
    circuit.
    """
    texts = tuple(text_of(one) for one in group if _tag(one) == "text")
    shapes = [one for one in group if _tag(one) in ("polygon", "polyline", "path")]
    if not texts:
        return None
    points = [
        point
        for shape in shapes
        for point in (
            _points(shape.get("points")) if shape.get("points") else _curve(shape.get("d"))
        )
    ]
    points += (
        [corner for text in texts for corner in (text.box[:2], text.box[2:])] if not points else []
    )
    outlines = tuple(
        (shape.get("stroke-dasharray", ""), float(shape.get("stroke-width", 1)))
        for shape in shapes
        if shape.get("stroke") != "none"
    )
    return Seen(group.get("data-part", ""), _span(points), texts, outlines)


def _points(text: str) -> list[tuple[float, float]]:
    return [tuple(float(number) for number in pair.split(",")) for pair in text.split()]


def _curve(path: str) -> tuple[tuple[float, float], ...]:
    """Return points along a path of cubic curves, eight to each."""
    numbers = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", path)]
    knots = list(zip(numbers[::2], numbers[1::2], strict=True))
    found = [knots[0]]
    for at in range(0, len(knots) - 3, 3):
        a, b, c, d = knots[at : at + 4]
        for step in range(1, 9):
            t = step / 8
            weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3)
            found.append(
                tuple(
                    sum(
                        weight * point[axis]
                        for weight, point in zip(weights, (a, b, c, d), strict=True)
                    )
                    for axis in (0, 1)
                )
            )
    return tuple(found)


def _span(points) -> Box:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs), min(ys), max(xs), max(ys))
