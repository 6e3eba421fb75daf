"""What each node of a circuit is for, as the drawing colours it: line, heater, B+, plate, grid,
cathode, common, chassis, signal. What an amplifier is, ``rework.anatomy`` knows.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.amplifier import Anatomy, of
from rework.anatomy.units import element_at
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.colours import Role

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
_ELECTRODES: dict[str, Role] = {
    "plate": "plate",
    "screen": "screen",
    "grid": "grid",
    "cathode": "cathode",
}
#: DC volts from which an electrolytic filters B+ where no tube that takes it is known.
_FILTERS_FROM = 60


def roles(circuit: Circuit) -> dict[str, Role]:
    """Return the role of every node; nodes that conductors and mated connectors hold together share
    one, the first in the order of the trade.
    """
    anatomy = of(circuit)
    point = anatomy.wiring.point
    by_node: dict[str, set[Role]] = {}
    for place, role in (*_of_units(anatomy), *_of_pins(anatomy)):
        by_node.setdefault(place, set()).add(role)
    mains = circuit.mains
    direct = anatomy.rail if mains is not None and not mains.hertz else frozenset()
    for line in anatomy.line - direct:  # on direct current the line itself can be B+
        by_node.setdefault(line, set()).add("line")
    for common in anatomy.common:
        by_node.setdefault(common, set()).discard("line")
        by_node[common].add("common")
    for negative in anatomy.b_minus:
        by_node[negative] = {"b-minus"}
    for part in circuit.parts:  # what is fed through a B+ fuse is B+ as well
        ends = anatomy.wiring.ends(part) if part.kind == "fuse" else ()
        if any("b-plus" in by_node.get(first, ()) for first in ends):
            for second in ends:
                by_node.setdefault(second, {"b-plus"})
    return {
        node: next((role for role in _ORDER if role in by_node.get(point(node), ())), "signal")
        for node in circuit.nodes
    }


def _of_units(anatomy: Anatomy) -> Iterator[tuple[str, Role]]:
    """Yield the points of electrodes that amplify, and of B+."""
    for unit in anatomy.units:
        for name, _, place in unit.elements:
            role = _ELECTRODES.get(name)
            if role is not None and (unit.amplifies or role == "cathode"):
                yield place, "b-plus" if unit.kind == "rectifier" else role
    cathodes = {section.cathode for section in anatomy.rectifiers if section.cathode}
    heated = {
        anatomy.wiring.point(node)
        for part in anatomy.circuit.parts
        if part.kind in ("transformer", "autotransformer")
        for terminal, node in part.pins
        if terminal.startswith("heater")
    }
    yield from ((place, "b-plus") for place in anatomy.rail if place not in heated - cathodes)
    yield from ((place, "b-plus") for place in cathodes)


def _of_pins(anatomy: Anatomy) -> Iterator[tuple[str, Role]]:
    """Yield the points of chassis, heaters and the windings for them; where no tube that takes B+
    is known, those of filter capacitors.
    """
    for part in anatomy.circuit.parts:
        for terminal, node in part.pins:
            place = anatomy.wiring.point(node)
            if part.kind in ("chassis", "earth"):
                yield place, "chassis"
            elif element_at(part, terminal).startswith(("heater", "lamp-tap")) or (
                part.kind in ("transformer", "autotransformer")
                and terminal.startswith(("heater", "rectifier"))
            ):
                yield place, "heater"
            elif terminal == "plus" and not anatomy.rail and _may_filter(part):
                yield place, "b-plus"


def _may_filter(part: Part) -> bool:
    return part.kind == "electrolytic" and (part.value("voltage") or 0) > _FILTERS_FROM


def rails(circuit: Circuit, role_of: dict[str, Role]) -> frozenset[str]:
    """Return the nodes that are drawn as strips: commons, chassis, heater rails of wires, supply
    nodes with many pins on them, crowds.
    """
    rails_seen = set()
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
            rails_seen.add(node)
    return frozenset(rails_seen)
