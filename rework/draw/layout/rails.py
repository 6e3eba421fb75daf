"""B+ as a line across the top, the filter chain in it, from the rectifier at the right to the first
tube at the left; filter capacitors hang from the line between the loads.
"""

from __future__ import annotations

from collections.abc import Mapping

from rework.draw.layout.netlist import Piece
from rework.draw.layout.pose import hanging, lying
from rework.draw.layout.sketch import Sketch

#: The row of the rails in the first signal band, and the step to the next track above it.
RAIL, TRACK = -18, 2
BAND = "signal0"


def chain(sketch: Sketch) -> None:
    """Place what lies between rails, and what goes from a rail to a sign, in the line on top."""
    rails = _in_order(sketch)
    last = 0
    line: list[Piece] = []
    for number, net in enumerate(rails):
        if number + 1 < len(rails):
            last = max(last, _last_consumer(sketch, net))
        elif number == 0:  # the filter goes in before the last that takes from it
            last = max(0, _last_consumer(sketch, net) - 1)
        for piece in _placed(sketch, net, RAIL + 3):
            last = max(last, sketch.order.index(sketch.spots[piece.key].column))
            line.append(piece)
        for piece in _downs(sketch, net):
            column = _after(sketch, last)
            last = sketch.order.index(column)
            sketch.put(piece, hanging(piece, net), BAND, RAIL + 3, column)
            line.append(piece)
        for other in rails[number + 1 :]:
            for piece in _placed(sketch, net, RAIL):
                if other in piece.nodes:
                    last = max(last, sketch.order.index(sketch.spots[piece.key].column))
                    line.append(piece)
            for piece in _between(sketch, net, other):
                column = _after(sketch, last)
                last = sketch.order.index(column)
                sketch.put(piece, lying(piece, net), BAND, RAIL, column)
                line.append(piece)
    sketch.follow(line)


def _placed(sketch: Sketch, net: str, y: int) -> list[Piece]:
    """Return the pieces of the line that are on a rail already, from left to right."""
    here = [
        piece
        for piece in sketch.nets.on[net]
        if (spot := sketch.spots.get(piece.key)) is not None
        and spot.band == BAND
        and spot.y == y
        and piece.is_two_ended
    ]
    return sorted(here, key=lambda piece: sketch.order.index(sketch.spots[piece.key].column))


def _after(sketch: Sketch, index: int) -> int:
    """Return a new column after the one at a place in the order."""
    return sketch.column(after=sketch.order[index]) if sketch.order else sketch.column()


def _rails(sketch: Sketch) -> list[str]:
    return [name for name, net in sketch.nets.nets.items() if net.shown == "rail"]


def _in_order(sketch: Sketch) -> list[str]:
    """Return the rails from the one furthest from the rectifier to the nearest.

    Rails at the same distance go by their first consumer.
    """
    rails = _rails(sketch)
    depth = _depths(sketch, rails)
    return sorted(rails, key=lambda net: (-depth.get(net, 0), _first_consumer(sketch, net), net))


def _depths(sketch: Sketch, rails: list[str]) -> Mapping[str, int]:
    """Return how many parts lie between each rail and where B+ comes from."""
    starts = [net for net in rails if any(_feeds(piece, net) for piece in sketch.nets.on[net])]
    depth = dict.fromkeys(starts or rails[-1:], 0)
    waiting = list(depth)
    while waiting:
        net = waiting.pop(0)
        for piece in sketch.nets.on[net]:
            if not piece.is_two_ended:
                continue
            for other in sketch.others(piece, net):
                if other in rails and other not in depth:
                    depth[other] = depth[net] + 1
                    waiting.append(other)
    return depth


def _feeds(piece: Piece, net: str) -> bool:
    """True for a rectifier or a connector that the rail comes from."""
    if piece.bulb_unit is not None:
        pins = piece.bulb_unit.pins
        grids = {"grid", "screen"} & pins.keys()
        return not grids and any(piece.node(pin) == net for pin in pins.get("cathode", ()))
    return piece.kind in ("diode", "selenium", "bridge", "connector")


def _consumers(sketch: Sketch, net: str) -> list[int]:
    place = {column: number for number, column in enumerate(sketch.order)}
    return [
        place[spot.column]
        for key, _ in sketch.net(net).pins
        if (spot := sketch.spots.get(key)) is not None
        and spot.band.startswith("signal")
        and not (spot.piece.is_two_ended and spot.y in (RAIL, RAIL + 3))
    ]


def _first_consumer(sketch: Sketch, net: str) -> int:
    return min(_consumers(sketch, net), default=len(sketch.order))


def _last_consumer(sketch: Sketch, net: str) -> int:
    return max(_consumers(sketch, net), default=0)


def _downs(sketch: Sketch, net: str) -> list[Piece]:
    return [
        piece
        for piece in sketch.free(net)
        if piece.is_two_ended
        and all(sketch.nets.shown(other) == "sign" for other in sketch.others(piece, net))
        and len(piece.nodes) == 2
        and piece.kind != "heater"
    ]


def _between(sketch: Sketch, net: str, other: str) -> list[Piece]:
    return [
        piece
        for piece in sketch.free(net)
        if piece.is_two_ended and set(piece.nodes) == {net, other}
    ]
