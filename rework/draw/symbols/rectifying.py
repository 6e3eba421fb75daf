"""Diodes, bridges, transistors and couplers by light. From memory of IEEE 315-1975."""

from __future__ import annotations

from rework.circuit.parts import Part
from rework.draw.symbols.passive import arrow, ends_of, two_ended
from rework.draw.symbols.pen import (
    Box,
    Lead,
    Stroke,
    Style,
    Symbol,
    circle,
    line,
    rectangle,
    shape,
)


def _triangle(style: Style) -> tuple[Stroke, ...]:
    body = shape((-0.9, -1), (-0.9, 1), (0.9, 0), filled=style == "us")
    through = (line((-0.9, 0), (0.9, 0)),) if style == "iec" else ()
    return (body, *through)


def diode(part: Part, style: Style) -> Symbol:
    """A triangle that points the way the current goes, to a bar."""
    return two_ended(
        ends_of(part, ("anode", "cathode")),
        (*_triangle(style), line((0.9, -1), (0.9, 1), weight="bold")),
        0.9,
        high=1.0,
    )


def zener(part: Part, style: Style) -> Symbol:
    """A diode whose bar is bent at both ends (US) or one (IEC)."""
    bar = [(1.4, -1.3), (0.9, -1.0), (0.9, 1.0), (0.4, 1.3)]
    return two_ended(
        ends_of(part, ("anode", "cathode")),
        (*_triangle(style), line(*(bar if style == "us" else bar[1:]), weight="bold")),
        1.2,
        high=1.3,
    )


def light_emitting_diode(part: Part, style: Style) -> Symbol:
    """A diode with two arrows away from it."""
    rays = []
    for x in (-0.2, 0.7):
        rays += [line((x, -1.1), (x + 0.7, -1.9)), arrow(x + 0.8, -2.0, 0.66, -0.75)]
    symbol = diode(part, style)
    return Symbol(symbol.leads, (*symbol.strokes, *rays), Box(-0.9, -2.1, 1.6, 1.0))


def bridge(part: Part, style: Style) -> Symbol:
    """Four diodes in a diamond: ac above and below, plus at the right, minus at the left.

    The one symbol with slanted lines.
    """
    del part
    corners = {"ac1": (0, -3), "ac2": (0, 3), "plus": (3, 0), "minus": (-3, 0)}
    strokes = [shape((0, -3), (3, 0), (0, 3), (-3, 0))]
    for start, stop in (("minus", "ac1"), ("minus", "ac2"), ("ac1", "plus"), ("ac2", "plus")):
        (x1, y1), (x2, y2) = corners[start], corners[stop]
        dx, dy = (x2 - x1) / 4.2426, (y2 - y1) / 4.2426
        x, y = (x1 + x2) / 2, (y1 + y2) / 2
        strokes += [
            shape(
                (x - 0.5 * dx - 0.6 * dy, y - 0.5 * dy + 0.6 * dx),
                (x - 0.5 * dx + 0.6 * dy, y - 0.5 * dy - 0.6 * dx),
                (x + 0.5 * dx, y + 0.5 * dy),
                filled=style == "us",
                blank=style == "iec",
            ),
            line(
                (x + 0.5 * dx - 0.6 * dy, y + 0.5 * dy + 0.6 * dx),
                (x + 0.5 * dx + 0.6 * dy, y + 0.5 * dy - 0.6 * dx),
                weight="bold",
            ),
        ]
    plus = (line((3.3, -0.9), (4.1, -0.9)), line((3.7, -1.3), (3.7, -0.5)))
    strokes += [*plus, line((0, -3), (0, -4)), line((0, 3), (0, 4))]
    strokes += [line((3, 0), (4, 0)), line((-3, 0), (-4, 0))]
    return Symbol(
        (
            Lead(("ac1",), 0, -4, "up"),
            Lead(("ac2",), 0, 4, "down"),
            Lead(("plus",), 4, 0, "right"),
            Lead(("minus",), -4, 0, "left"),
        ),
        tuple(strokes),
        Box(-3, -3, 3, 3),
        stands=True,
    )


