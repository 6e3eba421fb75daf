"""The metal of switches, fuse holders and chokes is written and bonded: nothing else changes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from rework.anatomy import amplifier
from rework.anatomy.grounds import to_earth
from rework.language.files import circuit_reader
from rework.language.job import read_job
from rework.language.resolve import read_circuit
from rework.rules.run import run_job
from rework.safety.check import check

ROOT = Path(__file__).parents[2]
JOBS = [
    ROOT / "circuits" / "pager" / "pager.job",
    ROOT / "tests" / "sets" / "dance-school" / "dance-school.job",  # its field coil is kept
    ROOT / "tests" / "sets" / "town-hall" / "town-hall.job",
]


def bonded(circuit):
    """Return a circuit in which every switch, fuse, choke, breaker and relay has its frame on the
    chassis.
    """
    metal = to_earth(circuit)
    kinds = ("switch", "fuse", "choke", "breaker", "relay")
    return circuit.with_parts(
        tuple(
            replace(part, pins=(*part.pins, ("frame", metal)))
            if part.kind in kinds and metal and part.node("frame") is None
            else part
            for part in circuit.parts
        )
    )


def seen(circuit):
    report = check(circuit)
    hazards = {(hazard.node, hazard.touchable) for hazard in report.hazards}
    return hazards, {(each.key, each.part, each.node, each.weight) for each in report.cautions}


@pytest.mark.parametrize("file", JOBS, ids=lambda file: file.stem)
def test_bonded_frames_change_neither_the_work_nor_what_is_found(file):
    job, _ = read_job(file.read_bytes(), file=str(file))
    read = circuit_reader(file.parent)

    def with_frames(name):
        circuit, problems = read(name)
        return (bonded(circuit) if circuit else None), problems

    plain = run_job(job, read, folder=file.parent)
    framed = run_job(job, with_frames, folder=file.parent)
    assert framed.done
    assert [edit.rule for edit in framed.edits] == [edit.rule for edit in plain.edits]
    assert seen(framed.before) == seen(plain.before)
    assert seen(framed.after) == seen(plain.after)


def test_a_fuse_in_a_bonded_holder_makes_no_short_and_its_order_is_judged():
    circuit, problems = read_circuit(
        """
        mains 117 V 60 Hz
        touchable CHASSIS
        P1 plug three-pin : line=L1, neutral=N1, earth=CHASSIS
        S1 switch SPST 3 A 125 V : L1 -- L2, frame=CHASSIS
        F1 fuse 1 A slow : L2 -- L3, frame=CHASSIS
        T1 transformer 20 VA : primary 117 V = L3 -- N1, heater 6.3 V 2 A = H1 -- H2, core=CHASSIS
        R1 resistor 100 ohm : H1 -- CHASSIS
        R2 resistor 100 ohm : H2 -- CHASSIS
        CH1 chassis : CHASSIS
        """
    )
    assert circuit is not None, problems
    cautions = {each.key: each for each in check(circuit).cautions}
    assert "line-shorted" not in cautions
    turned = cautions["fuse-order"].remedies[0]
    fitted = [edit.part for edit in turned.edits if hasattr(edit, "part")]
    assert [(part.name, part.node("frame")) for part in fitted] == [
        ("F1", "CHASSIS"),
        ("S1", "CHASSIS"),
    ]
    assert dict(fitted[0].leads) == {"1": "L1", "2": "L2"}
    assert any("too large" in each.message for each in cautions.values())


def test_a_switch_of_two_poles_with_a_bonded_frame_leaves_the_line_two_sides():
    circuit, problems = read_circuit(
        """
        mains 117 V 60 Hz
        P1 plug two-blade : line=L1, neutral=N1
        S1 switch DPST 3 A 125 V : L1 -- L2, N1 -- COMMON, frame=CHASSIS
        R1 resistor 1k 20 W : L2 -- COMMON
        CH1 chassis : CHASSIS
        """
    )
    assert circuit is not None, problems
    assert [sorted(side) for side in amplifier.of(circuit).line_sides] == [
        ["L1", "L2"],
        ["COMMON", "N1"],
    ]
