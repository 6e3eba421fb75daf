"""Does a set work, as far as its wiring shows: whole sets do, and each way of breaking one is told
at the part that breaks it.
"""

from __future__ import annotations

from dataclasses import replace

import benches
import pytest
from benches import ROOT, SETS, read, set_named
from each import each

from rework.anatomy.function import function
from rework.anatomy.function_row import Aspect, Working
from rework.anatomy.lost import lost
from rework.circuit.circuit import Circuit
from rework.circuit.edits import Edit, FitPart, LiftPin, RemovePart, apply_edit
from rework.rules.job_file import run_job_file

JOBS = ("hostel", "pager", "rink", "skihut")


def faults(circuit: Circuit) -> set[tuple[str, str]]:
    return {
        (row.aspect.value, row.subject) for row in function(circuit) if row.working is Working.FAULT
    }


def text_of(name: str) -> str:
    return SETS[name].read_text(encoding="utf-8")


def finished(name: str) -> Circuit:
    return run_job_file(str(ROOT / "circuits" / name / f"{name}.job")).after


@pytest.mark.parametrize("name", sorted(SETS))
def test_every_set_as_found_works(name):
    assert faults(set_named(name)) == set()


@pytest.mark.parametrize("name", JOBS)
def test_every_finished_demo_works_and_has_lost_nothing_it_needs(name):
    run = run_job_file(str(ROOT / "circuits" / name / f"{name}.job"))
    assert faults(run.after) == set()
    rows = lost(run.before, run.after, run.edits)
    assert [row for row in rows if row.working is Working.FAULT] == []


def without(circuit: Circuit, *names: str) -> Circuit:
    for name in names:
        circuit = apply_edit(circuit, RemovePart(name))
    return circuit


def test_a_supply_whose_switch_lead_is_left_out_feeds_nothing():
    found = faults(without(finished("pager"), "WS1"))
    assert ("primary", "SUPPLY/T1") in found
    assert ("heater", "V1") in found
    assert ("plate", "V3") in found


def test_b_minus_that_floats_is_a_cathode_without_a_way_back():
    circuit = finished("pager")
    wires = [part.name for part in circuit.parts if "SUPPLY/UC" in dict(part.pins).values()]
    black = [name for name in wires if circuit.by_name[name].kind == "wire"]
    found = faults(without(circuit, *black))
    assert ("B- return", "COMMON") in found


def test_a_field_coil_that_makes_the_bias_is_missed_when_it_is_lifted():
    assert ("B- return", "COMMON") in faults(without(set_named("bakery"), "L1"))


def test_a_motor_on_more_than_its_volts_is_told_with_the_heater_behind_it():
    text = text_of("nursery").replace("1=L2, 2=H1, frame=DECK", "1=L2, 2=COMMON, frame=DECK")
    circuit = read(text + "open H1\n")
    (motor,) = (row for row in function(circuit) if row.aspect is Aspect.MOTOR)
    assert motor.working is Working.FAULT
    assert motor.value == pytest.approx(117, abs=0.1)
    assert motor.rated == 92
    assert ("heater", "V1") in faults(circuit)


def test_a_dropper_bridged_at_220_volts_burns_the_heaters():
    text = text_of("skihut").replace("L3 -- H1", "L3 -- H1\nW9 wire : L3 -- H1")
    found = faults(read(text))
    assert {("heater", "V1"), ("heater", "V2")} <= found


