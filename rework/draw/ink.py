"""A sheet as SVG: symbols, wires, dots, signs and words, each in a group that says what it is.

``data-part`` (with ``data-unit``, ``data-kind`` and ``data-state``), ``data-node``, ``data-pin``
and ``data-wire`` are those of every drawing of this package (``rework.draw.tags``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.draw.colours import PALETTES, Palette, Role, Theme, ink
from rework.draw.layout.wording import SIZE, SMALL, STEP, Label
from rework.draw.lettered import LETTER, letter_at, number_at
from rework.draw.lettering import FAMILY, width
from rework.draw.schematic import (
    DIAMOND,
    NOTE,
    NOTE_ROW,
    SIGN_ROW,
    TITLE,
    Block,
    Note,
    Placed,
    Schematic,
    Sign,
)
from rework.draw.symbols.ends import CHASSIS, EARTH
from rework.draw.symbols.pen import (
    Box,
    Lead,
    Step,
    Stroke,
    Symbol,
    cut_off,
    line,
    rectangle,
    shape,
    shifted,
)
from rework.draw.tags import as_attributes
from rework.draw.tags import plain as escape

#: Widths of lines in u: on the fullest sheet, of 1.85 mm a unit, 0.3 mm, 0.48 mm and 0.26 mm.
WIDTHS = {"line": 0.165, "bold": 0.26, "thin": 0.14}
#: Rails and the line are never the thinnest.
_HEAVY: tuple[Role, ...] = ("b-plus", "line")
#: Pixels of the SVG a unit.
SCALE = 10.0
_SIGNS: dict[str, tuple[Stroke, ...]] = {
    "common": (shape((-0.95, 1), (0.95, 1), (0, 2.3), blank=True),),
    "chassis": CHASSIS,
    "earth": EARTH,
    "flag": (),
}


@dataclass(frozen=True, slots=True)
class Inks:
    """The colours of one theme."""

    theme: Theme
    palette: Palette

    def of(self, role: Role) -> str:
        """Return the colour of a wire by its role."""
        return ink(role, self.theme)


def px(units: float) -> str:
    """Return a length in the pixels of the SVG."""
    return f"{units * SCALE:.1f}".removesuffix(".0")


#: The groups of parts as they were inked, by the name of the piece: what did not change since is
#: not inked again.
KnownInk = dict[tuple[str, bool], tuple[Placed, str]]


def svg(sheet: Schematic, *, theme: Theme = "light") -> str:
    """Return a sheet as an SVG document."""
    box = sheet.box
    wide, high = box.right - box.left, box.bottom - box.top
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide * SCALE:.0f}"'
        f' height="{high * SCALE:.0f}" viewBox="{px(box.left)} {px(box.top)} {px(wide)}'
        f" {px(high)}\" font-family=\"'{FAMILY}', 'Source Sans 3', sans-serif\">"
    )
    return "\n".join([opening, *elements(sheet, theme=theme), "</svg>"]) + "\n"


def elements(
    sheet: Schematic, *, theme: Theme = "light", known: KnownInk | None = None
) -> list[str]:
    """Return the elements of a sheet from the lowest to the highest, each whole by itself.

    ``known`` holds what the last sheet in the same theme was inked with, and is brought up to date.
    """
    inks = Inks(theme, PALETTES[theme])
    known = {} if known is None else known
    box = sheet.box
    wide, high = box.right - box.left, box.bottom - box.top
    out = [
        f"<title>{escape(sheet.title)}</title>",
        f'<rect x="{px(box.left)}" y="{px(box.top)}" width="{px(wide)}" height="{px(high)}"'
        f' fill="{inks.palette.paper}"/>',
    ]
    out += _ways(sheet, inks)
    out += _linkages(sheet, inks)
    out += [_inked(ghost, inks, known, ghost=True) for ghost in sheet.ghosts]
    out += _wires(sheet, inks)
    out += [_inked(placed, inks, known, ghost=False) for placed in sheet.placed]
    out += [_sign(sign, inks) for sign in sheet.signs]
    out += [_diamond(x, y, inks) for x, y in sheet.moved]
    out += [_note(note, inks) for note in sheet.notes]
    if sheet.block is not None:
        out += block(sheet.block, inks)
    return out


def _inked(placed: Placed, inks: Inks, known: KnownInk, *, ghost: bool) -> str:
    """Return the group of a part, the last one where it is as it was."""
    had = known.get((placed.key, ghost))
    if had is None or had[0] != placed:
        had = placed, "\n".join(_part(placed, inks, ghost=ghost))
        known[placed.key, ghost] = had
    return had[1]


def _ways(sheet: Schematic, inks: Inks) -> list[str]:
    """Return the ways of hazards: a heavy double line under the wires, blade to hand."""
    drawn = [
        "M" + "L".join(f"{px(x)} {px(y)}" for x, y in way) for way in sheet.ways if len(way) > 1
    ]
    if not drawn:
        return []
    style = 'fill="none" stroke-linejoin="round" stroke-linecap="round"'
    out = ['<g class="way" data-state="hazard">']
    for colour, thick in ((inks.palette.hazard, 1.0), (inks.palette.paper, 0.62)):
        out += [
            f'<path d="{path}" stroke="{colour}" stroke-width="{px(thick)}" {style}/>'
            for path in drawn
        ]
    return ["\n".join([*out, "</g>"])]


def _linkages(sheet: Schematic, inks: Inks) -> list[str]:
    """Return the dashed lines of what is ganged, under the wires."""
    out = []
    for points in sheet.linkages:
        (x1, y1), *rest = points
        steps: tuple[Step, ...] = (("M", (x1, y1)), *(("L", (x, y)) for x, y in rest))
        stroke = Stroke(steps, weight="thin", dashed=True)
        drawn = path(stroke, inks.palette.ink, inks.palette.paper)
        out.append(f'<g class="linkage">{drawn}</g>')
    return out


def _diamond(x: int, y: int, inks: Inks) -> str:
    """Return the mark of a pin that went to another node."""
    corners = ((x, y - DIAMOND), (x + DIAMOND, y), (x, y + DIAMOND), (x - DIAMOND, y))
    return path(shape(*corners), inks.palette.added, inks.palette.paper)


def _wires(sheet: Schematic, inks: Inks) -> list[str]:
    """Return a group a net, with its runs and dots."""
    nets: dict[str, list[str]] = {}
    for run in sheet.runs:
        nets.setdefault(run.net, []).append(_wire(run.start, run.stop, run.role, inks))
    for dot in sheet.dots:
        nets.setdefault(dot.net, []).append(
            f'<circle cx="{px(dot.at[0])}" cy="{px(dot.at[1])}" r="{px(0.36)}"'
            f' fill="{inks.of(dot.role)}"/>'
        )
    out = []
    for net, drawn in nets.items():
        facts = as_attributes({"node": net, "line": "wire"})
        group = [f'<g class="edge"{facts}>', f"<title>{escape(net)}</title>", *drawn, "</g>"]
        out.append("\n".join(group))
    return out


def _wire(start: tuple[float, float], stop: tuple[float, float], role: Role, inks: Inks) -> str:
    thick = 0.21 if role in _HEAVY else WIDTHS["line"]
    (x1, y1), (x2, y2) = start, stop
    return (
        f'<path d="M{px(x1)} {px(y1)}L{px(x2)} {px(y2)}" stroke="{inks.of(role)}"'
        f' stroke-width="{px(thick)}" fill="none" stroke-linecap="round"/>'
    )


def _lead(placed: Placed, lead: Lead, inks: Inks) -> str:
    """Return a lead in the colour of its net, as the pin it is for."""
    pin = _pin(placed, lead)
    if pin is None:
        return ""
    stop = _root(placed.symbol, lead)
    x, y = placed.x, placed.y
    facts = as_attributes({"node": pin[1], "pin": f"{placed.part}.{pin[0]}"})
    drawn = _wire((lead.x + x, lead.y + y), (stop[0] + x, stop[1] + y), pin[2], inks)
    return f"<g{facts}>{drawn}</g>"


def _pin(placed: Placed, lead: Lead) -> tuple[str, str, Role] | None:
    """Return the pin that a lead is for, with its node and that node's role, or None."""
    return next((pin for pin in placed.pins if pin[0] in lead.terminals), None)


