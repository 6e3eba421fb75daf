"""What a command is about: the circuit in a file, or the two circuits of a job."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.files import Refusal, shown_name, wanted_circuit
from rework.report.problems import problems_text
from rework.rules.job_file import circuit_sources, is_job, run_job_file, sources

if TYPE_CHECKING:
    from rework.rules.run import JobRun

Result = TypeVar("Result")


@dataclass(frozen=True)
class Subject:
    """A circuit, or a job that was run: ``circuits`` by ``circuit``, or ``before`` and ``after``.

    ``problems`` are the cautions given while a circuit was read.
    """

    file: str
    circuits: dict[str, Circuit]
    run: JobRun | None
    problems: tuple[Problem, ...]

    @property
    def last(self) -> Circuit:
        """The circuit itself, or that after the job."""
        return [*self.circuits.values()][-1]

    @cached_property
    def sources(self) -> frozenset[Path]:
        """The files it was read from: none of them may be written."""
        if self.run is not None:
            return sources(self.file, self.run)
        return circuit_sources(self.last) | {Path(self.file)}

    def heading(self, key: str) -> str:
        """Return what a person calls one of the circuits: the file, or Before and After."""
        return shown_name(self.file) if key == "circuit" else key.capitalize()

    def print_cautions(self) -> None:
        """Print on standard error what reading the file gave rise to."""
        if self.problems:
            print(problems_text(self.problems, stream=sys.stderr) + "\n", file=sys.stderr)


def subject(file: str, *, amplifier: Callable[[Circuit], None] | None = None) -> Subject:
    """Return what is in the file that the user names; ``amplifier`` is given the circuit that a job
    begins with as soon as it is read.

    Raises Refusal where it cannot be read, or a step of the job cannot be taken.
    """
    if is_job(file):
        run = run_job_file(file, amplifier=amplifier)
        return Subject(file, {"before": run.before, "after": run.after}, run, ())
    circuit, problems = wanted_circuit(file)
    return Subject(file, {"circuit": circuit}, None, problems)


def positioned_subject(about: Subject, at: Mapping[str, str]) -> Subject:
    """Return a subject with controls and switches ``at`` these positions, in every circuit that
    has them.

    Raises Refusal where the last circuit has no such control, switch or position.
    """
    if not at:
        return about
    from rework.solve.network import CannotSolve
    from rework.solve.positions import positioned

    try:
        positioned(about.last, at)
        circuits = {
            key: positioned(
                circuit, {name: place for name, place in at.items() if circuit.part(name)}
            )
            for key, circuit in about.circuits.items()
        }
    except CannotSolve as error:
        raise Refusal(*error.problems) from error
    return replace(about, circuits=circuits)


@dataclass(frozen=True, slots=True)
class SolvedSide(Generic[Result]):
    """A circuit with its numbers."""

    heading: str
    circuit: Circuit
    result: Result


@dataclass(frozen=True, slots=True)
class Unsolved:
    """A circuit without numbers, and the problems that prevent them."""

    heading: str
    circuit: Circuit
    problems: tuple[Problem, ...]


def solved(
    about: Subject, of: Callable[[Circuit], Result]
) -> dict[str, SolvedSide[Result] | Unsolved]:
    """Return ``of`` each circuit.

    Raises Refusal where the last has no numbers.
    """
    from rework.solve.network import CannotSolve

    results: dict[str, SolvedSide[Result] | Unsolved] = {}
    for key, circuit in about.circuits.items():
        heading = "" if key == "circuit" else about.heading(key)
        try:
            results[key] = SolvedSide(heading, circuit, of(circuit))
        except CannotSolve as error:
            results[key] = Unsolved(heading, circuit, error.problems)
    last = [*results.values()][-1]
    if isinstance(last, Unsolved):
        raise Refusal(*last.problems)
    return results


def last_of(results: dict[str, SolvedSide[Result] | Unsolved]) -> SolvedSide[Result]:
    """Return the last of the results, which ``solved`` always has numbers for."""
    last = [*results.values()][-1]
    assert isinstance(last, SolvedSide)
    return last


def print_each(
    results: dict[str, SolvedSide[Result] | Unsolved], text: Callable[[SolvedSide[Result]], str]
) -> None:
    """Print the text of each result, or on standard error why a circuit has none."""
    for side in results.values():
        if isinstance(side, SolvedSide):
            print(text(side) + "\n")
        else:
            print(problems_text(side.problems, stream=sys.stderr), file=sys.stderr)
            print(f"{side.heading}: no numbers.\n", file=sys.stderr)
