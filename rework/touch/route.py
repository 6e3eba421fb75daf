"""The way the current takes from the hot conductor to a node, as the least impedance: for the
reader, not for the sum.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence

from rework.touch.parts import EARTH
from rework.touch.study import FEEDS, Combo, Row, Study


def route(study: Study, row: Row, combo: Combo, feed: int, port: tuple[str, str]) -> str:
    """Return the parts on the way of least impedance from the hot blade to the port, as ``P1.line >
    F1 > C9 > CHASSIS``.

    Wires, contacts and switches are left out. E. W. Dijkstra, Numer. Math. 1, 269-271, 1959, over
    the moduli of the impedances.
    """
    admittance = abs(study.admittance((row,))[0])
    at: dict[str, list[tuple[str, float, str]]] = {}
    starts = []
    hot = FEEDS[feed].hot
    for element, siemens in zip(study.elements, admittance, strict=False):
        if element.gate[:1] == ("blade",):
            if siemens and (element.gate[2] == "line") == (hot == "line"):
                starts.append((f"{element.part}.{element.gate[2]}", element.nodes[0]))
        elif siemens > 0 and EARTH not in element.nodes[:2]:
            one, other = element.nodes[:2]
            name = "" if element.kind in ("conductor", "contact", "switch") else element.name
            at.setdefault(one, []).append((other, 1 / siemens, name))
            at.setdefault(other, []).append((one, 1 / siemens, name))
    positions = dict(zip(study.axes, combo, strict=True))
    for variant in study.variants:
        if positions[variant.axis] == variant.position:
            one, other = variant.nodes[:2]
            at.setdefault(one, []).append((other, 1 / variant.siemens, variant.name))
            at.setdefault(other, []).append((one, 1 / variant.siemens, variant.name))
    ends = [node for node in port if node != EARTH]
    best = min((found for end in ends if (found := _shortest(at, starts, end))), default=None)
    if best is None:
        return "no way from the hot conductor"
    return " > ".join([*filter(None, best[1]), best[2]])


def _shortest(
    at: Mapping[str, Sequence[tuple[str, float, str]]], starts: Sequence[tuple[str, str]], end: str
) -> tuple[float, list[str], str] | None:
    """Return (ohms, names on the way, end) of the shortest way, or None where there is none."""
    queue: list[tuple[float, str, tuple[str, ...]]] = [
        (0.0, node, (blade,)) for blade, node in sorted(starts)
    ]
    heapq.heapify(queue)
    done: set[str] = set()
    while queue:
        far, node, way = heapq.heappop(queue)
        if node == end:
            return far, list(way), end
        if node in done:
            continue
        done.add(node)
        for other, ohms, name in at.get(node, ()):
            if other not in done:
                heapq.heappush(queue, (far + ohms, other, (*way, name)))
    return None