ISOLATED = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=N1
T1 transformer 60 VA : primary 117 V = L1 -- N1, secondary 117 V 0.5 A = A -- B
D1 bridge 2 A 600 V : ac1=A, ac2=B, plus=B1, minus=COM
C1 electrolytic 47 uF 250 V : B1 -- COM
R1 resistor 22k 2 W : B1 -- COM
"""
#: A load of 117 V by its two ends, with what of it is lost; 0.707 is the root of one half, half the
#: cycle in which a resistance gets no volts.
HALF_WAVES = {
    "A -- COM": 0.707,
    "B1 -- B": 0.707,
    "A -- B": 1.0,
    "A9 -- B\nD9 diode 1 A 600 V : anode=A, cathode=A9": 0.707,
    "A9 -- B\nD9 diode 1 A 600 V : anode=A, cathode=A9\nC9 electrolytic 1000 uF 250 V : A9 -- B": None,
    "DP -- DM\nD9 bridge 1 A 600 V : ac1=A, ac2=B, plus=DP, minus=DM": 1.0,
    "DP -- DM\nD9 bridge 1 A 600 V : ac1=A, ac2=B, plus=DP, minus=DM\nC9 electrolytic 1000 uF 250 V : DP -- DM": None,
    "DP -- A\nD9 bridge 1 A 600 V : ac1=A, ac2=B, plus=DP, minus=DM\nopen DM": 0.707,
    "A9 -- B\nD9 diode 1 A 600 V : anode=A, cathode=A9\nD8 diode 1 A 600 V : anode=A, cathode=A9": (
        0.707
    ),
}


@each("ends", HALF_WAVES)
def test_a_lamp_behind_a_rectifier_gets_half_the_waves(ends):
    rows = function(read(f"{ISOLATED}LP1 lamp 117 V 40 W : {ends}\n"))
    (lamp,) = [row for row in rows if row.aspect is Aspect.LAMP]
    share = HALF_WAVES[ends]
    assert lamp.value == (None if share is None else pytest.approx(share * 117, rel=0.01))
    assert bool(lamp.part) == (ends != "A -- B")
    assert (lamp.place == "half-wave") == (share != 1.0 and "DP -- DM" not in ends)


AMPLIFYING = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=N1
T1 transformer 60 VA : primary 117 V = L1 -- N1, hv 234 V 0.1 A = A -- M -- B, heater 6.3 V 1 A = H1 -- COMMON
C1 electrolytic 47 uF 250 V : B1 -- COMMON
V1 tube 6AQ5 : grid=COMMON, cathode=K, 3=H1, 4=COMMON, plate=P, screen=B1
R1 resistor 270 ohm : K -- COMMON
R2 resistor 5k : B1 -- P
join M {middle}
{rectifiers}
"""
#: Rectifiers by what is wrong with each; "" where nothing is.
WAYS_ROUND = {
    "D1 bridge 1 A : ac1=A, ac2=B, plus=B1, minus=COMMON": ("X", ""),
    "D1 bridge 1 A : ac1=A, ac2=B, plus=COMMON, minus=B1": ("X", "turned"),
    "D1 diode 1 A : anode=A, cathode=B1\nD2 diode 1 A : anode=B, cathode=B1": ("COMMON", ""),
    "D1 diode 1 A : anode=A, cathode=B1\nD2 diode 1 A : anode=B1, cathode=B": ("COMMON", "turned"),
    "D1 diode 1 A : anode=B1, cathode=A\nopen B": ("COMMON", "turned"),
    # a bias supply: its anode is on no plate's rail
    "D1 diode 1 A : anode=A, cathode=B1\nD2 diode 1 A : anode=G, cathode=B\nR9 resistor 100k : G -- COMMON": (
        "COMMON",
        "",
    ),
}


@each("rectifiers", WAYS_ROUND)
def test_a_rectifier_the_wrong_way_round_is_told_as_that(rectifiers):
    middle, why = WAYS_ROUND[rectifiers]
    text = AMPLIFYING.format(middle=middle, rectifiers=rectifiers)
    rows = function(read(text if middle == "COMMON" else text.replace("join M X", "open M")))
    places = {row.place for row in rows if row.aspect is Aspect.RECTIFIER}
    assert ("turned" in places) == bool(why)


def test_a_primary_on_the_winding_of_a_fed_transformer_is_fed():
    circuit = read(
        f"{ISOLATED}T3 transformer 5 VA : primary 117 V = A -- B, heater 6.3 V 0.6 A = H1 -- H2\n"
        "LP1 lamp 6.3 V 0.15 A : H1 -- H2\n"
    )
    assert faults(circuit) == set()
    off = apply_edit(circuit, LiftPin("T1", "primary.start"))
    assert {("primary", "T1"), ("primary", "T3"), ("lamp", "LP1")} <= faults(off)


def test_a_rectifier_section_wired_to_itself_is_no_rectifier():
    text = text_of("dance-school").replace("diode1.cathode=BP", "diode1.cathode=X")
    assert ("rectifier", "V3 diode1") in faults(read(text))


def bench_set(*slips: tuple[str, str], add: str = "") -> Circuit:
    text = (ROOT / "tests" / "cases" / "two-tube-bench-set.circuit").read_text(encoding="utf-8")
    for line, instead in slips:
        assert line in text
        text = text.replace(line, instead)
    return read(f"{text}{add}")


