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
    pins: dict[str, int] = {}
    for part in circuit.parts:
        for terminal, node in part.pins:
            place = group[node]
            if not part.is_conductor:
                pins[place] = pins.get(place, 0) + 1
            role = _role(part, terminal)
            if role:
                found.setdefault(place, set()).add(role)
    for line in _line_nodes(circuit, group):
        found.setdefault(line, set()).add("line")
    for common in _commons(circuit, group, pins):
        found.setdefault(common, set()).discard("line")
        found[common].add("common")
    for negative in _b_minus(circuit, group):
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


def _line_nodes(circuit: Circuit, group: dict[str, str]) -> set[str]:
    """Return the points with only cord, fuse and switch between them and a blade of the plug."""
    reached = {
        group[node]
        for part in circuit.parts
        if part.kind == "plug"
        for terminal, node in part.pins
        if terminal != "earth"
    }
    ways = [part for part in circuit.parts if part.kind in ("fuse", "switch")]
    for _ in ways:
        for part in ways:
            ends = {group[node] for _, node in part.pins}
            if ends & reached:
                reached |= ends
    return reached


def _b_minus(circuit: Circuit, group: dict[str, str]) -> set[str]:
    """Return the points of B-, where back bias parts it from the common."""
    anatomy = of(circuit)
    return {group[node] for node in group if anatomy.wiring.point(node) in anatomy.b_minus}


def _commons(circuit: Circuit, group: dict[str, str], pins: dict[str, int]) -> set[str]:
    """Return the common of each chassis: the busiest point that an electrolytic's minus is on."""
    best: dict[str, str] = {}
    for part in circuit.parts:
        minus = part.node("minus") if part.kind == "electrolytic" else None
        if minus is None:
            continue
        prefix, place = part.name.rpartition("/")[0], group[minus]
        if prefix not in best or pins[place] > pins[best[prefix]]:
            best[prefix] = place
    return {place for place in best.values() if pins[place] >= 3}
