"""Single faults: the updates against solving again, what a fuse clears, and the demos before and after."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from handworked import BARE, read, tied

from rework.commands.files import wanted_circuit
from rework.safety.current.failures import PREVENTED, single_faults
from rework.safety.current.faults import Probe, faults, solved_afresh, solved_faults
from rework.safety.current.person import assumed, networks
from rework.safety.current.study import Study

CIRCUITS = Path(__file__).parents[3] / "circuits"
DEMOS = [f"{name}/{file}.circuit" for name in ("hostel", "pager", "rink", "skihut") for file in (name, "supply")]

EARTHED = ("W1 wire : PE -- CHASSIS", "F1 fuse 1 A : L -- LF", "R1 resistor 500 ohm 0% : LF -- N", "C1 capacitor 1n class Y2 0% : LF -- CHASSIS")


def found(report, words):
    return next(outcome for outcome in report.outcomes if words in outcome.fault.what)


@pytest.mark.parametrize("file", DEMOS)
def test_every_fault_of_every_demo_agrees_with_solving_again(file):
    """To 1e-9 of the current, or of the 0.25 mA limit where it is smaller."""
    circuit, _ = wanted_circuit(CIRCUITS / file)
    study = Study(circuit, assumed(), open_conductors=False, umbilicals=False)
    probe, every, person = Probe.of(study), single_faults(study), networks()["iec"].impedance(study.hertz)
    count = len(probe.ports)
    for rows, admittance, solved in study.blocks():
        fast = solved_faults(study, every, probe, admittance, solved)
        for number, fault in enumerate(every):
            slow = solved_afresh(study, fault, probe.patterns, admittance)
            quick, dense = ((volts[:, :count] * study.volts) / (ohms[:, :count, None] + person)
                            for volts, ohms in ((fast.volts[:, number], fast.ohms[:, number]), (slow.volts, slow.ohms)))
            assert np.all(abs(quick - dense) <= 1e-9 * np.maximum(abs(dense), 0.25e-3)), fault.what


def test_a_short_to_earthed_metal_behind_the_fuse_blows_it_and_before_the_fuse_does_not():
    report = faults(tied(*EARTHED, plug="three-pin", earth=", earth=PE"), changes=BARE)
    behind, before = found(report, "C1 short"), found(report, "line lead L off its lug and onto CHASSIS")
    assert behind.verdict == "under" and "F1 blows" in behind.cleared and "ends it" in behind.cleared
    assert behind.fuse_amps == pytest.approx(132 / 0.62, rel=0.05)  # 0.25 + 0.1 + 0.01 + 0.01 + 0.25 ohm
    assert behind.volts == pytest.approx(132 * 0.25 / 0.62, rel=0.05)
    assert before.verdict == "over" and "breaker of the building" in before.cleared


def test_the_earth_wire_open_leaves_what_the_y_capacitor_passes():
    report = faults(tied(*EARTHED, plug="three-pin", earth=", earth=PE"), changes=BARE)
    assert found(report, "W1 open").reading == pytest.approx(2 * np.pi * 60 * 1e-9 * 132, rel=5e-3)
    assert report.healthy < 1e-6


def test_an_outlet_wired_the_wrong_way_round_makes_earthed_metal_live():
    outcome = found(faults(tied(*EARTHED, plug="three-pin", earth=", earth=PE"), changes=BARE), "outlet wired")
    assert outcome.volts == pytest.approx(132, rel=1e-3) and outcome.verdict == "over"


def test_a_capacitor_to_the_chassis_that_shorts_makes_the_chassis_live():
    report = faults(tied("C1 capacitor 1n 0% : L -- CHASSIS", "R1 resistor 1k : L -- N"), changes=BARE)
    assert report.outcomes[0].fault.what == "C1 short" and report.outcomes[0].volts == pytest.approx(132, rel=1e-3)
    assert "no fuse" in report.outcomes[0].cleared


def test_a_pulled_umbilical_that_carries_the_earth_unearths_the_far_side():
    circuit = read("""circuit "x"
mains 120 V 60 Hz
touchable BOX
P1 plug three-pin : line=L, neutral=N, earth=PE
R1 resistor 1k : L -- N
X1 connector socket : 1=L, 5=PE
X2 connector plug mates X1 : 1=FAR, 5=BOX
C1 capacitor 4.7n 0% : FAR -- BOX
""")
    report = faults(circuit, changes=BARE)
    contact = found(report, "X2.5")
    assert contact.reading == pytest.approx(2 * np.pi * 60 * 4.7e-9 * 132, rel=5e-3)
    assert found(report, "umbilical X2 pulled").reading < 1e-6


def test_a_heater_cathode_short_is_a_fault_of_every_tube():
    circuit, _ = wanted_circuit(CIRCUITS / "pager/pager.circuit")
    told = [outcome.fault.what for outcome in faults(circuit).outcomes]
    assert any(what.startswith("V3 heater pin") for what in told)


def test_every_kind_of_fault_says_what_would_prevent_it():
    for file in DEMOS:
        circuit, _ = wanted_circuit(CIRCUITS / file)
        assert {fault.kind for fault in single_faults(Study(circuit, assumed()))} <= PREVENTED.keys()
