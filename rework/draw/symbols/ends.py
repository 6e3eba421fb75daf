"""What a drawing begins and ends with: plugs, jacks, pickups, speakers, motors, connectors,
switches, and a labelled box for what has no symbol of its own. From memory of IEEE 315-1975.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from rework.circuit.parts import Part, switch_style
from rework.draw.lettering import width
from rework.draw.symbols.passive import arrow
from rework.draw.symbols.pen import (
    AHEAD,
    Box,
    Lead,
    Side,
    Stroke,
    Style,
    Symbol,
    Word,
    arc,
    circle,
    line,
    rectangle,
    shape,
)


def plug(part: Part, style: Style) -> Symbol:
    """A box with its blades at the left: the wide one of a polarised plug, the round earth pin."""
    del style
    three = part.node("earth") is not None or "three-pin" in part.words
    bottom = 7 if three else 4
    wide = "polarised" in part.words or three
    strokes = [rectangle(-1, -1, 0.6, bottom), line((0.6, 0), (3, 0)), line((0.6, 3), (3, 3))]
    strokes += [rectangle(-2.8, -0.16, -1, 0.16, filled=True)]
    half = 0.34 if wide else 0.16
    strokes += [rectangle(-2.8, 3 - half, -1, 3 + half, filled=True)]
    leads = [Lead(("line",), 3, 0, "right"), Lead(("neutral",), 3, 3, "right")]
    words = [Word("L", -0.2, 0, 0.9), Word("N", -0.2, 3, 0.9)]
    if three:
        strokes += [
            line((0.6, 6), (3, 6)),
            rectangle(-2.6, 5.7, -1, 6.3),
            arc(-2.6, 6, 0.3, 90, 270),
        ]
        leads.append(Lead(("earth",), 3, 6, "right"))
        words.append(Word("E", -0.2, 6, 0.9))
    return Symbol(tuple(leads), tuple(strokes), Box(-3, -1, 0.7, bottom), tuple(words), stands=True)


def outlet(part: Part, style: Style) -> Symbol:
    """A box with the slots that blades go into: a load, so its leads are at the left."""
    del style
    rows = [(0, "line", "L"), (3, "neutral", "N"), (6, "earth", "E")]
    rows = rows if part.node("earth") is not None else rows[:2]
    bottom = rows[-1][0] + 1
    strokes = [rectangle(-0.8, -1, 2.4, bottom)]
    for y, name, _ in rows:
        slot = circle(1.4, y, 0.35) if name == "earth" else rectangle(0.8, y - 0.2, 2, y + 0.2)
        strokes += [slot, line((-3, y), (-0.8, y))]
    return Symbol(
        tuple(Lead((name,), -3, y, "left") for y, name, _ in rows),
        tuple(strokes),
        Box(-0.8, -1, 2.4, bottom),
        tuple(Word(letter, -0.1, y, 0.9) for y, _, letter in rows),
        stands=True,
    )


def jack(part: Part, style: Style) -> Symbol:
    """The sleeve as a bar, the tip's arm with its bend, ring and break contact where there are."""
    del style
    names = [terminal for terminal, _ in part.pins] + list(part.unused)
    rest = [name for name in names if name not in ("tip", "sleeve")]
    strokes = [
        rectangle(-2.6, -1, -1.8, 1.6),
        line((-1.2, -0.1), (-0.7, 0.7), (-0.2, 0), (3, 0)),
        line((-2.2, 1.6), (-2.2, 3), (3, 3)),
    ]
    leads = [Lead(("tip",), 3, 0, "right"), Lead(("sleeve",), 3, 3, "right")]
    bottom = 3.2
    for number, name in enumerate(rest):
        y = -2 if number == 0 else 3 + 2 * number
        leads.append(Lead((name,), 3, y, "right"))
        if name == "break":
            strokes += [line((3, y), (1, y), (1, -0.9)), arrow(1, -0.1, 0, 1)]
        elif name == "ring":
            strokes.append(line((-1.2, y), (-0.7, y + 0.7), (-0.2, y), (3, y)))
        else:
            strokes.append(line((-2.2, 3), (-2.2, y), (3, y)))
        bottom = max(bottom, y + 0.2)
    top = -2.2 if rest else -1.2
    return Symbol(tuple(leads), tuple(strokes), Box(-2.6, top, 1.4, bottom), stands=True)


