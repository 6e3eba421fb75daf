"""Whole conversions of our own sets: what a hand can reach is off the line, heaters are in parallel, the bias is still there."""

from __future__ import annotations

import pytest
from sets import PAGER, TALKBACK, circuit, with_supply

from rework.circuit.circuit import Circuit
from rework.rules.catalogue import load
from rework.rules.predicates import Known
from rework.rules.rewrite import Applied, NothingToDo, Refused, plan
from rework.safety.ties import trace_ties

OFF = [("open-line-to-chassis", {}), ("take-out-dropper", {}), ("keep-back-bias", {}), ("remove-rectifier", {}), ("remove-filter", {})]
PAGER_JOB = [*OFF, ("exchange-tube", {"tube": "V1", "type": "6AU6"}), ("exchange-tube", {"tube": "V2", "type": "6AV6"}),
             ("exchange-tube", {"tube": "V3", "type": "6CU5"}), ("cut-heater-string", {}), ("release-line-cord", {}),
             ("connect-umbilical", {"bplus": "B1"}), ("bond-chassis", {}), ("balance-heaters", {"way": "tap"}),
             ("reuse-power-switch", {"switch": "S1"}), ("decouple-stage", {"load": "R7", "rail": "B2"})]
TALKBACK_JOB = [*OFF, ("exchange-tube", {"tube": "V2", "type": "6CU5"}), ("exchange-tube", {"tube": "V3", "type": "6AV6"}),
                ("rewire-tapped-heater", {"tube": "V1"}), ("cut-heater-string", {}), ("release-line-cord", {}),
                ("connect-umbilical", {"bplus": "B1", "common": "NEGATIVE"}), ("bond-common", {}), ("balance-heaters", {}),
                ("reuse-power-switch", {"switch": "S1"})]
JOBS = {"pager": (PAGER, PAGER_JOB), "talkback": (TALKBACK, TALKBACK_JOB)}


def reworked(board: Circuit, *jobs) -> Circuit:
    for name, arguments in jobs:
        outcome = plan(load(name)[0], board, arguments)
        assert not isinstance(outcome, Refused), f"{name}: {outcome.reasons}"
        board = outcome.after if isinstance(outcome, Applied) else board
    return board


def after(name: str) -> Circuit:
    text, jobs = JOBS[name]
    return reworked(with_supply(text), *jobs)


@pytest.mark.parametrize("name", JOBS)
def test_nothing_in_the_amplifier_is_tied_to_the_mains_but_the_lugs_of_the_old_switch(name):
    board = after(name)
    tied = {node for node in trace_ties(board).tied if "/" not in node}
    assert tied == {node for _, node in board.by_name["S1"].pins}


@pytest.mark.parametrize("name", JOBS)
def test_the_check_finds_no_hazard_after_the_whole_job(name):
    check = pytest.importorskip("rework.safety.check").check
    assert check(circuit(JOBS[name][0])).hazards, "as found it is a hazard"
    assert check(after(name)).hazards == ()


@pytest.mark.parametrize("name", JOBS)
def test_every_heater_is_fed_6_3_volts_from_the_one_pair(name):
    known = Known(after(name))
    for part, _ in known.facts.tubes():
        assert known.heaters.is_for(part, 6.3)
        assert set(known.heaters.ends(part)) == {known.facts.point("HEAT1"), known.facts.point("HEAT2")}
    assert not known.heaters.string


@pytest.mark.parametrize("name", JOBS)
def test_the_chassis_is_bonded_to_earth(name):
    known = Known(after(name))
    assert known.facts.point("CHASSIS") in known.facts.earthed


def test_the_bias_of_the_output_tube_is_still_made_below_the_common():
    known = Known(after("talkback"))
    stage, = known.bias.stages
    assert stage.cathode == known.facts.point("COMMON")
    assert stage.returns == {known.facts.point("SUPPLY/UC")}
    assert {"R3", "R4", "R5"} <= stage.parts


def test_a_new_b_minus_on_the_common_of_a_back_biased_set_is_refused():
    outcome = plan(load("connect-umbilical")[0], with_supply(TALKBACK), {"bplus": "B1"})
    assert isinstance(outcome, Refused)
    assert any("keep-back-bias" in reason for reason in outcome.reasons)


def test_no_pin_of_the_old_rectifier_socket_stays_on_a_line():
    before = circuit(PAGER)
    board = reworked(before, ("remove-rectifier", {}))
    socket = board.by_name["V4"]
    assert socket.kind == "socket" and socket.pins == (("7", "B1"),)
    assert not {node for _, node in socket.pins} & Known(before).facts.line


def test_cutting_the_string_with_the_old_rectifier_in_it_is_refused():
    outcome = plan(load("cut-heater-string")[0], circuit(PAGER))
    assert isinstance(outcome, Refused)
    assert any("V4 holds the old rectifier" in reason and "remove-rectifier" in reason for reason in outcome.reasons)


