"""The whole design: what is chosen meets the needs, and everything else the program says of it says
the same.
"""

from __future__ import annotations

import pytest
from demo_amplifiers import amplifier_of, design_of, mark_line, needs_of, shelf_of

from rework.language.resolve import read_circuit
from rework.safety.check import check
from rework.safety.findings import NOTHING
from rework.solve.chart import volts
from rework.supply.design import design
from rework.supply.ideal import capacitor_input, net
from rework.supply.order import order
from rework.supply.screen import sieve
from rework.supply.sources import Wishes, sources
from rework.supply.stock import (
    Shelf,
    StockBridge,
    StockCapacitor,
    StockChoke,
    StockTransformer,
    StockWinding,
)
from rework.touch.touch import touch

SOLVED = ("pager", "skihut")


@pytest.mark.parametrize("name", SOLVED)
def test_every_figure_and_its_limit_is_what_was_read_and_approved(name, golden):
    """Three digits of each: more of them are the machine's."""
    lines = [
        line
        for number, candidate in enumerate(design_of(name).candidates, 1)
        for line in (f"candidate {number}", *map(mark_line, candidate.marks))
    ]
    golden(f"supply/marks-{name}.txt", "\n".join(lines) + "\n")


@pytest.mark.parametrize("name", SOLVED)
def test_the_chosen_supply_meets_every_need_and_rating(name):
    found = design_of(name)
    one = found.chosen
    assert one is not None
    assert not one.unmet
    assert found.needs.low <= one.figures.bplus <= found.needs.high
    assert one.figures.hum <= found.needs.hum
    assert (
        one.figures.bplus_low < one.figures.bplus < one.figures.bplus_high < one.figures.bplus_cold
    )


@pytest.mark.parametrize("name", SOLVED)
def test_written_read_and_attached_it_is_the_very_circuit_that_was_solved(name):
    one = design_of(name).chosen
    again, problems = read_circuit(one.text, file="supply.circuit")
    assert not problems
    run = amplifier_of(name).rerun(again)
    assert run.done
    assert run.after == one.whole
    assert check(run.after).verdict == NOTHING


@pytest.mark.parametrize("name", SOLVED)
def test_volts_says_the_same_of_it(name):
    one = design_of(name).chosen
    figures = one.figures
    chart = volts(one.whole, samples=20)
    at = {row.node: row for row in chart.nodes}
    assert at["SUPPLY/BP"].volts - at["SUPPLY/UC"].volts == pytest.approx(figures.bplus, rel=1e-6)
    assert at["SUPPLY/BP"].ripple == pytest.approx(figures.ripple, rel=1e-4)
    assert chart.line_watts == pytest.approx(figures.line_watts, rel=1e-6)
    # the grid of a period is refined where each stack of networks needs it: RMS amps agree to
    # 2e-4 and peaks to 1e-3
    assert chart.line_amps == pytest.approx(figures.line_amps, rel=2e-4)
    rows = [row for row in chart.rectifiers if row.part.startswith("SUPPLY/")]
    assert max(row.peak_amps for row in rows) == pytest.approx(figures.rectifier_peak, rel=1e-3)
    marks = {(mark.key, mark.part, mark.of): mark.value for mark in one.marks}
    for row in chart.windings:
        mark = ("winding_amps", "T1", row.winding.split(".")[0])
        if row.part == "SUPPLY/T1" and mark in marks:
            assert row.rms_amps == pytest.approx(marks[mark], rel=2e-4)
    cold = {row.part: row.cold_volts for row in chart.capacitors}
    assert cold["SUPPLY/C1"] == pytest.approx(marks["supply_capacitor_volts", "C1", ""], rel=2e-3)


def test_touch_finds_nothing_over_its_limit():
    assert touch(design_of("skihut").chosen.whole).exit_status == 0


@pytest.mark.parametrize("name", SOLVED)
def test_candidates_that_miss_come_behind_those_that_do_not(name):
    found = design_of(name).candidates
    assert [len(one.unmet) for one in found] == sorted(len(one.unmet) for one in found)


def test_the_same_list_gives_the_same_bytes():
    bought = [candidate.choice.transformer for candidate in design_of("skihut").candidates[:2]]
    few = Shelf(
        tuple(
            item
            for item in shelf_of().items
            if not isinstance(item, StockTransformer) or item in bought
        )
    )
    one, other = (
        design(
            amplifier_of("skihut"),
            few,
            needs=needs_of("skihut"),
            wishes=Wishes(("bridge", "silicon"), ("C-L-C",)),
        )
        for _ in range(2)
    )
    assert one.candidates
    assert [(found.text, found.figures) for found in one.candidates] == [
        (found.text, found.figures) for found in other.candidates
    ]


def test_another_line_is_solved_on_that_line():
    needs = needs_of("rink")
    from dataclasses import replace

    from rework.circuit.circuit import Mains

    found = design(
        amplifier_of("rink"),
        shelf_of(),
        needs=replace(needs, mains=Mains(123.0, 60.0)),
        wishes=Wishes(("bridge",), ("C-L-C",), back_to_back=False),
    )
    one = found.candidates[0]
    assert one.whole.mains == Mains(123.0, 60.0)
    assert one.figures.line_watts / one.figures.line_amps == pytest.approx(123, rel=0.25)


