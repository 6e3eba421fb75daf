"""Readings of the bench held against their band."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.language.job import read_job
from rework.language.resolve import read_circuit_bytes
from rework.papers.charts import charts
from rework.papers.numbers import Side
from rework.papers.readings import misplaced, readings
from rework.report.figures import NOT_COMPUTED
from rework.rules.run import run_job
from rework.solve.chart import volts
from rework.solve.ohms import ohms

ROOT = Path(__file__).parent.parent.parent
PAGER = ROOT / "circuits" / "pager"


def pager_with(text: str):
    job, _ = read_job((PAGER / "pager.job").read_bytes() + text.encode(), file="pager.job")
    return run_job(
        job, lambda file: read_circuit_bytes((PAGER / file).read_bytes(), file=file), folder=PAGER
    )


@pytest.fixture(scope="module")
def known():
    after = pager_with("").after
    return Side(chart=volts(after, samples=40), ohms=ohms(after))


def test_a_reading_in_its_band_is_inside_and_one_beyond_it_outside(known):
    plate = next(pin for pin in known.chart.pins if (pin.part, pin.element) == ("V3", "plate"))
    run = pager_with(
        f"\nreading V3.plate {plate.volts:.0f} V\nreading V3.5 {plate.high + 30:.0f} V"
        ' "hot"\nreading R4 100 kohm\nreading V3.grid -7.5 V\nreading V3.cathode 330 ohm\n'
    )
    told = readings(run, known)
    assert [one.verdict for one in told] == ["inside", "OUTSIDE", "inside", "OUTSIDE", "inside"]
    assert told[1].at == "V3 pin 5 (plate)"
    assert told[1].remark == "hot"
    assert told[1].off.endswith("over")
    assert told[3].value == "-7.5 V"
    assert told[3].off.endswith("under")
    assert {one.verdict for one in readings(pager_with("\nreading V3.plate 200 V\n"), Side())} == {
        NOT_COMPUTED
    }


@pytest.mark.parametrize(
    ("line", "words", "hint"),
    [
        ("reading V33.plate 241 V", "nothing called V33.plate", "did you mean V3.plate?"),
        ("reading V3.anode2 241 V", "no pin anode2", ""),
        ("reading COMON 3 V", "nothing called COMON", "did you mean COMMON?"),
        ("reading V3 12 V", "volts are read at a pin", ""),
    ],
)
def test_a_reading_that_is_nowhere_is_refused_with_its_line(line, words, hint):
    run = pager_with(f"\n{line}\n")
    (problem,) = misplaced(run)
    assert words in problem.message
    assert hint in problem.hint
    assert (PAGER / "pager.job").read_text().count("\n") + 2 == problem.place.line


def test_no_reading_is_refused_that_the_set_has():
    assert (
        misplaced(
            pager_with(
                "\nreading V3.plate 241 V\nreading V3.5 241 V\nreading B2 180 V\nreading V3.plate"
                " 26 mA\nreading R4 100k ohm\n".replace("k ohm", " kohm")
            )
        )
        == ()
    )


def test_every_tube_pin_has_a_row_to_write_in(known):
    tables = {table.key: table for table in charts(pager_with(""), known)}
    assert "V3 pin 5 (plate)" in [row[0] for row in tables["volts"].rows]
    assert not any("L2" in row[0] for row in tables["points"].rows), (
        "the line side is no place for a probe"
    )


def test_what_was_read_stands_in_its_row(known):
    tables = {table.key: table for table in charts(pager_with("\nreading V3.plate 181 V\n"), known)}
    assert next(row for row in tables["volts"].rows if row[0] == "V3 pin 5 (plate)")[-1] == "181 V"
