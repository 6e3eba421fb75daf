"""The test plan in its order, and readings held against their band."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.commands.jobs import run_job_file
from rework.language.job import read_job
from rework.language.resolve import read_circuit_bytes
from rework.papers.lists import NOT_COMPUTED
from rework.papers.trial import trial
from rework.papers.volts import expected, readings
from rework.rules.run import run_job
from rework.solve.chart import volts

ROOT = Path(__file__).parent.parent.parent
PAGER = ROOT / "circuits" / "pager"
DEMOS = sorted(path.stem for path in (ROOT / "circuits").glob("*/*.job"))


def pager_with(text: str):
    job, _ = read_job((PAGER / "pager.job").read_bytes() + text.encode(), file="pager.job")
    return run_job(job, lambda file: read_circuit_bytes((PAGER / file).read_bytes(), file=file), folder=PAGER)


@pytest.fixture(scope="module")
def chart():
    return volts(pager_with("").after, samples=40)


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_is_powered_before_earth_cold_resistance_and_insulation_are_measured(name):
    plan = trial(run_job_file(str(ROOT / "circuits" / name / f"{name}.job")))
    titles = [test.title for test in plan]
    assert titles[:3] == ["Earth continuity", "Cold resistance, blades to metal", "Insulation at 500 V"]
    assert all("nplugged" in test.how for test in plan[:3])
    assert titles.index("Series lamp, no tubes") < titles.index("Small tubes") < titles.index("Output tube, with load") < titles.index("Leakage, on the wall outlet")
    assert all(test.how and test.instrument and test.limit and test.source and test.stop for test in plan)


def test_cold_resistance_is_read_with_the_switch_on_and_off_and_leakage_both_ways_of_the_plug():
    plan = {test.title: test for test in trial(pager_with(""))}
    assert {"J1 sleeve, ON", "J1 sleeve, OFF"} <= set(plan["Cold resistance, blades to metal"].rows)
    leak = plan["Leakage, on the wall outlet"]
    assert {f"R6 shaft, {way}, switch {position}" for way in ("plug as marked", "plug reversed") for position in ("ON", "OFF")} <= set(leak.rows)
    assert "0.75 V" in leak.limit and "wall outlet" in leak.how


def test_only_metal_that_is_bonded_is_read_for_earth_continuity():
    rows = trial(pager_with(""))[0].rows
    assert "CH1 metal" in rows and "J1 sleeve" in rows and "J1 tip" not in rows


def test_a_reading_in_its_band_is_inside_and_one_beyond_it_outside(chart):
    plate = next(pin for pin in chart.pins if (pin.part, pin.element) == ("V3", "plate"))
    run = pager_with(f'\nreading V3.plate {plate.volts:.0f} V\nreading V3.5 {plate.high + 30:.0f} V "hot"\nreading B9 3 V\nreading R4 220 kohm\n')
    told = readings(run, chart)
    assert [one.verdict for one in told] == ["inside", "OUTSIDE", NOT_COMPUTED, NOT_COMPUTED]
    assert told[1].at == "V3 pin 5 (plate)" and told[1].remark == "hot"
    assert {one.verdict for one in readings(run, None)} == {NOT_COMPUTED}


def test_every_tube_pin_has_a_row_to_write_in(chart):
    run = pager_with("")
    rows = expected(run, chart)
    assert "V3 pin 5 (plate)" in {row.at for row in rows}
    assert expected(run, None) == ()


def test_without_numbers_the_plan_says_not_computed_and_with_them_points_to_the_chart(chart):
    run = pager_with("")
    assert NOT_COMPUTED in next(test for test in trial(run) if test.title == "Small tubes").limit
    assert NOT_COMPUTED not in next(test for test in trial(run, chart) if test.title == "Small tubes").limit
