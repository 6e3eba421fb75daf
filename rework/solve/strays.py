"""What is not drawn and yet ends a response: capacitances between electrodes, of the wiring,
leakage of output transformers.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.arrays import Floats
from rework.solve.network import Branch, Network
from rework.solve.rows import kin_of
from rework.tubes import library
from rework.tubes.figure import GRADES, TRUST
from rework.tubes.tubetype import PrintedRow, TubeType

#: Farads of wiring from every grid and every plate to common (common practice, no source).
WIRING = 10e-12
#: Where a file states no leakage: the reactance of it equals the load at so many hertz (common
#: practice, no source).
LEAKAGE_HERTZ = 15e3


def with_strays(network: Network, circuit: Circuit) -> Network:
    """Return a network with the capacitances of its tubes and wiring and the leakage inductance of
    its output transformers.

    The input capacitance of a tube goes from grid to cathode, the output capacitance from plate to
    cathode, as the sheets measure them with every other electrode joined to the cathode. What is
    assumed is said in ``notes``.
    """
    branches, notes = _capacitances(network, circuit)
    fixed_c = network.fixed_c.copy()
    for part in circuit.parts:
        if part.kind == "output transformer":
            notes += _leakage(part, network.rows, fixed_c)
    return replace(
        network,
        branches=(*network.branches, *branches),
        fixed_c=fixed_c,
        notes=(*network.notes, *notes),
    )


def capacitances(tube: TubeType, unit: str = "") -> PrintedRow | None:
    """Return the capacitances of one unit of a tube, its own or of a type with the same curves;
    None where none are known.
    """
    for kin in kin_of(tube):
        for row in kin.capacitances:
            if row.unit in (unit, ""):
                return row
    return None


def _capacitances(network: Network, circuit: Circuit) -> tuple[list[Branch], list[str]]:
    branches: list[Branch] = []
    known: dict[str, list[str]] = {}
    lost: list[str] = []
    wired: set[int] = set()
    for device in network.devices:
        part = circuit.part(device.name)
        tube = library.find(part.type) if part and part.kind == "tube" else None
        if tube is None or tube.is_rectifier or len(device.from_) < 2:
            continue
        plate, grid, cathode = device.from_[0], device.from_[-1], device.to
        wired |= {plate, grid} - {-1}
        name = f"{device.name} {device.unit}".strip()
        row = capacitances(tube, device.unit)
        if row is None:
            lost.append(f"{device.name} ({tube.type})")
            continue
        known.setdefault(row.grade, []).append(device.name)
        branches += [
            Branch(f"{name} {what}", "c", a, b, row[figure].value)
            for what, figure, a, b in (
                ("grid to plate", "grid_plate_farads", grid, plate),
                ("input", "input_farads", grid, cathode),
                ("output", "output_farads", plate, cathode),
            )
            if figure in row and a != b
        ]
    branches += [Branch("wiring", "c", node, -1, WIRING) for node in sorted(wired)]
    notes = [
        f"capacitances inside {', '.join(dict.fromkeys(known[grade]))}: {TRUST[grade]}"
        for grade in GRADES
        if grade in known
    ]
    if lost:
        notes.append(
            f"the library has no capacitances of {', '.join(dict.fromkeys(lost))}, so the top of"
            " the response reads high there"
        )
    if wired:
        notes.append(
            f"wiring: {WIRING * 1e12:.0f} pF from every grid and plate to common (common practice,"
            " no source)"
        )
    return branches, notes


def _leakage(part: Part, rows: dict[str, int], fixed_c: Floats) -> list[str]:
    """Put the leakage inductance of an output transformer into its rows; return what had to be
    assumed.
    """
    stated = {
        name: value.amount
        for name, values in part.windings
        for value in values
        if value.role == "leakage"
    }
    notes = []
    if not stated:
        first = next(
            (
                (name, value.amount)
                for name, values in part.windings
                for value in values
                if value.role == "load"
            ),
            None,
        )
        if first is None:
            return [
                f"{part.name} states neither leakage nor load: no leakage inductance is counted"
            ]
        stated = {first[0]: first[1] / (2 * pi * LEAKAGE_HERTZ)}
        notes = [
            f"{part.name} has no leakage inductance in the file: taken as"
            f" {stated[first[0]] * 1e3:.2g} mH, whose reactance equals the load at"
            f" {LEAKAGE_HERTZ / 1e3:.0f} kHz (common practice, no source); capacitance of its"
            " windings is not counted"
        ]
    for name, henries in stated.items():
        windings = [
            row
            for key, row in rows.items()
            if key == f"{part.name}.{name}" or key.startswith(f"{part.name}.{name}.")
        ]
        for row in windings:
            fixed_c[row, row] -= henries / len(windings)
    return notes
