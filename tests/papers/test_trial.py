"""The test plan: its order, and every figure in it solved in the state that the test makes."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, log

import pytest
from demo_numbers import DEMOS, numbers_of, run_of

from rework.papers.numbers import Side
from rework.papers.states import NO_STATES, output_tubes, referenced, supply_alone
from rework.papers.trial.plan import TrialPart
from rework.papers.trial.whole import trial
from rework.solve.bench import with_series_resistance, without_tubes
from rework.solve.chart import volts
from rework.solve.stress import Stress
from rework.touch.stored import AfterUnplugging, after_unplugging


@pytest.fixture(scope="module")
def pager():
    return run_of("pager"), numbers_of("pager")


@pytest.fixture(scope="module")
def plan(pager):
    run, known = pager
    return {test.key: test for test in trial(run.after, known.after, known.bench)}


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_is_powered_before_all_that_can_be_seen_unplugged(name):
    tests = trial(run_of(name).after, Side(), NO_STATES)
    assert [test.key for test in tests[:5]] == ["look", "earth", "primary", "blades", "insulation"]
    assert {test.part for test in tests[:5]} == {TrialPart.UNPLUGGED}
    assert [test.number for test in tests] == list(range(1, len(tests) + 1))
    parts = [test.part for test in tests]
    assert parts == sorted(parts)
    for test in tests:
        assert test.how
        assert test.instrument
        assert test.limit
        assert test.source
        assert test.stop


def test_a_test_that_an_open_primary_would_pass_says_so_and_comes_after_the_one_that_would_not(
    plan,
):
    assert "9 ohm" in plan["primary"].rows[0]
    for key in ("blades", "insulation"):
        assert f"test {plan['primary'].number} must have passed" in plan[key].how
        assert plan[key].number > plan["primary"].number
    assert "0 V on the lamp: the primary is open" in plan["dark"].stop


def test_only_metal_that_is_bonded_is_read_for_earth_continuity(plan):
    rows = plan["earth"].rows
    assert "CH1 metal" in rows
    assert "J1 sleeve" in rows
    assert "J1 tip" not in rows


def test_leakage_has_its_limit_in_the_volts_that_the_meter_shows(plan):
    test = plan["leakage"]
    assert "0.75 V on the meter" in test.limit
    assert "R6 shaft" in test.rows
    assert len(test.columns) == 5
    assert test.columns[-1] in plan["restored"].how
    assert "three-lamp" in plan["outlet"].how


def test_the_small_tubes_are_expected_as_they_read_without_the_output_tube(pager, plan):
    run, known = pager
    state = without_tubes(run.after, output_tubes(run.after))
    solved = {(pin.part, pin.pin): pin for pin in volts(state, samples=50).pins}
    in_use = {(pin.part, pin.pin): pin for pin in known.after.chart.pins}
    plate = next(row for row in plan["small"].rows if row.startswith("V1 pin 5"))
    low, high = (float(word) for word in plate.partition(": ")[2].removesuffix(" V").split(" to "))
    assert low < solved["V1", "5"].volts < high
    middle = (low + high) / 2
    assert abs(middle - solved["V1", "5"].volts) < abs(middle - in_use["V1", "5"].volts) / 5, (
        "the band is that of this state, not of the set in use"
    )
    assert not any(row.startswith("V3") for row in plan["small"].rows)


def test_behind_the_lamp_every_band_is_that_of_the_line_that_is_left(pager, plan):
    _, known = pager
    whole = known.bench.whole
    assert known.bench.lamp >= 2 * known.after.chart.line_watts
    assert 0.75 * 117 < whole.set_volts < 0.95 * 117
    heater = next(row for row in plan["lamp"].rows if row.startswith("V1 heater"))
    in_use = next(row.volts for row in known.after.chart.heaters if row.part == "V1")
    said = float(heater.removeprefix("V1 heater: ").removesuffix(" V AC"))
    assert said == pytest.approx(in_use * whole.set_volts / 117, rel=0.01)
    assert f"The set gets {whole.set_volts:.0f} V" in plan["lamp"].how


def test_all_pins_are_read_again_at_the_full_line(pager, plan):
    _, known = pager
    cathode = next(pin for pin in known.after.chart.pins if (pin.part, pin.pin) == ("V3", "2"))
    row = next(row for row in plan["full"].rows if row.startswith("V3 pin 2"))
    assert f"{cathode.low:.3g} to {cathode.high:.3g} V" in row
    assert not any("plate1" in row for row in plan["full"].rows), "a winding is no DC reading"


def test_the_pulled_umbilical_is_waited_for_and_read(pager, plan):
    run, known = pager
    bare = [pins for pins in known.after.stored.pins if pins.kind == "connector"]
    test = plan["contacts"]
    assert len(test.rows) == len(bare) == 1
    assert f"{bare[0].volts:.0f} V at most when pulled" in test.rows[0]
    assert f"Wait {ceil(bare[0].fall.late_60)} s" in test.how
    assert "60 V" in test.limit
    assert "IEC 60204-1" in test.source
    # By hand: all filters of the set as one through its bleeder; those behind 15k lag a little.
    mine = [part for part in run.after.parts if "/" not in part.name]
    farads = sum(
        p.value("capacitance")
        for p in mine
        if (p.value("voltage") or 0) > 100 and "plus" in dict(p.pins)
    )
    ohms = next(part.value("resistance") for part in mine if "bleeder" in part.words)
    by_hand = ohms * farads * log(bare[0].volts / 60)
    assert bare[0].fall.to_60 == pytest.approx(by_hand, rel=0.1)


def test_a_set_without_its_bleeder_is_told_that_nothing_discharges_the_contacts(pager):
    run, known = pager
    bleeder = {part.name for part in run.after.parts if "bleeder" in part.words}
    open_ = run.after.with_parts(tuple(p for p in run.after.parts if p.name not in bleeder))
    left = replace(known.after, stored=after_unplugging(open_))
    test = next(t for t in trial(open_, left, known.bench) if t.key == "contacts")
    assert "nothing discharges" in test.limit
    assert "Wait" not in test.how
    nothing = replace(known.after, stored=AfterUnplugging((), ()))
    assert "contacts" not in {t.key for t in trial(run.after, nothing, known.bench)}


def test_a_bridge_behind_a_lamp_settles():
    """The rink's bridge once made Newton go round in circles behind more than 90 ohm."""
    finished = run_of("rink").after
    for ohms in (60.0, 154.0):
        chart = volts(with_series_resistance(finished, ohms), samples=1)
        assert 0.12 < chart.line_amps < 0.17