def _root(symbol: Symbol, lead: Lead) -> tuple[float, float]:
    """Return where a lead meets the body."""
    body = symbol.body
    return {
        "left": (min(max(body.left, lead.x), 0.0), float(lead.y)),
        "right": (max(min(body.right, lead.x), 0.0), float(lead.y)),
        "up": (float(lead.x), min(max(body.top, lead.y), 0.0)),
        "down": (float(lead.x), max(min(body.bottom, lead.y), 0.0)),
    }[lead.side]


def _bodily(placed: Placed) -> list[Stroke]:
    """Return the strokes of a part without the straight leads that are drawn in the colour of their
    nets: in two inks, one over the other, they would look thicker than the wires.
    """
    roots = {
        lead.at: _root(placed.symbol, lead)
        for lead in placed.symbol.leads
        if _pin(placed, lead) is not None
    }
    return [cut_off(stroke, roots) for stroke in placed.symbol.strokes]


def _part(placed: Placed, inks: Inks, *, ghost: bool = False) -> list[str]:
    palette = inks.palette
    colour = _colour(placed, palette, ghost=ghost)
    facts = as_attributes(
        {
            "part": placed.part,
            "unit": placed.unit,
            "kind": placed.kind,
            "state": "ghost" if ghost else placed.change,
        }
    )
    bold = placed.change == "new" and not ghost
    out = [f'<g class="node"{facts}>', f"<title>{escape(placed.part)}</title>"]
    x, y = placed.x, placed.y
    out += [] if ghost else [_touched(box) for box in (placed.body, placed.label.box)]
    for stroke in shifted(placed.symbol.strokes if ghost else _bodily(placed), x, y):
        dashed = stroke.dashed or ghost
        weight = "bold" if bold and stroke.weight == "line" else "thin" if ghost else stroke.weight
        out.append(path(replace(stroke, dashed=dashed, weight=weight), colour, palette.paper))
    if not ghost:
        out += [_lead(placed, lead, inks) for lead in placed.symbol.leads]
    for word in placed.symbol.words:
        low = y + word.y + 0.33 * word.size
        out.append(text(word.text, x + word.x, low, word.size, colour, "middle"))
    if not ghost:
        out += [_number(placed, lead, colour) for lead in placed.symbol.leads if lead.number]
    out += _label(placed.label, palette.hazard if placed.hazard else colour, palette)
    out.append("</g>")
    return out


