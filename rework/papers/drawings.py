"""The drawings of a job as SVG: before and after in the same places, sockets from below, the new
supply on its own.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit
from rework.draw.graph.marks import Marks
from rework.draw.graph.render import layout, rendered
from rework.draw.graph.sources import pair_sources, source
from rework.draw.sockets import SocketView, socket_views
from rework.rules.run import JobRun
from rework.safety.check import check


@dataclass(frozen=True, slots=True)
class Drawing:
    """One sheet: its title, what the eye should look for, the SVG; of sockets, each on its own
    instead.
    """

    title: str
    caption: str
    svg: str
    views: tuple[SocketView, ...] = ()


def drawings(run: JobRun) -> tuple[Drawing, ...]:
    """Return the sheets of a job. Raises CannotDraw where there is no renderer."""
    before, after = pair_sources(
        run.before,
        run.after,
        layout,
        before_marks=_marks(run.before),
        after_marks=_marks(run.after),
    )
    sheets = [
        Drawing(
            "Before",
            "As found. A heavy double outline marks what is tied to the mains within reach of a"
            " hand.",
            _svg(before),
        ),
        Drawing(
            "After",
            "What stayed stands where it stood. Lines marked live carry the mains: not to be"
            " touched.",
            _svg(after),
        ),
    ]
    for edit in run.edits:
        if isinstance(edit.action, AttachCircuit):
            drawn = rendered(source(edit.action.circuit), "svg").decode()
            sheets.append(
                Drawing(
                    f"New supply: {edit.action.prefix}",
                    "On its own chassis; in every list its parts are led by this name.",
                    drawn,
                )
            )
    views = socket_views(run.after, before=run.before)
    if views:
        sheets.append(
            Drawing(
                "Sockets from below",
                "Chassis upside down, pins clockwise from the gap, key or boss. A ring marks a pin"
                " whose element changed or moved. Check pin by pin with the tube manual before a"
                " tube goes in.",
                "",
                views,
            )
        )
    return tuple(sheets)


def _svg(dot: str) -> str:
    return rendered(dot, "svg", placed=True).decode()


def _marks(circuit: Circuit) -> Marks:
    report = check(circuit)
    return Marks(
        frozenset(one.node for one in report.hazards if one.touchable),
        frozenset(one.node for one in report.live),
    )
