"""One unit of a tube: a circle round plate, grids and cathode; and the heater of the bulb.

The plate is led out at the top from its middle, the cathode at the bottom; any other electrode at
either end (IEEE 315-1975: "connection to any other electrode may be shown at either end or both
ends"), so that the layout may choose. A tap of the heater is at its vertex (the same standard).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from rework.draw.symbols.bulb import Unit
from rework.draw.symbols.pen import AHEAD, Box, Lead, Side, Stroke, Symbol, arc, circle, line, shape

#: The elements between plate and cathode, from the top.
_GRIDS = ("beam-plates", "suppressor", "screen", "signal-grid", "grid")
_DIODES = ("diode1", "diode2", "diode3")
#: Radius of the envelope by the number of rows of elements in it.
_RADIUS = {2: 2.6, 3: 3.4, 4: 4.2, 5: 5.0, 6: 6.0, 7: 7.0}


@dataclass(slots=True)
class _Drawing:
    radius: float
    reach: int
    strokes: list[Stroke] = field(default_factory=list)
    leads: list[Lead] = field(default_factory=list)
    taken: set[tuple[Side, int]] = field(default_factory=set)

    def side_lead(self, pins: tuple[str, ...], side: Side, y: int, start: float) -> None:
        """Lead pins out at one side; ``start`` is where the electrode ends."""
        sign = -1 if side == "left" else 1
        self.taken.add((side, y))
        self.leads.append(Lead(pins, sign * self.reach, y, side, ",".join(pins)))
        self.strokes.append(line((sign * start, y), (sign * self.reach, y)))

    def free_row(self, side: Side, rows: tuple[int, ...]) -> int | None:
        """Return the first of some rows that has room for a lead on a side."""
        for y in rows:
            if abs(y) < self.radius - 0.6 and not self.taken & {
                (side, y + near) for near in (-1, 0, 1)
            }:
                return y
        return None


def tube_unit(unit: Unit, sides: Mapping[str, Side], node_of: Mapping[str, str]) -> Symbol:
    """Return the symbol of a unit, in an envelope of its own also where a bulb has two.

    ``sides`` says where grids and screens are led out (left where it says nothing), ``node_of``
    what node each pin is on: pins of one element on one node share a lead.
    """
    pins = unit.pins
    rows = _rows(pins)
    radius = _RADIUS[max(2, min(len(rows), 7))]
    if any(name in pins for name in _DIODES) and len(rows) == 3:
        radius = 4.0
    if "plate1" in pins or len(unit.ties) > 1:
        radius = max(radius, 3.4)
    drawing = _Drawing(radius, math.ceil(radius) + 1)
    drawing.strokes.append(circle(0, 0, radius))
    height = {name: 2 * number - (len(rows) - 1) for number, name in enumerate(rows)}
    _plates(drawing, pins, height)
    _cathode(drawing, pins, height, node_of)
    for name in rows:
        if name in _GRIDS:
            _grid(drawing, name, pins, height, sides.get(name, "left"), node_of)
    _diodes(drawing, pins, height)
    carried = {pin for name, on in unit.elements if name != "shield" for pin in on}
    shields = [pin for pin in pins.get("shield", ()) if pin not in carried]
    _ties(drawing, [*unit.ties, *shields])
    box = Box(-radius, -radius, radius, radius)
    return Symbol(tuple(drawing.leads), tuple(drawing.strokes), box, (), stands=True)


def _rows(pins: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Return the rows of electrodes from the top; a beam tube has its beam plates in a row."""
    middle = [name for name in _GRIDS if name in pins]
    top = ["plate"] if {"plate", "plate1", "plate2"} & pins.keys() else []
    return (*top, *middle, "cathode")


