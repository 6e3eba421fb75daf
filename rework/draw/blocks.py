"""One part as a block: name, values, pins, and a strip for each end that lies on a rail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from rework.circuit.parts import Part
from rework.draw.colours import PALETTES, Role, Theme, ink
from rework.draw.roles import element
from rework.language.quantity import write_value

#: Longer texts than this are shortened, so that one hostile name does not push everything off the page.
LONGEST = 28


@dataclass(frozen=True, slots=True)
class Strip:
    """An end that lies on a rail: terminal, the rail's name as shown, its role, and whether it is a hazard."""

    terminal: str
    text: str
    role: Role
    hazard: bool = False


@dataclass(frozen=True, slots=True)
class Look:
    """How a block is told apart: ``state`` is "", "new", "removed" or "changed"; ``mark`` is "", "HAZARD" or "LIVE"."""

    theme: Theme = "light"
    state: str = ""
    mark: str = ""


def text(raw: str) -> str:
    """Return a text for a label: shortened, steering characters replaced, markup escaped."""
    clean = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in raw)
    if len(clean) > LONGEST:
        clean = clean[: LONGEST - 1] + "…"
    return escape(clean, quote=True)


def block(part: Part, strips: Mapping[str, Strip], look: Look) -> str:
    """Return the HTML-like label of a part, with a port for every terminal that is not on a rail."""
    palette = PALETTES[look.theme]
    own = part.name.rpartition("/")[2]
    top = [strip for strip in strips.values() if strip.role == "b-plus"]
    bottom = [strip for strip in strips.values() if strip.role != "b-plus"]
    rows = [_strip(strip, part, look) for strip in top]
    if look.mark or look.state:
        words = " · ".join(word for word in (look.mark, look.state.upper()) if word)
        rows.append(f'<TR><TD COLSPAN="3"><FONT POINT-SIZE="7" COLOR="{palette.hazard if look.mark == "HAZARD" else palette.faint}">'
                    f"<B>{escape(words)}</B></FONT></TD></TR>")
    rows.append(f'<TR><TD COLSPAN="3"><B>{text(own)}</B></TD></TR>')
    for line in _values(part):
        rows.append(f'<TR><TD COLSPAN="3"><FONT POINT-SIZE="8.5"> {text(line)} </FONT></TD></TR>')
    if part.kind in ("tube", "socket", "connector", "pot", "bridge", "transformer", "output transformer", "autotransformer", "plug", "jack"):
        rows += _pin_rows(part, strips, palette.faint)
    rows += [_strip(strip, part, look) for strip in bottom]
    border, colour, style = _outline(look)
    table = (f'<TABLE BORDER="{border}" CELLBORDER="0" CELLSPACING="0" CELLPADDING="2" STYLE="{style}" COLOR="{colour}" '
             f'BGCOLOR="{palette.block}">' + "".join(rows) + "</TABLE>")
    if look.mark == "HAZARD":
        table = (f'<TABLE BORDER="2" CELLBORDER="0" CELLSPACING="2" CELLPADDING="0" STYLE="rounded" COLOR="{colour}"><TR><TD>{table}</TD></TR></TABLE>')
    return f"<{table}>"


def _outline(look: Look) -> tuple[int, str, str]:
    palette = PALETTES[look.theme]
    if look.mark == "HAZARD":
        return 2, palette.hazard, "rounded"
    if look.state == "new":
        return 2, palette.added, "rounded"
    if look.state == "removed":
        return 1, palette.removed, "rounded,dashed"
    return 1, palette.ink, "rounded"


def _strip(strip: Strip, part: Part, look: Look) -> str:
    palette = PALETTES[look.theme]
    word = f"{_short(part, strip.terminal)} " if _short(part, strip.terminal) else ""
    fill = ink(strip.role, look.theme)
    name = f"{word}{strip.text}"
    mark = " ‼" if strip.hazard else ""
    return (f'<TR><TD COLSPAN="3" BGCOLOR="{fill}" PORT="{_port(strip.terminal)}"><FONT POINT-SIZE="7.5" COLOR="{palette.on_strip}">'
            f" {text(name)}{mark} </FONT></TD></TR>")


