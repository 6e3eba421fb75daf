"""Whole conversions of our own sets: what a hand can reach is off the line, heaters are in
parallel, the bias is still there.
"""

from __future__ import annotations

import pytest
from sets import PAGER, TALKBACK, circuit, with_supply

from rework.circuit.circuit import Circuit
from rework.rules.catalogue import load
from rework.rules.known import Known
from rework.rules.rewrite import Applied, NothingToDo, Refused, plan
from rework.safety.check import check
from rework.safety.ties import trace_ties

OFF = [
    ("open-line-to-chassis", {}),
    ("take-out-dropper", {}),
    ("keep-back-bias", {}),
    ("remove-rectifier", {}),
    ("remove-filter", {}),
]
PAGER_JOB = [
    *OFF,
    ("exchange-tube", {"tube": "V1", "type": "6AU6"}),
    ("exchange-tube", {"tube": "V2", "type": "6AV6"}),
    ("exchange-tube", {"tube": "V3", "type": "6CU5"}),
    ("cut-heater-string", {}),
    ("release-line-cord", {}),
    ("connect-umbilical", {"bplus": "B1"}),
    ("bond-chassis", {}),
    ("balance-heaters", {"way": "tap"}),
    ("reuse-power-switch", {"switch": "S1"}),
    ("decouple-stage", {"load": "R7", "rail": "B2"}),
]
TALKBACK_JOB = [
    *OFF,
    ("exchange-tube", {"tube": "V2", "type": "6CU5"}),
    ("exchange-tube", {"tube": "V3", "type": "6AV6"}),
    ("rewire-tapped-heater", {"tube": "V1"}),
    ("cut-heater-string", {}),
    ("release-line-cord", {}),
    ("connect-umbilical", {"bplus": "B1", "common": "NEGATIVE"}),
    ("bond-common", {}),
    ("balance-heaters", {}),
    ("reuse-power-switch", {"switch": "S1"}),
]
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
    assert check(circuit(JOBS[name][0])).hazards, "as found it is a hazard"
    assert check(after(name)).hazards == ()


@pytest.mark.parametrize("name", JOBS)
def test_every_heater_is_fed_6_3_volts_from_the_one_pair(name):
    known = Known(after(name))
    for part in (part for part in known.circuit.parts if part.kind == "tube"):
        assert known.facts.heaters.is_for(part, 6.3)
        assert set(known.facts.heaters.ends(part)) == {
            known.facts.point("HEAT1"),
            known.facts.point("HEAT2"),
        }
    assert not known.facts.heaters.parts


@pytest.mark.parametrize("name", JOBS)
def test_the_chassis_is_bonded_to_earth(name):
    known = Known(after(name))
    assert known.facts.point("CHASSIS") in known.facts.earthed


def test_the_bias_of_the_output_tube_is_still_made_below_the_common():
    known = Known(after("talkback"))
    (stage,) = known.facts.back_biased
    assert stage.cathode == known.facts.point("COMMON")
    assert stage.returns == {known.facts.point("SUPPLY/UC")}
    assert {"R3", "R4", "R5"} <= stage.parts


def test_the_wires_of_b_minus_are_violet_and_every_wire_has_a_gauge():
    """NAVEDTRA 14040, figure 6-15: B- violet, grounds black."""
    wires = [part for part in after("talkback").parts if part.kind == "wire"]
    colours = {part.words[0] for part in wires for _, node in part.pins if node == "NEGATIVE"}
    assert colours == {"violet"}
    assert all(part.value("gauge") for part in wires)
    run = {part.name: part for part in after("pager").parts if part.kind == "wire"}
    assert any("black" in part.words for part in run.values())
    assert not any("violet" in part.words for part in run.values())


def test_a_new_b_minus_on_the_common_of_a_back_biased_set_is_refused():
    outcome = plan(load("connect-umbilical")[0], with_supply(TALKBACK), {"bplus": "B1"})
    assert isinstance(outcome, Refused)
    assert any("keep-back-bias" in reason for reason in outcome.reasons)


def test_no_pin_of_the_old_rectifier_socket_stays_on_a_line():
    before = circuit(PAGER)
    board = reworked(before, ("remove-rectifier", {}))
    socket = board.by_name["V4"]
    assert socket.kind == "socket"
    assert socket.pins == (("7", "B1"),)
    assert not {node for _, node in socket.pins} & Known(before).facts.line


def test_cutting_the_string_with_the_old_rectifier_in_it_is_refused():
    outcome = plan(load("cut-heater-string")[0], circuit(PAGER))
    assert isinstance(outcome, Refused)
    assert any(
        "V4 holds the old rectifier" in reason and "remove-rectifier" in reason
        for reason in outcome.reasons
    )


def test_a_trace_in_the_string_is_cut_and_an_unnamed_joint_is_lifted():
    done = [
        edit.action
        for edit in plan(
            load("cut-heater-string")[0], reworked(circuit(PAGER), *PAGER_JOB[:8])
        ).edits
    ]
    assert {"K1", "K2"} <= {
        action.name for action in done if type(action).__name__ == "CutConductor"
    }
    assert ("V1", "4") in {
        (action.part, action.terminal) for action in done if type(action).__name__ == "LiftPin"
    }


