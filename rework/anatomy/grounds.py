"""Metal in reach, earth, and the names of the common."""

from __future__ import annotations

from rework.anatomy.wiring import Wiring
from rework.circuit.kinds import KINDS

#: Names by which drawings call the circuit's own negative, a real common before a bare B-: a set
#: with back bias has both, and its common is not its B-.
COMMON_NAMES = (frozenset({"COMMON", "GROUND", "GND"}), frozenset({"B-", "BMINUS"}))


def metal(wiring: Wiring) -> frozenset[str]:
    """Return the points that are metal in reach of a hand: named so in the file, or a chassis,
    sleeve, shield, shaft, frame or core.
    """
    nodes = set(wiring.circuit.touchable)
    for part in wiring.circuit.parts:
        bare = set(KINDS[part.kind].touched) - {"tip", "ring", "1", "2"}
        nodes.update(node for terminal, node in part.pins if terminal in bare)
    return wiring.points(nodes)


def earthed(wiring: Wiring) -> frozenset[str]:
    """Return the points on an earth: the earth blade of a plug, or an earth stud."""
    return frozenset(
        wiring.point(node)
        for part in wiring.circuit.parts
        for terminal, node in part.pins
        if part.kind == "earth" or (part.kind == "plug" and terminal == "earth")
    )


def named_common(wiring: Wiring) -> frozenset[str]:
    """Return the points that their names make the common, empty where no name does."""
    for names in COMMON_NAMES:
        points = frozenset(point for name, point in wiring.names if name.upper() in names)
        if points:
            return points
    return frozenset()
