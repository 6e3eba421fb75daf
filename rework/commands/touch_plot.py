"""The picture of ``rework touch --plot``: the worst reading of every node and the
limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rework.commands.pictures import blank
from rework.touch.touch import TouchReport

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Milliamperes at the left end of the picture.
LEAST_DRAWN = 1e-3


def drawn(reports: Sequence[tuple[str, TouchReport]]) -> Figure:
    """Return a figure of the worst reading of every node to earth, one bar a report, on a
    logarithmic axis with the limit drawn.
    """
    worst = [
        (name, {touch.node: touch.reading for touch in report.touches if not touch.other})
        for name, report in reports
    ]
    nodes = sorted(
        {node for _, at in worst for node in at},
        key=lambda node: (-max(at.get(node, 0.0) for _, at in worst), node),
    )
    limit = reports[0][1].limit_amps * 1e3
    figure = blank(9, 1.8 + 0.55 * max(len(nodes), 1))
    axes = figure.add_subplot()
    height = 0.8 / len(worst)
    for number, ((name, at), hatch, colour) in enumerate(
        zip(worst, ("", "////"), ("#b2440d", "#d8efe6"), strict=False)
    ):
        places = [
            place + (number - (len(worst) - 1) / 2) * height
            for place, node in enumerate(nodes)
            if node in at
        ]
        values = [max(at[node] * 1e3, LEAST_DRAWN) for node in nodes if node in at]
        axes.barh(places, values, height, label=name, hatch=hatch, edgecolor="black", color=colour)
        for place, value in zip(places, values, strict=True):
            axes.annotate(
                f"{value:.3g} mA" if value > LEAST_DRAWN else f"under {LEAST_DRAWN:g} mA",
                (value, place),
                (4, 0),
                textcoords="offset points",
                va="center",
                fontsize=8,
            )
    axes.axvline(limit, color="black", linewidth=2, linestyle="--", label=f"limit {limit:g} mA")
    axes.set(
        xscale="log",
        yticks=range(len(nodes)),
        yticklabels=nodes,
        xlabel="worst reading to earth, mA RMS",
        title="Touch current, computed from the netlist as written",
    )
    axes.set_xlim(
        LEAST_DRAWN, 10 * max([limit, *(value * 1e3 for _, at in worst for value in at.values())])
    )
    axes.xaxis.set_major_formatter("{x:g}")
    axes.invert_yaxis()
    axes.grid(axis="x", alpha=0.4)
    axes.set_axisbelow(True)
    figure.legend(loc="outside lower center", ncols=3)
    return figure
