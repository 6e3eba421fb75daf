"""Running a job file from the disk: shared by every command that takes one."""

from __future__ import annotations

from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.files import Refusal, read_bytes, read_circuit_file
from rework.rules.run import JobRun


def is_job(path: str) -> bool:
    """True for a file that is a job by its name."""
    return Path(path).suffix == ".job"


def run_job_file(path: str) -> JobRun:
    """Return how the job in a file went. Raises Refusal where the job cannot be read, or a step of it could not be taken."""
    run = try_job_file(path, [])
    if not run.done:
        raise Refusal(*run.problems)
    return run


def try_job_file(path: str, named: list[Path]) -> JobRun:
    """Return how far the job in a file went, every circuit file that was asked for added to ``named``.

    Raises Refusal where the job itself cannot be read.
    """
    from rework.language.job import read_job
    from rework.rules.run import run_job

    if Path(path).suffix in (".circuit", ".rule") and Path(path).is_file():
        raise Refusal(Problem(f"{path} is a {Path(path).suffix[1:]} file, not a job", expected="a .job file",
                              hint="write one with: rework new mine.job"))
    job, problems = read_job(read_bytes(path), file=path)
    if job is None:
        raise Refusal(*problems)
    folder = Path(path).parent

    def read(name: str):
        named.append(folder / name)
        try:
            return read_circuit_file(folder / name, named)
        except Refusal as refusal:
            place = next((p for p in [job.circuit_place] if name == job.circuit_file and p), None)
            return None, tuple(problem.at(place, "") if place else problem for problem in refusal.problems)

    return run_job(job, read, folder=folder)
