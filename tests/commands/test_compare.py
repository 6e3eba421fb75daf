"""A converted set is written down from the chassis, in the words of whoever did it: is it the plan?"""

from __future__ import annotations

import json
import random
import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from rework.circuit.graph import contracted
from rework.cli import main
from rework.language.writer import write_circuit
from rework.rules.job_file import run_job_file

ROOT = Path(__file__).parents[2]
JOB = str(ROOT / "circuits" / "pager" / "pager.job")


@pytest.fixture(scope="module")
def plan() -> str:
    """The job's result as a file, one part a line."""
    text = write_circuit(run_job_file(JOB).after)
    return re.sub(r",\n +", ", ", text)


@pytest.fixture
def compared(tmp_path, capsys):
    """Return a function that compares a text with the job: exit status and what was printed."""

    def run(text: str, *options: str) -> tuple[int, str]:
        path = tmp_path / "built.circuit"
        path.write_text(text, encoding="utf-8")
        status = main(["compare", JOB, str(path), *options])
        return status, capsys.readouterr().out

    return run


def line_of(plan: str, name: str) -> str:
    return next(line for line in plan.splitlines() if line.startswith(f"{name} "))


def test_a_set_wired_as_planned_and_written_under_other_names(plan, compared):
    sys.path.insert(0, str(ROOT / "tests" / "compare"))
    from boards import renamed

    circuit = run_job_file(JOB).after
    other = renamed(circuit, random.Random(3), parts=True)
    status, out = compared(write_circuit(other))
    assert "Wired as planned: all 45 parts found, each on its points." in out
    assert "nothing found in the netlist as written" in out
    assert status == 0


def test_one_who_writes_no_wires_and_no_ratings_wired_as_planned_too(compared):
    """Every point has one name, as a person writes who does not list wires; first values only."""
    circuit = run_job_file(JOB).after
    points = contracted(circuit)
    parts = tuple(
        replace(
            part.rebound(points), values=part.values[:1] if part.kind == "resistor" else part.values
        )
        for part in circuit.parts
        if not part.is_conductor
    )
    touchable = tuple(points.get(node, node) for node in circuit.touchable)
    ports = tuple((port, points.get(node, node)) for port, node in circuit.ports)
    status, out = compared(
        write_circuit(replace(circuit, parts=parts, touchable=touchable, ports=ports))
    )
    assert "Wired as planned" in out
    assert "power: R1, R11" in out, "what is not stated is named, and does not count"
    assert status == 0


def test_a_capacitor_the_wrong_way_round_and_a_part_left_out(plan, compared):
    reversed_ = line_of(plan, "C2").replace("CATH1 -- COMMON", "COMMON -- CATH1")
    text = plan.replace(line_of(plan, "C2"), reversed_).replace(line_of(plan, "C3") + "\n", "")
    status, out = compared(text)
    assert status == 1
    assert "C2 is reversed: plus must be on CATH1." in out
    assert "Missing in the set: 1\n  C3: " in out
    assert "nothing found in the netlist as written" in out


def test_a_leak_from_the_line_is_an_extra_part_and_a_hazard(plan, compared):
    text = plan + "C99 capacitor .047 uF 400 V paper : SUPPLY/L3 -- CHASSIS\n"
    status, out = compared(text)
    assert status == 1
    assert "Extra in the set: 1\n  C99 (line " in out
    assert "C99" in out.partition("Mains check of the set as wired")[2]


def test_measured_values_count_within_the_tolerance_of_the_part(plan, compared):
    assert "100k" in line_of(plan, "R4")
    near = plan.replace(line_of(plan, "R4"), line_of(plan, "R4").replace("100k", "107k"))
    status, out = compared(near)
    assert status == 0
    assert "R4: resistance planned 100k, built 107k." in out.partition("Within the tolerance")[2]
    far = plan.replace(line_of(plan, "R4"), line_of(plan, "R4").replace("100k", "125k"))
    status, out = compared(far)
    assert status == 1
    assert "R4: resistance planned 100k, built 125k." in out.partition("Another value")[2]


def test_metal_that_is_not_named_touchable_is_said(plan, compared):
    status, out = compared(plan.replace("touchable CHASSIS, J1.sleeve", "touchable CHASSIS"))
    if status:
        assert "touchable" in out
    silent = re.sub(r"^touchable .*\n", "", plan, flags=re.MULTILINE)
    status, out = compared(silent)
    assert status == 1
    assert "is touchable in the plan" in out


def test_the_answer_for_a_machine(plan, compared):
    text = plan.replace(line_of(plan, "C2") + "\n", "")
    status, out = compared(text, "--json")
    answer = json.loads(out)
    assert status == 1
    assert answer["as_planned"] is False
    assert [part["part"] for part in answer["changes"]["removed"]] == ["C2"]
    assert answer["check"]["hazards"] == []


def test_a_file_that_cannot_be_read_is_not_compared(compared):
    assert compared('circuit "x"\nR1 resistor 1k : A --\n')[0] == 2


def test_the_ports_of_a_supply_are_held_where_both_files_name_them(tmp_path, capsys):
    text = (ROOT / "circuits" / "pager" / "supply.circuit").read_text(encoding="utf-8")
    (tmp_path / "plan.circuit").write_text(text, encoding="utf-8")
    other = re.sub(r"\bUH([12])\b", r"Q\1", text)
    built = {
        "same": other,
        "swapped": other.replace("bplus = UB, common = UC", "bplus = UC, common = UB"),
        "unnamed": re.sub(r"(?m)^port bplus.*$", "open UB, UC, Q1, Q2, UE", other),
    }
    told = {}
    for name, words in built.items():
        assert words != text
        (tmp_path / f"{name}.circuit").write_text(words, encoding="utf-8")
        main(["compare", str(tmp_path / "plan.circuit"), str(tmp_path / f"{name}.circuit")])
        told[name] = capsys.readouterr().out
    assert "Wired as planned: all 13 parts found" in told["same"]
    assert "Wired as planned: all 13 parts found" in told["unnamed"]
    assert "Port bplus: planned on UB, wired to UC." in told["swapped"]
    assert "Port common: planned on UC, wired to UB." in told["swapped"]
