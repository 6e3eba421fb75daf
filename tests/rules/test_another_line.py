"""A set that is to work on another line than it was built for: direct current, or other volts."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.circuit.circuit import Mains
from rework.language.files import circuit_reader
from rework.language.job import read_job
from rework.language.resolve import read_circuit
from rework.rules.run import run_job
from rework.supply.amplifier import NoSupply, amplifier

LIGHTHOUSE = Path(__file__).parents[1] / "sets" / "lighthouse"
SET = (LIGHTHOUSE / "lighthouse.circuit").read_text(encoding="utf-8")
SUPPLY = (LIGHTHOUSE / "supply.circuit").read_text(encoding="utf-8")
JOB = (LIGHTHOUSE / "lighthouse.job").read_text(encoding="utf-8")
DIRECT, LINE = "mains 220 V DC", "mains 230 V 50 Hz"


def job_of(mains: str = "", off: bool = True):
    """Return the job for another line, or without a step that takes the set off the old one."""
    text = JOB.replace(LINE, mains, 1)
    if not off:
        text = "\n".join(line for line in text.splitlines() if "apply" not in line)
    return read_job(text.encode(), file="lighthouse.job")


def run(*, mains: str = "", found: str = DIRECT, off: bool = True):
    job, problems = job_of(mains, off)
    assert job is not None, problems
    files = {"lighthouse.circuit": SET.replace(DIRECT, found, 1), "supply.circuit": SUPPLY}
    return run_job(job, lambda name: read_circuit(files[name], file=name))


@pytest.mark.parametrize("mains", ["", LINE])
def test_a_set_whose_own_cord_is_gone_is_on_the_line_of_its_supply(mains):
    done = run(mains=mains)
    assert done.done, done.problems
    assert done.before.mains == Mains(220.0, 0.0)
    assert done.after.mains == Mains(230.0, 50.0)
    cautions = [caution for one in done.taken for caution in getattr(one.outcome, "cautions", ())]
    assert (
        "The set was for 220 V DC. From now on it is for 230 V 50 Hz only: mark the plug. Direct"
        " current burns out its transformer." in cautions
    )


@pytest.mark.parametrize(
    ("found", "told"),
    [(LINE, False), ("mains 220 V 50 Hz", False), ("mains 110 V 50 Hz", True)],
)
def test_a_line_of_nearly_the_same_volts_is_no_other_line(found, told):
    done = run(found=found)
    cautions = [caution for one in done.taken for caution in getattr(one.outcome, "cautions", ())]
    assert any("mark the plug" in caution for caution in cautions) == told


def test_a_set_with_its_cord_on_stays_on_its_own_line():
    done = run(found="mains 220 V 50 Hz", off=False)
    assert done.after.mains == Mains(220.0, 50.0)


def test_a_supply_for_another_line_than_the_jobs_is_refused():
    done = run(mains="mains 117 V 60 Hz")
    assert not done.done
    assert "supply.circuit is for 230 V 50 Hz, the job is for 117 V 60 Hz" in str(done.problems[0])


@pytest.mark.parametrize(
    ("mains", "told"),
    [
        ("mains 230 V DC", "a transformer does not work on direct current"),
        ("mains 230 V 50 Hz\nmains 117 V 60 Hz", "the mains are stated twice"),
        ("mains 230 V", "the mains need volts and hertz"),
    ],
)
def test_what_is_wrong_with_the_line_of_a_job_is_told(mains, told):
    job, problems = job_of(mains)
    assert job is None
    assert told in problems[0].message


def test_a_supply_for_a_set_on_direct_current_wants_the_line_it_will_be_on():
    read = circuit_reader(LIGHTHOUSE)
    job, _ = job_of()
    with pytest.raises(NoSupply, match="which alternating line the finished set is for"):
        amplifier(job, read)
    job, _ = job_of(LINE)
    amp = amplifier(job, read)
    assert amp.mains == Mains(230.0, 50.0)
    assert amp.stand_in.mains == amp.mains
