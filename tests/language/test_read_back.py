"""Every file that a job leaves reads back equal, whatever the rule and whatever the set."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit
from rework.circuit.edits import as_left
from rework.language.files import read_circuit_file
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.rules.catalogue import builtin_names, load
from rework.rules.job_file import run_job_file
from rework.rules.rewrite import Applied, plan

TESTS = Path(__file__).parents[1]
CASES = TESTS / "cases"
DEMOS = TESTS.parent / "circuits"
SETS = sorted([*DEMOS.glob("*/*.circuit"), *TESTS.glob("sets/*/*.circuit"), CASES / "stub.circuit"])
#: Rules applied one after the other to each set, in orders drawn with a fixed seed.
ORDERS = 2


def read_back(circuit: Circuit) -> Circuit:
    text = write_circuit(circuit)
    again, problems = read_circuit(text, file="written.circuit")
    assert again is not None, "\n".join([*map(str, problems), text])
    return again


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
@pytest.mark.parametrize("order", range(ORDERS))
def test_what_rules_leave_of_a_set_reads_back_equal(path, order):
    circuit, problems = read_circuit_file(path)
    if circuit is None:
        pytest.skip(f"{path.name} cannot be read yet: {problems[0].message}")
    names = list(builtin_names())
    random.Random(order).shuffle(names)
    for name in names:
        rule, _ = load(name)
        if any(parameter.default is None for parameter in rule.parameters):
            continue
        outcome = plan(rule, circuit)
        if isinstance(outcome, Applied):
            circuit = outcome.after
            left = as_left(circuit)
            assert read_back(left) == left, name


@pytest.mark.parametrize(
    "job", [*sorted(DEMOS.glob("*/*.job")), CASES / "stub.job", CASES / "opn.job"], ids=str
)
def test_what_a_job_leaves_reads_back_equal(job):
    after = run_job_file(str(job)).after
    assert after.parts
    assert read_back(after) == after
