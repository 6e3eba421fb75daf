"""Which part of the page a part stands in: the line and the filter above, the signal below, the
heaters under that.
"""

from __future__ import annotations

from collections.abc import Mapping

from rework.anatomy.rectifiers import is_rectifier_tube
from rework.circuit.circuit import Circuit
from rework.draw.colours import Role

#: The areas of a chassis, from the top of the page; an attached circuit is an area by its own name.
LINE, SIGNAL, HEATERS = "line", "signal", "heaters"
TITLES = {LINE: "Line, rectifier, filter", SIGNAL: "Signal", HEATERS: "Heaters"}

_RECTIFIERS = ("diode", "selenium", "bridge")
_FEEDS = (
    "plug",
    "fuse",
    "switch",
    "motor",
    *_RECTIFIERS,
    "choke",
    "transformer",
    "autotransformer",
    "chassis",
    "earth",
    "connector",
)
_STRING = ("resistor", "thermistor", "lamp")
_RAILS = ("line", "b-plus", "b-minus", "common", "chassis")


def areas(circuit: Circuit, role_of: Mapping[str, Role]) -> dict[str, str]:
    """Return the area of every part that is no conductor, by name."""
    ends = {
        part.name: [node for _, node in part.pins]
        for part in circuit.parts
        if not part.is_conductor
    }
    string = _string_nodes(circuit, role_of)
    fed = {
        node
        for part in circuit.parts
        if is_rectifier_tube(part) or part.kind in _RECTIFIERS
        for _, node in part.pins
    }
    found = {}
    for part in circuit.parts:
        if part.name not in ends:
            continue
        prefix = part.name.rpartition("/")[0]
        nodes = ends[part.name]
        if prefix:
            found[part.name] = prefix
        elif (
            part.kind in _STRING
            and nodes
            and all(node in string or role_of[node] == "line" for node in nodes)
            and set(nodes) & string
        ):
            found[part.name] = HEATERS
        else:
            surge = (
                part.kind in _STRING
                and any(role_of[node] == "line" for node in nodes)
                and fed.intersection(nodes)
            )
            between = nodes and all(role_of[node] in _RAILS for node in nodes)
            found[part.name] = (
                LINE
                if part.kind in _FEEDS or is_rectifier_tube(part) or surge or between
                else SIGNAL
            )
    return found


def _string_nodes(circuit: Circuit, role_of: Mapping[str, Role]) -> set[str]:
    """Return the nodes of the heater string: at heater pins, and on through resistors with nothing
    else between them.
    """
    found = {node for node, role in role_of.items() if role == "heater"}
    links = [
        tuple(node for _, node in part.pins)
        for part in circuit.parts
        if part.kind in _STRING and len(part.pins) == 2
    ]
    grown = True
    while grown:
        grown = False
        for one, other in links:
            for near, far in ((one, other), (other, one)):
                if (
                    near in found
                    and far not in found
                    and role_of[far] == "signal"
                    and len(circuit.at[far]) == 2
                ):
                    found.add(far)
                    grown = True
    return found
