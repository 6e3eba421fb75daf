"""The colour of the wire at every node, by the trade's code, and what the code uses it for."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.draw.colours import WIRE, Role
from rework.draw.graph.roles import roles

_ROLES: dict[Role, str] = {
    "common": "common",
    "chassis": "chassis",
    "heater": "heaters",
    "b-plus": "B+",
    "screen": "screens",
    "cathode": "cathodes",
    "grid": "grids",
    "plate": "plates",
    "b-minus": "B-",
    "line": "AC line",
    "signal": "other",
}


def wires(circuit: Circuit) -> dict[str, str]:
    """Return for every node the colour of its wire with its use: ``red, B+``."""
    role_of = roles(circuit)
    return {
        node: f"{WIRE[role]}, {_ROLES[role]}"
        for node in circuit.nodes
        for role in [role_of.get(node, "signal")]
    }
