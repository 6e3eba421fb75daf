"""Running a job file from the disk: shared by every command that takes one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.files import (
    ReadBytes,
    Refusal,
    read_bytes,
    read_circuit_file,
    read_named,
    shown_name,
)

if TYPE_CHECKING:
    from rework.language.job import Job
    from rework.rules.run import JobRun


def is_job(path: str) -> bool:
    """True for a file that is a job by its name."""
    return Path(path).suffix == ".job"


def run_job_file(path: str, *, amplifier: Callable[[Circuit], None] | None = None) -> JobRun:
    """Return how the job in a file went; ``amplifier`` as in ``try_job_file``.

    Raises Refusal where the job cannot be read, or a step of it could not be taken.
    """
    run = try_job_file(path, [], amplifier=amplifier)
    if not run.done:
        raise Refusal(*run.problems)
    return run


def try_job_file(
    path: str,
    named: list[Path],
    *,
    open_file: ReadBytes | None = None,
    amplifier: Callable[[Circuit], None] | None = None,
) -> JobRun:
    """Return how far the job in a file went, every circuit file that was asked for added to
    ``named``; ``open_file`` opens files in the place of the disk, and ``amplifier`` is given the
    circuit that the job begins with as soon as it is read.

    Raises Refusal where the job itself cannot be read.
    """
    from rework.language.job import read_job
    from rework.rules.run import run_job, step_problems

    if Path(path).suffix in (".circuit", ".rule") and Path(path).is_file():
        raise Refusal(
            Problem(
                f"{path} is a {Path(path).suffix[1:]} file, not a job",
                expected="a .job file",
                hint="write one with: rework new mine.job",
            )
        )
    folder = Path(path).parent
    known: dict[str, tuple[Circuit | None, tuple[Problem, ...]]] = {}

    def read(name: str) -> tuple[Circuit | None, tuple[Problem, ...]]:
        if name not in known:
            named.append(folder / name)
            try:
                opened = open_file or read_bytes
                known[name] = read_circuit_file(folder / name, named, read=opened)
            except Refusal as refusal:
                known[name] = None, refusal.problems
        return known[name]

    def wrong(job: Job) -> list[Problem]:
        circuit, problems = read(job.circuit_file) if job.circuit_file else (None, ())
        if circuit is not None and amplifier is not None:
            amplifier(circuit)
        return [
            *(_placed(problems, job) if circuit is None else ()),
            *(
                problem
                for problems in step_problems(job, read, folder=folder).values()
                for problem in problems
            ),
        ]

    data = read_named(path) if open_file is None else open_file(Path(path))
    job, problems = read_job(data, file=shown_name(path), further=wrong)
    if job is None:
        raise Refusal(*problems)
    run = run_job(job, read, folder=folder)
    return replace(run, problems=_placed(run.problems, job)) if run.unread else run


def sources(path: str, run: JobRun) -> frozenset[Path]:
    """Return every file a job is made of: itself, its circuits, what they attach, its price list
    and the rules beside it.
    """
    from rework.language.job import Attach

    folder = Path(path).parent
    named = [run.job.circuit_file, run.job.prices]
    attached = [step.circuit_file for step in run.job.steps if isinstance(step, Attach)]
    return frozenset(
        {
            Path(path),
            *(folder / name for name in (*named, *attached) if name),
            *folder.glob("*.rule"),
            *circuit_sources(run.before),
            *circuit_sources(run.after),
        }
    )


def circuit_sources(circuit: Circuit) -> frozenset[Path]:
    """Return the files that the parts of a circuit are written in."""
    return frozenset(Path(part.place.file) for part in circuit.parts if part.place)


def _placed(problems: tuple[Problem, ...], job: Job) -> tuple[Problem, ...]:
    """Return problems; one without a place, of an amplifier that could not be opened, at the line
    of the job that names it.
    """
    return tuple(
        problem.at(job.circuit_place, job.circuit_text) if job.circuit_place else problem
        for problem in problems
    )
