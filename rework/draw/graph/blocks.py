"""One part, net or conductor as a label: name, values, pins, and a strip for each end that lies on
a rail.

Forms of our own, from table borders alone: a capacitor is between two bars, a conductor between two
lines, a resistor in a plain box, everything with pins of its own in a rounded box; a hazard has a
second, heavy outline and the word.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import Literal

from rework.draw.colours import PALETTES, STYLES, Role, Theme, ink
from rework.draw.graph.leads import chips_of

#: Longer texts than this are shortened, so that one hostile name does not push everything off the
#: page.
LONGEST = 28
Form = Literal["box", "bars", "sleeve", "rounded", "bar"]
_SIDES = {"bars": ' SIDES="LR"', "sleeve": ' SIDES="TB"', "bar": ' SIDES="B"'}
NAME, VALUE, PIN = 10, 9, 9
#: Terminals of no more letters than this stand before their node instead of over it.
_SHORT = 2
#: Pins of both sides stand side by side where they have no more letters than this together.
_SIDE_BY_SIDE = 14
#: Air under a strip.
_GAP = '<TR><TD COLSPAN="3" HEIGHT="2"></TD></TR>'


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin: its terminal, what is written at it, the colour of a transformer's lead, and its tag
    where it lies on a strip.
    """

    terminal: str
    text: str
    lead: str = ""
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Strip:
    """Pins on one node, shown as a filled strip with the node's name instead of a line; ``beyond``
    is where it goes on.
    """

    pins: tuple[Pin, ...]
    text: str
    role: Role
    hazard: bool = False
    tag: str = ""
    beyond: str = ""


