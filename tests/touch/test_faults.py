"""Single faults: the updates against solving again, what a fuse clears, and the demos before and
after.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from afresh import seen, with_fault
from handworked import BARE, read, tied

from rework.language.files import wanted_circuit
from rework.rules.job_file import run_job_file
from rework.safety.ties import worst_ties
from rework.touch.direct import Direct, driven
from rework.touch.effects import Effects, Probe
from rework.touch.failures import PREVENTED, single_faults
from rework.touch.faults import MOST_COMBINATIONS, faults
from rework.touch.network import UNIT
from rework.touch.person import assumed, networks
from rework.touch.study import FEEDS, Study
from rework.touch.touch import touch

CIRCUITS = Path(__file__).parents[2] / "circuits"
DEMOS = [
    f"{name} {which}"
    for name in ("hostel", "pager", "rink", "skihut")
    for which in ("as found", "after the job", "supply alone")
]
ALL_FEEDS = list(range(len(FEEDS)))


@cache
def demo(words):
    name, which = words.split(" ", 1)
    if which == "supply alone":
        return wanted_circuit(CIRCUITS / name / "supply.circuit")[0]
    run = run_job_file(str(CIRCUITS / name / f"{name}.job"))
    return run.before if which == "as found" else run.after


EARTHED = (
    "W1 wire : PE -- CHASSIS",
    "F1 fuse 1 A : L -- LF",
    "R1 resistor 500 ohm 0% : LF -- N",
    "C1 capacitor 1n class Y2 0% : LF -- CHASSIS",
)


def found(report, words):
    return next(outcome for outcome in report.outcomes if words in outcome.fault.what)


def compared(circuit, *, open_conductors, every_nth):
    """Yield (fault, amperes by update, afresh; direct amperes by update, afresh) of every nth fault
    in every row, combinations in turn.
    """
    study = Study(circuit, assumed(), open_conductors=open_conductors, umbilicals=False)
    probe, every = Probe(study), single_faults(study)
    combos, steady = (
        study.combinations(MOST_COMBINATIONS, study.but_insulation),
        Direct(study) if study.rectifiers else None,
    )
    ports = len(probe.ports)

    def flow(volts, ohms, person):
        return volts / (ohms[..., None] + person)

    for rows, admittance, solved in study.blocks():
        together = Effects(probe, every, rows, admittance, solved, combos, steady)
        for number, fault in list(enumerate(every))[::every_nth]:
            effects, place = (
                (together, number)
                if fault.changes < 2
                else (Effects.alone(probe, fault, rows, admittance, combos, steady), 0)
            )
            combo = number % len(combos) if not together.void[number % len(combos), number] else 0
            volts, ohms = effects.alternating([place], ALL_FEEDS)
            again, inside = seen(
                with_fault(study, fault, rows, combos[combo]), probe.patterns, study.feeds
            )
            person = networks()["iec"].impedance(study.hertz)
            pair = (
                flow(volts[:, combo, 0, :ports] * study.volts, ohms[:, combo, 0], person),
                flow(again[:, :ports] * study.volts, inside[:, :ports] * UNIT, person),
            )
            if not steady:
                yield fault, *pair, np.zeros(1), np.zeros(1)
                continue
            level = number % len(steady.combos)
            amps = effects.direct([place], ALL_FEEDS, LOAD).amps
            slow = [
                driven_afresh(study, steady, probe, fault, rows, steady.combos[level], dry)
                for dry in steady.admittances(rows)
            ]
            quick = amps[:, level :: len(steady.combos), 0]
            yield fault, *pair, quick, np.stack([one.amps for one in slow], axis=1)


#: A person to direct current, ohms.
LOAD = 2000.0


def driven_afresh(study, steady, probe, fault, rows, combo, level):
    """Return what the rectifiers do at the person's ports with a fault in the matrix."""
    apart = [
        seen(
            with_fault(study, fault, rows, open_combo, steady.open_admittance(rows)),
            steady.across,
            study.feeds,
        )[0]
        for open_combo in steady.open_combos
    ]
    peaks = steady.peak_volts(np.stack(apart, axis=1))
    still = with_fault(study, fault, rows, combo, level, level=True)
    shares, own = still.between_and_own(probe.patterns, steady.sources)
    ports = len(probe.ports)
    passed = shares[:, probe.rectifier_ports]
    return driven(shares[:, :ports], own[:, :ports], passed, peaks, LOAD)


