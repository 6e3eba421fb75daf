"""Sections of one can of electrolytic capacitors: which parts they are, and the mark beside the
plus that tells one from another, as it is stamped beside the lug. Custom of service sheets; from
memory.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.symbols.pen import Box, Side, Stroke, Symbol, arc, line, rectangle, shape

#: What the marks are called, in the order of the sections.
MARKS = ("half circle", "triangle", "square", "dash")
#: A section's name: that of the can and a letter, as C5A or C5b.
_SECTION = re.compile(r"(?P<can>.*\d)[A-Za-z]")
#: Where the middle of the mark is, by the side of the plus: across the lead from the plus sign.
_PLACES: Mapping[Side, tuple[float, float]] = {
    "left": (-1.35, 1.5),
    "up": (-1.5, -1.35),
    "right": (1.35, 1.5),
    "down": (1.5, 1.35),
}
#: Half the size of a mark, u.
_HALF = 0.45


def cans(circuit: Circuit) -> dict[str, tuple[str, ...]]:
    """Return the names of the sections of every can that has more than one, in their order."""
    by_can: dict[str, list[str]] = {}
    for part in circuit.parts:
        match = _SECTION.fullmatch(part.name) if part.kind == "electrolytic" else None
        if match is not None:
            by_can.setdefault(match["can"], []).append(part.name)
    return {can: tuple(sorted(names)) for can, names in by_can.items() if len(names) > 1}


def section(circuit: Circuit, part: Part) -> int | None:
    """Return which section of a can a part is, None for one in a can to itself."""
    if part.kind != "electrolytic":
        return None
    for names in cans(circuit).values():
        if part.name in names[: len(MARKS)]:
            return names.index(part.name)
    return None


def mark(number: int, plus: Side) -> Symbol:
    """Return the mark of a section on the side of the lead that the plus sign leaves free."""
    x, y = _PLACES[plus]
    left, top, right, bottom = x - _HALF, y - _HALF, x + _HALF, y + _HALF
    strokes: tuple[Stroke, ...] = (
        (
            arc(x, bottom, 2 * _HALF, 180, 360),
            line((x - 2 * _HALF, bottom), (x + 2 * _HALF, bottom)),
        ),
        (shape((x, top), (right, bottom), (left, bottom)),),
        (rectangle(left, top, right, bottom),),
        (line((left, y), (right, y)),),
    )[number]
    wide = 2 * _HALF if number == 0 else _HALF
    return Symbol((), strokes, Box(x - wide, top - _HALF * (number == 0), x + wide, bottom))