def _short(part: Part, terminal: str) -> str:
    """Return what a strip says of its terminal: pin and element of a tube, nothing for a resistor's ends."""
    if part.kind == "tube":
        return f"{terminal} {_element_word(part, terminal)}".strip()
    return "" if terminal in ("1", "2", "metal", "stud") and part.kind not in ("socket", "connector") else terminal.replace(".start", "").replace(".finish", " end")


def _element_word(part: Part, terminal: str) -> str:
    return {"heater1": "heater", "heater2": "heater", "suppressor": "suppr."}.get(name := element(part, terminal), name)


def _values(part: Part) -> list[str]:
    told = [part.type] if part.type else []
    if part.kind in ("tube", "resistor", "capacitor", "electrolytic", "fuse", "choke", "pot", "thermistor"):
        first = [write_value(value) for value in part.values if value.dimension not in ("fraction", "power", "voltage") or part.kind == "fuse"][:1]
        rating = [write_value(value) for value in part.values if value.dimension in ("voltage", "power")][:1] if part.kind not in ("pot", "fuse") else []
        return told + [" ".join(first + rating)] if first or rating else told
    named = {"output transformer": "output transf.", "shielded cable": "shielded"}.get(part.kind, part.kind)
    return [" ".join([named, *told])] + [write_value(value) for value in part.values if value.dimension in ("resistance", "apparent-power")][:1]


def _pin_rows(part: Part, strips: Mapping[str, Strip], faint: str) -> list[str]:
    """Return the rows of pins that are not on a rail: inputs on the left, outputs on the right."""
    free = [(terminal, node) for terminal, node in part.pins if terminal not in strips]
    left = [terminal for terminal, _ in free if _side(part, terminal) == "left"]
    right = [terminal for terminal, _ in free if _side(part, terminal) == "right"]
    rows = []
    for index in range(max(len(left), len(right))):
        cells = [_pin(part, side[index], align) if index < len(side) else '<TD COLSPAN="1"></TD>'
                 for side, align in ((left, "LEFT"), (right, "RIGHT"))]
        rows.append(f"<TR>{cells[0]}<TD> </TD>{cells[1]}</TR>")
    if part.unused:
        rows.append(f'<TR><TD COLSPAN="3"><FONT POINT-SIZE="7" COLOR="{faint}">unused {text(" ".join(part.unused))}</FONT></TD></TR>')
    return rows


def _pin(part: Part, terminal: str, align: str) -> str:
    word = f"{terminal} {_element_word(part, terminal)}".strip() if part.kind == "tube" else terminal
    return f'<TD PORT="{_port(terminal)}" ALIGN="{align}"><FONT POINT-SIZE="8">{text(word)}</FONT></TD>'


def _side(part: Part, terminal: str) -> str:
    if part.kind == "tube":
        return "left" if element(part, terminal) in ("grid", "suppressor", "heater1", "diode1", "diode2", "diode3") else "right"
    if part.kind in ("transformer", "output transformer", "autotransformer"):
        return "left" if terminal.startswith(("primary", "winding.start")) else "right"
    if part.kind == "pot":
        return "left" if terminal == "cw" else "right"
    if part.kind == "bridge":
        return "left" if terminal.startswith("ac") else "right"
    if part.kind == "connector":
        return "right" if "socket" in part.words else "left"
    return "right"


def _port(terminal: str) -> str:
    """Return a port name that no terminal's letters can break."""
    return "t" + "".join(letter if letter.isalnum() and letter.isascii() else f"_{ord(letter):x}" for letter in terminal)


def port(part: Part, terminal: str) -> str:
    """Return the port of a terminal, or nothing for blocks whose ends need none."""
    return _port(terminal) if part.kind in ("tube", "socket", "connector", "pot", "bridge", "transformer", "output transformer",
                                            "autotransformer", "plug", "jack") else ""
