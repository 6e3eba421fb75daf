"""Small circuits met on benches, each with the verdict, the remedy and the cautions it must get."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from each import each
from hot_sets import hazards, keys, read

from rework.circuit.edits import CutConductor, FitPart, RemovePart, RunWire
from rework.rules.job_file import run_job_file
from rework.safety.check import check
from rework.safety.findings import NOTHING, Report

CASES = Path(__file__).parent.parent / "cases"


def report_of(name: str) -> Report:
    return check(read((CASES / f"{name}.circuit").read_text(encoding="utf-8")))


#: What bridges the isolation of a finished set, and what must be said of it besides.
BRIDGED = {
    "bridged-isolation-a": (RemovePart("C9"), [("not-class-y", "C9")]),
    "bridged-isolation-b": (CutConductor("W9"), []),
    "bridged-isolation-c": (RemovePart("C9"), [("not-class-y", "C9")]),
}


@pytest.mark.parametrize("name", BRIDGED)
def test_one_part_bridges_the_isolation_and_it_alone_is_taken_out(name):
    edit, must = BRIDGED[name]
    report = report_of(name)
    assert {hazard.remedies[0].edits for hazard in report.hazards} == {(edit,)}
    assert {"CHASSIS", "COMMON", "IN", "SP"} <= hazards(report).keys()
    assert keys(report) == must


#: Good practice on the line: nothing to be found, and the parts of it are live.
GOOD = {
    "x-capacitor-with-bleeder": {"L1", "L2", "L3", "N1"},
    "x-capacitor-bleeder-set": {"L1", "L2", "L3", "N1"},
    "neon-across-primary": {"L1", "L2", "L3", "N1", "NEA"},
    "line-filter-chokes": {"L1", "L2", "L3", "L4", "N1", "N2"},
    "lamp-limiter": {"L1", "L2", "L3", "L4", "N1"},
}


@pytest.mark.parametrize("name", GOOD)
def test_good_practice_on_the_line_is_no_hazard(name):
    report = report_of(name)
    assert report.verdict == NOTHING
    assert report.exit_status == 0
    assert {live.node for live in report.live} == GOOD[name]


#: One thing that must be fixed, with the sort and the part of it, and how many remedies hold.
FOUND = {
    "x-capacitor-without-bleeder": ("stays-charged", "C9", 1),
    "interstage-on-the-line": ("not-isolating", "T1", 1),
    "pickup-shield-floating": ("not-bonded", "PU1", 1),
    "big-y-capacitor": ("y-too-large", "C8", 2),
    "fuse-ten-amps": ("fuse-too-large", "F1", 1),
    "fuse-without-rating": ("fuse-unrated", "F1", 1),
    "heater-transformer-on-the-minus": ("half-wave-primary", "T3", 1),
}


@pytest.mark.parametrize("name", FOUND)
def test_bad_practice_is_found_once_and_makes_the_exit_status_one(name):
    key, part, remedies = FOUND[name]
    report = report_of(name)
    assert not report.hazards
    assert keys(report) == [(key, part)]
    assert len(report.cautions[0].remedies) == remedies
    assert report.exit_status == 1


FOUR_DIODES = """D1 diode 1 A 600 V : anode=A, cathode=B1
D2 diode 1 A 600 V : anode=B, cathode=B1
D3 diode 1 A 600 V : anode=COMMON, cathode=A
D4 diode 1 A 600 V : anode=COMMON, cathode=B
"""
#: What stands between the inputs of a rectifier and its direct side, by what is changed in the case,
#: with the part that is told, its end, and the node that it belongs on; nothing where all is well.
ON_HALF_WAVES = {
    "on the plus": (("= A -- COMMON, heater", "= A -- B1, heater"), ("T3", "primary.finish", "B")),
    "by an old lead": (
        ("T3  ", "W9 wire : OLD -- COMMON\nT3  "),
        ("= A -- COMMON, heater", "= OLD -- A, heater"),
        ("T3", "primary.start", "B"),
    ),
    "four diodes": (
        ("D1  bridge silicon 2 A 600 V  : ac1=A, ac2=B, plus=B1, minus=COMMON\n", FOUR_DIODES),
        ("T3", "primary.finish", "B"),
    ),
    "a motor": (
        ("= A -- COMMON, heater", "= A -- B, heater"),
        ("T3  ", "M1 motor 117 V 20 W : 1=B, 2=COMMON\nT3  "),
        ("M1", "2", "A"),
    ),
    "behind a diode": (
        ("= A -- COMMON, heater", "= A9 -- B, heater"),
        ("T3  ", "D9 diode 1 A 600 V : anode=A, cathode=A9\nT3  "),
        ("T3", "primary.start", "A"),
    ),
    "across the winding": (("= A -- COMMON, heater", "= A -- B, heater"), None),
    "a half-wave rectifier beside it": (
        ("D1  bridge silicon 2 A 600 V  : ac1=A, ac2=B, plus=B1, minus=COMMON\n", ""),
        ("T3  ", "D1 diode 1 A 600 V : anode=A, cathode=B1\nW9 wire : B -- COMMON\nT3  "),
        None,
    ),
}


@each("name", ON_HALF_WAVES)
def test_a_winding_between_the_inputs_of_a_rectifier_and_its_direct_side(name):
    *changes, told = ON_HALF_WAVES[name]
    text = (CASES / "heater-transformer-on-the-minus.circuit").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    report = check(read(text))
    assert not report.hazards
    cautions = [caution for caution in report.cautions if caution.key == "half-wave-primary"]
    assert [(caution.part, caution.pin) for caution in cautions] == ([told[:2]] if told else [])
    for caution in cautions:
        (remedy,) = caution.remedies
        assert remedy.edits[-1].part.at(caution.pin) == told[2]
    halves = [caution.part for caution in report.cautions if caution.key == "half-wave"]
    assert halves == (["T1"] if "beside" in name else [])


def test_the_bleeder_keeps_the_time_constant_under_a_second():
    (edit,) = report_of("x-capacitor-without-bleeder").cautions[0].remedies[0].edits
    assert isinstance(edit, FitPart)
    ohms = edit.part.value("resistance")
    assert ohms is not None
    assert ohms * 0.47e-6 < 1.0
    assert {node for _, node in edit.part.pins} == {"L2", "N1"}


def test_the_largest_class_y_value_is_the_one_of_the_limit():
    """0.5 mA at 132 V 60 Hz is 10.05 nF (2 pi f C V), a fifth less where the part may be that much
    larger."""
    message = report_of("big-y-capacitor").cautions[0].message
    assert "8.37 nF" in message
    assert "132 V 60 Hz" in message


def test_no_remedy_bonds_a_common_that_is_a_blade():
    report = report_of("three-pin-plug-common-on-neutral")
    assert not hazards(report)["COMMON"].remedies
    wires = [
        edit
        for remedy in (r for found in (*report.hazards, *report.cautions) for r in found.remedies)
        for edit in remedy.edits
        if isinstance(edit, RunWire)
    ]
    assert not wires
    sleeve = next(caution for caution in report.cautions if caution.key == "not-bonded")
    assert "do not bond it before the tie is removed" in sleeve.message


def test_the_patch_lead_is_what_ties_a_set_to_a_hot_one():
    report = report_of("patched-to-a-hot-set")
    tied = hazards(report)
    assert {node for node, hazard in tied.items() if hazard.remedies} == tied.keys() - {
        "XCOM",
        "XT",
    }
    assert tied["IN"].remedies[0].edits == (CutConductor("SC1"),)
    assert not tied["XCOM"].remedies


def test_a_heater_on_the_tap_of_another_is_fed():
    report = report_of("heater-on-a-tap")
    assert "heater-not-fed" not in {key for key, _ in keys(report)}
    assert ("heater-unclear", "V6") in keys(report, "mind")


def test_line_on_male_pins_is_cleared_by_turning_plug_and_socket_round():
    report = report_of("line-on-male-pins")
    assert hazards(report).keys() == {"L2", "L3"}
    assert all(hazard.touchable for hazard in report.hazards)
    assert "Make X1 the socket and X2 the plug" in report.hazards[0].remedy


def test_a_selector_is_judged_in_the_position_it_is_drawn_in_and_the_other_is_told():
    wrong, right = report_of("selector-one-pole"), report_of("selector-two-pole")
    volts = next(caution for caution in wrong.cautions if caution.key == "heater-volts")
    assert volts.remedy == "Set S2 to throw1: there the heater volts fit the line."
    assert "heater-volts" not in {key for key, _ in keys(right)}
    assert ("heater-volts-elsewhere", "V1") in keys(right, "mind")


def bench_set(*slips: tuple[str, str], add: str = "") -> Report:
    """Return the check of the finished two-tube set with some of its lines written otherwise."""
    text = (CASES / "two-tube-bench-set.circuit").read_text(encoding="utf-8")
    for line, instead in slips:
        assert line in text
        text = text.replace(line, instead)
    return check(read(f"{text}{add}"))


def test_the_two_tube_set_is_clean():
    assert bench_set().verdict == NOTHING


def test_a_weak_switch_is_exchanged_not_the_fuse_alone():
    report = bench_set(("SPST 3 A", "SPST 0.1 A"))
    assert keys(report) == [("fuse-too-large", "F1")]
    (remedy,) = report.cautions[0].remedies
    assert remedy.words == "Fit a switch for at least 0.5 A at S1."


@pytest.mark.parametrize(
    ("fuse", "remedy"),
    [
        # 40 VA at 117 V are 0.342 A
        ("0.34 A", "Fit a slow fuse of 0.63 A at F1 and a switch for at least 0.63 A at S1."),
        ("0.35 A", "Fit a switch for at least 0.35 A at S1."),
        ("0.63 A", "Fit a switch for at least 0.63 A at S1."),
        ("0.8 A", "Fit a switch for at least 0.8 A at S1."),
        # three times the primary current of 40 VA at 117 V is 1.03 A
        ("1.1 A", "Fit a slow fuse of 0.63 A at F1 and a switch for at least 0.63 A at S1."),
    ],
)
def test_a_fuse_that_fits_its_transformer_stays_where_only_the_switch_is_weak(fuse, remedy):
    report = bench_set(
        ("SPST 3 A", "SPST 0.1 A"), ("F1 fuse 0.5 A 250 V slow", f"F1 fuse {fuse} 250 V slow")
    )
    assert [each.words for each in report.cautions[0].remedies] == [remedy]


def test_in_place_of_an_output_transformer_on_the_line_comes_one_made_for_the_mains():
    report = bench_set(("T1 transformer 40 VA", "T1 output transformer 40 W"))
    assert hazards(report).keys() == {"L3", "N1"}
    assert keys(report) == [("not-isolating", "T1")]
    for finding in (*report.hazards, report.cautions[0]):
        (remedy,) = finding.remedies
        assert [edit.part.kind for edit in remedy.edits[1:]] == ["transformer"]


def test_the_output_transformer_of_a_hot_set_is_not_exchanged_for_a_mains_one():
    """It is off the mains once the set is converted."""
    report = bench_set(
        ("ac1=A1, ac2=A2", "ac1=L3, ac2=N1"),
        ("WB wire black : COM -- CHASSIS\n", ""),
        add="open A1, A2\n",
    )
    words = [r.words for found in (*report.hazards, *report.cautions) for r in found.remedies]
    assert report.hazards
    assert not [text for text in words if "in place of T2" in text]


def test_an_autotransformer_isolates_nothing_and_no_filter_capacitor_is_blamed():
    report = bench_set(
        ("hv 190 V 80 mA dcr 180 ohm = A1 -- A2, ", ""),
        ("ac2=A2", "ac2=N1"),
        add="AT1 autotransformer 40 VA : winding 190 V = A1 -- L3 -- N1\n",
    )
    assert {"CHASSIS", "COM"} <= hazards(report).keys()
    assert keys(report) == [("not-isolating", "AT1")]


@pytest.mark.parametrize(
    ("slips", "add", "part"),
    [
        ((("WB wire black : COM -- CHASSIS\n", ""),), "", "J1"),
        ((), "PU1 pickup crystal : signal=IN, shield=ARM\nR40 resistor 10k : ARM -- COM\n", "PU1"),
        (
            (),
            "MK1 microphone crystal : signal=IN, shield=SH\nC40 capacitor 10n : SH -- COM\n",
            "MK1",
        ),
    ],
    ids=["common", "arm behind a resistor", "shell behind a capacitor"],
)
def test_metal_without_a_bond_is_bonded_by_one_wire(slips, add, part):
    """The bond gives the common another name, and takes nothing away."""
    report = bench_set(*slips, add=add)
    assert keys(report) == [("not-bonded", part)]
    ((edit,),) = [remedy.edits for remedy in report.cautions[0].remedies]
    assert isinstance(edit, RunWire)


def test_a_part_of_no_listed_kind_is_named_where_its_tie_cannot_be_judged():
    on_the_line = bench_set(add='U1 part unlisted "potted block" : 1=L3, 2=CHASSIS\n')
    assert ("part-unknown", "U1") in keys(on_the_line, "mind")
    assert "potted block" in on_the_line.cautions[0].message
    behind = bench_set(add='U1 part unlisted "potted block" : 1=IN, 2=COM\n')
    assert keys(behind, "mind") == []


@pytest.mark.parametrize(
    ("pins", "add", "words"),
    [
        ("line=PE, neutral=N1, earth=L1", "", "exchange the leads on line and earth"),
        ("line=L1, neutral=PE, earth=N1", "", "exchange the leads on neutral and earth"),
    ],
)
def test_an_earth_lead_on_a_blade_is_put_where_it_belongs(pins, add, words):
    """It is the plug that is wired wrong: no bond and no strap of the set is taken off."""
    report = bench_set(("line=L1, neutral=N1, earth=PE", pins), add=add)
    assert "CHASSIS" in hazards(report)
    (told,) = {hazard.remedies[0].words for hazard in report.hazards}
    assert words in told


def test_an_earth_pin_on_the_line_is_connected_to_the_loose_earth_wire():
    report = bench_set(("neutral=N1, earth=PE", "neutral=N1, earth=L2"), add="open PE\n")
    assert not report.hazards
    (short,) = [caution for caution in report.cautions if caution.key == "line-shorted"]
    assert short.remedies[0].words == "Disconnect the earth pin of P1 from L2 and connect it to PE."


def test_an_earth_made_of_the_neutral_is_taken_off_and_the_earth_pin_used():
    report = bench_set(("earth=PE", "earth=N1"), ("18 AWG : PE --", "18 AWG : N1 --"))
    (edits,) = {hazard.remedies[0].edits for hazard in report.hazards}
    assert edits[0] == CutConductor("WE")
    assert edits[-1].part.at("earth") == "CHASSIS"
    assert not [caution for caution in report.cautions if "colour" in caution.key]


def test_a_metal_shaft_on_the_line_is_connected_to_the_earthed_metal_instead():
    """Lifted, it would be metal in reach without a bond, beside a track at B+."""
    hostel = run_job_file(str(CASES.parents[1] / "circuits" / "hostel" / "hostel.job")).after
    pot = hostel.by_name["R6"]
    pins = tuple((pin, "SUPPLY/N1" if pin == "shaft" else node) for pin, node in pot.pins)
    wrong = [replace(pot, pins=pins) if part is pot else part for part in hostel.parts]
    (hazard,) = check(hostel.with_parts(wrong)).hazards
    (told,) = hazard.remedies
    assert told.words == "Disconnect the shaft of R6 from SUPPLY/N1 and connect it to CHASSIS."


def test_an_earth_wire_on_the_line_is_the_one_to_take_out():
    report = bench_set(("18 AWG : PE -- CHASSIS", "18 AWG : L3 -- CHASSIS"), add="open PE\n")
    (edits,) = {hazard.remedies[0].edits for hazard in report.hazards}
    assert edits == (CutConductor("WE"),)


@pytest.mark.parametrize(
    ("slips", "add", "remedy", "pins"),
    [
        (
            (("18 AWG : PE -- CHASSIS", "18 AWG : PE -- L3"),),
            "",
            "Disconnect pin 2 of WE from L3 and connect it to CHASSIS.",
            "line and earth",
        ),
        ((), "W30 wire : L3 -- N1\n", "Take out wire W30: it joins L3 to N1.", "line and neutral"),
    ],
)
def test_a_wire_that_shorts_the_line_is_told_and_put_right(slips, add, remedy, pins):
    """What only follows from it, metal without its earth, is not told besides."""
    report = bench_set(*slips, add=add)
    (short,) = [caution for caution in report.cautions if caution.weight == "must"]
    assert short.key == "line-shorted"
    assert pins in short.message
    assert [each.words for each in short.remedies] == [remedy]
    assert report.exit_status == 1


@pytest.mark.parametrize(
    ("line", "remedy"),
    [
        ("W9 wire : L3 -- N1", "Take out wire W9: it joins L3 to N1."),
        ("W9 trace : L3 -- N1", "Cut trace W9: it joins L3 to N1."),
    ],
)
def test_what_shorts_the_line_is_named_with_its_ends(line, remedy):
    report = bench_set(add=f"{line}\n")
    (short,) = [caution for caution in report.cautions if caution.key == "line-shorted"]
    assert [each.words for each in short.remedies] == [remedy]


def test_metal_without_a_bond_is_told_with_its_node_and_pin():
    report = bench_set(add="CH9 chassis : SCREEN\n")
    (caution,) = [each for each in report.cautions if each.key == "not-bonded"]
    assert (caution.part, caution.pin, caution.node) == ("CH9", "metal", "SCREEN")
    assert [each.words for each in caution.remedies] == [
        "Run a green-yellow wire from SCREEN to CHASSIS, where the earth comes in."
    ]


def test_an_output_jack_without_a_bond_is_told_with_its_node_and_pin():
    report = bench_set(
        ("secondary load 8 ohm = SP -- COM", "secondary load 8 ohm = SP -- SPR"),
        ("LS1 speaker 8 ohm 5 W : 1=SP, 2=COM", "LS1 speaker 8 ohm 5 W : 1=SP, 2=SPR"),
        add="J2 jack output : tip=SP, sleeve=SPR\n",
    )
    (caution,) = [each for each in report.cautions if each.key == "output-not-bonded"]
    assert (caution.part, caution.pin, caution.node) == ("J2", "sleeve", "SPR")
    assert "Bond one side of the speaker winding to the chassis at J2 sleeve" in caution.remedy


@pytest.mark.parametrize(
    ("slips", "words"),
    [
        ((("fuse 0.5 A", "fuse 10 A"),), "Fit a slow fuse of 1 A at F1."),
        ((("fuse 0.5 A 250 V slow", "fuse"),), "Fit a slow fuse of 1 A at F1."),
    ],
    ids=["far too large", "without a rating"],
)
def test_a_motor_on_the_line_is_counted_in_the_fuse(slips, words):
    """40 VA and 12 W of 117 V: 0.34 A and 0.21 A at a power factor of a half; times 1.5, 0.82 A."""
    report = bench_set(*slips, add="M1 motor 117 V 60 Hz 12 W : 1=L3, 2=N1, frame=CHASSIS\n")
    (caution,) = [caution for caution in report.cautions if caution.part == "F1"]
    assert [remedy.words for remedy in caution.remedies] == [words]


def test_a_dropper_that_leads_to_heaters_through_a_thermistor_is_no_line_filter():
    """What stands between it and the line is a hazard as well, as the independent search says."""
    path = CASES.parent / "sets" / "customs-house" / "customs-house.job"
    report = check(run_job_file(str(path)).before)
    assert {"T110", "H1"} <= hazards(report).keys()
