"""A sheet's plan: signal, rails, supply and heaters by their idioms, and what is left in a row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from rework.anatomy.rectifiers import is_rectifier_tube
from rework.draw.colours import Role
from rework.draw.graph.areas import HEATERS, SIGNAL, areas
from rework.draw.layout import rails
from rework.draw.layout.flow import TRANSFORMERS
from rework.draw.layout.heating import HeaterBand
from rework.draw.layout.netlist import FLAG, Netlist, Piece
from rework.draw.layout.pose import Pose, hanging, lying
from rework.draw.layout.power import PowerBand
from rework.draw.layout.signal import signal_band
from rework.draw.layout.sketch import Sketch, Spot
from rework.draw.layout.sources import SOURCES
from rework.draw.symbols import bulb
from rework.draw.symbols.pen import Style
from rework.tubes.elements import HEATER_TAPS

#: What the row of heaters lays its wires at.
_FED = (bulb.HEATER_UNIT, "lamp")


def plan(nets: Netlist, style: Style, role_of: Mapping[str, Role]) -> Sketch:
    """Return where every piece is placed, by band, row and column."""
    sketch = Sketch(nets, style)
    groups = _groups(nets, role_of)
    chassis = {key for key, piece in nets.pieces.items() if piece.kind in ("chassis", "earth")}
    signal = frozenset(key for key, group in groups.items() if group == SIGNAL) - chassis
    heating = frozenset(key for key, group in groups.items() if group == HEATERS) - chassis
    has_signal = any(_amplifies(nets.pieces[key]) for key in signal) or _is_network(nets, signal)
    rest = frozenset(nets.pieces) - heating - chassis
    if has_signal:
        signal_band(sketch, signal).run()
        rails.chain(sketch)
    PowerBand(sketch, rest - sketch.spots.keys(), has_signal).run()
    HeaterBand(sketch, heating).run()
    _signs(sketch, chassis)
    return sketch


def add_to(
    sketch: Sketch, first: Mapping[str, Spot], nets: Netlist, role_of: Mapping[str, Role]
) -> None:
    """Place what a second netlist has more: where a like piece went, or by its idiom."""
    _in_place_of(sketch, first, nets)
    _at_lifted_leads(sketch, nets)
    groups = _groups(nets, role_of)
    chassis = {key for key, piece in nets.pieces.items() if piece.kind in ("chassis", "earth")}
    heating = frozenset(key for key, group in groups.items() if group == HEATERS) - chassis
    signal = frozenset(key for key, group in groups.items() if group == SIGNAL) - chassis
    has_signal = any(_amplifies(piece) for piece in nets.pieces.values())
    if has_signal:
        rails.chain(sketch)
    signal_band(sketch, signal).go_on()
    PowerBand(sketch, frozenset(nets.pieces) - heating - chassis, has_signal).run()
    HeaterBand(sketch, heating).run()
    _signs(sketch, {key for key in chassis if key not in sketch.spots})
    _turn_flags(sketch)


def _turn_flags(sketch: Sketch) -> None:
    """Point flags to the right whose net has everything at their right in the second circuit."""
    place = {column: number for number, column in enumerate(sketch.order)}
    for key, flag in list(sketch.variants.items()):
        if flag.piece.kind != FLAG:
            continue
        pins = sketch.net(flag.piece.nodes[0]).pins
        others = (sketch.variants.get(k) or sketch.spots.get(k) for k, _ in pins if k != key)
        columns = [place[spot.column] for spot in others if spot is not None]
        if columns and min(columns) > place[flag.column]:
            turned = replace(flag, pose=Pose(mirrored=True))
            sketch.variants[key] = sketch.like(flag.piece, turned)


def _in_place_of(sketch: Sketch, first: Mapping[str, Spot], nets: Netlist) -> None:
    """Give a new part of two ends the place of one that went from between its nets, of a like one
    where there is any.
    """
    gone = [
        spot
        for key, spot in sorted(first.items())
        if key not in nets.pieces and spot.piece.is_two_ended
    ]
    new = [
        piece
        for key, piece in sorted(nets.pieces.items())
        if key not in sketch.spots and piece.is_two_ended and not piece.part.is_conductor
    ]
    for alike in (True, False):
        for piece in [piece for piece in new if piece.key not in sketch.spots]:
            free = [
                spot
                for spot in gone
                if set(spot.piece.nodes) == set(piece.nodes)
                and (spot.piece.kind == piece.kind or not alike)
            ]
            if not free:
                continue
            spot = free[0]
            gone.remove(spot)
            hangs = spot.pose.quarters % 2 == 1
            first_lead = min(spot.symbol.leads, key=lambda lead: lead.y if hangs else lead.x)
            node = spot.piece.part.at(first_lead.terminals[0])
            pose = hanging(piece, node) if hangs else lying(piece, node)
            sketch.put(piece, pose, spot.band, spot.y, spot.column, dx=spot.dx)


def _at_lifted_leads(sketch: Sketch, nets: Netlist) -> None:
    """Lay new wires straight on from leads that were lifted to them."""
    for key, piece in sorted(nets.pieces.items()):
        if key in sketch.spots or not piece.part.is_conductor or len(piece.nodes) != 2:
            continue
        for node in piece.nodes:
            others = [other for other in nets.on[node] if other.key != key]
            spot = sketch.spots.get(others[0].key) if len(others) == 1 else None
            if spot is None or not others[0].is_two_ended or others[0].kind in _FED:
                continue
            far = next(net for net in piece.nodes if net != node)
            lead = next(a for a in spot.symbol.leads if others[0].node(a.terminals[0]) == node)
            if lead.side == "down":
                pose, y = hanging(piece, node), spot.y + lead.y + 3
                sketch.put(piece, pose, spot.band, y, spot.column, dx=spot.dx + lead.x)
            elif lead.side == "right" and spot.band == "heaters":
                column = sketch.column(after=spot.column)
                sketch.put(piece, lying(piece, node), spot.band, spot.y + lead.y, column)
            elif lead.side == "left" and spot.band == "heaters":
                column = sketch.column(before=spot.column)
                sketch.put(piece, lying(piece, far), spot.band, spot.y + lead.y, column)
            if key in sketch.spots:
                break


def _groups(nets: Netlist, role_of: Mapping[str, Role]) -> dict[str, str]:
    """Return for every piece whether it belongs to the signal, the supply or the heaters."""
    area_of = areas(nets.circuit, role_of)
    groups = {}
    for key, piece in nets.pieces.items():
        if piece.kind == bulb.HEATER_UNIT:
            groups[key] = "line" if _has_winding_to_itself(piece, nets) else HEATERS
        elif piece.kind == FLAG:
            continue
        elif piece.part.is_conductor:
            groups[key] = _conductor_group(piece, nets, role_of)
        elif piece.unit == "rectifier":
            groups[key] = "line"
        else:
            groups[key] = area_of.get(piece.part.name, SIGNAL)
    for piece in list(nets.pieces.values()):
        if groups.get(piece.key) == HEATERS and piece.kind == bulb.HEATER_UNIT:
            groups |= {other.key: HEATERS for other in _at_tap(piece, nets)}
    for key, piece in nets.pieces.items():
        if piece.kind == FLAG:
            near = [groups[other.key] for other in nets.on[piece.nodes[0]] if other.key in groups]
            groups[key] = SIGNAL if SIGNAL in near else near[0] if near else "line"
    return groups


def _at_tap(heater: Piece, nets: Netlist) -> list[Piece]:
    """Return the parts of two ends at the tap of a heater, such as what feeds the plate of the same
    bulb from there; none where the tap is on common.
    """
    unit = heater.bulb_unit
    taps = [pin for name in HEATER_TAPS for pin in unit.pins.get(name, ())] if unit else []
    return [
        piece
        for net in {heater.node(pin) for pin in taps} - {None}
        if nets.shown(net or "") == "wire"
        for piece in nets.on[net or ""]
        if piece.is_two_ended and not piece.part.is_conductor
    ]


def _has_winding_to_itself(heater: Piece, nets: Netlist) -> bool:
    """True for the heater of a rectifier at the two ends of one winding, which feeds nothing else
    or is on a sheet without another heater.
    """
    if not is_rectifier_tube(heater.part) or len(heater.nodes) != 2:
        return False
    alone = not any(
        piece.kind == bulb.HEATER_UNIT and piece is not heater for piece in nets.pieces.values()
    )
    if min(len(nets.on[node]) for node in heater.nodes) > 2 and not alone:
        return False
    windings = [
        {
            terminal.partition(".")[0]
            for piece in nets.on[node]
            if piece.kind in TRANSFORMERS
            for terminal, on in piece.pins
            if on == node
        }
        for node in heater.nodes
    ]
    return bool(windings[0] & windings[1])


def _conductor_group(piece: Piece, nets: Netlist, role_of: Mapping[str, Role]) -> str:
    roles = {role_of.get(node, "signal") for node in piece.nodes}
    near = [
        other.kind for node in piece.nodes if len(nets.on[node]) == 2 for other in nets.on[node]
    ]
    if "heater" in roles or bulb.HEATER_UNIT in near:
        return HEATERS
    for node in piece.nodes:
        if nets.shown(node) == "wire" and any(map(_carries_signal, nets.on[node])):
            return SIGNAL
    signal = {"grid", "plate", "cathode", "screen", "signal"}
    return SIGNAL if roles & signal else "line"


def _carries_signal(piece: Piece) -> bool:
    return _amplifies(piece) or piece.kind in SOURCES


def _amplifies(piece: Piece) -> bool:
    if piece.bulb_unit is not None:
        return "grid" in piece.bulb_unit.pins
    return piece.kind == "transistor"


def _is_network(nets: Netlist, signal: frozenset[str]) -> bool:
    """True for a signal without a tube and without a supply, as of a tone control by itself."""
    fed = any(net.role in ("b-plus", "line") for net in nets.nets.values())
    return not fed and any(nets.pieces[key].kind in SOURCES for key in signal)


def _signs(sketch: Sketch, chassis: set[str]) -> None:
    """Place the chassis and earth studs by themselves at the left of the last row, where it is
    seldom full.
    """
    for key in sorted(chassis):
        first = sketch.order[0] if sketch.order else None
        sketch.put(sketch.nets.pieces[key], Pose(), "heaters", 0, sketch.column(before=first))
