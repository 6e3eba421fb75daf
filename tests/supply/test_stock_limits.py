"""Limits by which a supply is put together, held from both sides, without solving anything."""

from __future__ import annotations

from dataclasses import replace

import pytest
from demo_amplifiers import needs_of

from rework.circuit.parts import Part, Value
from rework.supply.isolate import NEAR, to_order
from rework.supply.isolate import _from_shelf as isolating
from rework.supply.pricing import SAME, item_for, serves
from rework.supply.sources import (
    HEATER_HIGH,
    HEATER_LOW,
    LINE_HIGH,
    LINE_LOW,
    SURGE_MOST,
    Wishes,
    _Finder,
)
from rework.supply.stock import (
    Shelf,
    StockBridge,
    StockCapacitor,
    StockFuse,
    StockResistor,
    StockSundry,
    StockTransformer,
    StockTube,
    StockWinding,
)
from rework.supply.stock_reader import read_shelf

HEATERS = StockWinding("heater", 6.3, 4.0, 0.05)


def iron(primary: float, *secondaries: StockWinding, va: float = 50.0) -> StockTransformer:
    windings = (StockWinding("primary", primary, None, 9.0), *secondaries)
    return StockTransformer(name="T", va=va, windings=windings)


def finder(*items) -> _Finder:
    return _Finder(Shelf(items), needs_of("pager"), Wishes())


@pytest.mark.parametrize(("share", "fits"), [(-1e-3, False), (1e-3, True)])
def test_a_primary_is_for_a_line_within_its_limits(share, fits):
    volts = needs_of("pager").mains.volts
    low = iron(volts / (LINE_LOW * (1 + share)))
    high = iron(volts / (LINE_HIGH * (1 - share)))
    assert (finder().line(low) is not None) is fits
    assert (finder().line(high) is not None) is fits


@pytest.mark.parametrize(("share", "fits"), [(-1e-3, 0), (1e-3, 1)])
def test_a_winding_heats_the_tubes_within_its_limits(share, fits):
    needs = needs_of("pager")
    volts, amps = needs.heater_volts, needs.heater_amps
    for limit, sign in ((HEATER_LOW, 1), (HEATER_HIGH, -1)):
        winding = replace(HEATERS, volts=volts * limit * (1 + sign * share), amps=amps)
        assert len(finder().heaters(iron(117.0, winding), 1.0)) == fits
    assert not finder().heaters(iron(117.0, replace(HEATERS, amps=0.99 * amps)), 1.0)
    assert finder().heaters(iron(117.0, replace(HEATERS, amps=amps)), 1.0)


def test_an_isolation_transformer_goes_with_a_filament_transformer():
    needs = needs_of("pager")
    volts = needs.bplus / 1.2
    isolation = iron(117.0, StockWinding("secondary", volts, 0.5, 20.0), va=80.0)
    filament = iron(117.0, HEATERS, va=30.0)
    bridge = StockBridge(name="B", volts=2000.0, amps=2.0)
    sources = list(finder(isolation, filament, bridge).side_by_side())
    assert [(each.transformer, each.filament) for each in sources] == [(isolation, filament)]
    assert not list(finder(isolation, bridge).side_by_side())
    assert not list(finder(replace(isolation, va=1.0), filament, bridge).side_by_side())


def test_a_surge_resistor_of_the_list_is_taken_before_one_to_order():
    lacking = 100.0
    listed = StockResistor(ohms=SURGE_MOST * lacking * 0.999, watts=5.0)
    assert finder(listed)._surge(lacking, 0.0) == listed.ohms
    assert finder(replace(listed, ohms=SURGE_MOST * lacking * 1.001))._surge(lacking, 0.0) == 100.0
    assert finder(replace(listed, ohms=99.0))._surge(lacking, 0.0) == 100.0
    assert finder(listed)._surge(lacking, lacking) == 0.0


def test_an_isolating_transformer_of_the_list_carries_the_load():
    item = to_order(117.0, 100.0)
    shelf = Shelf((replace(item, name="IT"),))
    assert isolating(shelf, 117.0, (0.85, 99.9)) is not None
    assert isolating(shelf, 117.0, (0.85, 100.1)) is None, "volt-amperes"
    assert isolating(shelf, 117.0, (0.86, 99.9)) is None, "amps of the secondary"
    assert isolating(shelf, 117.0 / (1 + 1.01 * NEAR), (0.5, 50.0)) is None
    assert isolating(shelf, 117.0 / (1 + 0.99 * NEAR), (0.5, 50.0)) is not None


def part(kind: str, *values: Value, type_: str = "", words: tuple[str, ...] = ()) -> Part:
    return Part("X1", kind, type=type_, values=values, words=words)


def test_an_item_serves_where_its_value_is_the_same_and_its_ratings_no_lower():
    item = StockCapacitor(name="", farads=47e-6, volts=450.0, price=3.9)
    volts = Value("voltage", 450.0)
    assert serves(item, part("electrolytic", Value("capacitance", 47e-6), volts), SAME)
    assert serves(item, part("electrolytic", Value("capacitance", 46.6e-6), volts), SAME)
    assert not serves(item, part("electrolytic", Value("capacitance", 46.4e-6), volts), SAME)
    higher = Value("voltage", 460.0)
    assert not serves(item, part("electrolytic", Value("capacitance", 47e-6), higher), SAME)


def test_a_slow_fuse_is_no_fast_one():
    item = StockFuse(name="", amps=0.5, volts=250.0, speed="slow", price=0.6)
    values = (Value("current", 0.5), Value("voltage", 250.0))
    assert serves(item, part("fuse", *values, words=("slow",)), SAME)
    assert serves(item, part("fuse", *values), SAME)
    assert not serves(item, part("fuse", *values, words=("fast",)), SAME)


def test_a_tube_is_priced_under_any_of_its_names_and_any_part_may_be_on_the_list():
    tube = StockTube(name="12AX7", price=12.0)
    knob = StockSundry(name="old knob", kind="knob", price=2.0)
    plug = StockSundry(name="plug", kind="plug", price=4.0)
    shelf = Shelf((tube, knob, plug))
    assert item_for(part("tube", type_="ECC83"), shelf) is tube
    assert item_for(part("plug"), shelf) is plug
    assert item_for(part("jack"), shelf) is None


def test_the_list_takes_any_kind_of_part_and_refuses_what_is_none():
    head = "kind,name,value,volts,watts,price\n"
    rows = "output transformer,OT-5,5k,,5 W,21\nknob,cream,,,,2\ncapacitor,film,22n,400 V,,1\n"
    shelf, problems = read_shelf((head + rows).encode(), file="s.csv")
    assert shelf is not None, problems
    stocked = [item for item in shelf.items if isinstance(item, StockSundry)]
    assert [item.kind for item in stocked] == ["output transformer", "knob", "capacitor"]
    assert stocked[0].ohms == 5000.0
    assert stocked[2].farads == pytest.approx(22e-9)
    shelf, problems = read_shelf((head + "gearbox,G,,,,1\n").encode(), file="s.csv")
    assert shelf is None
    assert "gearbox is not a kind of part" in problems[0].message
