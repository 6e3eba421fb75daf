"""From DOT to an SVG, PNG or PDF, by the renderer that pip installed or the machine's own."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import Literal

from rework.draw.paper import CannotConvert, to_pdf
from rework.draw.tags import spread

Renderer = Literal["embedded", "system"]
#: A drawing that takes longer than this is given up.
_SECONDS = 120


class CannotDraw(RuntimeError):
    """Nothing could be drawn; the message says what to do."""


def _program(renderer: Renderer) -> str:
    if renderer == "system":
        program = shutil.which("dot")
        if program is None:
            raise CannotDraw(
                "there is no dot on this machine; leave --renderer out, or install graphviz"
            )
        return program
    beside = Path(sys.executable).parent / "graphviz-pure"
    program = str(beside) if beside.exists() else shutil.which("graphviz-pure")
    if program is None:
        raise CannotDraw(
            "the renderer graphviz-pure is missing; install it with: pip install graphviz-pure"
        )
    return program


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
        message = done.stderr.decode(errors="replace").strip().splitlines()
        raise CannotDraw(
            f"the renderer could not draw this: {message[0] if message else 'it says nothing'}"
        )
    return done.stdout


def rendered(
    dot_source: str, format_: str, *, renderer: Renderer = "embedded", placed: bool = False
) -> bytes:
    """Return a drawing as the bytes of an svg, png or pdf file. Raises CannotDraw."""
    if format_ == "png":
        return run(dot_source, format_, renderer=renderer, placed=placed)
    svg = run(dot_source, "svg", renderer=renderer, placed=placed)
    drawn = spread(svg.decode())
    if format_ == "svg":
        return drawn.encode()
    try:
        return to_pdf([drawn])
    except CannotConvert as error:
        raise CannotDraw(str(error)) from error


def layout(dot_source: str, *, renderer: Renderer = "embedded") -> str:
    """Return where graphviz places everything, as its JSON. Raises CannotDraw."""
    return run(dot_source, "json", renderer=renderer).decode()
