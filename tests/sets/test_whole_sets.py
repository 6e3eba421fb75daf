"""Whole sets as they stand on benches, each taken through its job: every step does its work, the
check finds nothing in what comes of it, and what is written reads back.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from rework.language.files import circuit_reader, read_bytes, read_circuit_file
from rework.language.job import read_job
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun, run_job
from rework.safety.check import check
from rework.safety.findings import NOTHING
from rework.touch.touch import touch

HERE = Path(__file__).parent
SETS = sorted(folder.name for folder in HERE.iterdir() if (folder / f"{folder.name}.job").exists())
FINISHED = [name for name in SETS if (HERE / name / "supply.circuit").exists()]


@cache
def run_of(name: str) -> JobRun:
    folder = HERE / name
    job, problems = read_job(read_bytes(str(folder / f"{name}.job")), file=f"{name}.job")
    assert job is not None, problems
    return run_job(job, circuit_reader(folder), folder=folder)


@pytest.mark.parametrize("name", SETS)
def test_the_set_as_found_is_a_hazard(name):
    circuit, problems = read_circuit_file(str(HERE / name / f"{name}.circuit"))
    assert circuit is not None, problems
    assert check(circuit).hazards


@pytest.mark.parametrize("name", FINISHED)
def test_every_step_of_the_job_does_something(name):
    run = run_of(name)
    assert run.done, [problem.message for problem in run.problems]
    idle = [step.step for step in run.taken if not isinstance(step.outcome, Applied)]
    assert idle == []


@pytest.mark.parametrize("name", FINISHED)
def test_nothing_is_found_in_the_finished_set(name):
    after = run_of(name).after
    report = check(after)
    assert report.verdict == NOTHING, [caution.message for caution in report.cautions]
    over = [each for each in touch(after).touches if each.verdict == "over"]
    assert over == []


@pytest.mark.parametrize("name", FINISHED)
def test_the_finished_set_reads_back(name):
    after = run_of(name).after
    lone = {node for node, pins in after.at.items() if len(pins) == 1}
    said = replace(after, open_nodes=tuple(sorted({*after.open_nodes, *lone})))
    again, problems = read_circuit(write_circuit(said), file="again.circuit")
    assert again is not None, [problem.message for problem in problems]
    assert set(again.parts) == set(said.parts)
