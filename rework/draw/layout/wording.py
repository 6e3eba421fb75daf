"""What is printed beside a symbol, and where: the name in bold, type and values under it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from rework.circuit.parts import Part
from rework.draw.layout.netlist import FLAG, Netlist, Piece, own
from rework.draw.layout.pose import Tag
from rework.draw.lettering import width
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Box, Symbol
from rework.language.quantity import write_value

#: Size of names and values, of pin numbers, and the step from line to line, in u.
SIZE, SMALL, STEP = 1.3, 0.98, 1.4
#: Margin around text, u.
MARGIN = 0.15
#: How far the body of a pot reaches to the left where its shaft is led out, at least.
_SHAFT = 1.5
#: Room for the letter of a chassis at its right, u.
_LETTER = 1.6
#: A bulb of more symbols bears its type at the first only.
_UNIT_AND_HEATER = 2
_LETTERS = {"triode1": "A", "triode2": "B"}


@dataclass(frozen=True, slots=True)
class TextLine:
    """One line of a label; ``struck`` through where it no longer holds."""

    text: str
    bold: bool = False
    struck: bool = False


@dataclass(frozen=True, slots=True)
class Label:
    """Lines of text around a symbol; ``x`` is the edge or middle the anchor says, ``y`` the base
    line of the first line.
    """

    lines: tuple[TextLine, ...]
    x: float
    y: float
    anchor: str
    box: Box

    def moved(self, dx: float, dy: float) -> Label:
        """Return the label shifted."""
        return replace(self, x=self.x + dx, y=self.y + dy, box=self.box.moved(dx, dy))


#: The label of what has no words.
NO_LABEL = Label((), 0.0, 0.0, "start", Box(0, 0, 0, 0))


def lines_of(piece: Piece, nets: Netlist) -> tuple[TextLine, ...]:
    """Return the lines printed beside a piece: its name with what became of it, what it was struck
    through, what it is.
    """
    lines = _told(piece)
    if not lines:
        return ()
    word = nets.words.get(piece.part.name, "")
    name = f"{lines[0]} {word}".strip()
    bears = piece.part.kind != "tube" or piece.part.type in " ".join(lines)
    old = nets.old.get(piece.part.name, ()) if bears else ()
    struck = tuple(TextLine(text, struck=True) for text in old)
    rest = tuple(TextLine(text) for text in lines[1:])
    return (TextLine(name, bold=True), *struck, *rest)


def _told(piece: Piece) -> tuple[str, ...]:
    part = piece.part
    name = own(part.name)
    if piece.kind == FLAG:
        return ()
    if piece.kind == bulb.HEATER_UNIT:
        return (name,) if len(bulb.units(part)) > _UNIT_AND_HEATER else (name, part.type)
    if part.kind == "tube":
        return _tube_lines(piece, name)
    if part.is_conductor:
        return (f"{name} {piece.unit}".strip(),)
    lines = [name]
    if part.kind in ("chassis", "earth"):
        return (name,)
    if part.kind == "switch" and part.setting("on"):
        lines.append(f"on {own(part.setting('on'))}")
    elif part.type:
        lines.append(part.type)
    lines += value_lines(part)
    if part.kind in ("pot",) and part.remark and len(part.remark) <= 12:
        lines.append(part.remark)
    if part.kind == "jack":
        lines += [word for word in part.words if word in ("input", "output", "speaker")][:1]
    return tuple(lines)


def _tube_lines(piece: Piece, name: str) -> tuple[str, ...]:
    unit = piece.unit
    first = is_first_unit(piece)
    if not unit:
        lines = [f"{name} {piece.part.type}".strip()]
    else:
        lines = [f"{name}{_LETTERS.get(unit, '')} {piece.part.type if first else ''}".strip()]
        lines += [unit] if unit not in _LETTERS else []
    if piece.part.unused and first:
        lines.append("NC " + ", ".join(piece.part.unused))
    return tuple(lines)


def is_first_unit(piece: Piece) -> bool:
    """True for the unit of a bulb that bears the type: the first, for all of them."""
    named = [unit.name for unit in bulb.units(piece.part)]
    return not named or piece.unit == named[0]


_SHOWN = {
    "resistor": ("resistance", "power"),
    "thermistor": ("resistance", "current"),
    "pot": ("resistance",),
    "capacitor": ("capacitance", "voltage"),
    "electrolytic": ("capacitance", "voltage"),
    "choke": ("inductance", "current"),
    "fuse": ("current", "voltage"),
    "lamp": ("voltage", "current"),
    "speaker": ("resistance", "power"),
    "transformer": ("apparent-power",),
    "motor": ("voltage", "power"),
    "plug": (),
    "switch": (),
    "connector": (),
    "output transformer": (),
}


def value_lines(part: Part) -> list[str]:
    """Return one or two lines of values, the main one first; a transformer's ratio as one line."""
    if part.kind == "output transformer":
        loads = [
            signed(write_value(value))
            for _, values in part.windings
            for value in values
            if value.role == "load"
        ]
        return [" : ".join(loads)] if loads else []
    wanted = _SHOWN.get(part.kind)
    values = [value for value in part.values if value.dimension != "fraction"]
    if wanted is not None:
        first = {value.dimension: value for value in reversed(values)}
        values = [first[dimension] for dimension in wanted if dimension in first]
    words = [signed(write_value(value)) for value in values][:2]
    if part.kind in ("fuse", "lamp", "motor", "switch"):
        return [" ".join(words)] if words else []
    return words


