"""The printed book: nothing cut off, words large enough, the same bytes twice; parts against their
ratings; the bill.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from rework.language.job import Money
from rework.papers.drawings import Drawing, drawings, sheet_for
from rework.papers.numbers import Numbers, Side
from rework.papers.pdf import book, paper_for, type_on
from rework.papers.prices import cost
from rework.papers.stress import grown, loads, why_rating
from rework.papers.whole import papers
from rework.report.figures import band, shown, volts
from rework.rules.job_file import run_job_file
from rework.solve.chart import volts as chart_of
from rework.supply.pricing import item_for
from rework.supply.stock_reader import read_shelf

ROOT = Path(__file__).parent.parent.parent
DEMOS = sorted(path.stem for path in (ROOT / "circuits").glob("*/*.job"))


def job(name: str):
    return run_job_file(str(ROOT / "circuits" / name / f"{name}.job"))


@pytest.fixture(scope="module")
def pager():
    run = job("pager")
    return run, Numbers(
        Side(chart=chart_of(run.before, samples=40)), Side(chart=chart_of(run.after, samples=40))
    )


@pytest.mark.parametrize(
    ("name", "sheet"),
    [
        ("pager", "letter"),
        ("hostel", "letter"),
        ("rink", "letter"),
        ("skihut", "a4"),
        ("skihut", "letter"),
    ],
)
def test_schematics_are_printed_large_enough_to_work_from(name, sheet):
    for one in drawings(job(name), sheet):
        if one.svg:
            assert type_on(one.svg, paper_for(one.svg, sheet)) >= 8, one.title
            names = {float(found) for found in re.findall(r'font-size="([\d.]+)"', one.svg)}
            assert min(names) >= 8


def test_a_job_on_117_volts_prints_on_letter_and_one_on_230_on_a4():
    assert (sheet_for(117), sheet_for(100), sheet_for(230), sheet_for(None)) == (
        "letter",
        "letter",
        "a4",
        "a4",
    )


@pytest.mark.parametrize("name", ["pager", "skihut"])
def test_the_book_is_the_same_bytes_twice(name):
    made = papers(
        job(name),
        Numbers(),
        (
            Drawing(
                "Before",
                "x",
                '<svg xmlns=\'http://www.w3.org/2000/svg\' width="90pt" height="40pt"/>',
            ),
        ),
        date="1 January",
    )
    assert book(made, sheet="a4") == book(made, sheet="a4")
    assert book(made, sheet="a4") != book(made, sheet="letter")


def test_hostile_words_are_set_as_words(pager):
    run, known = pager
    nasty = '#panic("x") $ \\ ` _*[' + "w" * 400
    made = papers(
        replace(run, job=replace(run.job, title=nasty, customer=(nasty,))), known, (), date=nasty
    )
    assert book(made, sheet="letter").startswith(b"%PDF")


def test_a_part_to_fit_says_what_stands_against_its_rating(pager):
    run, known = pager
    said = why_rating(run.after.by_name["C13"], known.after)
    assert "of 350 V" in said
    cathode = next(
        load for load in loads(run.after.by_name["R11"], known.after) if load.unit == "W"
    )
    assert cathode.rating == 1.0
    assert 0.1 < cathode.amount < 0.5


def test_a_kept_part_with_more_volts_than_before_is_told_with_both_figures(pager):
    run, known = pager
    (one,) = [
        each
        for each in grown(
            run.before.by_name["C4"], run.after.by_name["C4"], known.before, known.after
        )
        if each.load.unit == "V"
    ]
    assert one.before < one.load.amount < one.load.rating == 400
    assert grown(run.before.by_name["R1"], run.after.by_name["R1"], known.before, known.after) == ()


SHELF = b"""kind,name,value,volts,amps,watts,price
electrolytic,can,22 uF,350,,,3.20
electrolytic,big,22 uF,450,,,4.10
electrolytic,small,22 uF,250,,,1.10
resistor,,270 ohm,,,1 W,0.30
"""


def test_a_price_is_that_of_the_cheapest_part_that_is_strong_enough(pager):
    run, _ = pager
    shelf, problems = read_shelf(SHELF, file="shelf.csv")
    assert problems == ()
    assert item_for(run.after.by_name["C13"], shelf).price == 3.20
    assert item_for(run.after.by_name["SUPPLY/F1"], shelf) is None


def test_the_customer_is_told_when_the_set_is_worth_less_than_it_costs(pager):
    run, _ = pager
    shelf, _ = read_shelf(SHELF, file="shelf.csv")
    told = replace(run.job, labour=6 * 3600.0, rate=Money(45.0, "USD"), worth=Money(60.0, "USD"))
    found = cost(told, (run.after.by_name["C13"],), shelf)
    assert found.total == pytest.approx(273.2)
    assert found.verdict == (
        "The work costs 273.20 USD; the set will be worth about 60.00 USD. The work costs more than"
        " the set will be worth."
    )
    fuse = run.after.by_name["SUPPLY/F1"]
    rich = cost(replace(told, worth=Money(900.0, "USD")), (fuse,), shelf).verdict
    assert "at least" in rich
    assert "more than" not in rich
    assert cost(replace(run.job, labour=None, rate=None, worth=None), (), None).verdict == ""


def test_figures_read_as_on_a_meter():
    assert [shown(value, "V") for value in (241.3, -0.0352, 0, 999.6, 4.7e-5)] == [
        "241 V",
        "-35.2 mV",
        "0 V",
        "1 kV",
        "47 µV",
    ]
    assert (volts(-0.001), volts(7.784), volts(181.2), band(164.2, 197.1), band(0, 0)) == (
        "-0.00 V".replace("-", ""),
        "7.78 V",
        "181 V",
        "164 to 197 V",
        "",
    )