@dataclass(frozen=True, slots=True)
class Face:
    """What a block shows, from top to bottom: strips, name, values, pins left and right, note,
    strips.
    """

    title: str
    lines: tuple[str, ...] = ()
    form: Form = "box"
    top: tuple[Strip, ...] = ()
    bottom: tuple[Strip, ...] = ()
    left: tuple[Pin, ...] = ()
    right: tuple[Pin, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """How a block is distinguished: ``state`` is "", "new", "removed" or "changed"; ``mark`` is "",
    "HAZARD" or "LIVE".
    """

    theme: Theme = "light"
    state: str = ""
    mark: str = ""


def text(raw: str, longest: int = LONGEST) -> str:
    """Return a text for a label: shortened, steering characters replaced, markup and graphviz's
    escapes taken as letters.
    """
    clean = "".join(
        letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in raw
    )
    if len(clean) > longest:
        clean = clean[: longest - 1] + "…"
    return escape(clean, quote=True).replace("\\", "\\\\")


def room(raw: str, size: float) -> str:
    """Return a least width for a cell whose letters the renderer cannot measure, or nothing where
    it can.
    """
    shown = raw[:LONGEST]
    return (
        ""
        if shown.isascii()
        else f' WIDTH="{sum(0.6 if letter.isascii() else 1.0 for letter in shown) * size:.0f}"'
    )


def block(face: Face, look: Look) -> str:
    """Return the HTML-like label of a block, with a port for every pin that has a line."""
    palette = PALETTES[look.theme]
    faded = palette.removed if look.state == "removed" else palette.ink
    rows = _strips(face.top, look)
    rows += [_GAP] if rows else []
    if look.mark:
        rows.append(
            _row(
                f"<B>{look.mark}</B>",
                "",
                PIN,
                palette.hazard if look.mark == "HAZARD" else palette.ink,
            )
        )
    name = f"<S>{text(face.title)}</S>" if look.state == "removed" else text(face.title)
    state = (
        f'<FONT POINT-SIZE="{PIN}" COLOR="{palette.ink}"> {look.state}</FONT>' if look.state else ""
    )
    rows.append(
        _row(f"<B>{name}</B>{state}", room(f"{face.title} {look.state}".strip(), NAME), NAME, faded)
    )
    rows += [_row(text(line), room(line, VALUE), VALUE, faded) for line in face.lines]
    for left, right in _rows_of_pins(face.left, face.right):
        if left and right:
            rows.append(
                f"<TR>{_pin(left, 'LEFT', look.theme)}<TD"
                f' WIDTH="6"></TD>{_pin(right, "RIGHT", look.theme)}</TR>'
            )
        elif left:
            rows.append(f"<TR>{_pin(left, 'LEFT', look.theme, columns=3)}</TR>")
        elif right:
            rows.append(f"<TR>{_pin(right, 'RIGHT', look.theme, columns=3)}</TR>")
    if face.note:
        rows.append(_row(text(face.note), room(face.note, PIN), PIN, palette.faint))
    rows += _strips(face.bottom, look)
    return f"<{_outlined(''.join(rows), face.form, look)}>"


def _row(markup: str, width: str, size: float, colour: str) -> str:
    return (
        f'<TR><TD COLSPAN="3"{width}><FONT POINT-SIZE="{size:g}"'
        f' COLOR="{colour}">{markup}</FONT></TD></TR>'
    )


def _outlined(rows: str, form: Form, look: Look) -> str:
    palette = PALETTES[look.theme]
    weight, colour = (
        (2.5, palette.added)
        if look.state == "new"
        else (1, palette.removed if look.state == "removed" else palette.ink)
    )
    if form in ("bars", "sleeve", "bar"):
        weight += 1
    style = ",".join(
        word
        for word in (
            "rounded" if form == "rounded" else "",
            "dashed" if look.state == "removed" else "",
        )
        if word
    )
    styled = f' STYLE="{style}"' if style else ""
    inner = f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0">{rows}</TABLE>'
    padding = 4 if form == "rounded" else 2
    table = (
        f'<TABLE BORDER="{weight:.0f}" CELLBORDER="0" CELLSPACING="0"'
        f' CELLPADDING="{padding}"{_SIDES.get(form, "")}{styled} COLOR="{colour}"'
        f' BGCOLOR="{palette.block}"><TR><TD>{inner}</TD></TR></TABLE>'
    )
    if look.mark == "HAZARD":
        return (
            '<TABLE BORDER="2" CELLBORDER="0" CELLSPACING="2" CELLPADDING="0"'
            f' COLOR="{palette.hazard}"><TR><TD>{table}</TD></TR></TABLE>'
        )
    return table


def _strips(strips: tuple[Strip, ...], look: Look) -> list[str]:
    """Return the rows of strips, a little apart."""
    rows = [
        [
            _GAP,
            (
                '<TR><TD COLSPAN="3"'
                f' BGCOLOR="{ink(strip.role, look.theme)}">{_stacked(strip, look)}</TD></TR>'
            ),
        ]
        for strip in strips
    ]
    return list(itertools.chain.from_iterable(rows))[1:]


def _stacked(strip: Strip, look: Look) -> str:
    """Return a strip's pins and under them their node, or all in one line where that is short."""
    node = f"{strip.text} !!" if strip.hazard else strip.text
    if len(strip.pins) == 1 and len(strip.pins[0].text) <= _SHORT:
        (pin,) = strip.pins
        cells = [_in_strip(f"{pin.text} {node}".strip(), strip, pin.tag, look)]
    else:
        cells = [_in_strip(pin.text, strip, pin.tag, look, lead=pin.lead) for pin in strip.pins] + [
            _in_strip(node, strip, strip.tag, look, bold=True)
        ]
    if strip.beyond:
        cells.append(_in_strip(f"to {strip.beyond}", strip, "", look))
    return (
        f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="0">{"".join(cells)}</TABLE>'
    )


def _in_strip(
    words: str, strip: Strip, tag: str, look: Look, *, lead: str = "", bold: bool = False
) -> str:
    # graphviz keeps the id of a cell only where the cell has a title too.
    named = f' ID="{escape(tag)}" TITLE="{text(strip.text)}"' if tag else ""
    markup = f"<B>{text(words)}</B>" if bold else text(words)
    shown = _with_lead(
        f'<FONT POINT-SIZE="{PIN}" COLOR="{PALETTES[look.theme].on_strip}"> {markup} </FONT>',
        lead,
        look.theme,
    )
    return f"<TR><TD{room(words, PIN)}{named}>{shown}</TD></TR>"


def _rows_of_pins(
    left: tuple[Pin, ...], right: tuple[Pin, ...]
) -> Iterator[tuple[Pin | None, Pin | None]]:
    """Yield the pins of both sides side by side; those of the right under those of the left where
    the block would grow wide.
    """
    wide = [len(pin.text + pin.lead) for pin in (*left, *right)]
    if left and right and max(wide[: len(left)]) + max(wide[len(left) :]) > _SIDE_BY_SIDE:
        yield from ((pin, None) for pin in left)
        yield from ((None, pin) for pin in right)
    else:
        yield from itertools.zip_longest(left, right)


def _pin(pin: Pin, align: str, theme: Theme, *, columns: int = 1) -> str:
    words = _with_lead(f'<FONT POINT-SIZE="{PIN}">{text(pin.text)}</FONT>', pin.lead, theme)
    return (
        f'<TD COLSPAN="{columns}" PORT="{port(pin.terminal)}"'
        f' ALIGN="{align}"{room(pin.text, PIN)}>{words}</TD>'
    )


def _with_lead(words: str, lead: str, theme: Theme) -> str:
    """Return words with the colour of a transformer's lead behind them, and its tracer's: its name
    on a ground of it.
    """
    chips = "".join(
        f'<TD BORDER="1" COLOR="{PALETTES[theme].faint}" BGCOLOR="{ground}"><FONT'
        f' POINT-SIZE="{PIN}" COLOR="{letters}">{name}</FONT></TD>'
        for name, ground, letters in chips_of(lead, theme)
    )
    return (
        '<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="1"'
        f' CELLPADDING="0"><TR><TD>{words}</TD>{chips}</TR></TABLE>'
        if chips
        else words
    )


def net(name: str, role: Role, mark: str, theme: Theme, *, joint: bool) -> dict[str, str]:
    """Return the vertex of a net: its name on the line, in an outline where three or more lines
    meet, doubled for a hazard.
    """
    palette = PALETTES[theme]
    colour = palette.hazard if mark == "HAZARD" else ink(role, theme)
    words = f"{text(name)}<BR/><B>{mark}</B>" if mark else text(name)
    ring = 2 if mark == "HAZARD" else 1 if joint else 0
    cell = f'<TD{room(name, PIN)}><FONT POINT-SIZE="{PIN}" COLOR="{colour}">{words}</FONT></TD>'
    table = (
        f'<TABLE BORDER="{ring}" CELLBORDER="0" CELLSPACING="0"'
        f' CELLPADDING="{2 if joint or ring else 1}" STYLE="rounded" COLOR="{colour}"'
        f' BGCOLOR="{palette.paper}"><TR>{cell}</TR></TABLE>'
    )
    if mark == "HAZARD":
        table = (
            '<TABLE BORDER="1" CELLBORDER="0" CELLSPACING="2" CELLPADDING="0" STYLE="rounded"'
            f' COLOR="{colour}"><TR><TD>{table}</TD></TR></TABLE>'
        )
    return {"shape": "plain", "label": f"<{table}>"}


def line(role: Role, theme: Theme, *, mark: str = "", state: str = "") -> dict[str, str]:
    """Return the attributes of a line in a role: colour, dash and width, doubled for a hazard."""
    palette = PALETTES[theme]
    style, width = STYLES[role]
    if mark == "HAZARD":
        return {
            "color": f"{palette.hazard}:{palette.paper}:{palette.hazard}",
            "penwidth": "1.4",
            "style": "solid",
        }
    if state == "removed":
        return {"color": palette.removed, "penwidth": "1", "style": "dashed"}
    return {"color": ink(role, theme), "penwidth": f"{width:g}", "style": style}


def port(terminal: str) -> str:
    """Return a port name that no terminal's letters can break."""
    return "t" + "".join(
        letter if letter.isalnum() and letter.isascii() else f"_{ord(letter):x}"
        for letter in terminal
    )
