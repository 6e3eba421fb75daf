"""A step that is refused because an earlier one took its part out says which one did."""

from __future__ import annotations

from pathlib import Path

from rework.language.job import read_job
from rework.language.resolve import read_circuit
from rework.rules.run import run_job

CANTEEN = Path(__file__).parents[1] / "sets" / "canteen"
SET = (CANTEEN / "canteen.circuit").read_text(encoding="utf-8")
SUPPLY = (CANTEEN / "supply.circuit").read_text(encoding="utf-8")
JOB = (CANTEEN / "canteen.job").read_text(encoding="utf-8")
RENEW = "apply renew-filter-capacitor : node=B2, capacitor=33 uF 450 V"


def run(text: str):
    job, problems = read_job(text.encode(), file="canteen.job")
    assert job is not None, problems
    files = {"canteen.circuit": SET, "supply.circuit": SUPPLY}
    return run_job(job, lambda name: read_circuit(files[name], file=name))


def test_the_old_can_that_is_to_stay_is_kept_from_the_rule_that_takes_it_out():
    asked = JOB.replace(RENEW, f"{RENEW}, old=C8")
    (problem,) = run(asked).problems
    assert problem.message == "There is no part C8 in the circuit."
    line = asked.splitlines().index("apply remove-filter") + 1
    assert problem.hint == (
        f"apply remove-filter in line {line} took C8 out: put this line before it, or keep it there"
        " with keep=C8"
    )
    kept = run(asked.replace("apply remove-filter", "apply remove-filter : keep=C8"))
    assert kept.done
    assert kept.after.by_name["C8"].ends == ()  # the can stays, and nothing is on it


def test_a_part_that_was_never_there_was_taken_out_by_nothing():
    (problem,) = run(JOB.replace(RENEW, f"{RENEW}, old=C99")).problems
    assert problem.hint == "nothing after this line was done"