def pickup(part: Part, style: Style) -> Symbol:
    """A crystal between two plates; its shield's lead below."""
    del style, part
    strokes = (
        line((-1.2, -0.9), (1.2, -0.9), weight="bold"),
        rectangle(-0.9, -0.45, 0.9, 0.45),
        line((-1.2, 0.9), (1.2, 0.9), weight="bold"),
        line((0, -0.9), (0, -1.6), (2, -1.6), (2, 0), (3, 0)),
        line((0, 0.9), (0, 3), (3, 3)),
        line((-1.2, 0), (-2.2, 0.8)),
    )
    return Symbol(
        (Lead(("signal",), 3, 0, "right"), Lead(("shield",), 3, 3, "right")),
        strokes,
        Box(-2.2, -1.7, 2.1, 3.1),
        stands=True,
    )


def microphone(part: Part, style: Style) -> Symbol:
    """A circle with the bar of its diaphragm."""
    del style, part
    return Symbol(
        (Lead(("signal",), 3, 0, "right"), Lead(("shield",), 3, 3, "right")),
        (
            circle(0, 1, 1.6),
            line((-1.6, -0.7), (-1.6, 2.7), weight="bold"),
            line((1.25, 0), (3, 0)),
            line((0, 2.6), (0, 3), (3, 3)),
        ),
        Box(-1.8, -0.8, 1.6, 3.1),
        stands=True,
    )


def speaker(part: Part, style: Style) -> Symbol:
    """A box and its horn; the frame's lead below."""
    del style
    strokes = [
        rectangle(-1, -0.6, 0.2, 3.6),
        shape((0.2, -0.6), (2, -2.4), (2, 5.4), (0.2, 3.6)),
        line((-3, 0), (-1, 0)),
        line((-3, 3), (-1, 3)),
    ]
    leads = [Lead(("1",), -3, 0, "left", "1"), Lead(("2",), -3, 3, "left", "2")]
    if part.node("frame") is not None:
        strokes += [line((-0.4, 3.6), (0, 5), (0, 6))]
        leads.append(Lead(("frame",), 0, 6, "down"))
    return Symbol(tuple(leads), tuple(strokes), Box(-1, -2.4, 2, 5.4), stands=True)


def headphones(part: Part, style: Style) -> Symbol:
    """A band over two earpieces."""
    del style
    first, second = [terminal for terminal, _ in part.pins][:2] or ("1", "2")
    return Symbol(
        (Lead((first,), -3, 0, "left"), Lead((second,), -3, 3, "left")),
        (
            arc(0.3, 1.5, 2.0, 180, 360),
            rectangle(-2.1, 1.5, -1.1, 3.6),
            rectangle(1.7, 1.5, 2.7, 3.6),
            line((-3, 0), (-1.6, 0), (-1.6, 0.8)),
            line((-3, 3), (-2.1, 3)),
        ),
        Box(-2.2, -0.6, 2.8, 3.7),
        stands=True,
    )


def motor(part: Part, style: Style) -> Symbol:
    """A circle with an M; tap above, frame below."""
    del style
    strokes = [circle(0, 0, 2), line((-3, 0), (-2, 0)), line((2, 0), (3, 0))]
    leads = [Lead(("1",), -3, 0, "left"), Lead(("2",), 3, 0, "right")]
    if part.node("tap") is not None:
        strokes.append(line((0, -2), (0, -3)))
        leads.append(Lead(("tap",), 0, -3, "up", "tap"))
    if part.node("frame") is not None:
        strokes.append(line((0, 2), (0, 3)))
        leads.append(Lead(("frame",), 0, 3, "down"))
    return Symbol(
        tuple(leads), tuple(strokes), Box(-2, -2, 2, 2), (Word("M", 0, 0, 1.5),), stands=True
    )