def apart(quick, slow, least):
    return float((abs(quick - slow) / np.maximum(abs(slow), least)).max())


@pytest.mark.parametrize("words", DEMOS)
def test_faults_of_every_demo_agree_with_solving_again(words):
    """To 1e-9 of the current, or of the 0.5 mA limit where that is more; direct currents to 1e-5 of
    theirs, or of 2 mA: their anchors are a thousand times as faint.
    """
    for fault, quick, slow, direct, direct_slow in compared(
        demo(words), open_conductors=False, every_nth=9
    ):
        assert apart(quick, slow, 0.5e-3) <= 1e-9, fault.what
        assert apart(direct, direct_slow, 2e-3) <= 1e-5, fault.what


@pytest.mark.parametrize("words", DEMOS)
def test_with_supply_conductors_open_as_well_they_agree_too(words):
    for fault, quick, slow, direct, direct_slow in compared(
        demo(words), open_conductors=True, every_nth=83
    ):
        assert apart(quick, slow, 0.5e-3) <= 1e-9, fault.what
        assert apart(direct, direct_slow, 2e-3) <= 1e-5, fault.what


def test_a_short_to_earthed_metal_behind_the_fuse_blows_it_and_before_the_fuse_does_not():
    report = faults(tied(*EARTHED, plug="three-pin", earth=", earth=PE"), changes=BARE)
    behind, before = (
        found(report, "C1 short"),
        found(report, "line lead L off its lug and onto CHASSIS"),
    )
    assert behind.verdict == "cleared"
    assert "F1 opens within 120 s" in behind.cleared
    assert "until then the metal is at" in behind.cleared
    assert behind.ended.amps == pytest.approx(
        132 / 0.62, rel=0.05
    )  # 0.25 + 0.1 + 0.01 + 0.01 + 0.25 ohm
    assert behind.bond_volts == pytest.approx(132 * 0.25 / 0.62, rel=0.05)
    assert before.verdict == "breaker"
    assert "breaker of the building" in before.cleared
    assert before.bond_volts == pytest.approx(132 * 0.25 / 0.51, rel=0.05)


def test_the_earth_wire_open_leaves_what_the_y_capacitor_passes():
    report = faults(tied(*EARTHED, plug="three-pin", earth=", earth=PE"), changes=BARE)
    assert found(report, "W1 open").reading == pytest.approx(2 * np.pi * 60 * 1e-9 * 132, rel=5e-3)
    assert report.healthy < 1e-6


def test_an_outlet_wired_the_wrong_way_round_makes_earthed_metal_live_and_is_told_apart():
    report = faults(tied(*EARTHED, plug="three-pin", earth=", earth=PE"), changes=BARE)
    (outlet,) = report.building
    assert outlet.volts == pytest.approx(132, rel=1e-3)
    assert outlet.verdict == "over"
    assert all(outcome.fault.kind != "outlet" for outcome in report.outcomes)


def test_the_outlet_alone_does_not_fail_a_set():
    parts = ("W1 wire : PE -- CHASSIS", "F1 fuse 1 A : L -- LF", "R1 resistor 500 ohm 0% : LF -- N")
    report = faults(tied(*parts, plug="three-pin", earth=", earth=PE"), changes=BARE)
    assert report.building
    assert report.exit_status == 0


def test_common_that_comes_off_its_bond_rises_to_b_plus():
    circuit = read("""circuit "x"
mains 120 V 60 Hz
touchable BOX, SLEEVE
P1 plug three-pin : line=L, neutral=N, earth=BOX
T1 transformer : primary 120 V dcr 10 ohm = L -- N, hv 120 V dcr 50 ohm = A -- B, core=BOX
D1 diode silicon : A -- BP
C1 electrolytic 47 uF 0% : BP -- B
W1 wire : B -- BOX
W2 wire : B -- SLEEVE
R1 resistor 1k 0% : BP -- SLEEVE
""")
    outcome = found(faults(circuit, changes=BARE), "W2 open")
    assert outcome.verdict == "over"
    assert outcome.dc_is_over
    assert outcome.dc_node in ("SLEEVE", "BOX")
    assert outcome.dc_volts == pytest.approx(132 * 2**0.5, rel=0.03)
    assert outcome.dc_amps == pytest.approx(132 * 2**0.5 / 3000, rel=0.03)