def _plates(
    drawing: _Drawing, pins: Mapping[str, tuple[str, ...]], height: Mapping[str, int]
) -> None:
    names = [name for name in ("plate", "plate1", "plate2") if name in pins]
    for name in names:
        x = {"plate": 0, "plate1": -2, "plate2": 2}[name] if len(names) > 1 else 0
        half = 1.1 if len(names) > 1 else 1.6
        y = height["plate"]
        drawing.strokes.append(line((x - half, y), (x + half, y), weight="bold"))
        for number, pin in enumerate(pins[name]):
            if number == 0:
                joined = pins[name] if len(pins[name]) > 1 else (pin,)
                drawing.leads.append(Lead(joined, x, -drawing.reach, "up", ",".join(joined)))
                drawing.strokes.append(line((x, y), (x, -drawing.reach)))


def _cathode(
    drawing: _Drawing,
    pins: Mapping[str, tuple[str, ...]],
    height: Mapping[str, int],
    node_of: Mapping[str, str],
) -> None:
    y, reach = height["cathode"], drawing.reach
    ends = [pins.get(name, ()) for name in ("heater1", "heater2")]
    if any(ends):  # a filament, or a heater joined to the cathode
        drawing.strokes.append(line((-1, y + 0.8), (0, y - 0.2), (1, y + 0.8)))
        for x, end in zip((-1, 1), ends, strict=True):
            drawing.strokes.append(line((x, y + 0.8), (x, reach)))
            if end:
                drawing.leads.append(Lead(end, x, reach, "down", ",".join(end)))
        return
    drawing.strokes.append(line((-1.5, y + 0.7), (-1.5, y), (1.5, y)))
    numbers = pins.get("cathode", ())
    groups = _by_node(numbers, node_of)
    if groups:
        drawing.leads.append(Lead(groups[0], 0, reach, "down", ",".join(groups[0])))
        drawing.strokes.append(line((0, y), (0, reach)))
    for group in groups[1:]:
        drawing.side_lead(group, "right", y, 1.5)


def _by_node(pins: tuple[str, ...], node_of: Mapping[str, str]) -> list[tuple[str, ...]]:
    groups: dict[str, list[str]] = {}
    for pin in pins:
        groups.setdefault(node_of.get(pin, pin), []).append(pin)
    return [tuple(group) for group in groups.values()]


def _grid(
    drawing: _Drawing,
    name: str,
    pins: Mapping[str, tuple[str, ...]],
    height: Mapping[str, int],
    side: Side,
    node_of: Mapping[str, str],
) -> None:
    """Draw a grid as dashes, beam plates as two brackets; lead it out, or tie it to the cathode."""
    y, floor = height[name], height["cathode"]
    half = 2.05
    if name == "beam-plates":
        half = 2.5
        for sign in (-1, 1):
            drawing.strokes.append(line((sign * 1.5, y + 0.55), (sign * half, y + 0.55)))
            drawing.strokes.append(line((sign * half, y + 0.55), (sign * half, y - 0.55)))
        y_tie = y + 0.55
    else:
        for number in range(4):
            x = -half + number * 1.1
            drawing.strokes.append(line((x, y), (x + 0.8, y)))
        y_tie = float(y)
    numbers = pins[name]
    if numbers and set(numbers) <= set(pins.get("cathode", ())):
        drawing.strokes.append(
            line((half, y_tie), (3.2, y_tie), (3.2, floor), (1.5, floor), weight="thin")
        )
        return
    for number, group in enumerate(_by_node(numbers, node_of)):
        where: Side = side if number == 0 else "right" if side == "left" else "left"
        drawing.side_lead(group, where, y, half)


def _diodes(
    drawing: _Drawing, pins: Mapping[str, tuple[str, ...]], height: Mapping[str, int]
) -> None:
    """Draw diode plates as short bars beside the cathode, led out at the right."""
    here = [name for name in _DIODES if name in pins]
    floor = height["cathode"]
    places: list[tuple[Side, int]] = [("right", floor), ("right", floor - 2), ("left", floor)]
    for name, (side, y) in zip(here, places, strict=False):
        sign = -1 if side == "left" else 1
        drawing.strokes.append(line((sign * 2.6, y - 0.7), (sign * 2.6, y + 0.7), weight="bold"))
        if pins[name]:
            drawing.side_lead(pins[name], side, y, 2.6)


