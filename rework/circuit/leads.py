"""Colours of transformer leads by the North American trade's code.

Power: primary black, a tapped one with a black/yellow tap and a black/red end; high voltage red
with a red/yellow tap; rectifier filament yellow with a yellow/blue tap; filaments green, brown,
slate, their taps with yellow. Output: plate blue, B+ red, the other plate of a pair brown,
secondary green with its return black. Second-hand:
rfcafe.com/references/electrical/xfr-lead-color-code.htm; the standard's own text was not seen.
Europe has no common code.

The code is a hint: a meter proves a winding. Green/yellow is a heater tap here and protective earth
in a cord.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part

#: Of each winding of a power transformer: its ends, and its tap.
POWER = {
    "primary": ("black", "black/yellow"),
    "hv": ("red", "red/yellow"),
    "rectifier": ("yellow", "yellow/blue"),
}
#: The filament windings in their order: their ends; the tap of each has yellow beside it.
FILAMENTS = ("green", "brown", "slate")
#: Of an output transformer: what lies on the plate, on B+, on the other plate; the secondary and
#: its return.
OUTPUT = {
    "plate": "blue",
    "b-plus": "red",
    "other plate": "brown",
    "secondary": "green",
    "return": "black",
}


def lead_colour(circuit: Circuit, part: Part, terminal: str, role_of: Mapping[str, str]) -> str:
    """Return the colour of a transformer's lead, the tracer behind a slash; nothing where the code
    is silent.

    ``role_of`` says what each node is for: only ``plate`` and ``b-plus`` matter. The code is North
    American: nothing is said of a set for another line than one of 60 Hz.
    """
    if circuit.mains is None or circuit.mains.hertz != 60:
        return ""
    winding, _, end = terminal.partition(".")
    if part.kind == "output transformer":
        return _output(part, winding, terminal, role_of)
    return (
        _power(part, winding, end)
        if part.kind == "transformer" and "interstage" not in part.words
        else ""
    )


def _power(part: Part, winding: str, end: str) -> str:
    terminals = [terminal for terminal, _ in part.pins]
    taps = [terminal for terminal in terminals if terminal.startswith(f"{winding}.tap")]
    if not end or len(taps) > 1:
        return ""
    if winding == "primary" and taps and end == "finish":
        return "black/red"
    if winding in POWER:
        return POWER[winding][bool(taps) and end == "tap"]
    filaments = list(
        dict.fromkeys(
            terminal.partition(".")[0]
            for terminal in terminals
            if re.match(r"heater\d*\.", terminal)
        )
    )
    if winding not in filaments[: len(FILAMENTS)]:
        return ""
    colour = FILAMENTS[filaments.index(winding)]
    return f"{colour}/yellow" if end == "tap" else colour


def _output(part: Part, winding: str, terminal: str, role_of: Mapping[str, str]) -> str:
    if winding == "secondary":
        ends = {"secondary.start": "secondary", "secondary.finish": "return"}
        return (
            OUTPUT[ends[terminal]]
            if terminal in ends and part.node("secondary.tap") is None
            else ""
        )
    if winding != "primary":
        return ""
    plates = [
        name for name, node in part.pins if name.startswith("primary") and role_of[node] == "plate"
    ]
    if terminal in plates[:2]:
        return OUTPUT["plate" if terminal == plates[0] else "other plate"]
    return OUTPUT["b-plus"] if role_of[part.at(terminal)] == "b-plus" else ""
