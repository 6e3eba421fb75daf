"""What an ohmmeter should read: plug out, capacitors discharged, tubes and heaters cold, switches
on, controls in the middle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rework.circuit.circuit import Circuit
from rework.solve.assemble import assemble
from rework.solve.network import Network
from rework.tubes import library

#: Above this an ohmmeter shows an open circuit.
OPEN = 1e8
#: A semiconductor that an ohmmeter turns on is taken as this many ohms; most meters on an ohms
#: range leave it off.
FORWARD = 50.0
#: Siemens that hold every node, so that a part joined to nothing has an answer.
HOLDING = 1e-12
#: A reading that moves by less than this share with the leads turned round is one reading.
SAME = 0.02


@dataclass(frozen=True, slots=True)
class OhmsReading:
    """Ohms between two places (None is open).

    ``forward`` is the reading where the meter turns a semiconductor on, None where that is no
    different.
    """

    place: str
    what: str
    against: str
    ohms: float | None
    forward: float | None


def ohms(circuit: Circuit) -> tuple[OhmsReading, ...]:
    """Return the reading at every tube pin and named node against common, and between the blades of
    every plug and the chassis.

    Raises CannotSolve where a part has no value.
    """
    off = assemble(circuit, powered=False)
    meter, meter_on = _Ohmmeter(off, on=False), _Ohmmeter(off, on=True)
    readings = []

    def read(place: str, what: str, node: str, against: str, other: str) -> None:
        plain, forward = meter.between(node, other), meter_on.between(node, other)
        same = (
            plain is not None and forward is not None and abs(plain - forward) < SAME * plain
        ) or plain == forward
        readings.append(OhmsReading(place, what, against, plain, None if same else forward))

    common = next(node for node, at in sorted(off.node_of.items()) if at < 0)
    chassis = next(
        (node for part in circuit.parts if part.kind == "chassis" for _, node in part.pins), None
    )
    for part in circuit.parts:
        if part.kind == "plug":
            ends = [(name, node) for name, node in part.pins]
            for number, (name, node) in enumerate(ends):
                for other_name, other in ends[number + 1 :]:
                    read(part.name, name, node, f"{part.name} {other_name}", other)
                if chassis:
                    read(part.name, name, node, "chassis", chassis)
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            continue
        for pin, node in part.pins:
            read(part.name, f"pin {pin} {tube.element(pin)}", node, "common", common)
    for node in sorted(off.node_of):
        if "." not in node:
            read(node, "", node, "common", common)
    return tuple(readings)


class _Ohmmeter:
    """An ohmmeter on a circuit without power, which turns the semiconductors ``on`` or not."""

    def __init__(self, network: Network, *, on: bool) -> None:
        self.network = network
        g = network.g + network.reads.T @ network.reads / FORWARD if on else network.g.copy()
        g[network.node_at, network.node_at] += HOLDING
        self.inverse = np.linalg.inv(g)

    def between(self, node: str, other: str) -> float | None:
        """Return the ohms between two nodes, or None for an open circuit."""
        a, b = self.network.node_of[node], self.network.node_of[other]

        def volts(at: int, into: int) -> float:
            return float(self.inverse[at, into]) if at >= 0 and into >= 0 else 0.0

        ohms = volts(a, a) + volts(b, b) - volts(a, b) - volts(b, a)
        return None if ohms > OPEN else max(ohms, 0.0)
