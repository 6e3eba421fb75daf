"""One part, net or conductor as a label: name, values, pins, and a strip for each end that lies on a rail.

Forms of our own, from table borders alone: a capacitor stands between two bars, a conductor between two lines, a resistor
in a plain box, everything with pins of its own in a rounded box; a hazard has a second, heavy outline and the word.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Literal

from rework.draw.colours import PALETTES, STYLES, Role, Theme, ink

#: Longer texts than this are shortened, so that one hostile name does not push everything off the page.
LONGEST = 28
Form = Literal["box", "bars", "sleeve", "rounded", "bar"]
_SIDES = {"bars": ' SIDES="LR"', "sleeve": ' SIDES="TB"', "bar": ' SIDES="B"'}
NAME, VALUE, PIN = 10, 9, 8.5


@dataclass(frozen=True, slots=True)
class Strip:
    """An end told as a filled strip with the node's name instead of a line: terminals, text, role, hazard or not, its tag."""

    terminals: str
    text: str
    role: Role
    hazard: bool = False
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin with a line: its terminal, and what is written beside it."""

    terminal: str
    text: str


@dataclass(frozen=True, slots=True)
class Face:
    """What a block shows, from top to bottom: strips, name, values, pins left and right, note, strips."""

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
    """How a block is told apart: ``state`` is "", "new", "removed" or "changed"; ``mark`` is "", "HAZARD" or "LIVE"."""

    theme: Theme = "light"
    state: str = ""
    mark: str = ""


def text(raw: str, longest: int = LONGEST) -> str:
    """Return a text for a label: shortened, steering characters replaced, markup and graphviz's escapes taken as letters."""
    clean = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in raw)
    if len(clean) > longest:
        clean = clean[: longest - 1] + "…"
    return escape(clean, quote=True).replace("\\", "\\\\")


def room(raw: str, size: float) -> str:
    """Return a least width for a cell whose letters the renderer cannot measure, or nothing where it can."""
    shown = raw[:LONGEST]
    return "" if shown.isascii() else f' WIDTH="{sum(0.6 if letter.isascii() else 1.0 for letter in shown) * size:.0f}"'


def block(face: Face, look: Look) -> str:
    """Return the HTML-like label of a block, with a port for every pin that has a line."""
    palette = PALETTES[look.theme]
    faded = palette.removed if look.state == "removed" else palette.ink
    rows = [_strip(strip, look) for strip in face.top]
    told = " ".join(word for word in (look.mark, look.state) if word)
    if told:
        colour = palette.hazard if look.mark == "HAZARD" else palette.ink
        rows.append(_row(f"<B>{told}</B>", "", PIN, colour))
    name = f"<S>{text(face.title)}</S>" if look.state == "removed" else text(face.title)
    rows.append(_row(f"<B>{name}</B>", room(face.title, NAME), NAME, faded))
    rows += [_row(text(line), room(line, VALUE), VALUE, faded) for line in face.lines]
    for index in range(max(len(face.left), len(face.right))):
        cells = [_pin(side[index], align) if index < len(side) else "<TD></TD>"
                 for side, align in ((face.left, "LEFT"), (face.right, "RIGHT"))]
        rows.append(f'<TR>{cells[0]}<TD WIDTH="6"></TD>{cells[1]}</TR>')
    if face.note:
        rows.append(_row(text(face.note), room(face.note, PIN), PIN, palette.faint))
    rows += [_strip(strip, look) for strip in face.bottom]
    return f"<{_outlined(''.join(rows), face.form, look)}>"


def _row(markup: str, width: str, size: float, colour: str) -> str:
    return f'<TR><TD COLSPAN="3"{width}><FONT POINT-SIZE="{size:g}" COLOR="{colour}">{markup}</FONT></TD></TR>'


