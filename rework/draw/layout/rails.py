"""B+ as a line across the top, the filter chain in it, from the rectifier at the right to the first
tube at the left; filter capacitors hang from the line between the loads.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from rework.anatomy.rectifiers import is_rectifier_tube, rectifies
from rework.anatomy.units import element_at
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.layout.flow import TRANSFORMERS
from rework.draw.layout.netlist import FLAG, Piece
from rework.draw.layout.pose import Pose, hanging, lying
from rework.draw.layout.sketch import Sketch
from rework.draw.symbols.pen import shortened

#: The row of the rails in the first signal band.
RAIL = -18
BAND = "signal0"
#: Kinds a chain of filters is made of.
_IN_CHAIN = ("resistor", "choke", "fuse")
#: Units left of a tube within which nothing hangs from the line where a grid is led up to it.
_RISER = 3
#: Units between two flags at the end of the line.
_FLAGS_APART = 3


def chain(sketch: Sketch) -> None:
    """Place what lies between rails, and what goes from a rail to a sign, in the line on top."""
    rails = _in_order(sketch)
    last = 0
    line: list[Piece] = []
    ends: dict[str, int] = {}
    for number, net in enumerate(rails):
        consumer = _last_consumer(sketch, net)
        if _is_transformer(sketch, consumer) or number == 0 == len(rails) - 1:
            consumer -= 1  # the filter goes in before the last that takes from it
        if number + 1 < len(rails) or number == 0:
            last = max(last, consumer)
        for piece in _placed(sketch, net, RAIL + 3):
            last = max(last, sketch.order.index(sketch.spots[piece.key].column))
            line.append(piece)
        for piece in _downs(sketch, net):
            column = _after(sketch, last)
            last = sketch.order.index(column)
            sketch.put(piece, hanging(piece, net), BAND, RAIL + 3, column)
            line.append(piece)
        if sketch.order:
            ends[net] = sketch.order[last]
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
    _leave_risers(sketch, line)
    _keep_risers(sketch, ends)
    _flags(sketch, rails)


def _keep_risers(sketch: Sketch, ends: Mapping[str, int]) -> None:
    """Keep a column for each rail that goes on under the signal: before what takes from it behind
    the filter, whose last column in the rail is given.
    """
    for net, end in ends.items():
        if net not in sketch.risers and any(p.kind != FLAG for p in sketch.free(net)):
            later = [at for at in _consumers(sketch, net) if at > sketch.order.index(end)]
            before = sketch.order[min(later)] if later else None
            sketch.risers[net] = sketch.column(before=before)


def loosen(sketch: Sketch) -> None:
    """Shorten the leads that a second circuit takes off the line, so that the line runs straight
    over their ends.
    """
    for key, spot in list(sketch.variants.items()):
        first = sketch.spots[key]
        if spot.band != BAND or spot.y != RAIL + 3:
            continue
        for lead in first.symbol.leads:
            top = lead.terminals[0]
            if lead.side == "up" and spot.piece.node(top) != first.piece.node(top):
                spot = replace(spot, symbol=shortened(spot.symbol, top))
        sketch.variants[key] = spot


def _leave_risers(sketch: Sketch, line: list[Piece]) -> None:
    """Keep what hangs from the line out of the way up from a grid to it, at the left of a tube."""
    place = {column: number for number, column in enumerate(sketch.order)}
    hung = [sketch.spots[piece.key] for piece in line if sketch.spots[piece.key].y == RAIL + 3]
    for tube in sketch.spots.values():
        if tube.riser is None or tube.band != BAND:
            continue
        ends = [lead.x for lead in tube.symbol.leads]
        for spot in hung:
            if place[spot.column] < place[tube.column]:
                gap = min(ends) - tube.riser + _RISER
                sketch.followers.append((spot.piece.key, tube.piece.key, gap))
            else:
                gap = tube.riser - max(ends) + _RISER
                sketch.followers.append((tube.piece.key, spot.piece.key, gap))


def _flags(sketch: Sketch, rails: list[str]) -> None:
    """Put the flags of rails that go on elsewhere at the ends of the line: the rail furthest from
    the rectifier at the left, the others at the right.
    """
    if not sketch.order:
        return
    for number, net in enumerate(rails):
        for piece in sketch.free(net):
            if piece.kind != FLAG:
                continue
            if number == 0 and len(rails) > 1:
                column = sketch.column(before=sketch.order[0])
                sketch.put(piece, Pose(mirrored=True), BAND, RAIL, column)
            else:
                y = RAIL - _FLAGS_APART * (len(rails) - 1 - number)
                sketch.put(piece, Pose(), BAND, y, sketch.column())


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
    rails = [net for net in _rails(sketch) if not _is_feed(sketch, net)]
    depth = _depths(sketch.nets.circuit)
    return sorted(rails, key=lambda net: (-depth.get(net, 0), _first_consumer(sketch, net), net))


def _is_feed(sketch: Sketch, net: str) -> bool:
    """True for B+ between a connector and a wire: it is drawn in the row of the contact."""
    kinds = {"wire" if p.part.is_conductor else p.kind for p in sketch.nets.on[net]}
    return kinds == {"wire", "connector"}


def _depths(circuit: Circuit) -> Mapping[str, int]:
    """Return how many parts lie between each node and where B+ comes from, on whatever sheet."""
    depth = {
        node: 0
        for node, on in circuit.at.items()
        if any(_feeds(part, terminal) for part, terminal in on)
    }
    waiting = sorted(depth)
    while waiting:
        node = waiting.pop(0)
        for part, terminal in circuit.at[node]:
            winding = terminal.partition(".")[0] if part.kind in TRANSFORMERS else ""
            if winding or part.kind in _IN_CHAIN or part.is_conductor:
                for pin, other in part.pins:
                    if other not in depth and pin.startswith(winding):
                        depth[other] = depth[node] + 1
                        waiting.append(other)
    return depth


def _feeds(part: Part, terminal: str) -> bool:
    """True for a pin that B+ comes from: of a rectifier, or of a connector."""
    if part.kind == "tube":
        return is_rectifier_tube(part) and element_at(part, terminal) == "cathode"
    return part.kind == "connector" or (rectifies(part) and terminal in ("cathode", "plus"))


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


def _is_transformer(sketch: Sketch, index: int) -> bool:
    """True where a transformer is at a place in the order."""
    return any(
        spot.piece.kind in TRANSFORMERS and sketch.order.index(spot.column) == index
        for spot in sketch.spots.values()
    )


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
