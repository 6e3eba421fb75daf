"""The circuit before its tubes are warm: rectifiers at work, B+ with no load but what stays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.arrays import Floats
from rework.solve.assemble import assemble
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import Steady, mains_steady
from rework.solve.switch_on import Rise, rise
from rework.tubes import library

#: The line in the worst case against nominal.
HIGH_LINE = 1.1
#: Line periods that B+ is followed over from the switch.
PERIODS = 10


@dataclass(frozen=True, slots=True, eq=False)
class Cold:
    """The ``network`` with the tubes cold, in its steady state on the nominal line and on the
    ``high`` one.
    """

    network: Network
    nominal: Steady
    high: Steady

    def mean(self, node: str, *, high: bool = False) -> float:
        """Return the mean volts of a node."""
        steady = self.high if high else self.nominal
        return float(self.network.volts(steady.x, node).mean())

    def peak(self, node: str, other: str) -> float:
        """Return the most volts between two nodes on the high line."""
        return float(np.abs(self.network.between(self.high.x, node, other)).max())


def cold_states(circuit: Circuit, start: Floats) -> Cold | None:
    """Return the circuit with its rectifier working and the other tubes cold; None where that does
    not settle. ``start`` (instants, n) is where to begin from.
    """
    try:
        network = assemble(circuit, emission=False)
        try:
            nominal = mains_steady(network, instants=len(start), start=start)
        except CannotSolve:
            nominal = mains_steady(network, instants=len(start))
        high = mains_steady(
            network, factor=HIGH_LINE, instants=len(start), start=HIGH_LINE * nominal.x
        )
    except CannotSolve:
        return None
    return Cold(network, nominal, high)


def overshoot(circuit: Circuit) -> Rise | None:
    """Return the rise from the switch where it can overshoot: a rectifier that works at once,
    before a choke.
    """
    quick = any(works_at_once(part) for part in circuit.parts)
    if not quick or not any(part.kind == "choke" for part in circuit.parts):
        return None
    try:
        return rise(circuit, factor=HIGH_LINE, periods=PERIODS)
    except CannotSolve:
        return None


def works_at_once(part: Part) -> bool:
    """Return whether a part rectifies before the tubes are warm: a solid one, or a directly heated
    tube.
    """
    if part.kind == "tube":
        tube = library.find(part.type)
        return tube is not None and tube.is_rectifier and tube.heater.directly_heated
    return part.is_solid_rectifier
