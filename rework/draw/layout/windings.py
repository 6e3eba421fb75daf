"""Parts of more than two leads in the supply: transformers on one primary under one another, and
selectors with the contacts for the heaters below.
"""

from __future__ import annotations

from collections.abc import Container, Iterable

from rework.anatomy.rectifiers import rectifies
from rework.draw.layout.netlist import Piece
from rework.draw.layout.pose import Pose, posed
from rework.draw.layout.sketch import Sketch

WINDINGS = ("transformer", "autotransformer", "output transformer")


def stacked(sketch: Sketch, near: Iterable[Piece], transformer: Piece) -> list[Piece]:
    """Return those of some pieces that are transformers with their first winding on the nets of
    one's, those with a winding that feeds a rectifier first.
    """
    nets = primary(transformer)
    same = [piece for piece in near if piece.kind in WINDINGS and primary(piece) == nets]
    same.sort(key=lambda piece: (not _rectified(sketch, piece), piece.key))
    return same or [transformer]


def _rectified(sketch: Sketch, transformer: Piece) -> bool:
    """True where a rectifier is on a winding of a transformer."""
    first = primary(transformer)
    return any(
        rectifies(piece.part)
        for node in transformer.nodes
        if node not in first
        for piece in sketch.nets.on[node]
    )


def feeds_heaters_above(sketch: Sketch, pieces: Container[str], switch: Piece) -> bool:
    """True for a selector whose contacts for the heaters, which lie below, are the upper;
    ``pieces`` are those of the supply.
    """
    rows: dict[bool, list[int]] = {False: [], True: []}
    for lead in posed(switch, Pose(), sketch.style).leads:
        node = switch.node(lead.terminals[0])
        near = [p for p in sketch.nets.on[node] if p is not switch] if node else []
        if near and lead.side == "right":
            rows[not any(piece.key in pieces for piece in near)].append(lead.y)
    heaters, others = rows[True], rows[False]
    return bool(heaters and others) and sum(heaters) / len(heaters) < sum(others) / len(others)


def primary(transformer: Piece) -> frozenset[str]:
    """Return the nets of a transformer's first winding."""
    first = transformer.pins[0][0].partition(".")[0]
    return frozenset(node for pin, node in transformer.pins if pin.partition(".")[0] == first)
