"""The work order replayed: what each step leaves behind, and in which order hands meet it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.edits import AttachCircuit, LiftPin, RemovePart, RunWire, replay, subject
from rework.circuit.parts import Part, Value
from rework.papers.discharge import discharge_seconds, discharge_words
from rework.papers.order import Stage, hand_order
from rework.papers.work import work_order
from rework.rules.job_file import run_job_file
from rework.rules.run import JobRun
from rework.safety.check import check
from rework.solve.bench import umbilical_unplugged

ROOT = Path(__file__).parents[2]
DEMOS = sorted(path.stem for path in (ROOT / "circuits").glob("*/*.job"))


@cache
def run_of(name: str) -> JobRun:
    return run_job_file(str(ROOT / "circuits" / name / f"{name}.job"))


@pytest.fixture(scope="module")
def runs():
    return {name: run_of(name) for name in DEMOS}


def parts_of(circuit: Circuit) -> set[Part]:
    return set(circuit.parts)


@pytest.mark.parametrize("name", DEMOS)
def test_the_edits_in_working_order_end_in_the_same_circuit(runs, name):
    run = runs[name]
    order = hand_order(run)
    assert order.by_bench
    assert sorted(number for move in order.moves for number in move.edits) == list(
        range(len(run.edits))
    )
    assert parts_of(order.after) == parts_of(run.after)


@pytest.mark.parametrize("name", DEMOS)
def test_the_old_plug_is_the_first_thing_off(runs, name):
    run = runs[name]
    first = hand_order(run).moves[0].action
    assert isinstance(first, RemovePart)
    assert run.before.by_name[first.name].kind == "plug"


@pytest.mark.parametrize("name", DEMOS)
def test_no_state_of_the_work_has_a_plug_and_a_hazard(runs, name):
    """From the old plug to the new one nothing can be live; with the new one nothing is tied."""
    for move in hand_order(runs[name]).moves:
        if any(part.kind == "plug" for part in move.after.parts):
            assert check(move.after).hazards == (), f"after {subject(move.action)}"


@pytest.mark.parametrize("name", DEMOS)
def test_earth_is_connected_before_anything_else_of_the_umbilical(runs, name):
    order = hand_order(runs[name]).moves
    stages = [move.stage for move in order]
    assert stages == sorted(stages)
    assert max(i for i, s in enumerate(stages) if s is Stage.EARTH) < min(
        i for i, s in enumerate(stages) if s is Stage.UMBILICAL
    )
    earth = next(move for move in order if move.stage is Stage.EARTH)
    assert isinstance(earth.action, RunWire)
    assert "green-yellow" in earth.action.part.words


@pytest.mark.parametrize("name", DEMOS)
def test_the_lead_of_the_switch_is_in_before_the_supply_is_tested(runs, name):
    """The primary is fed through the old switch: without its lead the first test is of nothing."""
    run = runs[name]
    groups = work_order(run)
    tested = next(
        group for group in groups if any("parts A and B" in words for words in group.last)
    )
    number = tested.steps[-1].number
    moves = hand_order(run).moves
    state = umbilical_unplugged(moves[number - 1].after)
    assert check(state).hazards == ()
    plug = next(part for part in state.parts if part.kind == "plug")
    reached = reach(state, plug.at("line"))
    primary = next(part for part in state.parts if part.kind == "transformer")
    assert any(node in reached for at, node in primary.pins if at.startswith("primary"))


def reach(circuit: Circuit, node: str) -> set[str]:
    """Return the nodes that fuses, switches and conductors lead a node to (search of this test)."""
    seen, wanted = {node}, [node]
    while wanted:
        here = wanted.pop()
        for part, _ in circuit.at[here]:
            if part.kind in ("fuse", "switch", "wire", "trace"):
                new = {other for _, other in part.pins} - seen
            elif part.kind == "shielded cable":
                cores = {at.partition(".")[0] for at, other in part.pins if other == here}
                new = {other for at, other in part.pins if at.partition(".")[0] in cores} - seen
            else:
                continue
            seen |= new
            wanted += new
    return seen


@pytest.mark.parametrize("name", DEMOS)
def test_no_step_does_nothing(runs, name):
    """A lead is not lifted from a lug that nothing else is on, nor off a part that comes out."""
    run = runs[name]
    moves = hand_order(run).moves
    removed = {move.action.name for move in moves if isinstance(move.action, RemovePart)}
    for move in moves:
        if isinstance(move.action, LiftPin):
            assert move.action.part not in removed
            assert (
                len(move.before.at[move.before.by_name[move.action.part].at(move.action.terminal)])
                > 1
            )


@pytest.mark.parametrize("name", DEMOS)
def test_the_supply_is_told_piece_by_piece_earth_first(runs, name):
    run = runs[name]
    (step,) = [
        step
        for group in work_order(run)
        for step in group.steps
        if isinstance(run.edits[step.edits[0]].action, AttachCircuit)
    ]
    prefix = subject(run.edits[step.edits[0]].action)
    built = {line.partition(",")[0] for line in step.lines}
    wanted = {
        part.name
        for part in run.after.parts
        if part.name.startswith(f"{prefix}/") and part.kind != "chassis"
    }
    assert built == wanted
    assert "green-yellow" in step.lines[0]


@given(st.integers(0, 60), st.sampled_from(DEMOS))
def test_a_job_broken_off_anywhere_still_replays(count, name):
    run = run_of(name)
    taken = run.taken[: count % (len(run.taken) + 1)]
    after = taken[-1].after if taken else run.before
    part_run = replace(run, taken=taken, after=after)
    order = hand_order(part_run)
    assert order.by_bench
    assert parts_of(order.after) == parts_of(replay(run.before, part_run.edits))


def test_a_capacitor_is_discharged_for_as_long_as_it_takes():
    """50 uF from 170 V to 10 V through 10 kohm takes 1.42 s: t = R C ln(170 / 10)."""
    assert discharge_seconds(50e-6, 170 / 2) == pytest.approx(1.42, abs=0.005)
    big = Circuit(
        mains=Mains(230, 50),
        parts=(
            Part(
                "C1",
                "electrolytic",
                values=(Value("capacitance", 220e-6), Value("voltage", 450)),
                pins=(("plus", "B"), ("minus", "C")),
            ),
        ),
    )
    words = discharge_words(big)
    assert "C1 is the slowest" in words
    assert "for at least 12 s" in words


def steps_of(name):
    return {step.what: step for group in work_order(run_of(name)) for step in group.steps}


def test_a_step_names_only_what_is_there_by_then():
    """B- of the rink comes to a tie point first; the bleeder is fitted between the two later."""
    steps = steps_of("rink")
    first = next(step for what, step in steps.items() if what.startswith("Run W1,"))
    bleeder = next(step for what, step in steps.items() if "bleeder" in what)
    socket = next(step for what, step in steps.items() if what.startswith("Keep the socket of V3"))
    assert "2: tie point NEGATIVE" in first.where
    assert "on NEGATIVE [W1 pin 2, W2 pin 2]" in bleeder.where
    assert "R12" not in socket.where


def test_leads_of_b_minus_are_not_run_with_the_heaters():
    group = {g.title: [step.what for step in g.steps] for g in work_order(run_of("rink"))}
    assert not any("violet" in what for what in group["Wire the heaters"])
    assert any("violet" in what for what in group["Fit parts and leads in the amplifier"])


def test_the_caution_of_an_empty_socket_is_where_its_tube_comes_out():
    for name, tube in (("skihut", "V2"), ("rink", "V3")):
        step = next(s for what, s in steps_of(name).items() if what.startswith(f"Pull {tube},"))
        assert any(f"The empty socket of {tube}" in caution for caution in step.cautions)


def test_leads_at_line_volts_and_of_earth_have_a_colour_and_a_gauge():
    wires = [step.what for what, step in steps_of("skihut").items() if what.startswith("Run W1")]
    assert [what for what in wires if "0.75 mm2 gray" in what]
    assert "Run W13, wire 0.75 mm2 green-yellow" in wires


def test_the_plug_goes_in_for_the_tests_of_the_supply_and_else_stays_out():
    build = next(g for g in work_order(run_of("pager")) if g.title.startswith("Build the supply"))
    assert any(
        "for part B of the test plan only. Else leave the plug out" in w for w in build.first
    )