def _ties(drawing: _Drawing, ties: list[str]) -> None:
    """Draw bare pins as small circles inside the envelope, led out where there is room."""
    for pin in ties:
        for side in ("left", "right"):
            row = drawing.free_row(side, (0, 1, -1, 2, -2, 3, -3, 4, -4))
            if row is not None:
                sign = -1 if side == "left" else 1
                edge = math.sqrt(drawing.radius**2 - row**2) - 0.35
                drawing.strokes.append(circle(sign * edge, row, 0.3, blank=True))
                drawing.side_lead((pin,), side, row, edge + 0.3)
                break


def heater(unit: Unit) -> Symbol:
    """Return the heater of a bulb, lying: part of an envelope over the bent wire, a tap on top."""
    pins = unit.pins
    strokes = [
        arc(0, 0.3, 2.0, 188, 352, weight="thin"),
        line((-3, 0), (-1, 0), (0, -1.2), (1, 0), (3, 0)),
    ]
    ends = [pins.get(name, ()) for name in ("heater1", "heater2")]
    leads = []
    if ends[0]:
        leads.append(Lead(ends[0], -3, 0, "left", ",".join(ends[0])))
    if ends[1]:
        leads.append(Lead(ends[1], 3, 0, "right", ",".join(ends[1])))
    taps = [pins[name] for name in ("heater-tap", "lamp-tap") if pins.get(name)]
    if taps:
        strokes.append(line((0, -1.2), (0, -3)))
        leads.append(Lead(taps[0], 0, -3, "up", ",".join(taps[0])))
    return Symbol(tuple(leads), tuple(strokes), Box(-2.1, -1.75, 2.1, 0.3), (), stands=False)


def unknown_bulb(terminals: tuple[str, ...]) -> Symbol:
    """Return a tube of which only the pins are known: a circle, its pins at both sides."""
    half = (len(terminals) + 1) // 2
    high = max(half - 1, 1)
    radius = max(3.0, high + 2.0)
    reach = math.ceil(radius) + 1
    strokes: list[Stroke] = [circle(0, 0, radius), shape((-0.4, 0), (0, -0.4), (0.4, 0), (0, 0.4))]
    leads = []
    for number, pin in enumerate(terminals):
        left = number < half
        y = 2 * (number if left else number - half) - high
        side: Side = "left" if left else "right"
        sign = -1 if left else 1
        edge = math.sqrt(max(radius**2 - y**2, 0.2))
        strokes.append(line((sign * edge, y), (sign * reach, y)))
        leads.append(Lead((pin,), sign * reach, y, side, pin))
    return Symbol(
        tuple(leads), tuple(strokes), Box(-radius, -radius, radius, radius), (), stands=True
    )


def emptied(symbol: Symbol, node_of: Mapping[str, str]) -> Symbol | None:
    """Return the socket that a tube left: its envelope dashed, with the pins where they were that
    are wired still; None where one of these was at no lead of the tube, or two at one lead are on
    two nodes now.
    """
    leads = []
    for lead in symbol.leads:
        kept = tuple(pin for pin in lead.terminals if pin in node_of)
        if len({node_of[pin] for pin in kept}) > 1:
            return None
        if kept:
            leads.append(replace(lead, terminals=kept, number=",".join(kept)))
    if {pin for lead in leads for pin in lead.terminals} != node_of.keys():
        return None
    radius = symbol.body.right
    strokes = [circle(0, 0, radius, weight="thin", dashed=True)]
    for lead in leads:
        dx, dy = AHEAD[lead.side]
        across = lead.y if dx else lead.x
        edge = math.sqrt(radius**2 - across**2) - 0.35
        x, y = (dx * edge, lead.y) if dx else (lead.x, dy * edge)
        strokes.append(circle(x, y, 0.3, blank=True))
        strokes.append(line((x + 0.3 * dx, y + 0.3 * dy), lead.at))
    return replace(symbol, leads=tuple(leads), strokes=tuple(strokes), words=())
