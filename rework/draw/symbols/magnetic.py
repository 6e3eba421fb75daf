"""Transformers of every sort, upright: windings on both sides of the core, a tap every 3 u; line
filters and relays.

The first winding is at the left with any other primary, the others at the right; the core has two
lines (US) or one (IEC); a screen is a dashed line beside it. A dot is at the start of each winding,
its volts are between its leads. From memory of IEEE 315-1975 and IEC
60617.
"""

from __future__ import annotations

from dataclasses import replace

from rework.circuit.parts import Part, strands
from rework.draw.symbols.ends import switch
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
    turned,
)

#: Units between two neighbouring taps, from the core's middle to a winding, and to its leads.
_TAP, _COIL, _LEAD = 3, 1.1, 4
#: Size of the volts written at a winding, and where: between its leads, outside of the coil.
_VOLTS, _AT = 0.9, 2.75
#: Units between two windings of one side: what hangs in the row of the upper stays clear of the
#: lower.
_BETWEEN = 5
#: Length of a plain winding, and of one that a bridge rectifier may stand at, lead facing lead.
_PLAIN, _HIGH_VOLTAGE = 6, 8


def transformer(part: Part, style: Style) -> Symbol:
    """Return the symbol of a transformer of any number of windings, taps, screens and a core."""
    runs = [run for run in strands(part) if len(run) > 1]
    single = [run[0] for run in strands(part) if len(run) == 1]
    left = [run for run in runs if run[0].startswith("primary")] or runs[:1]
    right = sorted((run for run in runs if run not in left), key=_rank)
    if part.kind == "autotransformer":
        left, right = runs, []
    height = max(_height(part, left), _height(part, right), _TAP)
    leads: list[Lead] = []
    strokes: list[Stroke] = []
    words: list[Word] = []
    for side, group in ((-1, left), (1, right)):
        top = 0 if height > 12 else (height - _height(part, group)) // 2
        for run in group:
            long = _long(part, run)
            _winding(run, long, side, top, leads, strokes)
            strokes.append(circle(side * 1.75, top + 0.55, 0.17, filled=True))
            words += _volts(part, run, side, top)
            top += long + _BETWEEN
    strokes += [
        line((x, -0.2), (x, height + 0.2)) for x in ((0,) if style == "iec" else (-0.25, 0.25))
    ]
    for number, terminal in enumerate(single):
        x = (0, -1, 1)[number] if number < 3 else number
        if terminal.startswith("core"):
            strokes.append(line((x, height + 0.2), (x, height + 1)))
        else:
            strokes.append(line((-0.6, -0.2), (-0.6, height + 0.2), weight="thin", dashed=True))
            strokes.append(line((-0.6, height + 0.2), (x, height + 0.6), (x, height + 1)))
        leads.append(Lead((terminal,), x, height + 1, "down", ""))
    box = Box(-2, -0.3, 2, height + 0.3)
    return Symbol(tuple(leads), tuple(strokes), box, tuple(words), stands=True)


def _rank(run: tuple[str, ...]) -> int:
    """Return where a winding comes on its side: that of a rectifier's heater beside high voltage,
    other heaters last.
    """
    names = ("rectifier", "heater")
    return next((rank for rank, name in enumerate(names, 1) if run[0].startswith(name)), 0)


def _volts(part: Part, run: tuple[str, ...], side: int, top: int) -> list[Word]:
    """Return the volts of a winding as a word between its first two leads."""
    values = dict(part.windings).get(run[0].partition(".")[0], ())
    volts = next((value for value in values if value.dimension == "voltage"), None)
    if volts is None:
        return []
    pitch = _long(part, run) / (len(run) - 1)
    return [Word(f"{volts.amount:g} V", side * _AT, top + pitch / 2 + 0.1, _VOLTS)]


def _winding(
    run: tuple[str, ...],
    long: int,
    side: int,
    top: int,
    leads: list[Lead],
    strokes: list[Stroke],
) -> None:
    pitch = long // (len(run) - 1)
    coil = turned(
        Symbol((), (humps(0, 0, 2 * long // 2, 0.5),), Box(0, 0, 0, 0)), 1, mirrored=False
    ).strokes[0]
    # A quarter turn clockwise makes the humps look right; those of the left side must do so.
    flip = -1 if side > 0 else 1
    strokes.append(
        Stroke(
            tuple(
                (
                    what,
                    tuple(
                        number * flip + side * _COIL if index % 2 == 0 else number + top
                        for index, number in enumerate(numbers)
                    ),
                )
                for what, numbers in coil.path
            )
        )
    )
    for number, terminal in enumerate(run):
        y = top + number * pitch
        leads.append(Lead((terminal,), side * _LEAD, y, "left" if side < 0 else "right"))
        strokes.append(line((side * _COIL, y), (side * _LEAD, y)))


def _long(part: Part, run: tuple[str, ...]) -> int:
    """Return the length of a winding: 3 u a tap, more for a plain pair of ends."""
    if len(run) == 2:
        feeds = part.kind == "transformer" and run[0].startswith(("secondary", "hv"))
        return _HIGH_VOLTAGE if feeds else _PLAIN
    return _TAP * (len(run) - 1)


def _height(part: Part, group: list[tuple[str, ...]]) -> int:
    return sum(_long(part, run) for run in group) + _BETWEEN * max(0, len(group) - 1)


def relay(part: Part, style: Style) -> Symbol:
    """The contacts of a switch over the coil that moves them, a box with a slanted line, joined by
    the dashed line of the armature.
    """
    coil = ("coil1", "coil2")
    contacts = switch(
        replace(
            part,
            pins=tuple(pin for pin in part.pins if pin[0] not in (*coil, "frame")),
            unused=tuple(name for name in part.unused if name not in coil),
        ),
        style,
    )
    y = max(lead.y for lead in contacts.leads) + 3
    return Symbol(
        (*contacts.leads, Lead(("coil1",), -3, y, "left"), Lead(("coil2",), 3, y, "right")),
        (
            *contacts.strokes,
            line((0, -0.6), (0, y - 1), weight="thin", dashed=True),
            rectangle(-1.5, y - 1, 1.5, y + 1),
            line((-0.7, y + 1), (0.7, y - 1)),
            line((-3, y), (-1.5, y)),
            line((1.5, y), (3, y)),
        ),
        replace(contacts.body, bottom=y + 1),
        stands=True,
    )


def inlet_filter(part: Part, style: Style) -> Symbol:
    """Two coils on one core in a case, the line at the left and what is filtered at the right."""
    del style
    has_earth = part.node("earth") is not None
    bottom = 7.0 if has_earth else 4.0
    strokes = [rectangle(-3.2, -1, 3.2, bottom)]
    strokes += [line((-1.5, y), (1.5, y)) for y in (1.35, 1.65)]
    leads: list[Lead] = []
    for y, name in ((0, "line"), (3, "neutral")):
        strokes += [
            line((-4, y), (-1.5, y)),
            humps(-1.5, y, 3, 0.5, up=y == 0),
            line((1.5, y), (4, y)),
        ]
        leads += [Lead((name,), -4, y, "left"), Lead((f"{name}-out",), 4, y, "right")]
    words = [Word("L", -2.5, 0.7, 0.85), Word("N", -2.5, 3.7, 0.85)]
    if has_earth:
        strokes.append(line((-4, 6), (-3.2, 6)))
        leads.append(Lead(("earth",), -4, 6, "left"))
        words.append(Word("E", -2.5, 6, 0.85))
    body = Box(-3.2, -1, 3.2, bottom)
    return Symbol(tuple(leads), tuple(strokes), body, tuple(words), stands=True)
