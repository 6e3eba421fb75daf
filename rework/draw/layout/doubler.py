"""Capacitors in series between B+ and a sign, as of a voltage doubler or a divided filter."""

from __future__ import annotations

from collections.abc import Container, Iterator

from rework.draw.layout.netlist import Piece
from rework.draw.layout.sketch import Sketch

_CAPACITORS = ("capacitor", "electrolytic")


def divided(
    sketch: Sketch, pieces: Container[str], net: str
) -> Iterator[tuple[str, list[list[Piece]]]]:
    """Yield the middle of each pair of capacitors in series from a net of B+ to a sign, with what
    lies across the upper and across the lower; ``pieces`` are those that may be placed.
    """
    for piece in _free(sketch, pieces, net):
        middle = _far(sketch, piece, net)
        if piece.key in sketch.spots or not _is_upper(sketch, pieces, piece, net):
            continue
        yield (
            middle,
            [
                [
                    p
                    for p in _free(sketch, pieces, middle)
                    if p.is_two_ended and set(p.nodes) == ends
                ]
                for ends in ({net, middle}, {middle, _under(sketch, pieces, middle)})
            ],
        )


def _is_upper(sketch: Sketch, pieces: Container[str], piece: Piece, net: str) -> bool:
    """True for the upper of two capacitors in series between B+ and a sign."""
    nets, middle = sketch.nets, _far(sketch, piece, net)
    return (
        piece.kind in _CAPACITORS
        and nets.net_role(net) == "b-plus"
        and nets.shown(middle) == "wire"
        and bool(_under(sketch, pieces, middle))
    )


def _under(sketch: Sketch, pieces: Container[str], middle: str) -> str:
    """Return the net shown by a sign that a capacitor goes to from a net, or ""."""
    ways = (
        _far(sketch, piece, middle)
        for piece in _free(sketch, pieces, middle)
        if piece.kind in _CAPACITORS
    )
    return next((far for far in ways if sketch.nets.shown(far) == "sign"), "")


def _free(sketch: Sketch, pieces: Container[str], net: str) -> list[Piece]:
    return [piece for piece in sketch.free(net) if piece.key in pieces]


def _far(sketch: Sketch, piece: Piece, net: str) -> str:
    others = sketch.others(piece, net)
    return others[0] if others else net
