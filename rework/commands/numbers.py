"""Before and after for the commands that print numbers: a circuit alone, or a job's two; and
quantities as people read them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.files import Refusal, wanted_circuit
from rework.rules.job_file import is_job, run_job_file


@dataclass(frozen=True, slots=True)
class Solved:
    """One circuit with its result, or with the problems that stand in the way (then ``result`` is
    None).
    """

    heading: str
    circuit: Circuit
    result: Any
    problems: tuple[Problem, ...]


def solved(file: str, of: Callable[[Circuit], Any]) -> tuple[Solved, ...]:
    """Return ``of`` the circuit in a file, or of a job's circuit before and after.

    Raises Refusal where the last has no numbers.
    """
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


#: The units numbers are shown in; pint's own table of all the world's units takes longer to read
#: than a circuit to solve.
_UNITS = (
    "pico- = 1e-12 = p-",
    "nano- = 1e-9 = n-",
    "micro- = 1e-6 = µ-",
    "milli- = 1e-3 = m-",
    "kilo- = 1e3 = k-",
    "mega- = 1e6 = M-",
    "giga- = 1e9 = G-",
    "meter = [length] = m",
    "kilogram = [mass] = kg",
    "second = [time] = s",
    "ampere = [current] = A",
    "watt = kilogram * meter ** 2 / second ** 3 = W",
    "volt = watt / ampere = V",
    "ohm = volt / ampere = Ω",
    "siemens = 1 / ohm = S",
    "farad = ampere * second / volt = F",
    "henry = volt * second / ampere = H",
    "hertz = 1 / second = Hz",
)


@cache
def _registry():
    import pint

    registry = pint.UnitRegistry(None)
    registry.load_definitions(list(_UNITS))
    return registry


def shown(value: float, unit: str, digits: int = 3) -> str:
    """Return a quantity with the multiplier a technician would write, as pint picks it: volts,
    amps, watts, ohms, farads, henries, hertz, seconds.
    """
    if value == 0:
        return f"0 {unit}"
    quantity = _registry().Quantity(value, unit).to_compact()
    return f"{quantity.magnitude:.{digits}g} {quantity.units:~P}"


@cache
def factor(unit: str, wanted: str) -> float:
    """Return how many of the ``wanted`` unit one ``unit`` is, as pint has it: 1000 for A and mA."""
    return float(_registry().Quantity(1.0, unit).m_as(wanted))