def _touched(box: Box) -> str:
    """Return an unseen rectangle that takes the pointer, so that hollow symbols can be chosen."""
    wide, high = box.right - box.left, box.bottom - box.top
    return (
        f'<rect x="{px(box.left)}" y="{px(box.top)}" width="{px(wide)}" height="{px(high)}"'
        ' fill="none" pointer-events="all"/>'
    )


def _colour(placed: Placed, palette: Palette, *, ghost: bool) -> str:
    if ghost or placed.change == "removed":
        return palette.removed
    return palette.added if placed.change == "new" else palette.ink


def path(stroke: Stroke, colour: str, paper: str) -> str:
    """Return a stroke as an SVG path."""
    steps = "".join(
        what + " ".join(px(number) for number in numbers) for what, numbers in stroke.path
    )
    fill = colour if stroke.filled else paper if stroke.blank else "none"
    dash = ' stroke-dasharray="5 3.5"' if stroke.dashed else ""
    return (
        f'<path d="{steps}" fill="{fill}" stroke="{colour}"'
        f' stroke-width="{px(WIDTHS[stroke.weight])}"{dash} stroke-linejoin="round"'
        ' stroke-linecap="round"/>'
    )


def _number(placed: Placed, lead: Lead, colour: str) -> str:
    x, y, anchor = number_at(lead)
    x, y = x + placed.x, y + placed.y
    facts = as_attributes({"pin": f"{placed.part}.{lead.terminals[0]}"})
    return f"<g{facts}>{text(lead.number, x, y, SMALL, colour, anchor)}</g>"


