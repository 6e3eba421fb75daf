"""Metal in reach, earth, and the names of the common."""

from __future__ import annotations

from itertools import chain

from rework.anatomy.wiring import Wiring
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS, Law

#: Names by which drawings call the circuit's own negative, a real common before a bare B-: a set
#: with back bias has both, and its common is not its B-.
COMMON_NAMES = (("COMMON", "GROUND", "GND"), ("BMINUS", "B-"))
#: Terminals that are the body of a part: metal that a screw holds to the rest.
_BODIES = frozenset({"metal", "frame", "core", "case", "can", "shell"})


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


def to_earth(circuit: Circuit) -> str | None:
    """Return the node of the metal that takes the earth of a new cord: the chassis, else the frame
    of a motor, the frame, core, shell or can of another part, or what the file says can be touched
    and is no end of a winding or of a speaker, nor the tip of a jack; None where the circuit as
    written has no metal, as in a wooden case.
    """
    first = ("chassis", "motor")
    parts = sorted(circuit.parts, key=lambda part: (*first, part.kind).index(part.kind))
    bodies = (node for part in parts for end, node in part.pins if end in _BODIES)
    named = (node for node in sorted(circuit.touchable) if not _is_signal(circuit, node))
    return next(chain(bodies, named), None)


def _is_signal(circuit: Circuit, node: str) -> bool:
    """Return whether a node that can be touched is no metal of the set: the hot lug of a speaker,
    the hot end of a winding or the tip of a jack, with nothing else than feedback on it.
    """
    pins = circuit.at.get(node, ())
    signal = [
        terminal in ("tip", "ring")
        or part.kind in ("speaker", "headphones")
        or KINDS[part.kind].law is Law.WINDINGS
        for part, terminal in pins
    ]
    feedback = [part.kind in ("resistor", "capacitor") for part, _ in pins]
    return any(signal) and all(map(any, zip(signal, feedback, strict=True)))


def named_common(wiring: Wiring) -> frozenset[str]:
    """Return the points that their names make the common, empty where no name does."""
    for names in COMMON_NAMES:
        points = frozenset(point for name, point in wiring.names if name.upper() in names)
        if points:
            return points
    return frozenset()


def common_name(wiring: Wiring, common: frozenset[str]) -> str | None:
    """Return what the circuit calls its common: the shortest of its nodes' names that is a name for
    one, an attached circuit's prefix left out of account; None where no name is.
    """
    known = {name for names in COMMON_NAMES for name in names}
    called = [
        node
        for node in wiring.circuit.nodes
        if node.rpartition("/")[2].upper() in known and wiring.point(node) in common
    ]
    return min(called, key=lambda node: (len(node), node), default=None)
