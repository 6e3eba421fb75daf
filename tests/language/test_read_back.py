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


#: What a rule that must be told something is told: a part of these kinds, or one of these words.
KINDS_FOR = {
    "tube": ("tube",),
    "motor": ("motor",),
    "switch": ("switch",),
    "rectifier": ("selenium", "diode"),
    "coil": ("choke",),
    "transformer": ("output transformer",),
}
WORDS_FOR = {
    "type": ("6AV6", "6CU5", "6SL7GT", "ECL82", "EL84", "50C5"),
    "value": ("47 uF 450 V", "1 Mohm", "100 ohm 5 W"),
    "resistor": ("47 ohm 5 W",),
    "load": ("5k",),
}


def told(rule, circuit: Circuit, draw: random.Random) -> dict[str, str] | None:
    """Return arguments drawn from a circuit for what a rule must be told, None where it has none of
    the kind.
    """
    arguments = {}
    for parameter in rule.parameters:
        if parameter.default is not None:
            continue
        kinds = KINDS_FOR.get(parameter.name)
        parts = [part.name for part in circuit.parts if kinds is None or part.kind in kinds]
        words = WORDS_FOR.get(parameter.name)
        nodes = parameter.name in ("node", "bplus", "rail")
        choices = words or (sorted(circuit.at) if nodes else parts)
        if not choices:
            return None
        arguments[parameter.name] = draw.choice(choices)
    if any(parameter.name == "accept" for parameter in rule.parameters):
        arguments["accept"] = "yes"
    return arguments


@pytest.mark.parametrize("path", SETS, ids=lambda path: path.stem)
@pytest.mark.parametrize("order", range(ORDERS))
def test_what_rules_leave_of_a_set_reads_back_equal(path, order):
    circuit, problems = read_circuit_file(path)
    assert circuit is not None, problems
    names, draw = list(builtin_names()), random.Random(order)
    draw.shuffle(names)
    for name in names:
        rule, _ = load(name)
        arguments = told(rule, circuit, draw)
        if arguments is None:
            continue
        outcome = plan(rule, circuit, arguments)
        if isinstance(outcome, Applied):
            circuit = outcome.after
            left = as_left(circuit)
            assert read_back(left) == left, (name, arguments)


@pytest.mark.parametrize(
    "job",
    [
        *sorted([*DEMOS.glob("*/*.job"), *TESTS.glob("sets/*/*.job")]),
        CASES / "stub.job",
        CASES / "opn.job",
    ],
    ids=lambda path: path.stem,
)
def test_what_a_job_leaves_reads_back_equal(job):
    after = run_job_file(str(job)).after
    assert after.parts
    assert read_back(after) == after
