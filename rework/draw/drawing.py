"""Schematics of a circuit or of two in the same places: a sheet a chassis, read back before anyone
sees them.
"""

from __future__ import annotations

from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.draw import readback
from rework.draw.chassis import by_chassis
from rework.draw.drafting import draft, draft_pair
from rework.draw.finishing import finished
from rework.draw.overlay import PLAIN, Overlay, differences
from rework.draw.readback import DrawingIsWrong
from rework.draw.schematic import Schematic
from rework.draw.sheeting import sheets_of
from rework.draw.symbols.pen import Style
from rework.draw.symbols.table import style_of

#: Sheets by the name of their chassis; the circuit's own is called "".
Sheets = dict[str, Schematic]
_SYMBOLS = {"us": "symbols of IEEE 315", "iec": "symbols of IEC 60617"}


def schematic(
    circuit: Circuit, *, style: Style | None = None, whole: bool = False, overlay: Overlay = PLAIN
) -> Sheets:
    """Return the sheets of a circuit, a chassis each, or ``whole`` on one; a chassis too large for
    one in type that can be read has more, its nets going on at flags.

    Raises DrawingIsWrong where what was drawn does not say what the netlist says.
    """
    groups = {"": circuit.parts} if whole else by_chassis(circuit)
    sheets = {}
    for name, parts in groups.items():
        some = None if len(groups) == 1 else parts
        whole_sheet = draft(circuit, style=style, parts=some, overlay=overlay)
        drafts = [whole_sheet]
        if len(cut := sheets_of(whole_sheet)) > 1:
            drafts = [
                draft(circuit, style=style, parts=some, overlay=overlay, only=only) for only in cut
            ]
        for number, one in enumerate(drafts, 1):
            sheet = name if number == 1 else f"{name}/{number}".strip("/")
            numbered = f" · sheet {number} of {len(drafts)}" if len(drafts) > 1 else ""
            sheets[sheet] = finished(
                one,
                overlay=overlay,
                title=_title(circuit, name),
                condition=_condition(circuit, style) + numbered,
            )
    _hold(sheets, circuit)
    return sheets


def pair(
    before: Circuit,
    after: Circuit,
    *,
    style: Style | None = None,
    whole: bool = False,
    overlays: tuple[Overlay, Overlay] = (PLAIN, PLAIN),
) -> tuple[Sheets, Sheets]:
    """Return the sheets of two circuits, what is in both in the same places, changes marked.

    ``overlays`` are what the check and the chart say of each. A chassis that only one of them has
    is drawn by itself. Raises DrawingIsWrong.
    """
    old = {"": before.parts} if whole else by_chassis(before)
    new = {"": after.parts} if whole else by_chassis(after)
    changes = differences(before, after)
    marks = (_both(overlays[0], changes[0]), _both(overlays[1], changes[1]))
    first: Sheets = {}
    second: Sheets = {}
    for name in sorted(old.keys() | new.keys()):
        parts = (
            None if len(old) == 1 else old.get(name),
            None if len(new) == 1 else new.get(name),
        )
        told = [
            {"title": _title(c, name), "condition": f"{word} · {_condition(before, style)}"}
            for c, word in ((before, "Before"), (after, "After"))
        ]
        if name in old and name in new:
            drafts = draft_pair((before, after), style=style, parts=parts, overlays=marks)
            first[name] = finished(drafts[0], overlay=marks[0], **told[0])
            second[name] = finished(drafts[1], overlay=marks[1], **told[1])
        elif name in old:
            one = draft(before, style=style, parts=parts[0], overlay=overlays[0])
            first[name] = finished(one, overlay=overlays[0], **told[0])
        else:
            one = draft(after, style=style, parts=parts[1], overlay=overlays[1])
            second[name] = finished(one, overlay=overlays[1], **told[1])
    _hold(first, before)
    _hold(second, after)
    return first, second


def _both(found: Overlay, change: Overlay) -> Overlay:
    return replace(found, changes=change.changes, old=change.old, moved=change.moved)


def _title(circuit: Circuit, chassis: str) -> str:
    return f"{circuit.title}: {chassis}" if chassis else circuit.title


def _condition(circuit: Circuit, style: Style | None) -> str:
    """Return the line the set is for and the symbols it is drawn with."""
    mains = circuit.mains
    words = [f"{mains.volts:g} V {mains.hertz:g} Hz"] if mains is not None else []
    return " · ".join([*words, _SYMBOLS[style or style_of(circuit)]])


def _hold(sheets: Sheets, circuit: Circuit) -> None:
    """Raise DrawingIsWrong where the sheets together differ from the netlist."""
    told = readback.faults(tuple(sheets.values()), circuit)
    if told:
        raise DrawingIsWrong(
            "the drawing does not say what the netlist says, and is not written: "
            + "; ".join(told[:3])
        )
