"""From SVG to the bytes of a PNG or PDF: resvg and typst, both in Source Sans from its package."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from rework.draw.lettering import font_files

if TYPE_CHECKING:
    import typst

#: Points a millimetre, and the page of a drawing by the name of its paper, mm, lying.
PAGES = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}
_MARGIN = 8.0
_SIZE = re.compile(r'<svg\b[^>]*?\bwidth="([\d.]+)(?:pt|px)?"[^>]*?\bheight="([\d.]+)', re.DOTALL)


class CannotConvert(RuntimeError):
    """A drawing could not be turned into another format; the message says what to do."""


def paper_for(volts: float | None) -> str:
    """Return the paper of the country a line voltage belongs to: Letter up to 130 V, A4 above it
    and where none is stated.
    """
    return "letter" if volts is not None and volts <= 130 else "a4"


def named(output: Path, *words: str | None) -> Path:
    """Return a file's name with what the sheet shows behind it: ``pager-before.svg``,
    ``pager-SUPPLY.svg``.
    """
    return output.with_stem(
        "-".join([output.stem, *(word.replace("/", "-") for word in words if word)])
    )


def to_png(svg: str, *, zoom: float = 2.0) -> bytes:
    """Return an SVG drawing as a PNG picture."""
    import resvg_py

    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg,
            zoom=zoom,
            font_files=[str(path) for path in font_files()],
            font_family="Source Sans Pro",
            sans_serif_family="Source Sans Pro",
        )
    )


def size(svg: str) -> tuple[float, float]:
    """Return width and height of a drawing as it states them; zeros where it states none."""
    match = _SIZE.search(svg)
    return (float(match[1]), float(match[2])) if match else (0.0, 0.0)


def to_pdf(drawings: list[str], *, paper: str = "a4") -> bytes:
    """Return SVG drawings as a PDF, a page each, lying or upright as fits better, as large as the
    margins allow. Raises CannotConvert.
    """
    import typst

    # Drawings reach typst as data: what a netlist says is never markup there.
    try:
        return typst.compile(
            _typst_source(drawings, paper).encode(),
            font_paths=_fonts(),
            ignore_system_fonts=True,
            timestamp=0,
            sys_inputs={f"sheet{number}": svg for number, svg in enumerate(drawings)},
        )
    except (RuntimeError, ImportError) as error:
        raise CannotConvert(f"the drawing could not be turned into a PDF: {error}") from error


def _typst_source(drawings: list[str], paper: str) -> str:
    pages = []
    for number, svg in enumerate(drawings):
        wide, high = size(svg)
        page = PAGES[paper] if wide >= high else PAGES[paper][::-1]
        drawn = (
            f'image(bytes(sys.inputs.sheet{number}), format: "svg", width: 100%, height: 100%,'
            ' fit: "contain")'
        )
        pages.append(
            f"#page(width: {page[0]}mm, height: {page[1]}mm, margin: {_MARGIN}mm)"
            f"[#align(center + horizon, {drawn})]"
        )
    return "\n".join(pages)


@cache
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(include_system_fonts=False, font_paths=[str(font_files()[0].parent)])
