"""Plots as files: the name checked before any work is done, the same bytes for the same input,
written whole or not at all.
"""

from __future__ import annotations

import io
from collections.abc import Collection, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rework.circuit.place import Problem
from rework.language.files import Refusal, refuse_taken, write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from rework.solve.arrays import Floats

KINDS = (".svg", ".png", ".pdf")
#: Line styles that tell curves apart without colour.
STYLES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 3)))


def wanted_picture(path: str | None, *, force: bool, sources: Collection[Path] = ()) -> None:
    """Raise Refusal where a picture of that name cannot be written."""
    if path is None:
        return
    if Path(path).suffix.lower() not in KINDS:
        raise Refusal(
            Problem(f"{path} is no picture", expected="a file that ends in .svg, .png or .pdf")
        )
    refuse_taken(path, force=force, sources=sources)


def blank(width: float, height: float) -> Figure:
    """Return an empty figure of so many inches, drawn without a screen."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def label_end(
    axes: Axes, x: Sequence[float] | Floats, y: Sequence[float] | Floats, text: str, top: float
) -> None:
    """Write beside the last point of a curve that lies under ``top``."""
    inside = [at for at, value in enumerate(y) if value <= top]
    if inside:
        at, last = inside[-1], inside[-1] == len(x) - 1
        axes.annotate(
            text,
            (x[at], y[at]),
            fontsize=7,
            va="center" if last else "top",
            ha="left",
            xytext=(2, 0) if last else (4, -1),
            textcoords="offset points",
            annotation_clip=False,
        )


def keep(figure: Figure, path: str, *, force: bool) -> None:
    """Write a figure. Raises Refusal where that cannot be done."""
    import matplotlib

    kind = Path(path).suffix.lower()[1:]
    held = io.BytesIO()
    undated = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}.get(kind, {})
    with matplotlib.rc_context({"svg.hashsalt": "rework", "svg.fonttype": "none"}):
        figure.savefig(held, format=kind, dpi=130, metadata=undated)
    write_whole(path, held.getvalue(), force=force)
