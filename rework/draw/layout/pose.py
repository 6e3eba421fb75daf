"""How a piece is turned on the sheet, its symbol so turned, and the signs under its pins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from rework.circuit.kinds import KINDS
from rework.circuit.leads import lead_colour
from rework.draw.layout.netlist import FLAG, Netlist, Piece
from rework.draw.symbols import bulb, can, ends, passive, table, tube
from rework.draw.symbols.pen import AHEAD, Box, Lead, Side, Style, Symbol, around, line, turned

#: Half the width of a sign and how far it reaches under the end of its lead.
SIGN_HALF, SIGN_DEEP = 1.0, 2.4
#: How far from the track the linkage of a ganged switch leaves the arrow of a pot, u.
LINKAGE = 2
#: Colours whose letters are not their first; the trade's, not those of IEC 60757.
_INITIALS = {"black": "BK", "brown": "BN", "blue": "BL"}
_SHORT = {"black": "BLK", "green": "GRN", "brown": "BRN", "slate": "SLT", "yellow": "YEL"}


@dataclass(frozen=True, slots=True)
class Pose:
    """Quarters clockwise, mirrored left to right before that, the two ends swapped, and the sides
    on which grids are led out, as (element, side).
    """

    quarters: int = 0
    mirrored: bool = False
    swapped: bool = False
    sides: tuple[tuple[str, Side], ...] = ()


@dataclass(frozen=True, slots=True)
class Tag:
    """A sign under the pins of one piece: its net, the end of its lead from above, and the wires
    from the pins to there.
    """

    net: str
    x: int
    y: int
    wires: tuple[tuple[tuple[int, int], ...], ...] = ()
    half: float = SIGN_HALF

    @property
    def box(self) -> Box:
        """What the sign covers, under the point (x, y)."""
        return Box(self.x - self.half, self.y + 0.9, self.x + self.half, self.y + SIGN_DEEP)


def is_polar(piece: Piece) -> bool:
    """True where the two ends of a piece may not be swapped on the paper."""
    if piece.kind == bulb.HEATER_UNIT:
        return True
    row = KINDS.get(piece.part.kind)
    return row is not None and row.polar


def lying(piece: Piece, left: str) -> Pose:
    """Return the pose of a piece of two ends with a node at its left."""
    if piece.pins[0][1] == left or not _first_is_left(piece):
        return Pose()
    return Pose(mirrored=True) if is_polar(piece) else Pose(swapped=True)


def hanging(piece: Piece, top: str) -> Pose:
    """Return the pose of a piece of two ends with a node at its top."""
    if piece.pins[0][1] == top:
        return Pose(quarters=1)
    return Pose(quarters=3) if is_polar(piece) else Pose(quarters=1, swapped=True)


def _first_is_left(piece: Piece) -> bool:
    return piece.is_two_ended


def posed(piece: Piece, pose: Pose, style: Style) -> Symbol:
    """Return the symbol of a piece as it is turned."""
    symbol = _upright(piece, pose, style)
    if pose.swapped:
        lead, other = symbol.leads[0], symbol.leads[-1]
        symbol = replace(
            symbol,
            leads=(
                replace(lead, terminals=other.terminals, number=other.number),
                *symbol.leads[1:-1],
                replace(other, terminals=lead.terminals, number=lead.number),
            ),
        )
    return turned(symbol, pose.quarters, mirrored=pose.mirrored)


def _upright(piece: Piece, pose: Pose, style: Style) -> Symbol:
    if piece.bulb_unit is not None:
        if piece.kind == bulb.HEATER_UNIT:
            return tube.heater(piece.bulb_unit)
        return tube.tube_unit(piece.bulb_unit, dict(pose.sides), dict(piece.pins))
    if piece.part.kind == "tube":
        return tube.unknown_bulb(tuple(terminal for terminal, _ in piece.pins))
    if piece.kind == FLAG:
        return ends.flag(piece.part.type)
    if piece.part.kind == "shielded cable":
        if len(piece.pins) == 2:
            return passive.cable_core(piece.pins[0][0], piece.pins[1][0], ())
        return Symbol((Lead((piece.pins[0][0],), 0, 0, "left"),), (), Box(-0.5, -0.5, 0.5, 0.5))
    return table.symbol_of(piece.part, style)


def dressed(piece: Piece, symbol: Symbol, nets: Netlist) -> Symbol:
    """Return a symbol with what only the circuit knows: the colours of a transformer's leads by the
    trade's code, the mark of a section of a can, and at a pot the stub of the linkage to the switch
    on its shaft.
    """
    if piece.kind in ("transformer", "output transformer"):
        return _coloured(piece, symbol, nets)
    if piece.kind in ("chassis", "earth") and _has_another_sign(piece, nets):
        return replace(symbol, strokes=())
    section = can.section(nets.circuit, piece.part)
    plus = symbol.lead("plus")
    if section is not None and plus is not None:
        mark = can.mark(section, plus.side)
        body = around([symbol.body, mark.body])
        return replace(symbol, strokes=(*symbol.strokes, *mark.strokes), body=body)
    wiper, end = symbol.lead("wiper"), symbol.lead("ccw")
    if piece.kind == "pot" and wiper is not None and end is not None and _is_ganged(piece, nets):
        (dx, dy), (px, py) = AHEAD[wiper.side], AHEAD[end.side]
        x, y = LINKAGE * dx, LINKAGE * dy
        stub = line((x, y), (x + px, y + py), weight="thin", dashed=True)
        return replace(symbol, strokes=(*symbol.strokes, stub))
    return symbol


def _has_another_sign(piece: Piece, nets: Netlist) -> bool:
    """True for a chassis whose node is told by the sign of the protective earth it is bonded to."""
    return any(nets.nets[n].sign not in ("", piece.kind) for n in piece.nodes if n in nets.nets)


def _is_ganged(piece: Piece, nets: Netlist) -> bool:
    return any(
        part.kind == "switch" and part.setting("on") == piece.part.name
        for part in nets.circuit.parts
    )


def _coloured(piece: Piece, symbol: Symbol, nets: Netlist) -> Symbol:
    roles = dict.fromkeys(piece.nodes, "signal")
    roles |= {name: str(net.role) for name, net in nets.nets.items()}
    leads = []
    for lead in symbol.leads:
        aside = lead.side in ("left", "right")
        colour = lead_colour(nets.circuit, piece.part, lead.terminals[0], roles) if aside else ""
        leads.append(replace(lead, number=_code(colour)))
    return replace(symbol, leads=tuple(leads))


def _code(colour: str) -> str:
    """Return the three letters of a colour; of one with a tracer the initials of both."""
    names = colour.split("/")
    if len(names) > 1:
        return "/".join(_INITIALS.get(name, name[:1].upper()) for name in names)
    return _SHORT.get(colour, colour[:3].upper())


def tags(piece: Piece, symbol: Symbol, nets: Netlist) -> tuple[Tag, ...]:
    """Return the signs under the pins of a piece that are on nets shown by signs.

    Pins that have no room for one are left to the router.
    """
    if piece.kind in ("chassis", "earth"):
        return ()
    placed: list[Tag] = []
    groups: dict[tuple[str, Side], list[Lead]] = {}
    for lead in symbol.leads:
        node = piece.node(lead.terminals[0])
        if node is not None and nets.shown(node) == "sign":
            groups.setdefault((node, lead.side), []).append(lead)
    if piece.kind == "pot" and _is_rheostat(piece, nets):
        placed += _rheostat_tag(piece, symbol, groups)
        groups = {}
    for (node, side), leads in groups.items():
        if side == "up":
            continue
        if side == "down":
            placed += _under(node, leads)
            continue
        leads = sorted(leads, key=lambda lead: lead.y)
        placed += _side_tags(node, leads, [o for o in symbol.leads if o.side == side])
    return tuple(replace(tag, half=half_of(tag.net, nets)) for tag in placed)


def half_of(net: str, nets: Netlist) -> float:
    """Return half the width of a net's sign."""
    return 1.6 if nets.nets[net].sign == "chassis" else SIGN_HALF


