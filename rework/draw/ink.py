"""A sheet as SVG: symbols, wires, dots, signs and words, each in a group that says what it is.

``data-part`` (with ``data-unit``, ``data-kind`` and ``data-state``), ``data-node``, ``data-pin``
and ``data-wire`` are those of every drawing of this package (``rework.draw.tags``).
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.draw.colours import PALETTES, Palette, Role, Theme, ink
from rework.draw.layout.wording import SIZE, SMALL, STEP, Label
from rework.draw.lettered import number_at
from rework.draw.lettering import FAMILY, width
from rework.draw.schematic import Note, Placed, Schematic, Sign
from rework.draw.symbols.ends import CHASSIS, EARTH
from rework.draw.symbols.pen import Lead, Stroke, line, shape
from rework.draw.tags import as_attributes
from rework.draw.tags import plain as escape

#: Widths of lines in u: 0.35 mm and 0.5 mm at 2.3 mm a unit, and thin.
WIDTHS = {"line": 0.155, "bold": 0.26, "thin": 0.11}
#: Rails and the line are never the thinnest.
_HEAVY: tuple[Role, ...] = ("b-plus", "line")
#: Pixels of the SVG a unit, and units of the band for the title.
SCALE, TITLE = 10.0, 4
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


def svg(sheet: Schematic, *, theme: Theme = "light") -> str:
    """Return a sheet as an SVG document."""
    inks = Inks(theme, PALETTES[theme])
    box = sheet.box
    wide, high = box.right - box.left, box.bottom - box.top + TITLE
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide * SCALE:.0f}"'
        f' height="{high * SCALE:.0f}" viewBox="{box.left:.2f} {box.top - TITLE:.2f} {wide:.2f}'
        f" {high:.2f}\" font-family=\"'{FAMILY}', 'Source Sans 3', sans-serif\">",
        f'<rect x="{box.left}" y="{box.top - TITLE}" width="{wide}" height="{high}"'
        f' fill="{inks.palette.paper}"/>',
        _text(sheet.title, box.left + 1, box.top - 1.4, 2.0, inks.palette.ink, bold=True),
    ]
    out += _wires(sheet, inks)
    for placed in sheet.placed:
        out += _part(placed, inks)
    out += [_sign(sign, inks) for sign in sheet.signs]
    out += [_note(note, inks) for note in sheet.notes]
    out.append("</svg>")
    return "\n".join(out) + "\n"


def _wires(sheet: Schematic, inks: Inks) -> list[str]:
    """Return a group a net, with its runs and dots."""
    nets: dict[str, list[str]] = {}
    for run in sheet.runs:
        thick = 0.2 if run.role in _HEAVY else WIDTHS["line"]
        (x1, y1), (x2, y2) = run.start, run.stop
        nets.setdefault(run.net, []).append(
            f'<path d="M{x1} {y1}L{x2} {y2}" stroke="{inks.of(run.role)}" stroke-width="{thick}"'
            ' fill="none" stroke-linecap="round"/>'
        )
    for dot in sheet.dots:
        nets.setdefault(dot.net, []).append(
            f'<circle cx="{dot.at[0]}" cy="{dot.at[1]}" r="0.36" fill="{inks.of(dot.role)}"/>'
        )
    out = []
    for net, drawn in nets.items():
        facts = as_attributes({"node": net})
        out += [f'<g class="edge"{facts}>', f"<title>{escape(net)}</title>", *drawn, "</g>"]
    return out


def _part(placed: Placed, inks: Inks) -> list[str]:
    palette = inks.palette
    facts = as_attributes({"part": placed.part, "unit": placed.unit, "kind": placed.kind})
    out = [f'<g class="node"{facts}>', f"<title>{escape(placed.part)}</title>"]
    out.append(f'<g transform="translate({placed.x} {placed.y})">')
    out += [path(stroke, palette.ink, palette.paper) for stroke in placed.symbol.strokes]
    for word in placed.symbol.words:
        out.append(
            _text(word.text, word.x, word.y + 0.33 * word.size, word.size, palette.ink, "middle")
        )
    out += [_number(placed, lead, palette.ink) for lead in placed.symbol.leads if lead.number]
    out.append("</g>")
    out += _label(placed.label, palette.ink)
    out.append("</g>")
    return out


def path(stroke: Stroke, colour: str, paper: str) -> str:
    """Return a stroke as an SVG path."""
    steps = "".join(
        what + " ".join(f"{number:.3g}" for number in numbers) for what, numbers in stroke.path
    )
    fill = colour if stroke.filled else paper if stroke.blank else "none"
    dash = ' stroke-dasharray="0.5 0.35"' if stroke.dashed else ""
    return (
        f'<path d="{steps}" fill="{fill}" stroke="{colour}"'
        f' stroke-width="{WIDTHS[stroke.weight]}"{dash} stroke-linejoin="round"'
        ' stroke-linecap="round"/>'
    )


def _number(placed: Placed, lead: Lead, colour: str) -> str:
    x, y, anchor = number_at(lead)
    facts = as_attributes({"pin": f"{placed.part}.{lead.terminals[0]}"})
    return f"<g{facts}>{_text(lead.number, x, y, SMALL, colour, anchor)}</g>"


def _label(label: Label, colour: str) -> list[str]:
    return [
        _text(text, label.x, label.y + number * STEP, SIZE, colour, label.anchor, bold=number == 0)
        for number, text in enumerate(label.lines)
    ]


def _note(note: Note, inks: Inks) -> str:
    return _text(note.text, note.x, note.y, SMALL, inks.palette.ink, note.anchor, slanted=True)


def _text(
    text: str,
    x: float,
    y: float,
    size: float,
    colour: str,
    anchor: str = "start",
    *,
    bold: bool = False,
    slanted: bool = False,
) -> str:
    """Return a line of text that takes the width it was measured with, whatever type is there."""
    how = ' font-weight="600"' if bold else ' font-style="italic"' if slanted else ""
    long = width(text, size, bold=bold)
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="{anchor}"'
        f' textLength="{long:.2f}" lengthAdjust="spacingAndGlyphs" fill="{colour}"{how}>'
        f"{escape(text)}</text>"
    )


def _sign(sign: Sign, inks: Inks) -> str:
    palette = inks.palette
    if sign.kind == "flag":
        return ""
    strokes = (line((0, 0), (0, 1)), *_SIGNS[sign.kind])
    drawn = "".join(path(stroke, palette.ink, palette.paper) for stroke in strokes)
    x, y = (0.0, 1.72) if sign.kind == "common" else (1.7, 1.9)
    word = _text(sign.word, x, y, 0.8, palette.ink, "middle", bold=True) if sign.word else ""
    facts = as_attributes({"node": sign.net})
    return f'<g transform="translate({sign.at[0]} {sign.at[1]})"{facts}>{drawn}{word}</g>'