def test_the_sieve_is_near_the_exact_solution(demo):
    """Median over what the sieve keeps: within 3 % of B+; it takes a tube as one resistance and
    leaves the core out.
    """
    rough = sieve(shelf_of(), needs_of(demo), Wishes())[0]
    if demo not in SOLVED:
        assert rough
        return
    exact = {
        (
            one.choice.form,
            one.choice.transformer.name,
            one.choice.second.name if one.choice.second else "",
        ): one.figures.bplus
        for one in design_of(demo).candidates
    }
    off = sorted(
        abs(one.bplus / exact[key] - 1)
        for one in rough
        if (
            key := (
                f"{one.source.rectifier} {one.behind.filter}"
                + (", back to back" if one.source.second else ""),
                one.source.transformer.name,
                one.source.second.name if one.source.second else "",
            )
        )
        in exact
    )
    assert off[len(off) // 2] < 0.03
    assert off[-1] < 0.08


def test_a_list_without_what_is_needed_says_which_need_fails_and_by_how_much():
    few = Shelf(
        tuple(
            item
            for item in shelf_of().items
            if not isinstance(item, StockTransformer) or item.name == "PT-117-A"
        )
    )
    found = design(
        amplifier_of("pager"),
        few,
        needs=needs_of("pager"),
        wishes=Wishes(("bridge",), back_to_back=False),
    )
    assert found.chosen is None
    assert found.candidates
    missed = {mark.key: mark for mark in found.candidates[0].unmet}
    assert missed["bplus"].share > 1.2


def test_transformers_that_cannot_serve_are_counted_with_the_reason():
    _, told = sources(shelf_of(), needs_of("skihut"), Wishes())
    assert any("the primary is not for 220 V" in one for one in told)
    _, told = sources(shelf_of(), needs_of("pager"), Wishes(balance="tap"))
    assert any("has a middle tap" in one for one in told)


def test_an_empty_list_gives_no_candidate():
    found = design(amplifier_of("pager"), Shelf(()), needs=needs_of("pager"))
    assert found.candidates == ()
    assert found.pairs == 0


@pytest.mark.parametrize("name", ["pager", "rink", "skihut"])
def test_a_transformer_made_to_the_order_gives_the_b_plus_it_was_ordered_for(name):
    needs = needs_of(name)
    wanted = order(needs)
    primary, hv, heater = wanted.windings
    half = wanted.regulation / 2  # half of the sag in the primary, half in the secondary
    made = StockTransformer(
        name="ordered",
        va=wanted.va,
        windings=(
            StockWinding(
                "primary",
                primary.volts,
                None,
                half * primary.volts / (wanted.va / primary.volts),
                False,
            ),
            StockWinding("hv", hv.volts, hv.amps, half * hv.volts / hv.amps, hv.tapped),
            StockWinding(
                "heater", heater.volts, heater.amps, half * heater.volts / heater.amps, True
            ),
        ),
    )
    parts = [
        StockBridge(name="B", volts=800.0, amps=1.0),
        StockChoke(
            name="L",
            henries=wanted.choke_henries,
            amps=wanted.choke_amps,
            ohms=wanted.choke_ohms,
        ),
        StockCapacitor(name="C", farads=wanted.capacitor_farads, volts=wanted.capacitor_volts),
    ]
    found = design(
        amplifier_of(name),
        Shelf((made, *parts)),
        needs=needs,
        wishes=Wishes(("bridge",), ("C-L-C",)),
    )
    one = found.candidates[0]
    assert one.figures.bplus == pytest.approx(needs.bplus, rel=0.05)
    assert not one.unmet, one.unmet


def test_a_larger_first_capacitor_gives_more_volts_less_ripple_and_higher_peaks():
    import numpy as np

    ones = np.ones(5)
    farads = np.array([10e-6, 22e-6, 47e-6, 100e-6, 220e-6])
    fed = capacitor_input(
        300 * ones, 200 * ones, 0 * ones, farads, 0 * ones, 60.0, lambda volts: 0.05 * ones, 2
    )
    assert (np.diff(fed.volts) > 0).all()
    assert (np.diff(fed.ripple) < 0).all()
    assert (np.diff(fed.peak) > 0).all()


@pytest.mark.parametrize("pulses", [1, 2])
def test_the_net_tends_to_the_peak_and_to_nothing(pulses):
    import numpy as np

    dc, ripple, _, _ = net(pulses).at(np.array([2900.0, 0.6]), np.array([3.1e-4, 2.9]))
    assert dc[0] > 0.98
    assert ripple[0] < 1e-3
    assert dc[1] < 0.3


def test_a_transformer_ordered_for_a_tube_has_a_winding_for_its_heater_and_more_volts():
    silicon, tube = (
        order(needs_of("skihut"), Wishes(("silicon",))),
        order(needs_of("skihut"), Wishes(("tube",))),
    )
    assert [one.name for one in tube.windings] == ["primary", "hv", "heater", "rectifier"]
    assert tube.windings[1].volts > silicon.windings[1].volts