def test_a_trace_in_the_string_is_cut_and_an_unnamed_joint_is_lifted():
    done = [edit.action for edit in plan(load("cut-heater-string")[0], reworked(circuit(PAGER), *PAGER_JOB[:8])).edits]
    assert {"K1", "K2"} <= {action.name for action in done if type(action).__name__ == "CutConductor"}
    assert ("V1", "4") in {(action.part, action.terminal) for action in done if type(action).__name__ == "LiftPin"}


def test_a_bulb_with_rectifier_and_output_tube_is_refused_with_what_to_do(monkeypatch):
    """No such type is in the library yet, so one is made up here."""
    from rework.tubes import library

    sheet = {"source": "invented", "grade": "memory"}
    table = {"type": "TEST70", "kind": "beam-rectifier bulb", "base": {"socket": "octal", **sheet},
             "pins": {"1": "rectifier.plate", "2": "heater1", "3": "beam.plate", "4": "beam.screen", "5": "beam.grid",
                      "6": "rectifier.cathode", "7": "heater2", "8": "beam.cathode"},
             "heater": {"volts": 70.0, "amps": 0.15, **sheet, "way": [{"between": [["2"], ["7"]], "volts": 70.0, "amps": 0.15}]}}
    bulb, find, known = library.read_type(table, "invented"), library.find, library.is_known
    monkeypatch.setattr(library, "find", lambda name: bulb if name == "TEST70" else find(name))
    monkeypatch.setattr(library, "is_known", lambda name: name == "TEST70" or known(name))
    board = circuit("""
P1 plug two-blade : line=L1, neutral=COMMON
V1 tube TEST70 : 1=L1, 2=L1, 3=P1, 4=B1, 5=G1, 6=B1, 7=COMMON, 8=K1
R1 resistor 150 ohm : K1 -- COMMON
R2 resistor 470k : G1 -- COMMON
R3 resistor 3k : B1 -- P1
""")
    outcome = plan(load("remove-rectifier")[0], board)
    assert isinstance(outcome, Refused)
    assert "V1" in outcome.reasons[0] and "apply exchange-tube : tube=V1" in outcome.reasons[0]


def test_exchanging_a_tube_says_what_happens_to_a_tie_point():
    board = circuit("""
V1 tube 35B5 : 1=G1, 2=K1, 3=H1, 4=H2, 5=P1, 6=B1, unused 7
R1 resistor 470k : G1 -- COMMON
R2 resistor 150 ohm : K1 -- COMMON
R3 resistor 2k : B1 -- P1
R4 resistor 1k : H1 -- H2
""")
    outcome = plan(load("exchange-tube")[0], board, {"tube": "V1", "type": "6AQ5", "accept": "yes"})
    assert isinstance(outcome, Applied)
    old_tie = circuit("""
V1 tube 50C5 : 1=K1, 2=G1, 3=H1, 4=H2, 5=TIE, 6=B1, 7=P1
R1 resistor 470k : G1 -- COMMON
R2 resistor 150 ohm : K1 -- COMMON
R3 resistor 2k : B1 -- P1
R4 resistor 1k : H1 -- TIE
R5 resistor 1k : H2 -- TIE
""")
    outcome = plan(load("exchange-tube")[0], old_tie, {"tube": "V1", "type": "6CU5"})
    assert isinstance(outcome, Applied | Refused)


def test_rules_that_ask_for_the_line_say_so_once_it_is_gone():
    board = reworked(circuit(PAGER), ("release-line-cord", {}))
    outcome = plan(load("open-line-to-chassis")[0], board)
    assert isinstance(outcome, Refused) and "before release-line-cord" in outcome.reasons[0]


def test_an_isolating_transformer_and_a_bridge_take_the_set_off_the_line():
    board = reworked(circuit(PAGER), ("open-line-to-chassis", {}), ("isolate-only", {}))
    tied = set(trace_ties(board).tied)
    assert tied == {"MAINS1", "MAINS2", "MAINS3"}
    bridge = next(part for part in board.parts if part.kind == "bridge")
    assert bridge.node("minus") == "COMMON" and bridge.node("ac2") == "ISO"
    assert Known(board).heaters.string, "the string is kept"
    kept = circuit(TALKBACK)
    assert isinstance(plan(load("isolate-only")[0], kept), Refused), "the bias would be lost"
    assert set(trace_ties(reworked(kept, ("open-line-to-chassis", {}), ("isolate-only", {"common": "BMIN"}))).tied) == tied


def test_a_plan_says_nothing_to_do_rather_than_doing_it_twice():
    board = after("pager")
    for name, arguments in PAGER_JOB:
        if name not in ("exchange-tube", "keep-back-bias"):
            assert isinstance(plan(load(name)[0], board, arguments), NothingToDo | Refused), name