def transistor(part: Part, style: Style) -> Symbol:
    """A base bar in a circle, the emitter with its arrow; inwards for a PNP. One with a gate has
    its channel between drain and source, whole for a junction gate, in three pieces for an
    insulated one; the arrow looks at an N channel.
    """
    del style
    with_gate = any(part.node(name) is not None for name in ("gate", "drain", "source"))
    names, inside = _channel(part) if with_gate else _base(part)
    leads = [
        Lead((names[0],), -3, 0, "left"),
        Lead((names[1],), 1, -3, "up"),
        Lead((names[2],), 1, 3, "down"),
    ]
    strokes = [circle(0.4, 0, 2.4), *inside]
    if part.node("case") is not None:
        leads.append(Lead(("case",), -3, 2, "left"))
        strokes.append(line((-3, 2), (-0.9, 2)))
    body = Box(-2, -2.4, 2.8, 2.4)
    return Symbol(tuple(leads), tuple(strokes), body, stands=True)


def _base(part: Part) -> tuple[tuple[str, str, str], tuple[Stroke, ...]]:
    """Return the terminals of a junction transistor and what is in its envelope."""
    inward = "PNP" in part.words
    return ("base", "collector", "emitter"), (
        line((-0.8, -1.4), (-0.8, 1.4), weight="bold"),
        line((-3, 0), (-0.8, 0)),
        line((-0.8, -0.6), (1, -1.6), (1, -3)),
        line((-0.8, 0.6), (1, 1.6), (1, 3)),
        arrow(-0.6, 0.7, -0.87, -0.48) if inward else arrow(0.95, 1.57, 0.87, 0.48),
    )


def _channel(part: Part) -> tuple[tuple[str, str, str], tuple[Stroke, ...]]:
    """Return the terminals of a field-effect transistor and what is in its envelope."""
    outward = "P-channel" in part.words
    ends = (line((-0.6, -1), (1, -1), (1, -3)), line((-0.6, 1), (1, 1), (1, 3)))
    if "JFET" in part.words:
        gate = line((-3, 0), (-0.6, 0))
        head = arrow(-1.6, 0, -1, 0) if outward else arrow(-0.7, 0, 1, 0)
        whole = line((-0.6, -1.4), (-0.6, 1.4), weight="bold")
        return ("gate", "drain", "source"), (gate, whole, *ends, head)
    pieces = ((-1.4, -0.6), (-0.4, 0.4), (0.6, 1.4))
    channel = tuple(line((-0.6, top), (-0.6, foot), weight="bold") for top, foot in pieces)
    gate = line((-3, 0), (-1.1, 0))
    return ("gate", "drain", "source"), (
        gate,
        line((-1.1, -1.2), (-1.1, 1.2)),
        *channel,
        *ends,
        line((-0.6, 0), (1, 0), (1, 1)),
        arrow(0.8, 0, 1, 0) if outward else arrow(-0.5, 0, -1, 0),
    )


def optocoupler(part: Part, style: Style) -> Symbol:
    """A diode that shines on a transistor, in one case; nothing else leads across."""
    has_base = part.node("base") is not None
    bottom = 7.0 if has_base else 4.0
    down = (line((-2.9, 2), (-1.1, 2), weight="bold"), line((-2, 0.8), (-2, 2)))
    strokes = [
        rectangle(-3.4, -1, 3.2, bottom),
        line((-4, 0), (-2, 0), (-2, 0.8)),
        shape((-2.9, 0.8), (-1.1, 0.8), (-2, 2), filled=style == "us"),
        *(down if style == "iec" else down[:1]),
        line((-2, 2), (-2, 3), (-4, 3)),
        line((0.8, 0.4), (0.8, 2.6), weight="bold"),
        line((0.8, 1.1), (2, 0.4), (2, 0), (4, 0)),
        line((0.8, 1.9), (2, 2.6), (2, 3), (4, 3)),
        arrow(1.9, 2.54, 0.87, 0.5),
    ]
    for y in (1.0, 1.9):
        strokes += [line((-0.8, y), (-0.1, y)), arrow(0.4, y, 1, 0)]
    leads = [
        Lead(("anode",), -4, 0, "left"),
        Lead(("cathode",), -4, 3, "left"),
        Lead(("collector",), 4, 0, "right"),
        Lead(("emitter",), 4, 3, "right"),
    ]
    if has_base:
        strokes.append(line((0.8, 2.6), (0.8, 6), (4, 6)))
        leads.append(Lead(("base",), 4, 6, "right"))
    return Symbol(tuple(leads), tuple(strokes), Box(-3.4, -1, 3.2, bottom), stands=True)