def test_a_rectifier_that_opens_drives_nothing():
    report = faults(
        tied(
            "D1 diode silicon : L -- B",
            "C1 electrolytic 50 uF 0% : B -- N",
            "R1 resistor 10k 0% : B -- KNOB",
            touchable="KNOB",
        )
    )
    assert found(report, "D1 open").dc_volts < 1
    assert found(report, "R1 short").dc_volts > 100


def test_a_leaky_coupling_capacitor_is_direct_current_at_the_terminal():
    circuit = tied(
        "D1 diode silicon : L -- B",
        "C1 electrolytic 50 uF 250 V 0% : B -- N",
        "C2 capacitor 1 uF paper 0% : B -- KNOB",
        "R1 resistor 1M 0% : KNOB -- N",
        touchable="KNOB",
    )
    short = found(faults(circuit, changes=BARE), "C2 short")
    assert short.dc_amps == pytest.approx(132 * 2**0.5 / 2000, rel=0.01)
    assert short.dc_is_over


def test_a_leaking_capacitor_passes_ten_times_its_leakage():
    study = Study(demo("pager as found"), assumed(BARE))
    leakage = {}
    for element in study.elements:
        if element.kind == "capacitor":
            leakage[frozenset(element.nodes[:2]), element.part] = element.siemens
    leaks = [fault for fault in single_faults(study) if fault.kind == "leak"]
    assert leaks
    for fault in leaks:
        ((ends, more),) = fault.added
        sound = leakage[frozenset(ends), fault.part]
        assert more + sound == pytest.approx(10 * sound, rel=1e-12)


def test_a_capacitor_to_the_chassis_that_shorts_makes_the_chassis_live():
    report = faults(
        tied("C1 capacitor 1n 0% : L -- CHASSIS", "R1 resistor 1k : L -- N"), changes=BARE
    )
    short = found(report, "C1 short")
    assert short.verdict == "over"
    assert short.volts == pytest.approx(132, rel=1e-3)
    assert "no fuse" in short.cleared


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
    told = [outcome.fault.what for outcome in faults(demo("pager as found")).outcomes]
    assert any(what.startswith("V3 heater pin") for what in told)


def test_every_kind_of_fault_says_what_would_prevent_it():
    for words in DEMOS:
        assert {
            fault.kind for fault in single_faults(Study(demo(words), assumed()))
        } <= PREVENTED.keys()


def test_a_fault_is_told_where_it_adds_most():
    """As found the common is over without any fault; what matters of C9 is that the chassis comes
    to it too.
    """
    short = found(faults(demo("pager as found")), "C9 short")
    assert short.node == "CHASSIS"
    assert short.adds
    assert short.reading > 10 * short.before


def test_a_missing_value_leaves_every_fault_open():
    report = faults(
        tied("R1 resistor 1 W : L -- N", "R2 resistor 10M 0% : L -- CHASSIS"), changes=BARE
    )
    assert {outcome.verdict for outcome in report.outcomes} <= {
        "over",
        "not known",
    }
    assert report.exit_status == 1


def test_nothing_said_to_be_in_reach_is_no_clean_bill():
    report = faults(read('circuit "x"\n'))
    assert report.outcomes == ()
    assert report.exit_status == 1


def test_a_netlist_without_a_plug_leaves_every_fault_open():
    report = faults(
        read('circuit "x"\ntouchable B\nR1 resistor 1k : A -- B\nR2 resistor 1k : A -- B\n')
    )
    assert {outcome.verdict for outcome in report.outcomes} == {"not known"}
    assert report.exit_status == 1


@pytest.mark.parametrize("name", ["hostel", "pager", "rink", "skihut"])
def test_what_the_check_calls_clear_shows_the_leakage_of_its_insulation_and_a_hazard_its_current(
    name,
):
    for which in ("as found", "after the job", "supply alone"):
        circuit = demo(f"{name} {which}")
        tied, study = worst_ties(circuit).tied, Study(circuit, assumed())
        farads = sum(element.farads for element in study.elements if element.kind == "insulation")
        for found in touch(circuit).touches:
            if not found.other and found.node in tied:
                assert found.verdict == "over", (which, found.node)
            elif not found.other:
                leakage = 2 * np.pi * study.hertz * farads * 2 * study.volts
                assert found.reading <= leakage, (which, found.node)
                assert found.verdict == "under", (which, found.node)
