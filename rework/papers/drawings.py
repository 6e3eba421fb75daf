"""The drawings of a job as SVG: before and after in the same places, sockets from below, the new
supply on its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rework.draw.drawing import chassis_and_number, pair
from rework.draw.graph.render import CannotDraw
from rework.draw.ink import svg
from rework.draw.overlay import found_by
from rework.draw.readback import DrawingIsWrong
from rework.draw.sheeting import A3, TABLOID
from rework.draw.sockets import SocketView, socket_views
from rework.rules.run import JobRun
from rework.safety.check import check

#: The paper the papers are printed on; drawings that one works from go on the one twice its size.
Sheet = Literal["a4", "letter"]
_ROOMS = {"a4": A3, "letter": TABLOID}


@dataclass(frozen=True, slots=True)
class Drawing:
    """One sheet: its title, what the eye should look for, the SVG; of sockets, each on its own
    instead.
    """

    title: str
    caption: str
    svg: str
    views: tuple[SocketView, ...] = ()


def sheet_for(volts: float | None) -> Sheet:
    """Return the paper of the country a line voltage belongs to: Letter up to 130 V, A4 above it
    and where none is stated.
    """
    return "letter" if volts is not None and volts <= 130 else "a4"


def drawings(run: JobRun, sheet: Sheet | None = None) -> tuple[Drawing, ...]:
    """Return the sheets of a job: schematics before and after, one a new chassis, and the sockets;
    for a paper, else for that of the line's country.

    Raises CannotDraw where a schematic does not say what its netlist says.
    """
    overlays = (found_by(check(run.before)), found_by(check(run.after)))
    room = _ROOMS[sheet or sheet_for(run.after.mains.volts if run.after.mains else None)]
    try:
        before, after = pair(run.before, run.after, overlays=overlays, room=room)
    except DrawingIsWrong as error:
        raise CannotDraw(str(error)) from error
    sheets = [
        *(
            Drawing(_titled("Before", name), _BEFORE, svg(schematic))
            for name, schematic in before.items()
        ),
        *(
            Drawing(_titled("After", name), _AFTER, svg(schematic))
            for name, schematic in after.items()
            if name in before
        ),
        *(
            Drawing(_titled("New supply", name), _SUPPLY, svg(schematic))
            for name, schematic in after.items()
            if name not in before
        ),
    ]
    views = socket_views(run.after, before=run.before)
    if views:
        sheets.append(Drawing("Sockets from below", _SOCKETS, "", views))
    return tuple(sheets)


_BEFORE = (
    "As found. OUT: to be removed. A heavy double line is the path from the plug to a touchable"
    " part; HAZARD marks what is tied to the mains within reach."
)
_AFTER = (
    "What stayed has its old place. NEW: fitted. Old values are struck through. Dashed and gray:"
    " taken out. A diamond marks a pin that was moved to another node."
)
_SUPPLY = "On its own chassis. In every list its parts have this name before their own."
_SOCKETS = (
    "Chassis upside down, pins clockwise from the gap, key or boss. A ring marks a pin whose"
    " element changed or moved. Check pin by pin with the tube manual before you insert a tube."
)


def _titled(word: str, name: str) -> str:
    """Return a heading for a sheet: the chassis and, from the second on, its number."""
    chassis, number = chassis_and_number(name)
    where = f"{word}: {chassis}" if chassis else word
    return f"{where}, sheet {number}" if number else where
