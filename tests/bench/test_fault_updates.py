"""How much the updates save against putting each fault into the matrix, as a ratio on the same
machine; and how it grows.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.rules.job_file import run_job_file
from rework.touch.effects import Effects, Probe
from rework.touch.failures import single_faults
from rework.touch.faults import MOST_COMBINATIONS, faults
from rework.touch.person import assumed
from rework.touch.study import Study

sys.path.append(str(Path(__file__).parents[1] / "touch"))
from afresh import seen, with_fault

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
    parts = [
        Part("P1", "plug", words=("two-blade",), pins=(("line", "N0"), ("neutral", "CHASSIS")))
    ]
    for number in range(length):
        here, there = f"N{number}", f"N{number + 1}"
        parts.append(
            Part(
                f"R{number}",
                "resistor",
                values=(Value("resistance", 1e4),),
                pins=(("1", here), ("2", there)),
            )
        )
        parts.append(
            Part(
                f"C{number}",
                "capacitor",
                values=(Value("capacitance", 1e-9),),
                pins=(("1", there), ("2", "CHASSIS")),
            )
        )
    return Circuit("ladder", Mains(120.0, 60.0), tuple(parts), ("CHASSIS",))


@pytest.mark.parametrize("which", ["before", "after"])
def test_all_faults_of_the_pager_from_one_factorisation_are_fifty_times_cheaper(which):
    """Every fault in every row and combination by update, against putting each into each matrix and
    solving it again.
    """
    circuit = getattr(run_job_file(str(PAGER)), which)
    study = Study(circuit, assumed(), open_conductors=False, umbilicals=False)
    probe, every, combos = (
        Probe(study),
        single_faults(study),
        study.combinations(MOST_COMBINATIONS, study.but_insulation),
    )
    ones = [number for number, fault in enumerate(every) if fault.changes == 1]
    many = [fault for fault in every if fault.changes > 1]

    def updated() -> None:
        for rows, admittance, solved in study.blocks():
            Effects(probe, every, rows, admittance, solved, combos, None).alternating(ones, [0, 1])
            for fault in many:
                Effects.alone(probe, fault, rows, admittance, combos, None).alternating([0], [0, 1])

    def refactored() -> None:
        for turned in {row.turned for row in study.rows}:
            rows = tuple(row for row in study.rows if row.turned == turned)
            for fault in every[::SHARE]:
                seen(with_fault(study, fault, rows, combos[-1]), probe.patterns, study.feeds)

    updated()
    fast, whole = best(updated), best(lambda: faults(circuit))
    slow = best(refactored, 1) * len(every) / len(every[::SHARE]) * len(combos)
    print(
        f"{which}: {len(every)} faults x {len(study.rows)} matrices x {len(combos)} combinations:"
        f" {fast * 1e3:.0f} ms against {slow:.1f} s, {slow / fast:.0f} times; all of faults, direct"
        f" currents and verdicts too, {whole * 1e3:.0f} ms"
    )
    assert slow > 50 * fast


@pytest.mark.parametrize("length", [250, 1000])
def test_the_cost_of_a_fault_does_not_grow_with_their_number(length):
    """A ladder of twice as many parts: with twice the faults, no more than some twice the time."""
    study = Study(ladder(length), assumed(), open_conductors=False)
    probe, every = Probe(study), single_faults(study)
    rows, admittance, solved = next(study.blocks())

    def worked(faults) -> float:
        return best(
            lambda: Effects(
                probe,
                faults,
                rows,
                admittance,
                solved,
                study.combinations(1, study.but_insulation),
                None,
            ).alternating(
                [number for number, fault in enumerate(faults) if fault.changes == 1], [0, 1]
            ),
            2,
        )

    whole, half = worked(every), worked(every[: len(every) // 2])
    print(
        f"{2 * length} parts, {len(every)} faults: {whole * 1e3:.0f} ms, half of them"
        f" {half * 1e3:.0f} ms"
    )
    assert whole < 4 * half
