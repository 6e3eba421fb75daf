"""The jobs of the demos and their sums, made once for all tests of papers."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from rework.papers.numbers import Numbers, numbers
from rework.rules.job_file import run_job_file
from rework.rules.run import JobRun

ROOT = Path(__file__).parents[2]
DEMOS = sorted(path.stem for path in (ROOT / "circuits").glob("*/*.job"))


@cache
def run_of(name: str) -> JobRun:
    """Return the job of a demo as it goes."""
    return run_job_file(str(ROOT / "circuits" / name / f"{name}.job"))


@cache
def numbers_of(name: str) -> Numbers:
    """Return every number that the papers of a demo want."""
    return numbers(run_of(name))
