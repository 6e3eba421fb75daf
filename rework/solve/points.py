"""Which nodes of a circuit are one point: what wires, closed switches, fuses and mated contacts
make of them.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.links import closed_contacts, joints
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, conductor_ends
from rework.circuit.kinds import Law
from rework.circuit.parts import drawn_position


def points(circuit: Circuit) -> dict[str, str]:
    """Return every node with the name of its point: switches as they are drawn, fuses whole, jacks
    without a plug, connectors mated, all earths one.
    """
    merged = Merged()
    for part in circuit.parts:
        if part.is_conductor:
            for first, second in conductor_ends(part):
                merged.join(first, second)
    for a, b in _joined(circuit):
        if a is not None and b is not None:
            merged.join(a, b)
    names: dict[str, str] = {}
    for node in circuit.nodes:
        names.setdefault(merged.find(node), node)
    return {node: names[merged.find(node)] for node in circuit.nodes}


def _joined(circuit: Circuit) -> Iterator[tuple[str | None, str | None]]:
    """Yield the pairs of nodes that are one point, None for a terminal that is not connected."""
    for part in circuit.parts:
        if part.traits.is_switch:
            for contacts in closed_contacts(part, drawn_position(part)):
                nodes = [part.node(contact) for contact in contacts]
                yield from ((nodes[0], node) for node in nodes[1:])
        elif part.traits.is_overcurrent:
            yield part.node("1"), part.node("2")
        elif part.traits.law is Law.FILTER:
            yield part.node("line"), part.node("line-out")
            yield part.node("neutral"), part.node("neutral-out")
        elif part.kind == "jack":
            yield part.node("tip"), part.node("break")
    for name, a, other, b in joints(circuit):
        yield circuit.by_name[name].node(a), circuit.by_name[other].node(b)
    earths = [
        node
        for part in circuit.parts
        for terminal, node in part.pins
        if part.kind == "earth" or (part.kind == "plug" and terminal == "earth")
    ]
    yield from ((earths[0], node) for node in earths[1:])
