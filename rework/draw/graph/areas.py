"""Which part of the page a part is in: the line and the filter above, the signal below, the
heaters under that. What a part does, ``rework.anatomy.roles`` knows.
"""

from __future__ import annotations

from collections.abc import Mapping

from rework.anatomy.amplifier import of
from rework.anatomy.role import Role as PartRole
from rework.anatomy.roles import part_roles
from rework.circuit.circuit import Circuit
from rework.draw.colours import Role

#: The areas of a chassis, from the top of the page; an attached circuit is an area by its own name.
LINE, SIGNAL, HEATERS = "line", "signal", "heaters"
TITLES = {LINE: "Line, rectifier, filter", SIGNAL: "Signal", HEATERS: "Heaters"}

_HEATERS = frozenset({PartRole.DROPPER, PartRole.HEATER_LAMP})
_LINE = frozenset(
    {
        PartRole.PLUG,
        PartRole.LINE_FUSE,
        PartRole.LINE_SWITCH,
        PartRole.INRUSH,
        PartRole.LINE_CAPACITOR,
        PartRole.MAINS_TRANSFORMER,
        PartRole.MOTOR,
        PartRole.RECTIFIER,
        PartRole.SURGE,
        PartRole.RESERVOIR,
        PartRole.FILTER_CAPACITOR,
        PartRole.FILTER_RESISTOR,
        PartRole.FILTER_CHOKE,
        PartRole.SUPPLY_FUSE,
        PartRole.BLEEDER,
        PartRole.RAIL_BYPASS,
        PartRole.DOUBLER_CAPACITOR,
        PartRole.BACK_BIAS,
        PartRole.CHASSIS,
        PartRole.EARTH,
        PartRole.CONNECTOR,
    }
)
#: What stands where its nodes are.
_BY_NODES = frozenset(
    {PartRole.OTHER, PartRole.SHUNT, PartRole.HEATER_BALANCE, PartRole.CHASSIS_BYPASS}
)
_RAILS = ("line", "b-plus", "b-minus", "common", "chassis")


def areas(circuit: Circuit, role_of: Mapping[str, Role]) -> dict[str, str]:
    """Return the area of every part that is no conductor, by name."""
    boxes = {}
    for name, row in part_roles(of(circuit)).items():
        part = circuit.by_name[name]
        if part.is_conductor:
            continue
        prefix = name.rpartition("/")[0]
        between = part.pins and all(role_of[node] in _RAILS for _, node in part.pins)
        if prefix:
            boxes[name] = prefix
        elif row.role in _HEATERS:
            boxes[name] = HEATERS
        else:
            in_line = row.role in _LINE or (row.role in _BY_NODES and between)
            boxes[name] = LINE if in_line else SIGNAL
    return boxes
