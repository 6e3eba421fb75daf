"""What an ohmmeter should read: plug out, capacitors discharged, tubes and heaters cold, switches
on, controls in the middle.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.solve.assemble import assemble
from rework.solve.network import Network
from rework.tubes import library

#: Above this an ohmmeter shows an open circuit.
OPEN = 1e8
#: A semiconductor that an ohmmeter turns on is taken as this many ohms; most meters on an ohms
#: range leave it off.
FORWARD = 50.0


@dataclass(frozen=True, slots=True)
class Reading:
    """Ohms between two places (None is open).

    ``forward`` is the reading where the meter turns a semiconductor on, None where that is no
    different.
    """

    place: str
    what: str
    against: str
    ohms: float | None
    forward: float | None


def ohms(circuit: Circuit) -> tuple[Reading, ...]:
    """Return the reading at every tube pin and named node against common, and between the blades of
    every plug and the chassis.

    Raises CannotSolve where a part has no value.
    """
    off = assemble(circuit, powered=False)
    meter, meter_on = _Meter(off, on=False), _Meter(off, on=True)
    readings = []

    def read(place: str, what: str, node: str, against: str, other: str) -> None:
        plain, forward = meter.between(node, other), meter_on.between(node, other)
        same = (
            plain is not None and forward is not None and abs(plain - forward) < 0.02 * plain
        ) or plain == forward
        readings.append(Reading(place, what, against, plain, None if same else forward))

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
        for pin, node in part.pins if tube else ():
            read(part.name, f"pin {pin} {tube.element(pin)}", node, "common", common)
    for node in sorted(off.node_of):
        if "." not in node:
            read(node, "", node, "common", common)
    return tuple(readings)


class _Meter:
    def __init__(self, network: Network, *, on: bool) -> None:
        import numpy as np

        self.network = network
        g = network.g.copy()
        for device in network.devices if on else ():
            for start in device.from_:
                for at, sign in ((start, 1), (device.to, -1)):
                    for other, other_sign in ((start, 1), (device.to, -1)):
                        if at >= 0 and other >= 0:
                            g[at, other] += sign * other_sign / FORWARD
        for at in range(network.n - len(network.rows)):
            g[at, at] += 1e-12
        self.inverse = np.linalg.inv(g)

    def between(self, node: str, other: str) -> float | None:
        """Return the ohms between two nodes, or None for an open circuit."""
        a, b = self.network.node_of[node], self.network.node_of[other]
        inverse = self.inverse
        own = lambda i, j: inverse[i, j] if i >= 0 and j >= 0 else 0.0
        value = own(a, a) + own(b, b) - own(a, b) - own(b, a)
        return None if value > OPEN else max(float(value), 0.0)
