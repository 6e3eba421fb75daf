"""Single mistakes on finished conversions: none may be missed, and the finished conversions are not
flagged. REWORK_MISTAKES says how many are made (ten thousand and more are run on demand).

A mistake is a wire, resistor or capacitor between any two nodes, or any pin of any part moved to a
line node.
"""

from __future__ import annotations

import os
import random
from functools import cache
from pathlib import Path

import pytest
from hot_sets import CLEAN, read
from mistakes import bridges, broken_promise, moves
from tie_oracle import must_be_hazards, tied_by_oracle

from rework.circuit.circuit import Circuit
from rework.safety.check import check
from rework.safety.exposure import is_hazard
from rework.safety.survey import Survey

DEMOS = Path(__file__).parent.parent.parent / "circuits"
JOBS = sorted(str(path) for path in DEMOS.glob("*/*.job"))
#: How many mistakes are made altogether, and in how many of them the whole check is run and the
#: oracle asked for every hazard.
MISTAKES = int(os.environ.get("REWORK_MISTAKES", "300"))
WHOLE = 5


@cache
def finished(job: str) -> Circuit:
    if not job:
        return read(CLEAN)
    from rework.rules.job_file import run_job_file

    return run_job_file(job).after


def described(circuit: Circuit, clean: Circuit) -> str:
    return ", ".join(
        f"{part.kind} {part.name}: {part.pins}" for part in circuit.parts if part not in clean.parts
    )


@pytest.mark.parametrize("job", ["", *JOBS], ids=lambda job: Path(job).stem or "own")
def test_no_single_mistake_is_missed(job):
    clean = finished(job)
    rng = random.Random(Path(job).stem)
    both = (bridges(clean, rng), moves(clean, rng))
    for number in range(MISTAKES // (len(JOBS) + 1)):
        wrong = next(both[number % 2])
        conduction, tied = tied_by_oracle(wrong)
        survey = Survey(wrong)
        assert set(survey.ties.tied) == tied, described(wrong, clean)
        assert conduction == {node for node in tied if survey.conduction_tied(node)} & conduction, (
            described(wrong, clean)
        )
        wanted = must_be_hazards(wrong, conduction, tied)
        assert wanted <= {node for node in tied if is_hazard(survey, node)}, described(wrong, clean)
        if number % WHOLE == 0:
            report = check(wrong)
            assert wanted <= {hazard.node for hazard in report.hazards}, described(wrong, clean)
            assert not wanted or report.exit_status == 1
            assert not broken_promise(wrong, report), described(wrong, clean)


@pytest.mark.parametrize("job", ["", *JOBS], ids=lambda job: Path(job).stem or "own")
def test_a_finished_conversion_is_not_flagged(job):
    report = check(finished(job))
    assert not report.hazards, [hazard.remedy for hazard in report.hazards]
    assert not must_be_hazards(finished(job))
    assert report.exit_status == 0, [
        caution.message for caution in report.cautions if caution.weight == "must"
    ]


@pytest.mark.parametrize("job", JOBS, ids=lambda job: Path(job).stem)
def test_the_set_as_found_is(job):
    from rework.rules.job_file import run_job_file

    report = check(run_job_file(job).before)
    assert any(hazard.touchable for hazard in report.hazards)
    assert report.exit_status == 1


def test_the_packaged_demos_are_all_here():
    """A demo folder without a job would slip past every test above."""
    assert JOBS
    assert {Path(job).parent for job in JOBS} == {path for path in DEMOS.iterdir() if path.is_dir()}
