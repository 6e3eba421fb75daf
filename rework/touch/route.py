"""The way the current takes to a node, as the least impedance: from the hot conductor, or from the
other one or earth through a winding whose volts drive it. For the reader, not for the sum.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence

from rework.touch.parts import EARTH
from rework.touch.study import FEEDS, Combo, Row, Study


def route(study: Study, row: Row, combo: Combo, feed: int, port: tuple[str, str]) -> str:
    """Return the parts on the way of least impedance from the hot blade to the port, as ``P1.line >
    F1 > C9 > CHASSIS``. From the other blade and from earth a way counts that leads through a
    winding: there the volts of the winding drive the current.

    Wires, contacts and switches are left out. E. W. Dijkstra, Numer. Math. 1, 269-271, 1959, over
    the moduli of the impedances.
    """
    admittance = abs(study.admittance((row,))[0])
    at: _Map = {}
    starts: list[_Start] = []

    def join(nodes: Sequence[str], siemens: float, name: str, winding: bool) -> None:
        first, second = nodes[:2]
        at.setdefault(first, []).append((second, 1 / siemens, name, winding))
        at.setdefault(second, []).append((first, 1 / siemens, name, winding))

    hot = FEEDS[feed].hot
    for element, siemens in zip(study.elements, admittance, strict=False):
        if element.gate[:1] in (("blade",), ("earth",)):
            terminal = element.gate[2] if element.gate[0] == "blade" else "earth"
            is_hot = element.gate[0] == "blade" and (terminal == "line") == (hot == "line")
            if siemens:
                starts.append((f"{element.part}.{terminal}", element.nodes[0], is_hot))
        elif siemens > 0 and EARTH not in element.nodes[:2]:
            silent = element.kind in ("conductor", "contact", "switch")
            join(element.nodes, siemens, "" if silent else element.name, element.kind == "winding")
    positions = dict(zip(study.axes, combo, strict=True))
    for variant in study.variants:
        if positions[variant.axis] == variant.position:
            join(variant.nodes, variant.siemens, variant.name, False)
    ends = [node for node in port if node != EARTH]
    best = min((path for end in ends if (path := _shortest(at, starts, end))), default=None)
    if best is None:
        return "no way from the hot conductor"
    return " > ".join([*filter(None, best[1]), best[2]])


#: Of every node: the node beyond, ohms, the name of the part, and whether it is a winding.
_Map = dict[str, list[tuple[str, float, str, bool]]]
#: The name of a contact of the plug, its node, and whether it is hot.
_Start = tuple[str, str, bool]


def _shortest(at: _Map, starts: Sequence[_Start], end: str) -> tuple[float, list[str], str] | None:
    """Return (ohms, names on the way, end) of the shortest way on which something drives the
    current, or None where there is none. It never comes back to a node: out through a winding and
    back through it, nothing is driven.
    """
    queue: list[tuple[float, str, bool, tuple[str, ...], tuple[str, ...]]] = [
        (0.0, node, is_hot, (contact,), (node,)) for contact, node, is_hot in sorted(starts)
    ]
    heapq.heapify(queue)
    done: set[tuple[str, bool]] = set()
    while queue:
        far, node, is_driven, way, passed = heapq.heappop(queue)
        if node == end and is_driven:
            return far, list(way), end
        if (node, is_driven) in done:
            continue
        done.add((node, is_driven))
        for other, ohms, name, winding in at.get(node, ()):
            driven = is_driven or winding
            if (other, driven) not in done and other not in passed:
                heapq.heappush(queue, (far + ohms, other, driven, (*way, name), (*passed, other)))
    return None