def test_a_transformer_on_direct_current_feeds_nothing():
    found = faults(bench_set(("mains 117 V 60 Hz", "mains 117 V DC")))
    assert {("primary", "T1"), ("rectifier", "D1"), ("heater", "V1"), ("plate", "V2")} <= found


def test_a_rectifier_with_a_plate_on_the_other_end_of_its_filament_is_wired_to_itself():
    """Of a 5Y3 the filament is the cathode: pin 2 as well as pin 8."""
    rectifier = "V9 tube 5Y3GT : 2=BF, 8=BA, 4={}, 6=A2\n"
    windings = ("heater 6.3 V", "rectifier 5 V 2 A = BF -- BA, heater 6.3 V")
    bridge = ("D1 bridge silicon 1 A 800 V : ac1=A1, ac2=A2, plus=BA, minus=COM\n", "")
    for plate, wrong in (("A1", False), ("BF", True)):
        more = rectifier.format(plate) + ("open A1\n" if wrong else "")
        circuit = bench_set(windings, bridge, add=more)
        assert (("rectifier", "V9") in faults(circuit)) is wrong


def test_a_bridge_with_both_inputs_on_one_end_gives_no_b_plus():
    found = faults(bench_set(("ac2=A2", "ac2=A1"), add="open A2\n"))
    assert {("rectifier", "D1"), ("plate", "V1"), ("plate", "V2")} <= found


def test_an_autotransformer_that_steps_up_is_on_the_line_at_its_tap():
    circuit = bench_set(add="AT1 autotransformer 40 VA : winding 234 V = LX -- L3 -- N1\nopen LX\n")
    assert faults(circuit) == set()
    (heater,) = (row for row in function(circuit) if (row.aspect, row.subject) == ("heater", "V1"))
    assert heater.value == pytest.approx(6.3, rel=0.01)


def test_a_tube_of_twice_the_heater_current_stays_cold_in_the_string():
    text = text_of("beach-kiosk").replace("V2  tube 50C5 ", "V2  tube 25C5 ")
    rows = {row.subject: row for row in function(read(text)) if row.aspect is Aspect.HEATER}
    assert rows["V2"].working is Working.FAULT
    cold, first, dropper = 25 / 0.3, 12.6 / 0.15, 360
    assert rows["V2"].value == pytest.approx(117 * cold / (cold + first + dropper), rel=1e-3)


@pytest.mark.parametrize(
    ("part", "aspect", "subject"),
    [
        ("R9", "grid", "V3"),
        ("R4", "plate", "V1"),
        ("R3", "screen", "V1"),
        ("R11", "cathode", "V3"),
        ("C7", "signal", "J1"),
        ("T1", "load", "SP1"),
        ("R12", "plate", "V1"),
        ("R1", "grid", "V1"),
    ],
)
def test_each_part_of_a_stage_is_missed_where_it_is_needed(part, aspect, subject):
    assert (aspect, subject) in faults(without(set_named("pager"), part))


def test_a_grid_return_through_the_plate_of_another_tube_is_none():
    text = benches.LOCAL_FEEDBACK.replace(
        "R1 resistor 1M : IN -- G1", "R1 capacitor .1 uF : IN -- G1"
    )
    assert ("grid", "V1") in faults(read(text))


def test_a_speaker_whose_return_is_on_the_chassis_needs_the_bond():
    text = text_of("rink").replace(
        "LS1  speaker 3.2 ohm 6 W               : 1=SP, 2=CHASSIS",
        "LS1 speaker 3.2 ohm 6 W : 1=SP, 2=COMMON",
    )
    assert ("load", "LS1") in faults(read(text))


def test_an_input_on_an_unbonded_chassis_has_no_return():
    circuit = finished("hostel")
    bond = next(
        part.name
        for part in circuit.parts
        if part.kind == "wire" and {"COMMON", "CHASSIS"} == set(dict(part.pins).values())
    )
    assert ("return of an input", "J1") in faults(without(circuit, bond))


def test_what_is_still_to_be_attached_is_not_known_and_not_wrong():
    supply = read((ROOT / "circuits" / "pager" / "supply.circuit").read_text(encoding="utf-8"))
    assert faults(supply) == set()
    assert any(row.working is Working.UNKNOWN for row in function(supply))


