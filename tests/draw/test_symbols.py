"""The table of symbols answers for every kind of part, on the grid, in both styles, each lead where
a wire can reach it.
"""

from __future__ import annotations

from each import each

from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.draw.layout.netlist import CASED
from rework.draw.symbols import bulb, tube
from rework.draw.symbols.pen import turned
from rework.draw.symbols.table import BY_UNIT, SYMBOLS, symbol_of
from rework.tubes import library

SWITCHES = ("SPST", "DPST", "SPDT", "DPDT")


def part_of(kind, words=()):
    """Return a part of a kind with every terminal on a node of its own."""
    row = KINDS[kind]
    names = {
        "windings": ("core", "primary.start", "primary.finish", "hv.start", "hv.tap", "hv.finish"),
        "poles": ("1", "2"),
        "cores": ("core1.1", "core1.2"),
    }.get(row.form) or (*row.terminals, *row.optional)
    names = names or ("1", "2", "3")
    return Part("X1", kind, words=tuple(words), pins=tuple((name, f"N{name}") for name in names))


@each("style", ["us", "iec"])
@each("kind", sorted(KINDS))
def test_every_kind_has_a_symbol_that_leads_every_terminal_out(kind, style):
    part = part_of(kind)
    symbol = symbol_of(part, style)
    assert {t for lead in symbol.leads for t in lead.terminals} >= {t for t, _ in part.pins}
    assert symbol.strokes
    for lead in symbol.leads:
        outside = lead.at not in [
            (x, y)
            for x in range(int(symbol.body.left) + 1, int(symbol.body.right))
            for y in range(int(symbol.body.top) + 1, int(symbol.body.bottom))
        ]
        assert outside, f"{kind}: the lead of {lead.terminals} ends inside the symbol"


@each("style", ["us", "iec"])
@each("kind", sorted(CASED))
def test_a_case_tied_to_the_chassis_is_drawn_around_the_symbol(kind, style):
    part = part_of(kind)
    symbol = symbol_of(part, style)
    assert [lead.side for lead in symbol.leads] == ["left", "down", "right"]
    assert any(stroke.dashed for stroke in symbol.strokes)


def test_kinds_without_a_symbol_of_their_own_are_few_and_drawn_as_boxes():
    boxed = set(KINDS) - set(SYMBOLS) - set(BY_UNIT)
    assert boxed.isdisjoint({"resistor", "capacitor", "electrolytic", "pot", "jack", "speaker"})


@each("type_", library.types())
def test_every_tube_of_the_library_leads_every_pin_out_once(type_):
    known = library.find(type_)
    pins = list(known.socket_pins)
    part = Part("V1", "tube", type=type_, pins=tuple((pin, f"N{pin}") for pin in pins))
    led = []
    for unit in bulb.units(part):
        symbol = (
            tube.heater(unit)
            if unit.name == bulb.HEATER_UNIT
            else tube.tube_unit(unit, {}, dict(part.pins))
        )
        led += [pin for lead in symbol.leads for pin in lead.terminals]
        points = [lead.at for lead in symbol.leads]
        assert len(points) == len(set(points)), "two leads end at one point"
    assert set(led) == set(pins)


def test_a_quarter_turn_four_times_is_no_turn():
    symbol = symbol_of(part_of("electrolytic"), "us")
    again = symbol
    for _ in range(4):
        again = turned(again, 1)
    assert [lead.at for lead in again.leads] == [lead.at for lead in symbol.leads]


def test_mirrored_twice_is_as_it_was():
    symbol = symbol_of(part_of("jack"), "us")
    assert turned(turned(symbol, 0, mirrored=True), 0, mirrored=True).leads == symbol.leads
