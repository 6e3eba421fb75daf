"""What the set passes from input to load over frequency, before and after, as a plot in the type of
the page.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rework.papers.numbers import Numbers
from rework.solve.response import FREQUENCIES, Response
from rework.solve.signal import Signal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: A line's dashes: a name, or an offset with the lengths of strokes and gaps, in points.
Dash = str | tuple[float, tuple[float, ...]]
#: Dashes of the tone controls, one form each.
_TURNED: tuple[Dash, ...] = ((0, (1, 1)), (0, (1, 3)), (0, (5, 2, 1, 2)))

#: One family the embedded fonts have, then what a browser has; ``none`` keeps words as words.
_TYPE = {
    "svg.fonttype": "none",
    "svg.hashsalt": "rework",
    "font.family": "sans-serif",
    "font.size": 9.0,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
_INCHES = (7.0, 3.1)


def response(known: Numbers) -> str:
    """Return an SVG of gain over frequency, the same bytes for the same numbers; nothing where
    nothing was computed.
    """
    sides = [
        (word, side.signal, style)
        for word, side, style in (
            ("as found", known.before, (0, (4, 2))),
            ("after the job", known.after, "solid"),
        )
        if side.signal is not None
    ]
    if not sides:
        return ""
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_TYPE):  # type: ignore[arg-type]  # its keys are a closed list
        figure = Figure(figsize=_INCHES, layout="constrained")
        FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        _curves(axes, sides)
        _scales(axes, max(max(signal.responses[0].gain) for _, signal, _ in sides))
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue().decode()


def _curves(axes: Axes, sides: Sequence[tuple[str, Signal, Dash]]) -> None:
    """Draw a black line for each side, and grey ones for the tone controls of the last."""
    for word, signal, dash in sides:
        axes.loglog(
            FREQUENCIES,
            signal.responses[0].gain,
            color="black",
            linestyle=dash,
            linewidth=1.6,
            label=f"{word}, controls loudest",
        )
    for number, turned in enumerate(_turned(sides[-1][1])):
        axes.loglog(
            FREQUENCIES,
            turned.gain,
            color="#6b6b6b",
            linestyle=_TURNED[number],
            linewidth=1.0,
            label=f"{turned.control} {turned.position}",
        )


def _scales(axes: Axes, top: float) -> None:
    axes.set_ylim(top / 300, top * 1.6)
    axes.set_xlim(FREQUENCIES[0], FREQUENCIES[-1])
    axes.set_xticks(
        [20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000],
        ["20", "50", "100", "200", "500", "1 k", "2 k", "5 k", "10 k", "20 k"],
    )
    axes.tick_params(which="minor", length=0)
    axes.set_xlabel("Hz")
    axes.set_ylabel("gain, input to load")
    axes.grid(alpha=0.25, linewidth=0.6)
    axes.legend(frameon=False, fontsize=8, loc="lower center", ncols=2)


def _turned(signal: Signal) -> list[Response]:
    """Return the responses of tone controls turned to either end: those that change the shape and
    not the level alone.
    """
    flat = signal.responses[0]
    responses = []
    for curve in signal.responses[1:]:
        ratios = [a / b for a, b in zip(curve.gain, flat.gain, strict=True) if b > 0 and a > 0]
        if curve.position != "middle" and ratios and max(ratios) > 1.5 * min(ratios):
            responses.append(curve)
    return responses[: len(_TURNED)]