def connector(part: Part, style: Style) -> Symbol:
    """A column of contacts with their numbers, arrows out of a plug and into a socket."""
    del style
    strokes: list[Stroke] = []
    leads: list[Lead] = []
    names = [terminal for terminal, _ in part.pins] + list(part.unused)
    female = "socket" in part.words
    for number, name in enumerate(names):
        y = 3 * number
        leads.append(Lead((name,), -3, y, "left", name))
        strokes.append(line((-3, y), (-0.1, y)))
        if female:
            strokes.append(line((0.7, y - 0.6), (-0.1, y), (0.7, y + 0.6)))
        else:
            strokes.append(line((0.1, y - 0.6), (0.9, y), (0.1, y + 0.6)))
            strokes.append(line((-0.1, y), (0.9, y)))
    bottom = 3 * max(len(names) - 1, 0) + 1
    strokes.append(rectangle(-1.2, -1, 1.4, bottom, weight="thin", dashed=True))
    return Symbol(tuple(leads), tuple(strokes), Box(-1.2, -1, 1.4, bottom), stands=True)


#: Size of the word in a flag.
FLAG_SIZE = 1.05
_POLE = re.compile(r"(?:(?P<pole>.+)\.)?(?P<contact>[^.]+)")


def switch(part: Part, style: Style) -> Symbol:
    """One pole under another with a dashed linkage, in the position the file states; else at rest:
    open, or on the first throw. A stub of the linkage shows that it is on a pot.
    """
    closed, throw = _position(part)
    names = [terminal for terminal, _ in part.pins] + list(part.unused)
    poles: dict[str, list[str]] = {}
    for name in names:
        match = _POLE.fullmatch(name)
        poles.setdefault(match["pole"] or "" if match else "", []).append(name)
    strokes: list[Stroke] = []
    leads: list[Lead] = []
    links: list[float] = []
    y, bottom, top = 0, 0.5, -1.3
    for contacts in poles.values():
        throws = [name for name in contacts if "throw" in name or "pos" in name]
        pole = [name for name in contacts if name not in throws]
        high = _pole(pole, throws, y, leads, strokes, style, closed=closed, throw=throw)
        links.append(y - 0.6)
        bottom = y + high + 0.5
        y += high + 3
    if len(links) > 1:
        strokes.append(line((0, links[0]), (0, links[-1]), weight="thin", dashed=True))
    if part.setting("on"):
        strokes.append(line((0, links[0]), (0, top), weight="thin", dashed=True))
    return Symbol(tuple(leads), tuple(strokes), Box(-1.6, top, 1.6, bottom))


def _position(part: Part) -> tuple[bool, int]:
    """Return whether a switch of one throw is drawn closed, and on which throw any other stands; -1
    for a centre that is off.
    """
    positions = switch_style(part).positions
    stated = part.setting("in")
    at = positions.index(stated) if stated in positions else 0
    centre = positions[0] == "OFF"
    return at == 1, at - centre


