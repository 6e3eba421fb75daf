"""Every step of a job in the places that its parts have before and after; new figures without a new
layout.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Value
from rework.draw.drawing import pair
from rework.draw.overlay import PLAIN
from rework.draw.series import Series
from rework.rules.job_file import run_job_file

CIRCUITS = Path(__file__).parents[2] / "circuits"


@pytest.fixture(scope="module")
def run():
    return run_job_file(str(CIRCUITS / "hostel" / "hostel.job"))


@pytest.fixture(scope="module")
def series(run):
    return Series(run.before, run.after)


def places(sheet):
    return {placed.key: (placed.x, placed.y) for placed in sheet.placed if placed.part}


def with_ohms(circuit: Circuit, name: str, ohms: float) -> Circuit:
    """Return a circuit with another resistance of one part."""
    return circuit.with_parts(
        tuple(
            replace(part, values=(Value("resistance", ohms, "", f"{ohms:g}"), *part.values[1:]))
            if part.name == name
            else part
            for part in circuit.parts
        )
    )


def test_before_and_after_are_as_they_are_drawn_elsewhere(run, series):
    assert series.pair((PLAIN, PLAIN)) == pair(run.before, run.after)


def test_every_step_stands_in_the_places_of_before_and_after(run, series):
    sheets = series.pair((PLAIN, PLAIN))
    known = {**places(sheets[1][""]), **places(sheets[0][""])}
    for taken in run.taken:
        step = series.between(taken.after, PLAIN, "")
        assert not places(step[""]).items() - known.items(), taken.step.text


def test_other_figures_are_other_words_in_the_same_drawing(run, series):
    name = next(
        part.name
        for part in run.before.parts
        if part.kind == "resistor" and run.after.part(part.name) == part
    )
    changed = [with_ohms(circuit, name, 12.0) for circuit in (run.before, run.after)]
    other = series.with_figures(*changed)
    assert other is not None
    for old, new in zip(series.pair((PLAIN, PLAIN)), other.pair((PLAIN, PLAIN)), strict=True):
        assert old[""].runs == new[""].runs
        assert places(old[""]) == places(new[""])
        words = {
            line.text.strip()
            for one in new[""].placed
            if one.part == name
            for line in one.label.lines
        }
        assert "12" in words


def test_another_wire_is_another_drawing(run, series):
    moved = run.after.with_parts(run.after.parts[:-1])
    assert series.with_figures(run.before, moved) is None