def _under(node: str, leads: list[Lead]) -> list[Tag]:
    """Return the signs under leads that point down; close neighbours share one."""
    runs: list[list[Lead]] = []
    for lead in sorted(leads, key=lambda lead: lead.x):
        if runs and lead.x - runs[-1][-1].x <= 2 and lead.y == runs[-1][-1].y:
            runs[-1].append(lead)
        else:
            runs.append([lead])
    return [
        Tag(node, run[0].x, run[0].y, ((run[0].at, run[-1].at),) if len(run) > 1 else ())
        for run in runs
    ]


def _side_tags(node: str, leads: list[Lead], there: list[Lead]) -> list[Tag]:
    """Return the signs for leads of one side on one net: neighbours share one below the lowest."""
    runs: list[list[Lead]] = []
    for lead in leads:
        between = [o for o in there if o not in leads and runs and runs[-1][-1].y < o.y < lead.y]
        if runs and lead.y - runs[-1][-1].y <= 3 and not between:
            runs[-1].append(lead)
        else:
            runs.append([lead])
    placed = []
    for run in runs:
        low = run[-1]
        if any(0 < o.y - low.y <= 2 for o in there):
            continue
        wire = ((run[0].at, low.at),) if len(run) > 1 else ()
        placed.append(Tag(node, low.x, low.y, wire))
    return placed


def _is_rheostat(piece: Piece, nets: Netlist) -> bool:
    wiper = piece.node("wiper")
    return (
        wiper is not None
        and nets.shown(wiper) == "sign"
        and wiper in (piece.node("ccw"), piece.node("cw"))
    )


def _rheostat_tag(
    piece: Piece, symbol: Symbol, groups: Mapping[tuple[str, Side], list[Lead]]
) -> tuple[Tag, ...]:
    """Return the sign of a pot whose wiper is tied to an end, the tie drawn as a wire."""
    wiper = symbol.lead("wiper")
    placed: list[Tag] = []
    for (node, side), leads in groups.items():
        for lead in leads:
            if side == "down" and wiper is not None and node == piece.node("wiper"):
                x, y = lead.x, lead.y + 1
                tie = (wiper.at, (wiper.x, y), (x, y))
                placed.append(Tag(node, x, y, (tie, (lead.at, (x, y)))))
            elif lead is not wiper and side in ("left", "right"):
                placed.append(Tag(node, lead.x, lead.y))
    return tuple(placed)
