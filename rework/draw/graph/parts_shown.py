"""How one part is shown: its blocks, their outline and words, the runs of a conductor."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

from rework.anatomy.units import element_at
from rework.circuit.parts import Part, strands
from rework.draw.graph.blocks import Form
from rework.draw.graph.words import is_heater_pin, values
from rework.tubes import library

_BARS = ("capacitor", "electrolytic")
_PLAIN = ("resistor", "thermistor", "choke")


@dataclass(frozen=True, slots=True)
class StripEnd:
    """One pin that wants a line or a strip: the vertex it belongs to, the terminal, the node, the
    part and its unit.
    """

    key: str
    terminal: str
    node: str
    part: Part
    unit: str = ""


def name_of(key: str) -> str:
    """Return the name of the part that a vertex shows."""
    return key.split("\x1f")[1]


def block_of(part: Part, terminal: str, *, apart: bool) -> tuple[str, str]:
    """Return which block a pin belongs to: heater or not, and the unit where a bulb has several;
    shared pins go with the first.
    """
    if apart and is_heater_pin(part, terminal):
        return "h", ""
    tube = library.find(part.type) if part.kind == "tube" else None
    if tube is None or not tube.units:
        return "p", ""
    named = tube.element(terminal).rpartition(".")[0] if terminal in tube.socket_pins else ""
    return "p", named or next(
        label.rpartition(".")[0] for _, (label, *_) in tube.elements if "." in label
    )


def lines(part: Part, key: str, unit: str) -> tuple[str, ...]:
    """Return what is written in a block under its name."""
    if key.startswith("h"):
        tube = library.find(part.type)
        return ("heater", f"{tube.heater.volts.value:g} V") if tube else ("heater",)
    shown = values(part)
    if part.kind == "shielded cable":
        return (*shown, strands(part)[int(key.split("\x1f")[2])][0].split(".")[0])
    return (f"{shown[0]} {unit}", *shown[1:]) if unit and shown else shown


def leading(ends: Iterable[StripEnd]) -> list[StripEnd]:
    """Return one end for every block and node: where a block has several pins on one node, its main
    electrode.
    """
    leads: dict[tuple[str, str], StripEnd] = {}
    for end in ends:
        known = leads.get((end.key, end.node))
        if known is None or (is_main(end) and not is_main(known)):
            leads[end.key, end.node] = end
    return list(leads.values())


def is_main(end: StripEnd) -> bool:
    """True for the plate, grid and cathode of a tube."""
    return element_at(end.part, end.terminal) in ("plate", "grid", "cathode")


def form(part: Part) -> Form:
    """Return the outline of a part's block."""
    if part.is_conductor:
        return "sleeve"
    return (
        "bars"
        if part.kind in _BARS
        else (
            "box"
            if part.kind in _PLAIN
            else "bar"
            if part.kind in ("chassis", "earth")
            else "rounded"
        )
    )


def runs(part: Part) -> list[tuple[str, str]]:
    """Return the pairs of nodes a conductor runs between, one a core."""
    if part.kind != "shielded cable":
        nodes = [node for _, node in part.pins]
        return [(nodes[0], nodes[1])] if len(nodes) == 2 else []
    stretches: list[tuple[str, str]] = []
    for run in strands(part):
        nodes = [part.at(terminal) for terminal in run]
        stretches += list(itertools.pairwise(nodes))
    return stretches
