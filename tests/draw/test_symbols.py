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


#: What has no symbol in the standards but a box with words, and what no part is of.
BOXED = {"module", "unlisted part", "socket", "winding"}


def test_kinds_without_a_symbol_of_their_own_are_few():
    shown = {row.symbol for row in KINDS.values()} - set(SYMBOLS) - set(BY_UNIT)
    assert shown <= BOXED, shown - BOXED


@each(
    ("words", "pins", "is_open"),
    [
        (("MOSFET", "N-channel"), ("source", "gate", "drain"), True),
        (("MOSFET", "P-channel"), ("source", "gate", "drain", "case"), True),
        (("JFET",), ("source", "gate", "drain"), False),
        (("PNP",), ("emitter", "base", "collector", "case"), False),
    ],
)
def test_a_transistor_is_drawn_by_what_controls_it(words, pins, is_open):
    """The channel under an insulated gate is in three pieces, that of a junction in one."""
    part = Part("Q1", "transistor", words=words, pins=tuple((pin, f"N{pin}") for pin in pins))
    symbol = symbol_of(part, "us")
    assert {t for lead in symbol.leads for t in lead.terminals} >= set(pins)
    assert not symbol.words
    assert sum(stroke.weight == "bold" for stroke in symbol.strokes) == (3 if is_open else 1)


@each("poles", [("1", "2"), ("a.1", "a.2", "b.1", "b.2"), ("pole", "throw1", "throw2")])
def test_the_coil_of_a_relay_is_under_its_contacts_and_joined_to_them(poles):
    names = (*poles, "coil1", "coil2")
    part = Part("K1", "relay", pins=tuple((name, f"N{name}") for name in names))
    symbol = symbol_of(part, "iec")
    at = {lead.terminals[0]: lead.at for lead in symbol.leads}
    assert at["coil1"][1] == at["coil2"][1] > max(at[name][1] for name in poles)
    assert any(stroke.dashed for stroke in symbol.strokes)


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
