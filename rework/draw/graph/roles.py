"""What each node of a circuit is for: line, heater, B+, plate, grid, cathode, common, chassis,
signal.
"""

from __future__ import annotations

from rework.anatomy.amplifier import of
from rework.anatomy.links import joints
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, contracted
from rework.circuit.parts import Part
from rework.draw.colours import Role
from rework.tubes import library

#: Nodes with at least this many pins are drawn as a named strip at each part instead of as one star
#: of lines.
RAIL_PINS = 4
#: So many pins make a strip of a node of any role: a star of that many lines can no longer be
#: followed.
CROWD_PINS = 8
_ORDER: tuple[Role, ...] = (
    "line",
    "chassis",
    "common",
    "b-minus",
    "b-plus",
    "plate",
    "screen",
    "grid",
    "cathode",
    "heater",
)


def element(part: Part, terminal: str) -> str:
    """Return the element at a tube's pin without its unit, or an empty string where nothing is
    known of it.
    """
    tube = library.find(part.type) if part.kind == "tube" else None
    if tube is None or terminal not in tube.socket_pins:
        return ""
    return tube.element(terminal).rpartition(".")[2]


def roles(circuit: Circuit) -> dict[str, Role]:
    """Return the role of every node; nodes that conductors hold together share one, the first in
    the order of the trade.
    """
    group = _held_together(circuit)
    found: dict[str, set[Role]] = {}
    for part in circuit.parts:
        for terminal, node in part.pins:
            role = _role(part, terminal)
            if role:
                found.setdefault(group[node], set()).add(role)
    anatomy = of(circuit)
    for line in _on(circuit, group, anatomy.line):
        found.setdefault(line, set()).add("line")
    for common in _on(circuit, group, anatomy.common):
        found.setdefault(common, set()).discard("line")
        found[common].add("common")
    for negative in _on(circuit, group, anatomy.b_minus):
        found[negative] = {"b-minus"}
    for part in circuit.parts:  # what is fed through a B+ fuse is B+ as well
        ends = [group[node] for _, node in part.pins] if part.kind == "fuse" else []
        for one, other in (ends, ends[::-1]) if len(ends) == 2 else ():
            if "b-plus" in found.get(one, ()) and not found.get(other):
                found[other] = {"b-plus"}
    return {
        node: next((role for role in _ORDER if role in found.get(place, ())), "signal")
        for node, place in group.items()
    }


def rails(circuit: Circuit, role_of: dict[str, Role]) -> frozenset[str]:
    """Return the nodes that are drawn as strips: commons, chassis, heater rails of wires, supply
    nodes with many pins on them, crowds.
    """
    found = set()
    for node, on in circuit.at.items():
        role = role_of[node]
        wired = role == "heater" and all(
            part.is_conductor or part.kind == "connector" for part, _ in on
        )
        crowd = len(on) >= CROWD_PINS
        if (
            role in ("common", "chassis")
            or wired
            or crowd
            or (role in ("b-plus", "heater", "b-minus") and len(on) >= RAIL_PINS)
        ):
            found.add(node)
    return frozenset(found)


def _held_together(circuit: Circuit) -> dict[str, str]:
    """Return every node with one name for all that conductors and mated connectors hold together
    with it.
    """
    group = contracted(circuit)
    merged = Merged()
    for one, first, other, second in joints(circuit):
        merged.join(group[circuit.by_name[one].at(first)], group[circuit.by_name[other].at(second)])
    return {node: merged.find(place) for node, place in group.items()}


_ELECTRODES: dict[str, Role] = {
    "plate": "plate",
    "screen": "screen",
    "grid": "grid",
    "cathode": "cathode",
}


def _role(part: Part, terminal: str) -> Role | None:
    if part.kind in ("chassis", "earth"):
        return "chassis"
    if part.kind == "tube":
        name = element(part, terminal)
        if name.startswith(("heater", "lamp-tap")):
            return "heater"
        role = _ELECTRODES.get(name)
        if role is not None:
            tube = library.find(part.type)
            rectifier = tube is not None and tube.is_rectifier
            return ("b-plus" if name == "cathode" else None) if rectifier else role
    if part.kind == "electrolytic" and terminal == "plus" and (part.value("voltage") or 0) > 60:
        return "b-plus"
    if part.kind in ("transformer", "autotransformer") and terminal.startswith(
        ("heater", "rectifier")
    ):
        return "heater"
    return None


def _on(circuit: Circuit, group: dict[str, str], points: frozenset[str]) -> set[str]:
    """Return the groups of nodes that are on some points of the circuit's anatomy."""
    wiring = of(circuit).wiring
    return {group[node] for node in group if wiring.point(node) in points}
