"""The most volts that can be on every capacitor, for what is left on it when the plug is out."""

from __future__ import annotations

from collections.abc import Iterable

from rework.circuit.circuit import Circuit
from rework.solve.chart import volts
from rework.solve.network import CannotSolve
from rework.solve.tables import CapacitorRow
from rework.touch.stored import AfterUnplugging, after_unplugging


def charged(capacitors: Iterable[CapacitorRow]) -> dict[str, float]:
    """Return the most volts on every capacitor by its name: in use, or on the high line while the
    tubes are cold, whichever is more.
    """
    return {row.part: max(row.volts, row.cold_volts) for row in capacitors}


def charged_volts(circuit: Circuit) -> dict[str, float]:
    """Return the same of a circuit that has not been solved yet.

    Raises
    ------
    CannotSolve
        Where the circuit has no numbers.
    """
    return charged(volts(circuit, samples=1).capacitors)


def charge_left(circuit: Circuit, changes: tuple[tuple[str, float], ...] = ()) -> AfterUnplugging:
    """Return what stays charged after the plug or a connector is pulled, from the volts that the
    solver has; where the circuit has no numbers, from the peak of its rectifiers.

    ``changes`` are figures to assume otherwise (see ``touch.person.assumed``).
    """
    try:
        most = charged_volts(circuit)
    except CannotSolve:
        most = {}
    return after_unplugging(circuit, changes=changes, volts=most)