def signed(text: str) -> str:
    """Return a value with the signs of its units: ``150 ohm`` as 150 Ω, ``.1 uF`` as .1 µF."""
    text = re.sub(r"\s*\bohms?\b", " \N{GREEK CAPITAL LETTER OMEGA}", text)
    return re.sub(r"\bu(?=[FHAV]\b)", "\N{MICRO SIGN}", text)


def label_of(piece: Piece, symbol: Symbol, nets: Netlist, signs: Iterable[Tag]) -> Label:
    """Return the label of a piece where it is wanted first: right of what hangs, above what lies;
    clear of its own signs.
    """
    places = candidates(piece, symbol, lines_of(piece, nets))
    if piece.kind == "pot" and symbol.body.left <= -_SHAFT and _is_fed_level(piece, nets):
        places = places[1:]
    taken = [tag.box for tag in signs]
    return next(
        (label for label in places if not any(label.box.meets(box) for box in taken)), places[0]
    )


def _is_fed_level(piece: Piece, nets: Netlist) -> bool:
    """True for a pot whose upper end a source beside it feeds: no label is on the way there."""
    return any(
        other.kind in ("jack", "pickup", "microphone")
        for terminal, node in piece.pins
        if terminal in ("cw", "ccw")
        if nets.shown(node) == "wire"
        for other in nets.on[node]
    )


def candidates(piece: Piece, symbol: Symbol, lines: tuple[TextLine, ...]) -> list[Label]:
    """Return the label at every place it may have, the best first."""
    body = symbol.body
    sides = {lead.side for lead in symbol.leads}
    right = _at(lines, body.right + 0.6, (body.top + body.bottom) / 2, "start", "middle")
    left = _at(lines, body.left - 0.6, (body.top + body.bottom) / 2, "end", "middle")
    middle = (body.left + body.right) / 2
    above = _at(lines, middle, body.top - 0.35, "middle", "bottom")
    below = _at(lines, middle, body.bottom + 0.35, "middle", "top")
    corners = [
        _at(lines, body.right - 0.2, body.top - 0.1, "start", "bottom"),
        _at(lines, body.right + 0.3, body.bottom + 0.1, "start", "top"),
        _at(lines, body.left + 0.2, body.top - 0.1, "end", "bottom"),
        _at(lines, body.left - 0.3, body.bottom + 0.1, "end", "top"),
    ]
    if piece.kind in ("chassis", "earth"):
        beside = _at(lines, body.right + _LETTER, (body.top + body.bottom) / 2, "start", "middle")
        return [beside, left, *corners]
    if piece.kind == bulb.HEATER_UNIT:
        hangs = "down" in sides and sides <= {"up", "down", "left", "right"} and "left" not in sides
        return [right, left, *corners] if hangs else [below, above, *corners]
    if piece.part.kind == "tube":
        r = body.right * 0.74
        high = 0.8 * body.right + 0.2
        best = _at(lines, r, -high, "start", "bottom")
        other = _at(lines, -r, -high, "end", "bottom")
        low = _at(lines, r, high, "start", "top")
        return [best, low, other, *corners, right, left]
    if piece.kind in ("transformer", "output transformer", "autotransformer"):
        return [below, above, *corners]
    if piece.kind == "bridge":
        return [corners[1], corners[0], *corners[2:]]
    if piece.kind == "pot":
        return _pot_places(lines, body, corners)
    if sides <= {"up", "down"}:
        return [right, left, *corners]
    if (
        sides <= {"left", "right"}
        and len(symbol.leads) == 2
        and "left" in sides
        and "right" in sides
    ):
        return [above, below, *corners]
    if "right" in sides and "left" not in sides:
        return [above, left, below, *corners]
    if "left" in sides and "right" not in sides:
        return [above, right, below, *corners]
    return [above, below, *corners]


def _pot_places(lines: tuple[TextLine, ...], body: Box, corners: list[Label]) -> list[Label]:
    left = _at(lines, body.left - 0.5, body.top, "end", "bottom")
    low = _at(lines, -1.4, 2.8, "end", "top")  # under the chassis that the shaft goes to
    return [
        _at(lines, body.left - 0.5, 0, "end", "middle") if body.left > -_SHAFT else left,
        low,
        left,
        _at(lines, body.right + 0.2, body.bottom, "start", "top"),
        *corners,
    ]


def _at(lines: tuple[TextLine, ...], x: float, y: float, anchor: str, rise: str) -> Label:
    """Return a label whose edge or middle is at (x, y)."""
    wide = max((width(line.text, SIZE, bold=line.bold) for line in lines), default=0.0)
    high = STEP * len(lines) - 0.2
    top = {"top": y, "middle": y - high / 2, "bottom": y - high}[rise]
    left = {"start": x, "middle": x - wide / 2, "end": x - wide}[anchor]
    box = Box(left - MARGIN, top - MARGIN, left + wide + MARGIN, top + high + MARGIN)
    return Label(lines, x, top + 0.97, anchor, box)
