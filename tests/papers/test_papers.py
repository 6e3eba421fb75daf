"""The papers of a job, held to its edits: none lost, none invented, nothing claimed that only a
meter can say.
"""

from __future__ import annotations

import csv
import io
import os
import re
import subprocess
import sys

import pytest
from demo_numbers import DEMOS, ROOT, numbers_of, run_of

from rework.circuit.edits import (
    AttachCircuit,
    CutConductor,
    ExchangeTube,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    SetValue,
)
from rework.cli import main
from rework.language.job import read_job
from rework.language.resolve import read_circuit_bytes
from rework.papers.drawings import Drawing, drawings
from rework.papers.html import page as set_page
from rework.papers.lists import lists
from rework.papers.methods import METHODS
from rework.papers.notes import notes
from rework.papers.numbers import Numbers, Side
from rework.papers.record import Entry, Record
from rework.papers.whole import papers
from rework.papers.work import work_order
from rework.report.table import Column, Table, spreadsheet
from rework.rules.run import run_job

STUB = (Drawing("Before", "as found", "<svg xmlns='http://www.w3.org/2000/svg'/>"),)


@pytest.fixture(scope="module")
def runs():
    return {name: run_of(name) for name in DEMOS}


@pytest.fixture(scope="module")
def sums():
    return {name: numbers_of(name) for name in DEMOS}


def page(run, sheets, *, date, known=None):
    return set_page(papers(run, known or Numbers(), sheets, date=date))


def steps(run):
    return [step for group in work_order(run) for step in group.steps]


def seen(html: str) -> str:
    return re.sub(
        r"<[^>]*>",
        " ",
        re.sub(r"<style>.*?</style>|src=\"data:[^\"]*\"", "", html, flags=re.DOTALL),
    )


def lines(html: str) -> str:
    """Return what a person reads on a page, a line for each block of words."""
    blocks = re.sub(r"</(p|li|td|th|dd|dt|h[1-6]|title)>", "\n", html)
    words = (re.sub(r"\s+", " ", line).strip() for line in seen(blocks).splitlines())
    return "\n".join(line for line in words if line) + "\n"


@pytest.mark.parametrize("name", DEMOS)
def test_every_edit_is_in_exactly_one_step(runs, name):
    done = steps(runs[name])
    covered = [edit for step in done for edit in step.edits]
    assert sorted(covered) == list(range(len(runs[name].edits)))
    assert [step.number for step in done] == list(range(1, len(done) + 1))


def broken_off():
    """Yield every demo with each second place of its steps where the job may be broken off, before
    the last.
    """
    for turn, name in enumerate(DEMOS):
        lines = (ROOT / "circuits" / name / f"{name}.job").read_text().splitlines()
        steps_ = [n for n, line in enumerate(lines, 1) if line.startswith(("apply", "attach"))]
        yield from ((name, last) for last in steps_[turn % 2 : -1 : 2])


@pytest.mark.parametrize(("name", "last"), list(broken_off()))
def test_a_job_broken_off_anywhere_keeps_its_edits_and_steps_together(name, last):
    folder = ROOT / "circuits" / name
    lines = (folder / f"{name}.job").read_text().splitlines()
    job, _ = read_job("\n".join(lines[:last]).encode(), file=str(folder / f"{name}.job"))
    run = run_job(
        job, lambda file: read_circuit_bytes((folder / file).read_bytes(), file=file), folder=folder
    )
    covered = [edit for step in steps(run) for edit in step.edits]
    assert sorted(covered) == list(range(len(run.edits)))


@pytest.mark.parametrize("name", DEMOS)
def test_each_step_names_its_part_and_says_where_why_and_what_to_check(runs, name):
    edits = runs[name].edits
    for step in steps(runs[name]):
        action = edits[step.edits[0]].action
        match action:
            case FitPart(part) | RunWire(part):
                subject = part.name
            case LiftPin(subject, _):
                pass
            case CutConductor() | RemovePart() | ExchangeTube() | SetValue():
                subject = action.name
            case AttachCircuit(circuit, _):
                subject = circuit.title
        assert subject in step.what
        assert step.where
        assert step.why
        assert step.check


@pytest.mark.parametrize("name", DEMOS)
def test_no_caution_of_a_rule_is_lost(runs, name):
    told = [caution for step in steps(runs[name]) for caution in step.cautions]
    wanted = [
        caution for one in runs[name].taken for caution in getattr(one.outcome, "cautions", ())
    ]
    assert sorted(told) == sorted(wanted)