def test_a_bulb_with_rectifier_and_output_tube_is_refused_with_what_to_do(monkeypatch):
    """No such type is in the library yet, so one is made up here."""
    from rework.tubes import library
    from rework.tubes.tubefile import read_type

    sheet = {"source": "invented", "grade": "memory"}
    table = {
        "type": "TEST70",
        "kind": "beam-rectifier bulb",
        "base": {"socket": "octal", **sheet},
        "pins": {
            "1": "rectifier.plate",
            "2": "heater1",
            "3": "beam.plate",
            "4": "beam.screen",
            "5": "beam.grid",
            "6": "rectifier.cathode",
            "7": "heater2",
            "8": "beam.cathode",
        },
        "heater": {
            "volts": 70.0,
            "amps": 0.15,
            **sheet,
            "way": [{"between": [["2"], ["7"]], "volts": 70.0, "amps": 0.15}],
        },
    }
    bulb, find, known = read_type(table, "invented"), library.find, library.is_known
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
    assert "V1" in outcome.reasons[0]
    assert "apply exchange-tube : tube=V1" in outcome.reasons[0]


def test_exchanging_a_tube_keeps_a_tie_point_the_new_tube_leaves_alone():
    board = circuit("""
V1 tube 50L6GT : 1=TIE, 2=H1, 3=P1, 4=B1, 5=G1, 7=H2, 8=COMMON, unused 6
R1 resistor 470k : G1 -- COMMON
R2 resistor 2k : B1 -- P1
R3 resistor 1k : TIE -- B1
R4 resistor 1k : H1 -- H2
C1 capacitor 1n : TIE -- COMMON
""")
    outcome = plan(
        load("exchange-tube")[0], board, {"tube": "V1", "type": "6W6GT", "accept": "yes"}
    )
    assert isinstance(outcome, Applied)
    assert outcome.after.by_name["V1"].node("1") == "TIE"


def test_exchanging_a_tube_clears_a_tie_point_the_new_tube_needs_and_says_so():
    board = circuit("""
V1 tube 6CG7 : 1=P2, 2=G2, 3=K2, 4=H1, 5=H2, 6=P1, 7=G1, 8=K1, 9=TIE
R1 resistor 470k : G1 -- TIE
R2 resistor 470k : G2 -- TIE
open P1, P2, K1, K2, H1, H2
""")
    outcome = plan(
        load("exchange-tube")[0], board, {"tube": "V1", "type": "ECC85", "accept": "yes"}
    )
    assert isinstance(outcome, Applied)
    assert outcome.after.by_name["V1"].node("9") is None
    assert any("Pin 9 of V1 was a tie point for TIE" in caution for caution in outcome.cautions)


def test_exchanging_a_tube_carries_elements_to_their_pins_and_lists_the_moves():
    board = circuit("""
V1 tube 50B5 : 1=G1, 2=K1, 3=H1, 4=H2, 5=P1, 6=B1, unused 7
R1 resistor 470k : G1 -- COMMON
R2 resistor 150 ohm : K1 -- COMMON
R3 resistor 2k : B1 -- P1
R4 resistor 1k : H1 -- H2
""")
    outcome = plan(load("exchange-tube")[0], board, {"tube": "V1", "type": "50C5"})
    assert isinstance(outcome, Applied)
    tube = outcome.after.by_name["V1"]
    assert (tube.node("1"), tube.node("7"), tube.node("6")) == ("K1", "P1", "B1")
    assert "G1" in (tube.node("2"), tube.node("5"))
    exchange = outcome.edits[0].action
    assert {element for element, _, _ in exchange.moves} == {"cathode", "plate", "grid"}


def test_an_element_the_new_tube_has_not_is_refused_while_something_is_on_its_pin():
    board = circuit("""
V1 tube 35Z5GT : 2=L1, 3=TAP, 5=P1, 7=H1, 8=B1, unused 1 4 6
LA1 lamp 6.3 V : L1 -- TAP
R1 resistor 1k : P1 -- TAP
R2 resistor 1k : H1 -- B1
""")
    outcome = plan(
        load("exchange-tube")[0], board, {"tube": "V1", "type": "35Z4GT", "accept": "yes"}
    )
    assert isinstance(outcome, Refused)
    assert "V1" in outcome.reasons[0]
    assert "pin 3" in outcome.reasons[0]


def test_rules_that_ask_for_the_line_say_so_once_it_is_gone():
    board = reworked(circuit(PAGER), ("release-line-cord", {}))
    outcome = plan(load("open-line-to-chassis")[0], board)
    assert isinstance(outcome, Refused)
    assert "before release-line-cord" in outcome.reasons[0]


def test_an_isolating_transformer_and_a_bridge_take_the_set_off_the_line():
    board = reworked(circuit(PAGER), ("open-line-to-chassis", {}), ("isolate-only", {}))
    tied = set(trace_ties(board).tied)
    assert tied == {"MAINS1", "MAINS2", "MAINS3", "MAINS4"}
    bridge = next(part for part in board.parts if part.kind == "bridge")
    assert bridge.node("minus") == "COMMON"
    assert bridge.node("ac2") == "ISO"
    assert Known(board).facts.heaters.parts, "the string is kept"
    kept = circuit(TALKBACK)
    assert isinstance(plan(load("isolate-only")[0], kept), Refused), "the bias would be lost"
    assert (
        set(
            trace_ties(
                reworked(kept, ("open-line-to-chassis", {}), ("isolate-only", {"common": "BMIN"}))
            ).tied
        )
        == tied
    )


def test_a_plan_says_nothing_to_do_rather_than_doing_it_twice():
    board = after("pager")
    for name, arguments in PAGER_JOB:
        if name not in ("exchange-tube", "keep-back-bias"):
            assert isinstance(plan(load(name)[0], board, arguments), NothingToDo | Refused), name