def test_a_screen_capacitor_not_put_back_is_lost_with_its_stage():
    before = set_named("pager")
    rows = lost(before, without(before, "C3", "C2"), ())
    told = {(row.place, row.subject, row.part): row.working for row in rows}
    assert told["screen bypass", "V1", "C3"] is Working.FAULT
    assert told["cathode bypass", "V1", "C2"] is Working.NOTE


def test_back_bias_lost_is_told_of_its_tube():
    before = set_named("rink")
    text = text_of("rink").replace(
        "R6   resistor 470k 1/2 W 10%           : G2 -- BIAS", "R6 resistor 470k : G2 -- COMMON"
    )
    rows = lost(before, read(text.replace(" : BIAS -- BMINUS", " : BIAS -- COMMON")), ())
    assert ("V2", "back bias") in {(row.subject, row.place) for row in rows}


def test_an_end_left_in_the_air_is_told():
    before = set_named("pager")
    after = apply_edit(before, LiftPin("R11", "2"))
    assert not [row for row in lost(before, after, ()) if row.aspect is Aspect.HANGING]
    rows = lost(before, without(before, "R10"), ())
    assert [row.subject for row in rows if row.aspect is Aspect.HANGING] == ["C6"]


def test_a_name_taken_out_and_given_to_another_part_is_told():
    before = set_named("pager")
    cap, leak = before.by_name["C9"], before.by_name["R9"]
    edits = (Edit(RemovePart("C9")), Edit(FitPart(replace(leak, name="C9"))))
    rows = lost(before, before, edits)
    assert [row.subject for row in rows if row.aspect is Aspect.NAME] == ["C9"]
    renewed = (Edit(RemovePart("C9")), Edit(FitPart(replace(cap, values=()))))
    assert not [r for r in lost(before, before, renewed) if r.aspect is Aspect.NAME]


TWO_TUBES = (ROOT / "tests/cases/two-tube-bench-set.circuit").read_text(encoding="utf-8")
#: The same with back bias: cathodes on common, the grid leak on B-.
BACK_BIAS = (
    TWO_TUBES.replace("KB", "COM")
    .replace("minus=COM", "minus=BM")
    .replace("400 V : BA -- COM", "400 V : BA -- BM")
    .replace("R5 resistor 470k : GB -- COM", "R5 resistor 470k : GB -- BM")
    .replace("R6 resistor 330 ohm 2 W : COM -- COM", "R6 resistor 330 ohm 2 W : BM -- COM")
    .replace("C5 electrolytic 25 uF 35 V : COM -- COM\n", "")
)


def bias(text: str) -> dict[str, Working]:
    rows = function(read(text))
    return {row.subject: row.working for row in rows if row.aspect is Aspect.BIAS}


@pytest.mark.parametrize(
    ("text", "slip"),
    [
        (TWO_TUBES, "W9 wire : KB -- COM\n"),
        (TWO_TUBES.replace("470k : GB -- COM", "470k : GB -- KB"), ""),
        (BACK_BIAS, "W9 wire : BM -- COM\n"),
        (BACK_BIAS.replace("470k : GB -- BM", "470k : GB -- COM"), ""),
    ],
)
def test_an_output_tube_whose_grid_is_at_its_cathode_has_no_bias(text, slip):
    """A wire across the cathode or back-bias resistor, and a grid leak on the wrong end of it."""
    assert bias(f"{text}{slip}")["V2"] is Working.FAULT


@pytest.mark.parametrize("text", [TWO_TUBES, BACK_BIAS])
def test_a_cathode_resistor_back_bias_and_ten_megohms_are_a_bias(text):
    assert bias(text) == {"V1": Working.WORKS, "V2": Working.WORKS}


def test_a_first_stage_without_bias_is_told_and_is_no_fault():
    for ohms, working in (("100k", Working.NOTE), ("220k", Working.WORKS)):
        leak = TWO_TUBES.replace("R3 resistor 10M", f"R3 resistor {ohms}")
        assert bias(leak) == {"V1": working, "V2": Working.WORKS}


def test_a_dial_lamp_that_a_job_takes_out_is_told_and_is_no_fault():
    before = read((ROOT / "tests/sets/bandstand/bandstand.circuit").read_text(encoding="utf-8"))
    after = apply_edit(before, RemovePart("LP1"))
    (row,) = (row for row in lost(before, after, ()) if row.place == "lamp")
    assert (row.part, row.working) == ("LP1", Working.NOTE)