@pytest.mark.parametrize("name", DEMOS)
def test_what_is_taken_out_is_in_the_tray_and_what_goes_in_is_to_be_bought(runs, name):
    run, found = runs[name], lists(runs[name])
    actions = [edit.action for edit in run.edits]
    assert {a.name for a in actions if isinstance(a, RemovePart)} <= {
        line.name for line in found.removed
    }
    assert {a.part.name for a in actions if isinstance(a, FitPart) and a.part.kind != "socket"} <= {
        line.name for line in found.fit
    }
    assert {a.part.name for a in actions if isinstance(a, RunWire)} <= {
        wire.name.split()[0] for wire in found.wires
    }
    assert all(line.name in run.after.by_name for line in found.kept)


def test_the_heater_wire_is_brown_and_twisted_and_ends_on_a_heater_pin(runs):
    wire = next(wire for wire in lists(runs["pager"]).wires if wire.start.startswith("V1 pin 3"))
    assert (wire.colour, wire.make, wire.start) == ("brown", "twisted", "V1 pin 3 (heater1)")


@pytest.mark.parametrize("name", DEMOS)
def test_golden_papers(runs, sums, name, golden):
    golden(f"papers-{name}.txt", lines(page(runs[name], STUB, date="1 January", known=sums[name])))


def test_nothing_is_written_where_a_reading_or_the_price_list_is_wrong(tmp_path, capsys):
    for path in (ROOT / "circuits" / "pager").glob("*.[cj]*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    job = tmp_path / "pager.job"
    right = job.read_text()
    for line, word in (
        ("reading V33.plate 241 V", "did you mean V3.plate?"),
        ('prices "none.csv"', "there is no stock list"),
    ):
        job.write_text(f"{right}{line}\n")
        assert main(["papers", str(job), "-o", str(tmp_path / "out")]) == 2
        assert word in capsys.readouterr().err
        assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", DEMOS)
def test_every_figure_on_the_page_leads_to_how_it_was_computed(runs, sums, name):
    made = papers(runs[name], sums[name], STUB, date="1 January")
    html = set_page(made)
    links = set(re.findall(r'href="#(how-[a-z]+)"', html))
    assert links <= {f"how-{method.key}" for method in METHODS}
    assert links
    assert all(
        f'id="how-{method.key}"' in html and method.equation and method.source and method.tolerance
        for method in METHODS
    )
    for table in made.tables:
        computed = [
            column
            for column in table.columns
            if column.look == "figure" and column.heading not in ("Rating",)
        ]
        assert all(column.how for column in computed), table.title


@pytest.mark.parametrize("name", DEMOS)
def test_what_was_not_computed_says_so_with_the_reason(runs, sums, name):
    known = sums[name]
    for side in (known.before, known.after):
        for what in ("chart", "ohms", "signal", "touch", "faults", "stored"):
            assert getattr(side, what) is not None or len(side.reason(what)) > len(
                "Not computed: x."
            )
    bare = papers(runs[name], Numbers(), STUB, date="x")
    assert all(table.why.startswith("Not computed") for table in bare.charts if not table.rows)
    assert bare.charts
    assert not any(table.rows for table in bare.charts)


def test_a_side_without_numbers_says_why():
    side = Side(why=(("chart", "V2 has no printed drop"),))
    assert side.reason("chart") == "Not computed: V2 has no printed drop."
    assert side.reason("signal") == "Not computed."


def test_the_work_order_in_markdown_has_a_box_for_every_step(runs):
    text = notes(papers(runs["pager"], Numbers(), (), date="x"))["work-order.md"]
    assert text.count("- [ ] ") == len(steps(runs["pager"]))


@pytest.mark.parametrize("name", DEMOS)
def test_the_papers_carry_the_cautions_and_never_promise(runs, name):
    text = seen(page(runs[name], STUB, date="1 January")).lower()
    assert not re.search(r"\b(un)?safe(ly|ty|r|st)?\b", text)
    for word in (
        "unplug",
        "discharge",
        "measure",
        "one hand",
        "isolation transformer",
        "local electrical codes",
        "licensed practice",
        "nothing found in the netlist as written",
    ):
        assert word in text


def test_hostile_words_are_text(runs):
    folder = ROOT / "circuits" / "pager"
    nasty = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    source = (
        (folder / "pager.circuit")
        .read_text()
        .replace("what is left between the line and the metal", nasty)
    )
    job, _ = read_job(
        (folder / "pager.job").read_bytes().replace(b"Sawmill pager: new", nasty.encode()),
        file="pager.job",
    )
    run = run_job(
        job,
        lambda file: read_circuit_bytes(
            source.encode() if file == "pager.circuit" else (folder / file).read_bytes(), file=file
        ),
        folder=folder,
    )
    html = page(run, (Drawing(nasty, nasty, f"<svg>{nasty}</svg>"),), date=nasty)
    assert "<script" not in html
    assert "<img src=x" not in html
    assert "&lt;script&gt;alert(1)" in html


def test_the_page_asks_nothing_of_the_network(runs):
    html = page(runs["pager"], STUB, date="1 January")
    assert not re.search(r"(src|href)=[\"'](?!data:|#)|url\(|@import|<script|<link", html)


def test_a_cell_that_looks_like_a_formula_stays_a_word(runs):
    columns = (
        Column("", "tick"),
        Column("Name"),
        Column("Part"),
        Column("Why"),
        Column("Note"),
        Column("DC"),
    )
    data = spreadsheet(
        Table("k", "t", "", columns, (("", "R1", "=1+1", "@x", "-1", "-7.52 V"),))
    ).decode()
    assert list(csv.reader(io.StringIO(data)))[1] == ["R1", "'=1+1", "'@x", "'-1", "-7.52 V"]


@pytest.fixture
def solved(runs, sums, monkeypatch):
    """Give the command what was solved and drawn of the pager already."""
    sheets = drawings(runs["pager"])
    monkeypatch.setattr("rework.commands.papers.numbers", lambda _run, _step: sums["pager"])
    monkeypatch.setattr("rework.commands.papers.drawings", lambda _run, _sheet: sheets)


def test_the_folder_is_written_whole_twice_the_same_and_never_over_itself(solved, tmp_path, capsys):
    folder = tmp_path / "one"
    words = ["papers", str(ROOT / "circuits" / "pager" / "pager.job"), "-o", str(folder)]
    assert main([*words, "--date", "x"]) == 0
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert {"papers.html", "papers.pdf", "parts-to-fit.csv", "work-order.md", "volts.csv"} <= set(
        first
    )
    assert first["papers.pdf"].startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", first["papers.pdf"])) <= 16, "the bench set"
    (folder / "wires.csv").unlink()
    (folder / "volts.csv").write_text("not these")
    assert main([*words, "--date", "y"]) == 2
    assert "there already" in capsys.readouterr().err
    assert not (folder / "wires.csv").exists()
    other = subprocess.run(
        [sys.executable, "-m", "rework", *words, "--date", "x", "--force"],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONHASHSEED": "1"},
    )
    assert other.returncode == 0, "solved anew in a process with sets in another order"
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == first


def test_what_the_record_has_is_printed_in_its_places(runs, sums):
    record = Record(
        (
            Entry("set", "Plate number", "2026-05-01T10:00:00", "SM 114"),
            Entry("work", "Remove P1, plug two-blade", "2026-05-02T09:05:00"),
            Entry(
                "test",
                "Earth continuity",
                "2026-05-02T10:05:00",
                "0.04 ohm",
                "pass",
                "AB",
                "bridge",
            ),
            Entry("test", "Leakage, earth open", "2026-05-02T11:05:00", "0.08 mA", "fail"),
        )
    )
    made = papers(runs["pager"], sums["pager"], STUB, date="x", record=record)
    assert dict(made.of_the_set)["Plate number"] == "SM 114"
    assert (made.leakage, made.earth) == ("0.08 mA", "0.04 ohm")
    html = lines(set_page(made))
    assert "Measured: leakage 0.08 mA earth connection 0.04 ohm" in html
    assert "pass: 0.04 ohm 2026-05-02 10:05, AB, bridge" in html
    assert "Plate number\nSM 114\n" in html
    text = notes(made)
    assert "- [x] **1. Remove P1" in text["work-order.md"]
    assert text["work-order.md"].count("- [x]") == 1
    assert "## [x] 2. Earth continuity" in text["test-plan.md"]
    assert "- record: fail, 0.08 mA" in text["test-plan.md"]


def test_the_customer_and_the_label_name_the_set_and_not_the_drawing(runs, sums):
    made = papers(runs["pager"], sums["pager"], STUB, date="x").owner
    assert made.name == "Sawmill pager"
    assert "66.2 mA" in made.found[1]
    assert "0.5 mA" in made.found[1]
    assert made.bill.rows[-1] == ("Total", "at least 360.00 USD")
