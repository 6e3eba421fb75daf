"""How much the updates save against putting each fault into the matrix, as a ratio on the same machine; and how it grows."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.commands.jobs import run_job_file
from rework.safety.current.failures import single_faults
from rework.safety.current.faults import Probe, solved_afresh, solved_faults
from rework.safety.current.person import assumed
from rework.safety.current.study import Study

#: Every so manieth fault is solved afresh; the time is scaled up.
SHARE = 8
PAGER = Path(__file__).parents[2] / "circuits/pager/pager.job"


def best(action, times: int = 4) -> float:
    """Return the shortest of a few runs, in seconds of processor time."""
    found = []
    for _ in range(times):
        start = time.process_time()
        action()
        found.append(time.process_time() - start)
    return min(found)


def ladder(length: int) -> Circuit:
    """Return a line with resistors along it and capacitors to a chassis, of twice as many parts."""
    parts = [Part("P1", "plug", words=("two-blade",), pins=(("line", "N0"), ("neutral", "CHASSIS")))]
    for number in range(length):
        here, there = f"N{number}", f"N{number + 1}"
        parts.append(Part(f"R{number}", "resistor", values=(Value("resistance", 1e4),), pins=(("1", here), ("2", there))))
        parts.append(Part(f"C{number}", "capacitor", values=(Value("capacitance", 1e-9),), pins=(("1", there), ("2", "CHASSIS"))))
    return Circuit("ladder", Mains(120.0, 60.0), tuple(parts), ("CHASSIS",))


def test_all_faults_of_the_pager_from_one_factorisation_are_fifty_times_cheaper():
    circuit = run_job_file(str(PAGER)).after
    study = Study(circuit, assumed(), open_conductors=True, umbilicals=False)
    probe, every = Probe.of(study), single_faults(study)

    def updated() -> None:
        for _, admittance, solved in study.blocks():
            solved_faults(study, every, probe, admittance, solved)

    def refactored() -> None:
        admittance = study.admittance(study.rows)
        for fault in every[::SHARE]:
            solved_afresh(study, fault, probe.patterns, admittance)

    updated()
    fast, slow = best(updated), best(refactored, 1) * len(every) / len(every[::SHARE])
    print(f"{len(every)} faults x {len(study.rows)} matrices: {fast * 1e3:.0f} ms against {slow * 1e3:.0f} ms, {slow / fast:.0f} times")
    assert slow > 50 * fast


@pytest.mark.parametrize("length", [250, 600])
def test_the_cost_of_a_fault_does_not_grow_with_their_number(length):
    study = Study(ladder(length), assumed(), open_conductors=False)
    probe, every = Probe.of(study), single_faults(study)
    admittance = study.admittance(study.rows[:1])
    _, _, solved = next(study.blocks(study.rows[:1]))
    some, half = every, every[: len(every) // 2]
    whole, part = (best(lambda faults=faults: solved_faults(study, faults, probe, admittance, solved), 2) for faults in (some, half))
    print(f"{2 * length} parts, {len(every)} faults: {whole * 1e3:.0f} ms, half of them {part * 1e3:.0f} ms")
    assert whole < 4 * part