def _pole(
    pole: list[str],
    throws: list[str],
    y: int,
    leads: list[Lead],
    strokes: list[Stroke],
    style: Style,
    *,
    closed: bool,
    throw: int,
) -> int:
    """Draw one pole with its contacts; return how far down it reaches."""
    dot = 0.25 if style == "us" else 0.12
    if not throws:
        first, second = pole[0], pole[1] if len(pole) > 1 else ""
        leads.append(Lead((first,), -3, y, "left"))
        strokes += [circle(-1.3, y, dot, blank=style == "us", filled=style == "iec")]
        strokes += [
            line((-3, y), (-1.3 - dot, y)),
            line((-1.1, y - 0.15), (1.1, y - (0.15 if closed else 1.2))),
        ]
        if second:
            leads.append(Lead((second,), 3, y, "right"))
            strokes += [circle(1.3, y, dot, blank=style == "us", filled=style == "iec")]
            strokes += [line((1.3 + dot, y), (3, y))]
        return 0
    high = 2 * (len(throws) - 1)
    middle = y + high // 2
    if pole:
        leads.append(Lead((pole[0],), -3, middle, "left"))
        strokes += [circle(-1.3, middle, dot, blank=style == "us", filled=style == "iec")]
        strokes += [line((-3, middle), (-1.3 - dot, middle))]
    onto = y + 2 * throw + 0.1 if 0 <= throw < len(throws) else middle - 0.9
    strokes.append(line((-1.1, middle - 0.1), (1.05, onto)))
    for number, name in enumerate(throws):
        at = y + 2 * number
        leads.append(Lead((name,), 3, at, "right"))
        strokes += [circle(1.3, at, dot, blank=style == "us", filled=style == "iec")]
        strokes += [line((1.3 + dot, at), (3, at))]
    return high


def chassis_metal(part: Part, style: Style) -> Symbol:
    """The metal of a chassis, or the stud of the earth: its sign under a short lead."""
    del style
    terminal = next((name for name, _ in part.pins), "metal")
    return Symbol(
        (Lead((terminal,), 0, 0, "up"),),
        (line((0, 0), (0, 1)), *(CHASSIS if part.kind == "chassis" else EARTH)),
        Box(-1.4, 0.6, 1.4, 2.3),
        stands=True,
    )


#: The three signs under a lead that ends at (0, 1).
CHASSIS = (
    line((-1.2, 1), (1.2, 1)),
    line((-1.0, 1), (-1.5, 2)),
    line((0.1, 1), (-0.4, 2)),
    line((1.2, 1), (0.7, 2)),
)
EARTH = (line((-1, 1), (1, 1)), line((-0.65, 1.5), (0.65, 1.5)), line((-0.3, 2), (0.3, 2)))


def flag(word: str) -> Symbol:
    """A pointed flag with a word: the net goes on elsewhere. Its lead is at the left."""
    long = width(word, FLAG_SIZE) + 0.9
    return Symbol(
        (Lead(("1",), 0, 0, "left"),),
        (shape((0, 0), (0.7, -0.8), (0.7 + long, -0.8), (0.7 + long, 0.8), (0.7, 0.8)),),
        Box(0.4, -0.8, 0.7 + long, 0.8),
        (Word(word, 0.7 + long / 2, 0, FLAG_SIZE),),
    )


def box(names: Sequence[str]) -> Symbol:
    """A labelled box with its terminals by name, those that lead out at the right: no symbol of its
    own.
    """
    out = [name for name in names if "out" in re.split(r"[.-]", name)]
    half = (len(names) + 1) // 2
    rows = (
        ([name for name in names if name not in out], out) if out else (names[:half], names[half:])
    )
    longest = max((len(name) for name in names), default=1)
    edge = max(2, round(longest * 0.55) + 1)
    leads, strokes, words = [], [], []
    high = max(3 * max(map(len, rows)) - 1, 2)
    sides: tuple[Side, ...] = ("left", "right")
    for side, listed in zip(sides, rows, strict=True):
        toward = AHEAD[side][0]
        for number, name in enumerate(listed):
            y = 3 * number
            leads.append(Lead((name,), toward * (edge + 1), y, side))
            strokes.append(line((toward * (edge + 1), y), (toward * edge, y)))
            reach = width(name, 0.85) / 2 + 0.3
            words.append(Word(name, toward * (edge - reach), y, 0.85))
    strokes.append(rectangle(-edge, -1, edge, high - 1))
    return Symbol(
        tuple(leads), tuple(strokes), Box(-edge, -1, edge, high - 1), tuple(words), stands=True
    )
