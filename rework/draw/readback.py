"""What a drawing says, read from its lines alone, held against the netlist.

Wires are flooded: two runs are joined where they share an end, or where one ends on another at a
dot; runs that cross without a dot are not. Signs of one kind and word join everything they are at.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.parts import Part
from rework.draw.schematic import At, Run, Schematic


class DrawingIsWrong(RuntimeError):
    """A drawing does not say what the netlist says; it is not written."""


def groups(sheets: tuple[Schematic, ...]) -> tuple[frozenset[str], ...]:
    """Return the pins that the drawings join, as sets of ``PART.terminal``, sorted."""
    merged = Merged()
    pins: set[str] = set()
    for number, sheet in enumerate(sheets):
        _flood(sheet, number, merged)
        for placed in sheet.placed:
            if placed.kind == "flag":
                continue
            for terminal, at, _ in placed.leads():
                pin = f"pin {placed.part}.{terminal}"
                pins.add(pin)
                merged.join(pin, _name(number, at))
        for sign in sheet.signs:
            merged.join(f"sign {sign.kind} {sign.word}", _name(number, sign.at))
    groups_of: dict[str, set[str]] = defaultdict(set)
    for pin in pins:
        groups_of[merged.find(pin)].add(pin.removeprefix("pin "))
    return tuple(sorted((frozenset(group) for group in groups_of.values()), key=sorted))


def faults(
    sheets: tuple[Schematic, ...], circuit: Circuit, parts: tuple[Part, ...] | None = None
) -> list[str]:
    """Return in words everything in which the drawings differ from the netlist; empty if nothing.

    ``parts`` are those that the sheets are to show.
    """
    shown = circuit.parts if parts is None else parts
    wanted: dict[str, set[str]] = defaultdict(set)
    for part in shown:
        for terminal, node in part.pins:
            wanted[node].add(f"{part.name}.{terminal}")
    return _faults(sheets, wanted)


def sheet_faults(sheet: Schematic) -> list[str]:
    """Return in words everything in which one sheet differs from the nodes of the parts on it."""
    wanted: dict[str, set[str]] = defaultdict(set)
    for placed in sheet.placed:
        if placed.kind != "flag":
            for terminal, node, _ in placed.pins:
                wanted[node].add(f"{placed.part}.{terminal}")
    return _faults((sheet,), wanted)


def _faults(sheets: tuple[Schematic, ...], wanted: Mapping[str, set[str]]) -> list[str]:
    listed = _touching(sheets)
    bound = {pin for pins in wanted.values() for pin in pins}
    # A lead that the file binds to nothing may be drawn, and is then joined to nothing.
    drawn = [group for group in groups(sheets) if len(group) > 1 or group & bound]
    expected = {frozenset(pins) for pins in wanted.values()}
    for group in sorted(set(drawn) - expected, key=sorted):
        listed.append("joined in the drawing and not in the file: " + " ".join(sorted(group)))
    for group in sorted(expected - set(drawn), key=sorted):
        listed.append("joined in the file and not in the drawing: " + " ".join(sorted(group)))
    return listed


def _name(sheet: int, at: At) -> str:
    return f"{sheet}:{at[0]},{at[1]}"


def _flood(sheet: Schematic, number: int, merged: Merged) -> None:
    dots = {dot.at for dot in sheet.dots}
    for run in sheet.runs:
        merged.join(_name(number, run.start), _name(number, run.stop))
        for at in dots:
            if _on(run, at):
                merged.join(_name(number, run.start), _name(number, at))


def _on(run: Run, at: At) -> bool:
    (x1, y1), (x2, y2) = run.start, run.stop
    return min(x1, x2) <= at[0] <= max(x1, x2) and min(y1, y2) <= at[1] <= max(y1, y2)


def _touching(sheets: tuple[Schematic, ...]) -> list[str]:
    """Return ends and leads that lie on a run without a dot: one cannot see whether they join."""
    touching = []
    for sheet in sheets:
        dots = {dot.at for dot in sheet.dots}
        ends = {run.start for run in sheet.runs} | {run.stop for run in sheet.runs}
        ends |= {at for placed in sheet.placed for _, at, _ in placed.leads()}
        ends |= {sign.at for sign in sheet.signs}
        for run in sheet.runs:
            if run.start[0] != run.stop[0] and run.start[1] != run.stop[1]:
                touching.append(f"a slanted wire of {run.net}")
            touching += [
                f"a wire of {run.net} touches something at {at} without a dot"
                for at in ends - dots - {run.start, run.stop}
                if _on(run, at)
            ]
    return touching
