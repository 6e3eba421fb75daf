"""Before and after for the commands that print numbers: a circuit alone, or a job's two; and quantities as people read them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.files import Refusal, wanted_circuit
from rework.commands.jobs import is_job, run_job_file


@dataclass(frozen=True, slots=True)
class Solved:
    """One circuit with its result, or with the problems that stand in the way (then ``result`` is None)."""

    heading: str
    circuit: Circuit
    result: Any
    problems: tuple[Problem, ...]


def solved(file: str, of: Callable[[Circuit], Any]) -> tuple[Solved, ...]:
    """Return ``of`` the circuit in a file, or of a job's circuit before and after. Raises Refusal where the last has no numbers."""
    from rework.solve.network import CannotSolve

    if is_job(file):
        run = run_job_file(file)
        wanted = [("Before", run.before), ("After", run.after)]
    else:
        wanted = [("", wanted_circuit(file)[0])]
    made = []
    for heading, circuit in wanted:
        try:
            made.append(Solved(heading, circuit, of(circuit), ()))
        except CannotSolve as error:
            made.append(Solved(heading, circuit, None, error.problems))
    if made[-1].result is None:
        raise Refusal(*made[-1].problems)
    return tuple(made)


@cache
def _registry():
    import pint

    return pint.UnitRegistry()


def shown(value: float, unit: str, digits: int = 3) -> str:
    """Return a quantity with the multiplier a technician would write, as pint picks it."""
    if value == 0:
        return f"0 {unit}"
    quantity = _registry().Quantity(value, unit).to_compact()
    return f"{quantity.magnitude:.{digits}g} {quantity.units:~P}"
