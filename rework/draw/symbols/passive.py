"""Resistors, capacitors, fuses, lamps and other parts of two ends, lying on their axis.

Lead ``1`` is at the left, at (-3, 0), lead ``2`` at the right, at (3, 0). From memory of IEEE
315-1975 and IEC 60617; both fuse forms are alternatives of IEEE 315.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import astuple, replace

from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part
from rework.draw.symbols.pen import (
    Box,
    Lead,
    Stroke,
    Style,
    Symbol,
    Word,
    circle,
    humps,
    line,
    rectangle,
    shape,
)

#: Half the distance between the ends of a part of two ends.
REACH = 3
#: Half the length of a case along the axis, at least.
_CASE = 1.0


def two_ended(
    terminals: tuple[str, str],
    strokes: Iterable[Stroke],
    half: float,
    *,
    high: float = 1.0,
    words: tuple[Word, ...] = (),
) -> Symbol:
    """Return a symbol of two leads whose body lies between -half and half and is 2 high tall."""
    leads = (
        Lead((terminals[0],), -REACH, 0, "left"),
        Lead((terminals[1],), REACH, 0, "right"),
    )
    stubs = (line((-REACH, 0), (-half, 0)), line((half, 0), (REACH, 0)))
    return Symbol(leads, (*stubs, *strokes), Box(-half, -high, half, high), words)


def cased(symbol: Symbol, metal: Sequence[str]) -> Symbol:
    """Return a symbol of two leads in its case, dashed, with a lead from there to the metalwork."""
    body = symbol.body
    left, right = min(body.left, -_CASE) - 0.3, max(body.right, _CASE) + 0.3
    case = Box(left, body.top - 0.3, right, body.bottom + 0.5)
    outline = rectangle(*astuple(case), weight="thin", dashed=True)
    first, last = symbol.leads
    return replace(
        symbol,
        leads=(first, Lead(tuple(metal), 0, REACH, "down"), last),
        strokes=(*symbol.strokes, outline, line((0, case.bottom), (0, REACH))),
        body=case,
    )


def _zigzag(style: Style) -> tuple[Stroke, ...]:
    if style == "iec":
        return (rectangle(-2, -0.7, 2, 0.7),)
    points = [(-2.0, 0.0)]
    points += [(-2 + (number + 0.5) / 1.5, -0.8 if number % 2 == 0 else 0.8) for number in range(6)]
    return (line(*points, (2.0, 0.0)),)


def resistor(part: Part, style: Style) -> Symbol:
    """Three full teeth (US) or a rectangle (IEC)."""
    return two_ended(ends_of(part), _zigzag(style), 2, high=0.8)


def thermistor(part: Part, style: Style) -> Symbol:
    """A resistor with a bent line across it, ``T`` beside the foot."""
    return two_ended(
        ends_of(part),
        (*_zigzag(style), line((-2.1, 1.3), (-1.3, 1.3), (1.6, -1.3))),
        2,
        high=1.4,
        words=(Word("T", 2.1, -1.3, 0.9),),
    )


def varistor(part: Part, style: Style) -> Symbol:
    """A resistor with a bent line across it, ``U`` beside the foot."""
    return two_ended(
        ends_of(part),
        (*_zigzag(style), line((-2.1, 1.3), (-1.3, 1.3), (1.6, -1.3))),
        2,
        high=1.4,
        words=(Word("U", 2.1, -1.3, 0.9),),
    )


def capacitor(part: Part, style: Style) -> Symbol:
    """A straight plate at lead 1 and a curved one (US) or a second straight one (IEC) at lead 2."""
    return two_ended(ends_of(part), _plates(style, 1.4), 0.4, high=1.4)


def electrolytic(part: Part, style: Style) -> Symbol:
    """The plus plate straight with its sign; minus curved (US) or a hollow plus plate (IEC)."""
    plus = (line((-1.35, -1.05), (-1.35, -2.05)), line((-1.85, -1.55), (-0.85, -1.55)))
    if style == "us":
        plates = _plates(style, 1.4)
    else:
        plates = (rectangle(-0.7, -1.4, -0.2, 1.4), rectangle(0.2, -1.4, 0.7, 1.4, filled=True))
    half = 0.4 if style == "us" else 0.7
    symbol = two_ended(ends_of(part), (*plates, *plus), half, high=1.4)
    return Symbol(symbol.leads, symbol.strokes, Box(-1.9, -2.1, max(half, 0.4), 1.4))


def _plates(style: Style, high: float) -> tuple[Stroke, ...]:
    first = line((-0.4, -high), (-0.4, high), weight="bold")
    if style == "iec":
        return first, line((0.4, -high), (0.4, high), weight="bold")
    bent = Stroke(
        (("M", (0.95, -high)), ("C", (0.22, -high / 2.4, 0.22, high / 2.4, 0.95, high))),
        weight="bold",
    )
    return first, bent


def fuse(part: Part, style: Style) -> Symbol:
    """An S between the ends (US), a rectangle with a line through it (IEC)."""
    if style == "iec":
        return two_ended(
            ends_of(part),
            (rectangle(-1.8, -0.7, 1.8, 0.7), line((-1.8, 0), (1.8, 0))),
            1.8,
            high=0.8,
        )
    wave = Stroke(
        (
            ("M", (-1.8, 0.0)),
            ("C", (-1.5, -1.25, -0.3, -1.25, 0.0, 0.0)),
            ("C", (0.3, 1.25, 1.5, 1.25, 1.8, 0.0)),
        )
    )
    return two_ended(ends_of(part), (wave,), 1.8, high=1.0)


def breaker(part: Part, style: Style) -> Symbol:
    """An arc over two contacts (US), a contact with a cross (IEC)."""
    dots = (circle(-1.3, 0, 0.25, blank=True), circle(1.3, 0, 0.25, blank=True))
    if style == "iec":
        cross = (line((1.0, -0.35), (1.6, 0.35)), line((1.6, -0.35), (1.0, 0.35)))
        return two_ended(ends_of(part), (line((-1.3, 0), (1.1, -1.2)), *cross), 1.3, high=1.3)
    curve = Stroke((("M", (-1.5, -0.7)), ("C", (-0.8, -1.6, 0.8, -1.6, 1.5, -0.7))))
    return two_ended(ends_of(part), (*dots, curve), 1.55, high=1.5)


def lamp(part: Part, style: Style) -> Symbol:
    """A loop in a circle (US), a cross in a circle (IEC); neon: two bars and the gas dot."""
    ring = circle(0, 0, 1.5)
    if "neon" in part.words:
        inside: tuple[Stroke, ...] = (
            line((-1.5, 0), (-0.4, 0)),
            line((-0.4, -0.7), (-0.4, 0.7), weight="bold"),
            line((0.4, -0.7), (0.4, 0.7), weight="bold"),
            line((0.4, 0), (1.5, 0)),
            circle(0.75, 0.85, 0.2, filled=True),
        )
    elif style == "iec":
        inside = (line((-1.06, -1.06), (1.06, 1.06)), line((-1.06, 1.06), (1.06, -1.06)))
    else:
        inside = (
            line((-1.5, 0), (-0.6, 0)),
            Stroke((("M", (-0.6, 0.0)), ("C", (-0.6, -1.3, 0.6, -1.3, 0.6, 0.0)))),
            line((0.6, 0), (1.5, 0)),
        )
    return two_ended(ends_of(part), (ring, *inside), 1.5, high=1.5)


def choke(part: Part, style: Style) -> Symbol:
    """Four humps under two core lines (US: two, IEC: one); a field coil has no core line here."""
    field = "field-coil" in part.words
    cores = () if field else ((-1.35,) if style == "iec" else (-1.3, -1.65))
    return two_ended(
        ends_of(part),
        (
            humps(-2, 0, 4, 0.5),
            line((-2, 0), (-2, 0)),
            *(line((-2, y), (2, y)) for y in cores),
        ),
        2,
        high=1.7 if cores else 0.8,
    )


def dummy_load(part: Part, style: Style) -> Symbol:
    """A resistor in a frame."""
    frame = rectangle(-2.4, -1.2, 2.4, 1.2, weight="thin", dashed=True)
    return two_ended(ends_of(part), (*_zigzag(style), frame), 2.4, high=1.2)


def battery(part: Part, style: Style) -> Symbol:
    """Two cells, the long plate positive."""
    del style
    cells = []
    for x, high in ((-0.9, 1.4), (-0.3, 0.7), (0.3, 1.4), (0.9, 0.7)):
        cells.append(line((x, -high), (x, high), weight="line" if high > 1 else "bold"))
    plus = (line((-1.6, -1.0), (-1.6, -1.8)), line((-2.0, -1.4), (-1.2, -1.4)))
    return two_ended(ends_of(part, ("plus", "minus")), (*cells, *plus), 0.9, high=1.8)


def conductor(part: Part, style: Style) -> Symbol:
    """Two short strokes across the wire: a trace or wire that can be cut; its ends are 2 u out."""
    del style
    first, second = ends_of(part)
    return Symbol(
        (Lead((first,), -2, 0, "left"), Lead((second,), 2, 0, "right")),
        (line((-2, 0), (2, 0)), line((-0.35, 0.6), (-0.05, -0.6)), line((0.05, 0.6), (0.35, -0.6))),
        Box(-0.5, -0.6, 0.5, 0.6),
    )


def cable_core(first: str, second: str, screen: tuple[str, ...]) -> Symbol:
    """One core of a shielded cable, a dashed oval round it, the ends of the screen below it."""
    leads = [Lead((first,), -3, 0, "left"), Lead((second,), 3, 0, "right")]
    strokes = [
        line((-3, 0), (3, 0)),
        Stroke(
            (
                ("M", (-2.0, 0.0)),
                ("C", (-2.0, -1.3, 2.0, -1.3, 2.0, 0.0)),
                ("C", (2.0, 1.3, -2.0, 1.3, -2.0, 0.0)),
            ),
            weight="thin",
            dashed=True,
        ),
    ]
    for terminal, x in zip(screen, (-1, 1), strict=False):
        leads.append(Lead((terminal,), x, 2, "down"))
        strokes.append(line((x, 0.9), (x, 2)))
    return Symbol(tuple(leads), tuple(strokes), Box(-2, -1, 2, 1.1))


def gas_regulator(part: Part, style: Style) -> Symbol:
    """A circle with plate and cold cathode and the gas dot."""
    del style
    return two_ended(
        ends_of(part, ("anode", "cathode")),
        (
            circle(0, 0, 1.6),
            line((-1.6, 0), (-0.6, 0)),
            line((-0.6, -0.8), (-0.6, 0.8), weight="bold"),
            circle(0.5, 0, 0.35),
            line((0.85, 0), (1.6, 0)),
            circle(0.5, 0.95, 0.2, filled=True),
        ),
        1.6,
        high=1.6,
    )


def ends_of(part: Part, order: tuple[str, ...] = ()) -> tuple[str, str]:
    """Return the two terminals of a part, ``order`` first; the kind's own names where unbound."""
    named = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    named += [terminal for terminal in (*part.unused, "1", "2") if terminal not in named]
    if order and set(order) <= set(named):
        return order[0], order[1]
    return named[0], named[1]


