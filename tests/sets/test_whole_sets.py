"""Whole sets as they stand on benches, each taken through its job: every step does its work, the
check finds nothing in what comes of it, what is written reads back, and every command has an answer.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from rework.circuit.edits import subject
from rework.cli import main
from rework.language.files import circuit_reader, read_bytes, read_circuit_file
from rework.language.job import Apply, read_job
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.papers.order import hand_order
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun, run_job
from rework.safety.check import check
from rework.safety.findings import NOTHING
from rework.supply.draft import draft, isolating_text
from rework.supply.feed import feed_of
from rework.supply.isolate import isolated
from rework.touch.faults import faults

HERE = Path(__file__).parent
SETS = sorted(folder.name for folder in HERE.iterdir() if (folder / f"{folder.name}.job").exists())


@cache
def run_of(name: str) -> JobRun:
    folder = HERE / name
    job, problems = read_job(read_bytes(str(folder / f"{name}.job")), file=f"{name}.job")
    assert job is not None, problems
    return run_job(job, circuit_reader(folder), folder=folder)


@pytest.mark.parametrize("name", SETS)
def test_the_set_as_found_is_a_hazard(name):
    circuit, problems = read_circuit_file(str(HERE / name / f"{name}.circuit"))
    assert circuit is not None, problems
    assert check(circuit).hazards


@pytest.mark.parametrize("name", SETS)
def test_every_step_of_the_job_does_something(name):
    run = run_of(name)
    assert run.done, [problem.message for problem in run.problems]
    idle = [step.step for step in run.taken if not isinstance(step.outcome, Applied)]
    assert idle == []


@pytest.mark.parametrize("name", SETS)
def test_nothing_is_found_in_the_finished_set(name):
    report = check(run_of(name).after)
    assert report.verdict == NOTHING, [caution.message for caution in report.cautions]


@pytest.mark.parametrize("name", SETS)
def test_the_finished_set_reads_back(name):
    after = run_of(name).after
    lone = {node for node, pins in after.at.items() if len(pins) == 1}
    said = replace(after, open_nodes=tuple(sorted({*after.open_nodes, *lone})))
    again, problems = read_circuit(write_circuit(said), file="again.circuit")
    assert again is not None, [problem.message for problem in problems]
    assert set(again.parts) == set(said.parts)


@pytest.mark.parametrize("name", SETS)
def test_the_work_order_of_the_set_is_whole_and_no_step_leaves_it_live(name):
    run = run_of(name)
    order = hand_order(run)
    assert order.by_bench
    covered = sorted(number for move in order.moves for number in move.edits)
    assert covered == list(range(len(run.edits))), "every edit is a step of the work order, once"
    assert set(order.after.parts) == set(run.after.parts)
    for move in order.moves:
        if any(part.kind == "plug" for part in move.after.parts):
            assert check(move.after).hazards == (), f"after {subject(move.action)}"


#: What takes seconds: each set is given one of these in turn, all of them with tests/bench/sets.py.
LONG = ("summary", "volts", "signal", "touch", "faults")


@pytest.mark.parametrize(
    ("name", "command"),
    [(name, command) for n, name in enumerate(SETS) for command in ("ohms", LONG[n % len(LONG)])]
    + [("beach-kiosk", "relatives")],
)
def test_a_user_gets_an_answer_about_the_finished_set(name, command, capsys):
    assert main([command, str(HERE / name / f"{name}.job")]) <= 1
    said = capsys.readouterr()
    assert said.out
    for crumb in ("Traceback", "failed in a way", "None", "nan", "not computed"):
        assert crumb not in said.out + said.err


@pytest.mark.parametrize("name", ["beach-kiosk", "tram-depot"])
def test_no_single_fault_of_the_finished_set_is_left_over_the_limit(name):
    """A transformer of 40 VA whose heater winding breaks down to the line with the switch off; a
    jack that leads to a grid through a pot alone.
    """
    outcomes = faults(run_of(name).after).outcomes
    assert [one.fault.what for one in outcomes if one.verdict in ("over", "not known")] == []


def test_a_set_on_direct_current_is_offered_no_transformer_and_its_draft_asks_for_the_line(
    tmp_path, capsys
):
    draft = tmp_path / "drafted.job"
    found = HERE / "lighthouse" / "lighthouse.circuit"
    assert main(["options", str(found), "--draft", str(draft)]) <= 1
    said = " ".join(capsys.readouterr().out.split())
    assert "the set is for direct current, and a transformer passes none" in said
    assert "the job does not say which alternating line the finished set is for" in said
    assert "# mains 230 V 50 Hz" in draft.read_text(encoding="utf-8")


def test_a_bulb_of_no_known_type_can_stand_behind_a_transformer():
    path = HERE / "night-class" / "night-class.circuit"
    text = path.read_text(encoding="utf-8")
    unlisted = text.replace("tube 117N7GT", "tube unlisted X heater 117 V 0.09 A")
    circuit, _ = read_circuit(unlisted, file=str(path))
    behind = isolated(circuit, None, None, bridge=False)
    assert behind.edits[0].rule == "isolate-keep-rectifier"
    assert check(behind.circuit).verdict == NOTHING
    assert any("volt-amperes" in note for note in behind.notes)


def test_a_set_that_no_supply_can_be_made_for_is_drafted_behind_a_transformer(tmp_path):
    """One bulb holds the rectifier and the output tube; a bridge beside it would overload it."""
    found = HERE / "night-class" / "night-class.circuit"
    circuit, _ = read_circuit_file(str(found))
    text = isolating_text(circuit, str(found), "one bulb")
    assert text is not None
    assert "apply isolate-keep-rectifier" in text
    draft = tmp_path / "drafted.job"
    draft.write_text(text, encoding="utf-8")
    assert main(["check", str(draft)]) == 0


def test_a_bulb_that_holds_the_rectifier_too_is_told_with_what_is_done_then(capsys):
    assert main(["relatives", str(HERE / "night-class" / "night-class.circuit")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "B+ 121 V (as found)" in said
    assert "behind an isolating transformer: apply isolate-keep-rectifier" in said


def test_a_job_that_keeps_the_old_supply_is_told_its_transformer(capsys):
    job = str(HERE / "night-class" / "night-class.job")
    assert main(["supply", job, "--shelf", str(HERE.parents[1] / "circuits" / "shelf.csv")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "IT-117-50, 50 VA, 34.00, the smallest that carries it" in said
    assert "The 50 VA that the job states are enough." in said


def drafted_rules(name):
    circuit, _ = read_circuit_file(str(HERE / name / f"{name}.circuit"))
    assert circuit is not None
    steps = draft(circuit, feed_of(circuit)).steps
    return {step.rule: dict(step.arguments) for step in steps if isinstance(step, Apply)}


def test_a_draft_blocks_an_input_where_a_fault_in_the_bulb_would_put_its_screen_on_the_jack():
    """Pins 7 and 8 of an ECL82 are neighbours: its screen and the cathode of its triode."""
    assert drafted_rules("tram-depot")["block-input"]["jack"] == "J1"
    # in the canteen's triode only the plate is near, behind 220k: 1.6 mA
    assert "block-input" not in drafted_rules("canteen")


def test_a_draft_bonds_a_speaker_winding_that_would_float_to_b_plus_in_a_breakdown():
    text = (HERE / "canteen" / "canteen.circuit").read_text(encoding="utf-8")
    text = text.replace("= SP -- COMMON", "= SP -- SPG").replace("1=SP, 2=COMMON", "1=SP, 2=SPG")
    circuit, problems = read_circuit(text, file="canteen.circuit")
    assert circuit is not None, problems
    bonds = [
        dict(step.arguments)["common"]
        for step in draft(circuit, feed_of(circuit)).steps
        if isinstance(step, Apply) and step.rule == "bond-common"
    ]
    assert bonds == ["COMMON", "SPG"]


def test_a_wooden_case_is_drafted_with_its_deck_earthed_and_no_charge_at_the_umbilical():
    """Its screen's capacitor, which no rectifier reaches any more, keeps the charge."""
    circuit, _ = read_circuit_file(str(HERE / "nursery" / "nursery.circuit"))
    assert circuit is not None
    rules = {
        step.rule: step
        for step in draft(circuit, feed_of(circuit)).steps
        if isinstance(step, Apply)
    }
    assert dict(rules["bond-common"].arguments)["chassis"] == "DECK"
    assert "fit-bleeder" in rules


def test_a_heater_behind_a_motor_is_in_the_string_and_its_return_moves_to_the_transformer():
    circuit, _ = read_circuit_file(str(HERE / "nursery" / "nursery.circuit"))
    assert circuit is not None
    behind = isolated(circuit, feed_of(circuit), None, bridge=True).circuit
    assert behind.by_name["V1"].node("7") != "COMMON"
    assert check(behind).verdict == NOTHING