def _outlined(rows: str, form: Form, look: Look) -> str:
    palette = PALETTES[look.theme]
    weight, colour = (2.5, palette.added) if look.state == "new" else (1, palette.removed if look.state == "removed" else palette.ink)
    if form in ("bars", "sleeve", "bar"):
        weight += 1
    style = ",".join(word for word in ("rounded" if form == "rounded" else "", "dashed" if look.state == "removed" else "") if word)
    styled = f' STYLE="{style}"' if style else ""
    inner = f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1.5">{rows}</TABLE>'
    padding = 4 if form == "rounded" else 1
    table = (f'<TABLE BORDER="{weight:.0f}" CELLBORDER="0" CELLSPACING="0" CELLPADDING="{padding}"{_SIDES.get(form, "")}{styled} '
             f'COLOR="{colour}" BGCOLOR="{palette.block}"><TR><TD>{inner}</TD></TR></TABLE>')
    if look.mark == "HAZARD":
        return f'<TABLE BORDER="2" CELLBORDER="0" CELLSPACING="2" CELLPADDING="0" COLOR="{palette.hazard}"><TR><TD>{table}</TD></TR></TABLE>'
    return table


def _strip(strip: Strip, look: Look) -> str:
    palette = PALETTES[look.theme]
    words = " ".join(word for word in (strip.terminals, strip.text, "!!" if strip.hazard else "") if word)
    # graphviz keeps the id of a cell only where the cell has a title too.
    named = f' ID="{escape(strip.tag)}" TITLE="{text(strip.text)}"' if strip.tag else ""
    return (f'<TR><TD COLSPAN="3" BGCOLOR="{ink(strip.role, look.theme)}"{room(words, PIN)}{named}>'
            f'<FONT POINT-SIZE="{PIN}" COLOR="{palette.on_strip}"> {text(words)} </FONT></TD></TR>')


def _pin(pin: Pin, align: str) -> str:
    return f'<TD PORT="{port(pin.terminal)}" ALIGN="{align}"{room(pin.text, PIN)}><FONT POINT-SIZE="{PIN}">{text(pin.text)}</FONT></TD>'


def net(name: str, role: Role, mark: str, theme: Theme, *, joint: bool) -> dict[str, str]:
    """Return the vertex of a net: its name on the line, in an outline where three or more lines meet, doubled for a hazard."""
    palette = PALETTES[theme]
    colour = palette.hazard if mark == "HAZARD" else ink(role, theme)
    words = f"{text(name)} <B>{mark}</B>" if mark else text(name)
    ring = 2 if mark == "HAZARD" else 1 if joint else 0
    cell = f'<TD{room(name, PIN)}><FONT POINT-SIZE="{PIN}" COLOR="{colour}">{words}</FONT></TD>'
    table = (f'<TABLE BORDER="{ring}" CELLBORDER="0" CELLSPACING="0" CELLPADDING="{2 if joint or ring else 1}" STYLE="rounded" COLOR="{colour}" '
             f'BGCOLOR="{palette.paper}"><TR>{cell}</TR></TABLE>')
    if mark == "HAZARD":
        table = f'<TABLE BORDER="1" CELLBORDER="0" CELLSPACING="2" CELLPADDING="0" STYLE="rounded" COLOR="{colour}"><TR><TD>{table}</TD></TR></TABLE>'
    return {"shape": "plain", "label": f"<{table}>"}


def line(role: Role, theme: Theme, *, mark: str = "", state: str = "") -> dict[str, str]:
    """Return the attributes of a line in a role: colour, dash and width, doubled for a hazard."""
    palette = PALETTES[theme]
    style, width = STYLES[role]
    if mark == "HAZARD":
        return {"color": f"{palette.hazard}:{palette.paper}:{palette.hazard}", "penwidth": "1.4", "style": "solid"}
    if state == "removed":
        return {"color": palette.removed, "penwidth": "1", "style": "dashed"}
    return {"color": ink(role, theme), "penwidth": f"{width:g}", "style": style}


def port(terminal: str) -> str:
    """Return a port name that no terminal's letters can break."""
    return "t" + "".join(letter if letter.isalnum() and letter.isascii() else f"_{ord(letter):x}" for letter in terminal)
