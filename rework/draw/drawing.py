"""Schematics of a circuit or of two in the same places: a sheet a chassis, read back before anyone
sees them.
"""

from __future__ import annotations

from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.draw import readback
from rework.draw.chassis import by_chassis
from rework.draw.drafting import draft, draft_pair, finished
from rework.draw.readback import DrawingIsWrong
from rework.draw.schematic import Schematic
from rework.draw.symbols.pen import Style

#: Sheets by the name of their chassis; the circuit's own is called "".
Sheets = dict[str, Schematic]


def schematic(circuit: Circuit, *, style: Style | None = None, whole: bool = False) -> Sheets:
    """Return the sheets of a circuit, a chassis each, or ``whole`` on one.

    Raises DrawingIsWrong where what was drawn does not say what the netlist says.
    """
    groups = {"": circuit.parts} if whole else by_chassis(circuit)
    sheets = {
        name: _titled(
            finished(draft(circuit, style=style, parts=None if len(groups) == 1 else parts)), name
        )
        for name, parts in groups.items()
    }
    _hold(sheets, circuit)
    return sheets


def pair(
    before: Circuit, after: Circuit, *, style: Style | None = None, whole: bool = False
) -> tuple[Sheets, Sheets]:
    """Return the sheets of two circuits, what is in both in the same places.

    A chassis that only one of them has is drawn by itself. Raises DrawingIsWrong.
    """
    old = {"": before.parts} if whole else by_chassis(before)
    new = {"": after.parts} if whole else by_chassis(after)
    first: Sheets = {}
    second: Sheets = {}
    for name in sorted(old.keys() | new.keys()):
        parts = (
            None if len(old) == 1 else old.get(name),
            None if len(new) == 1 else new.get(name),
        )
        if name in old and name in new:
            one, other = draft_pair(before, after, style=style, parts=parts)
            first[name] = _titled(finished(one), name)
            second[name] = _titled(finished(other), name)
        elif name in old:
            first[name] = _titled(finished(draft(before, style=style, parts=parts[0])), name)
        else:
            second[name] = _titled(finished(draft(after, style=style, parts=parts[1])), name)
    _hold(first, before)
    _hold(second, after)
    return first, second


def _titled(sheet: Schematic, chassis: str) -> Schematic:
    return replace(sheet, title=f"{sheet.title}: {chassis}") if chassis else sheet


def _hold(sheets: Sheets, circuit: Circuit) -> None:
    """Raise DrawingIsWrong where the sheets together differ from the netlist."""
    told = readback.faults(tuple(sheets.values()), circuit)
    if told:
        raise DrawingIsWrong(
            "the drawing does not say what the netlist says, and is not written: "
            + "; ".join(told[:3])
        )
