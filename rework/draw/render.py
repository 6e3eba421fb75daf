"""From DOT to the bytes of an SVG, PNG or PDF, by the renderer that pip brings along or the
machine's own.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Literal

from rework.draw.tags import spread

Renderer = Literal["embedded", "system"]
#: A4 lying and the margin that every printer can leave (5 mm), in points.
_A4, _MARGIN = (841.89, 595.28), 14.17
#: A drawing that takes longer than this is given up.
_SECONDS = 120


class CannotDraw(RuntimeError):
    """Nothing could be drawn; the message says what to do."""


def _program(renderer: Renderer) -> str:
    if renderer == "system":
        found = shutil.which("dot")
        if found is None:
            raise CannotDraw(
                "there is no dot on this machine; leave --renderer out, or install graphviz"
            )
        return found
    beside = Path(sys.executable).parent / "graphviz-pure"
    found = str(beside) if beside.exists() else shutil.which("graphviz-pure")
    if found is None:
        raise CannotDraw(
            "the renderer graphviz-pure is missing; install it with: pip install graphviz-pure"
        )
    return found


def run(
    dot_source: str, format_: str, *, renderer: Renderer = "embedded", placed: bool = False
) -> bytes:
    """Return a DOT source in one of graphviz's formats; ``placed`` sources keep the places they
    state.

    Raises CannotDraw where there is no renderer, or it fails.
    """
    engine = ["-Kneato", "-n2"] if placed else ["-Kdot"]
    try:
        done = subprocess.run(
            [
                _program(renderer),
                *engine,
                f"-T{format_}",
                *(["-Gdpi=160"] if format_ == "png" else []),
            ],
            input=dot_source.encode(),
            capture_output=True,
            timeout=_SECONDS,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise CannotDraw(f"the renderer did not finish: {error}") from error
    if done.returncode != 0 or not done.stdout:
        told = done.stderr.decode(errors="replace").strip().splitlines()
        raise CannotDraw(
            f"the renderer could not draw this: {told[0] if told else 'it says nothing'}"
        )
    return done.stdout


def rendered(
    dot_source: str, format_: str, *, renderer: Renderer = "embedded", placed: bool = False
) -> bytes:
    """Return a drawing as the bytes of an svg, png or pdf file. Raises CannotDraw."""
    if format_ == "png":
        return run(dot_source, format_, renderer=renderer, placed=placed)
    svg = run(dot_source, "svg", renderer=renderer, placed=placed)
    return spread(svg.decode()).encode() if format_ == "svg" else svg_to_pdf(svg)


def svg_to_pdf(svg: bytes) -> bytes:
    """Return an SVG drawing as one PDF page of A4, lying or upright as fits better, the drawing as
    large as the margins allow.
    """
    import io

    from reportlab.graphics import renderPDF
    from reportlab.pdfgen.canvas import Canvas
    from svglib.svglib import svg2rlg

    drawing = svg2rlg(io.BytesIO(svg))
    if drawing is None:
        raise CannotDraw(
            "the drawing could not be turned into a PDF; write an .svg or .png instead"
        )
    page = _A4 if drawing.width > drawing.height else _A4[::-1]
    scale = min(
        (side - 2 * _MARGIN) / measure
        for side, measure in zip(page, (drawing.width, drawing.height), strict=True)
    )
    written = io.BytesIO()
    canvas = Canvas(written, pagesize=page, invariant=1)
    canvas.translate((page[0] - scale * drawing.width) / 2, (page[1] - scale * drawing.height) / 2)
    canvas.scale(scale, scale)
    renderPDF.draw(drawing, canvas, 0, 0)
    canvas.save()
    return written.getvalue()


def layout(dot_source: str, *, renderer: Renderer = "embedded") -> str:
    """Return where graphviz places everything, as its JSON. Raises CannotDraw."""
    return run(dot_source, "json", renderer=renderer).decode()


def svg_to_png(svg: bytes) -> bytes:
    """Return an SVG drawing as a PNG picture at twice its size."""
    import reportlab
    import resvg_py

    # A new machine may have no fonts at all; reportlab brings Bitstream Vera along.
    fonts = [
        str(path) for path in sorted((Path(reportlab.__file__).parent / "fonts").glob("Vera*.ttf"))
    ]
    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg.decode(),
            zoom=2,
            font_files=fonts,
            font_family="Bitstream Vera Sans",
            sans_serif_family="Bitstream Vera Sans",
        )
    )
