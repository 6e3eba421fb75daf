"""The rows of a voltage chart for the parts that are no tubes, and for the tubes' heaters."""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.solve.bias import Bias
from rework.solve.cold import Cold
from rework.solve.tables import (
    CapacitorRow,
    HeaterRow,
    PartRow,
    RectifierRow,
    WindingRow,
    capacitor_rows,
    heater_rows,
    part_rows,
    rectifier_rows,
    winding_rows,
)


@dataclass(frozen=True, slots=True)
class PartTables:
    """The rows of every heater, resistor, capacitor, rectifier and winding."""

    heaters: tuple[HeaterRow, ...]
    resistors: tuple[PartRow, ...]
    capacitors: tuple[CapacitorRow, ...]
    rectifiers: tuple[RectifierRow, ...]
    windings: tuple[WindingRow, ...]


def part_tables(circuit: Circuit, bias: Bias, cold: Cold | None) -> PartTables:
    """Return the rows of a circuit in its steady state; ``cold`` is how it stands with its tubes
    cold, None where it does not settle so.
    """
    return PartTables(
        heaters=heater_rows(circuit, bias),
        resistors=part_rows(circuit, bias),
        capacitors=capacitor_rows(circuit, bias, cold),
        rectifiers=rectifier_rows(circuit, bias),
        windings=winding_rows(circuit, bias),
    )