def _label(label: Label, colour: str, palette: Palette) -> list[str]:
    return [
        text(
            row.text,
            label.x,
            label.y + number * STEP,
            SIZE,
            palette.faint if row.struck else colour,
            label.anchor,
            bold=row.bold,
            struck=row.struck,
        )
        for number, row in enumerate(label.lines)
    ]


def _note(note: Note, inks: Inks) -> str:
    live = note.kind == "live"
    colour = inks.palette.hazard if live else inks.palette.ink
    return text(note.text, note.x, note.y, SMALL, colour, note.anchor, bold=live, slanted=not live)


def text(
    words: str,
    x: float,
    y: float,
    size: float,
    colour: str,
    anchor: str = "start",
    *,
    bold: bool = False,
    slanted: bool = False,
    struck: bool = False,
) -> str:
    """Return a line of text that takes the width it was measured with, whatever type is there."""
    how = ' font-weight="600"' if bold else ' font-style="italic"' if slanted else ""
    how += ' text-decoration="line-through"' if struck else ""
    long = width(words, size, bold=bold)
    return (
        f'<text x="{px(x)}" y="{px(y)}" font-size="{px(size)}" text-anchor="{anchor}"'
        f' textLength="{px(long)}" lengthAdjust="spacingAndGlyphs" fill="{colour}"{how}>'
        f"{escape(words)}</text>"
    )


def _sign(sign: Sign, inks: Inks) -> str:
    if sign.kind == "flag":
        return ""
    facts = as_attributes({"node": sign.net})
    return f"<g{facts}>{sign_strokes(sign, *sign.at, inks)}</g>"


def sign_strokes(sign: Sign, left: float, top: float, inks: Inks) -> str:
    """Return a sign under a short lead from (left, top), with its letter."""
    palette = inks.palette
    strokes = shifted((line((0, 0), (0, 1)), *_SIGNS[sign.kind]), left, top)
    drawn = "".join(path(stroke, palette.ink, palette.paper) for stroke in strokes)
    x, y = letter_at(sign)
    x, y = x + left, y + top
    if not sign.word:
        return drawn
    return drawn + text(sign.word, x, y, LETTER, palette.ink, "middle", bold=True)


def block(words: Block, inks: Inks) -> list[str]:
    """Return the title in its box, the key of the signs, and the notes."""
    palette, box = inks.palette, words.title_box
    # the line has a width, and the box may stand at the edge of the sheet
    thick = WIDTHS["line"]
    frame = rectangle(box.left, box.top, box.right - thick, box.bottom - thick)
    out = [path(frame, palette.ink, palette.paper)]
    out.append(text(words.title, box.left + 1, box.top + 2.1, TITLE, palette.ink, bold=True))
    out.append(text(words.condition, box.left + 1, box.top + 3.8, NOTE, palette.ink))
    x, y = words.signs_box.left, words.signs_box.top
    for kind, word, meaning in words.signs:
        out.append(sign_strokes(Sign(kind, (0, 0), "", word), x + 1.7, y - 0.2, inks))
        out.append(text(meaning, x + 4.2, y + 1.7, NOTE, palette.ink))
        y += SIGN_ROW
    x, y = words.notes_box.left, words.notes_box.top
    for note in words.notes:
        y += NOTE_ROW
        hazard = note.startswith("HAZARD")
        colour = palette.hazard if hazard else palette.ink
        out.append(text(note, x, y, NOTE, colour, bold=hazard))
    return out