def arrow(x: float, y: float, dx: float, dy: float) -> Stroke:
    """Return a filled arrow head with its point at (x, y), looking along (dx, dy)."""
    return shape(
        (x, y),
        (x - dx * 0.9 - dy * 0.42, y - dy * 0.9 + dx * 0.42),
        (x - dx * 0.9 + dy * 0.42, y - dy * 0.9 - dx * 0.42),
        filled=True,
    )


def pot(part: Part, style: Style) -> Symbol:
    """Upright: cw on top, ccw below, the wiper's arrow from the right; a stub for the shaft."""
    zigzag = _zigzag(style)
    upright = [
        Stroke(tuple((what, (-n[1], n[0])) for what, n in stroke.path)) if style == "us" else stroke
        for stroke in zigzag
    ]
    if style == "iec":
        upright = [rectangle(-0.7, -2, 0.7, 2)]
    strokes = [
        line((0, -3), (0, -2)),
        line((0, 2), (0, 3)),
        *upright,
        line((3, 0), (1.6, 0)),
        arrow(0.85, 0, -1, 0),
    ]
    leads = [
        Lead(("cw",), 0, -3, "up"),
        Lead(("wiper",), 3, 0, "right"),
        Lead(("ccw",), 0, 3, "down"),
    ]
    box = Box(-0.9, -2, 1.7, 2)
    tapped = part.node("tap") is not None
    if tapped:
        strokes += [line((-3, 1), (-0.7, 1)), circle(-0.7, 1, 0.25, filled=True)]
        leads.append(Lead(("tap",), -3, 1, "left"))
    if part.node("shaft") is not None:
        at = -1 if tapped else 0
        strokes += [
            line((-1.2, at), (-2, at), weight="thin", dashed=True),
            line((-2, at - 0.7), (-2, at + 0.7), weight="thin"),
            line((-2, at), (-3, at), weight="thin"),
        ]
        leads.append(Lead(("shaft",), -3, at, "left"))
        box = Box(-2.1, -2, 1.7, 2)
    return Symbol(tuple(leads), tuple(strokes), box, (Word("CW", 1.35, -1.75, 0.8),), stands=True)
