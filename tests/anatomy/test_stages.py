"""Stages of kinds that the demos are not."""

from __future__ import annotations

import benches
import pytest
from benches import anatomy

from rework.anatomy.role import Role
from rework.anatomy.roles import part_roles


def ways(text: str) -> dict[tuple[str, str], list[str]]:
    return {(c.source, c.target): [name for name, _ in c.way] for c in anatomy(text).couplings}


def role(text: str, part: str) -> Role:
    return part_roles(anatomy(text))[part].role


def test_a_cathode_follower_drives_from_its_cathode_and_its_plate_is_a_rail():
    body = anatomy(benches.FOLLOWER)
    kinds = {stage.label: (stage.kind, stage.number) for stage in body.stages}
    assert kinds == {
        "V1 triode1": ("amplifier", 1),
        "V1 triode2": ("follower", 2),
        "V2": ("output", 3),
    }
    assert [rail.point for rail in body.rails] == ["BP", "B2"]
    assert ways(benches.FOLLOWER)["V1 triode1", "V1 triode2"] == []
    assert ways(benches.FOLLOWER)["V1 triode2", "V2"] == ["C2", "R6"]
    assert role(benches.FOLLOWER, "R6") is Role.GRID_STOPPER
    assert role(benches.FOLLOWER, "R5") is Role.GRID_LEAK
    assert role(benches.FOLLOWER, "R4") is Role.CATHODE_RESISTOR


def test_the_second_half_of_a_long_tailed_pair_is_driven_at_its_cathode():
    body = anatomy(benches.LONG_TAIL)
    kinds = {stage.label: stage.kind for stage in body.stages}
    assert kinds["V1 triode2"] == "grounded-grid"
    assert [stage.number for stage in body.stages] == [1, 2, 2, 3]
    assert body.outputs[0].kind == "push-pull"
    assert {name for way in body.feedbacks for name in way.parts} == {"R6"}
    for part in ("R1", "R2"):
        assert role(benches.LONG_TAIL, part) is Role.GRID_LEAK
    for part in ("R3", "R4", "R5"):
        assert role(benches.LONG_TAIL, part) is Role.CATHODE_RESISTOR


def test_an_interstage_transformer_couples_both_grids():
    body = anatomy(benches.INTERSTAGE)
    assert ways(benches.INTERSTAGE) == {
        ("J1", "V1"): [],
        ("V1", "V2"): ["T2"],
        ("V1", "V3"): ["T2"],
    }
    assert [(output.kind, output.transformer) for output in body.outputs] == [("push-pull", "T1")]
    assert role(benches.INTERSTAGE, "T2") is Role.INTERSTAGE


def test_local_feedback_makes_no_rail_of_the_grid_and_no_stage_of_itself():
    body = anatomy(benches.LOCAL_FEEDBACK)
    assert [rail.point for rail in body.rails] == ["BP"]
    roles = {name: part.role for name, part in part_roles(body).items()}
    assert roles["R2"] is Role.FEEDBACK
    assert roles["R3"] is roles["R4"] is Role.PLATE_LOAD
    assert roles["R7"] is Role.PLATE_STOPPER
    assert roles["C2"] is roles["R8"] is Role.TONE
    assert roles["R9"] is roles["C3"] is Role.SHUNT
    assert [stage.number for stage in body.stages] == [1, 2]


def test_the_upper_half_of_a_cascode_is_driven_at_its_cathode():
    kinds = {stage.label: (stage.kind, stage.number) for stage in anatomy(benches.CASCODE).stages}
    assert kinds["V1 triode1"] == ("amplifier", 1)
    assert kinds["V1 triode2"][1] == 2


@pytest.mark.parametrize(
    ("jack", "is_input"),
    [("jack", True), ("jack input", True), ("jack speaker", False), ("jack output", False)],
)
def test_a_jack_is_an_input_by_its_word_or_by_where_it_is(jack, is_input):
    body = anatomy(benches.FOLLOWER.replace("J1 jack input", f"J1 {jack}"))
    assert [port.part for port in body.inputs] == (["J1"] if is_input else [])


def test_a_jack_on_the_secondary_of_the_output_is_a_load_whatever_it_says():
    body = anatomy(benches.FOLLOWER + "J2 jack : tip=SP, sleeve=COMMON\n")
    assert [port.part for port in body.loads] == ["LS1", "J2"]
    assert [port.part for port in body.inputs] == ["J1"]


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ("", Role.GRID_STOPPER),
        # a probe on the grid does not make the stopper something else; another resistor there does
        ("X1 connector : 1=GX, 2=COMMON\n", Role.GRID_STOPPER),
        ("R9 resistor 1M : GX -- COMMON\n", Role.SERIES),
    ],
)
def test_a_grid_stopper_is_alone_on_its_grid(more, expected):
    text = benches.FOLLOWER.replace("triode1.grid=IN", "triode1.grid=GX") + (
        f"R8 resistor 10k : IN -- GX\n{more}"
    )
    assert role(text, "R8") is expected


@pytest.mark.parametrize(("other", "expected"), [("COMMON", True), ("P1", False)])
def test_only_a_capacitor_to_what_is_still_belongs_to_the_bias(other, expected):
    """Fixed bias of -10 V over 1M and the grid leak; the middle is held still, or a signal comes in
    there.
    """
    text = benches.FOLLOWER.replace("R5 resistor 220k : GS -- COMMON", "R5 resistor 220k : GS -- M")
    text += f"R8 resistor 1M : M -- COMMON\nR9 resistor 1M : M -- BP\nC9 capacitor .1 uF 400 V : M -- {other}\n"
    assert (role(text, "C9") is Role.BIAS) is expected