def test_a_state_that_would_break_a_rating_is_no_test(pager):
    run, known = pager
    over_volts = Stress("C9", "electrolytic", "volts", 400.0, "V", 350.0)
    over = replace(known.bench, small=replace(known.bench.small, stresses=(over_volts,)))
    assert "small" not in {test.key for test in trial(run.after, known.after, over)}


def test_the_earth_is_opened_only_where_there_is_one():
    run = run_of("pager")
    assert {"leakage", "restored"} <= {test.key for test in trial(run.after, Side(), NO_STATES)}
    before = {test.key: test for test in trial(run.before, Side(), NO_STATES)}
    assert "restored" not in before
    assert "adaptor" not in before["leakage"].how


def test_without_numbers_the_plan_says_not_computed(plan):
    bare = {test.key: test for test in trial(run_of("pager").after, Side(), NO_STATES)}
    assert "not computed" in bare["full"].limit
    assert "not computed" in bare["primary"].rows[0]
    assert "not computed" not in plan["full"].limit


@pytest.mark.parametrize("name", DEMOS)
def test_b_plus_without_load_is_more_than_in_use_whatever_b_minus_is_tied_to(name):
    """Three of the demos bond B- in the amplifier alone, which is parted in this state."""
    bare = supply_alone(run_of(name).after)
    alone = volts(referenced(bare), samples=1)
    nodes = {row.node: row.volts for row in alone.nodes}
    for part in bare.parts:
        if part.kind == "electrolytic" and part.name.startswith("SUPPLY/C"):
            assert nodes[part.at("plus")] - nodes[part.at("minus")] > 110
