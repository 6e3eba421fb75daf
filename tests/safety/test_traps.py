"""Traps met on real benches, each with a small set of our own: none may get past the check."""

from __future__ import annotations

import pytest
from hot_sets import CLEAN, cautions, checked, clean, hazards, keys, live, read, told

from rework.safety.check import check
from rework.safety.findings import NOTHING, path_words
from rework.safety.ties import is_mains_tied

#: The switch stands in the common lead; three heaters in series; no chassis.
SWITCHED_COMMON = """
mains 117 V 60 Hz
P1 plug two-blade                : line=L1, neutral=N1
S1 switch SPST                   : N1 -- COMMON
R1 resistor dropper 150 ohm 10 W : L1 -- H1
V1 tube 35W4                     : 3=H2, 4=H1, 5=L1, 7=B1, unused 6
V2 tube 50C5                     : 3=H2, 4=COMMON, 1=K2, 2=G2, 6=B1, 7=PL2, unused 5
R2 resistor 150 ohm              : K2 -- COMMON
R3 resistor 470k                 : G2 -- COMMON
R4 resistor 2.2k                 : B1 -- PL2
C1 electrolytic 50 uF 150 V      : B1 -- COMMON
J1 jack input                    : tip=IN, sleeve=COMMON
C2 capacitor .01 uF              : IN -- G2
"""


def states(hazard) -> set[str]:
    return {when.words() for when in hazard.when}


# what OFF does


def test_a_switch_in_the_common_lead_ties_the_common_to_the_line_when_off():
    sleeve = hazards(checked(SWITCHED_COMMON))["COMMON"]
    assert sleeve.touchable
    assert sleeve.through == "conduction"
    assert states(sleeve) == {
        "plug reversed, S1 ON, connected directly",
        "plug as drawn, S1 OFF, through R1, V1, V2",
    }
    assert not sleeve.remedies
    assert "part of a conversion" in sleeve.remedy


def test_the_same_switch_is_in_the_wrong_conductor():
    assert ("switch-in-neutral", "S1") in keys(checked(SWITCHED_COMMON))


def test_a_switch_in_the_line_leaves_the_common_hot_only_with_the_plug_reversed():
    report = checked(
        SWITCHED_COMMON.replace("N1 -- COMMON", "L1 -- LINE")
        .replace("neutral=N1", "neutral=COMMON")
        .replace("L1 -- H1", "LINE -- H1")
        .replace("5=L1", "5=LINE")
    )
    assert states(hazards(report)["COMMON"]) == {
        "plug reversed, any switch position, connected directly"
    }


def test_a_two_pole_switch_takes_the_common_off_the_line_when_off():
    report = checked(
        SWITCHED_COMMON.replace(
            "switch SPST                   : N1 -- COMMON", "switch DPST : N1 -- COMMON, L1 -- LINE"
        )
        .replace("L1 -- H1", "LINE -- H1")
        .replace("5=L1", "5=LINE")
    )
    assert states(hazards(report)["COMMON"]) == {"plug reversed, S1 ON, connected directly"}
    assert ("switch-in-neutral", "S1") not in keys(report)


# what does not isolate

FED_BY_WINDING = """
mains 117 V 60 Hz
P1 plug two-blade   : line=L1, neutral=N1
T1 {kind}           : {windings}
D1 diode            : B -- BP
C1 electrolytic     : BP -- A
R1 resistor 1k      : BP -- A
CH1 chassis         : A
"""


def test_an_autotransformer_isolates_nothing():
    report = checked(
        FED_BY_WINDING.format(
            kind="autotransformer", windings="winding = N1 -- L1 -- B, winding2 = A -- B"
        )
    )
    assert hazards(report)["A"].touchable
    assert not hazards(report)["BP"].remedies


def test_a_split_primary_used_as_one_to_one_isolates_nothing():
    report = checked(
        FED_BY_WINDING.format(
            kind="transformer", windings="primary1 117 V = L1 -- N1, primary2 117 V = A -- B"
        )
    )
    assert hazards(report)["A"].touchable
    assert (
        path_words(hazards(report)["A"].path)
        == "P1.line > L1 > T1.primary1.start-primary2.start > A"
    )


def test_a_secondary_of_the_same_transformer_does():
    report = checked(
        FED_BY_WINDING.format(
            kind="transformer", windings="primary 117 V = L1 -- N1, secondary 117 V = A -- B"
        )
    )
    assert not report.hazards
    assert live(report) == {"L1", "N1"}


HEATERS_ON_THE_LINE = """
mains 117 V 60 Hz
touchable CHASSIS
P1 plug three-pin           : line=L1, neutral=N1, earth=CHASSIS
F1 fuse 1 A                 : L1 -- L2
S1 switch SPST              : L2 -- L3
T1 transformer 30 VA        : primary 117 V = L3 -- N1, hv 117 V 80 mA = HV1 -- COMMON
D1 diode                    : HV1 -- B1
C1 electrolytic 50 uF 250 V : B1 -- COMMON
R9 resistor 470 ohm         : L3 -- H1
V1 tube 50C5                : 3=H1, 4=N1, 1=K1, 2=G1, 6=B1, 7=PL1, unused 5
R1 resistor 150 ohm         : K1 -- COMMON
R2 resistor 470k            : G1 -- COMMON
R3 resistor 1k              : B1 -- PL1
W1 wire                     : COMMON -- CHASSIS
CH1 chassis                 : CHASSIS
"""


def test_isolated_plate_supply_with_heaters_across_the_line_is_a_hazard():
    report = checked(HEATERS_ON_THE_LINE)
    assert set(hazards(report)) == {"H1", "N1", "L3"}
    assert not hazards(report)["N1"].remedies
    assert "CHASSIS" not in hazards(report)
    assert ("lone-insulation", "V1") in keys(report, "mind")


def test_a_string_fed_from_an_isolating_transformer_is_no_hazard():
    report = checked(
        HEATERS_ON_THE_LINE.replace(
            "470 ohm         : L3 -- H1", "470 ohm         : HV1 -- H1"
        ).replace("4=N1", "4=COMMON")
    )
    assert not report.hazards
    assert live(report) == {"L1", "L2", "L3", "N1"}
    assert "half-wave" in told(report, "mind")


def test_the_common_on_the_wide_blade_is_as_bad_as_on_the_other():
    text = """
P1 plug polarised  : line=L1, neutral=COMMON
R1 resistor 1k     : L1 -- COMMON
J1 jack            : tip=IN, sleeve=COMMON
R2 resistor 1M     : IN -- COMMON
"""
    assert hazards(checked(text))["COMMON"].touchable
    assert hazards(
        checked(
            text.replace("polarised", "three-pin").replace(
                "neutral=COMMON", "neutral=COMMON, earth=CASE"
            )
            + "CH1 chassis : CASE"
        )
    )["COMMON"].touchable


# line to chassis

LINE_TO_CHASSIS = """
P1 plug two-blade        : line=L1, neutral=COMMON
C1 capacitor .05 uF      : L1 -- CHASSIS
R1 resistor 68k          : L1 -- CHASSIS
R2 resistor 1k           : L1 -- COMMON
CH1 chassis              : CHASSIS
"""


def test_capacitor_and_resistor_to_the_chassis_are_both_told():
    hazard = hazards(checked(LINE_TO_CHASSIS))["CHASSIS"]
    assert hazard.through == "conduction"
    assert hazard.bridges == ("C1", "R1")
    assert hazard.remedy == (
        "Take out C1: it joins L1 to CHASSIS. Take out R1: it joins L1 to CHASSIS."
    )


def test_the_capacitor_alone_ties_by_capacitor():
    hazard = hazards(
        checked(LINE_TO_CHASSIS.replace("R1 resistor 68k          : L1 -- CHASSIS\n", ""))
    )["CHASSIS"]
    assert hazard.through == "capacitor"
    assert hazard.bridges == ("C1",)
    assert states(hazard) == {"plug as drawn, any switch position, through a capacitor: C1"}


def test_the_sleeve_on_the_common_counts_though_the_chassis_floats():
    report = checked("""
P1 plug two-blade : line=L1, neutral=COMMON
R1 resistor 1k    : L1 -- COMMON
J1 jack input     : tip=IN, sleeve=COMMON
R2 resistor 1M    : IN -- COMMON
CH1 chassis       : CHASSIS
LS1 speaker       : 1=SA, 2=SB, frame=CHASSIS
R3 resistor 8 ohm : SA -- SB
""")
    assert {node for node, hazard in hazards(report).items() if hazard.touchable} == {
        "COMMON",
        "IN",
    }


# shafts

SHAFT = """
P1 plug three-pin    : line=L1, neutral=N1, earth=PE
F1 fuse 1 A          : L1 -- L2
S1 switch on R1      : L2 -- L3
T1 transformer 30 VA : primary = L3 -- N1, secondary 12 V = A -- COMMON
R1 pot 500k {word}   : ccw=COMMON, wiper=G, cw=A{shaft}
R2 resistor 1M       : G -- COMMON
CH1 chassis          : PE
W1 wire              : COMMON -- PE
"""


@pytest.mark.parametrize("word", ["metal-shaft", ""])
def test_a_shaft_with_the_line_switch_behind_it_counts_as_tied(word):
    shaft = hazards(checked(SHAFT.format(word=word, shaft="")))["R1.shaft"]
    assert shaft.touchable
    assert shaft.path[-1][:4] == ("S1", "1", "shaft", "R1.shaft")
    assert shaft.remedy == "Bond the shaft of R1 to PE, where the earth comes in."


def test_a_plastic_shaft_does_not():
    assert not checked(SHAFT.format(word="plastic-shaft", shaft="")).hazards


def test_an_earthed_shaft_is_a_thing_to_measure():
    report = checked(SHAFT.format(word="metal-shaft", shaft=", shaft=PE"))
    assert not report.hazards
    assert ("shaft-insulation", "R1") in keys(report, "mind")


def test_an_unearthed_chassis_on_that_shaft_is_tied_as_a_whole():
    report = checked(
        SHAFT.format(word="metal-shaft", shaft=", shaft=PLATE")
        + "CH2 chassis : PLATE\nJ1 jack : tip=G, sleeve=PLATE"
    )
    assert "wire from PLATE to PE" in hazards(report)["PLATE"].remedy
    assert states(hazards(report)["PLATE"]) == {
        "plug as drawn, any switch position, through insulation: S1",
        "plug reversed, S1 OFF, through insulation: T1, S1",
    }


def test_a_shaft_earthed_through_a_resistor_is_not_earthed():
    report = checked(
        SHAFT.format(word="metal-shaft", shaft=", shaft=KNOB") + "R3 resistor 100 ohm : KNOB -- PE"
    )
    assert "KNOB" in hazards(report)


# sockets, bulbs, transformers, motors


def test_a_freed_socket_pin_is_no_tie_point_for_the_line():
    text = clean(
        (
            "P1  plug three-pin                   : line=L1,",
            "P1  plug three-pin                   : line=L0,",
        ),
        more="X4 socket octal : 5=L0, 6=L1, unused 1 2 3 4 7 8\nW9 wire : L0 -- L1\n",
    )
    report = checked(text)
    assert set(hazards(report)) == {"L0", "L1"}
    assert hazards(report)["L0"].remedy == "Disconnect X4 pin 5 from L0."


def test_one_bulb_with_rectifier_and_output_unit_of_unknown_basing_ties_all_its_pins():
    report = checked("""
P1 plug two-blade       : line=L1, neutral=N1
R0 dummy load 1k        : L1 -- N1
V1 tube 117XX7 unlisted : 1=L1, 2=K1, 3=G1, 4=PL1, 5=SC1
R1 resistor 1k          : K1 -- COMMON
R2 resistor 1k          : G1 -- COMMON
T1 output transformer   : primary = PL1 -- SC1, secondary = SP -- SN
LS1 speaker             : 1=SP, 2=SN
""")
    assert {"K1", "G1", "PL1", "SC1", "COMMON"} <= set(hazards(report))
    assert "SP" not in hazards(report)
    assert ("tube-unknown", "V1") in keys(report, "mind")
    assert ("not-isolating", "T1") in keys(report)


def test_an_output_secondary_on_the_hot_common_is_found():
    text = """
P1 plug two-blade     : line=L1, neutral=COMMON
T1 output transformer : primary = L1 -- PL1, secondary = SP -- {}
R1 resistor 1k        : PL1 -- COMMON
LS1 speaker           : 1=SP, 2={}
"""
    assert not {"SP", "SN"} & set(hazards(checked(text.format("SN", "SN"))))
    tied = hazards(checked(text.format("COMMON", "COMMON")))["SP"]
    assert tied.touchable
    assert path_words(tied.path) == "P1.neutral > COMMON > T1.secondary.finish-secondary.start > SP"


def test_a_motor_frame_without_earth_is_tied_and_with_one_is_to_be_measured():
    motor = "M1 motor 117 V : 1=L3, 2=N1, frame=DECK\ntouchable DECK\n"
    report = checked(clean(more=motor + "W5 wire : DECK -- CHASSIS\n"))
    assert not report.hazards
    assert ("motor-insulation", "M1") in keys(report, "mind")
    report = checked(clean(more=motor + "CH5 chassis : DECK\n"))
    assert "wire from DECK to CHASSIS" in hazards(report)["DECK"].remedy
    assert ("motor-frame", "M1") in keys(checked(clean(more="M1 motor 117 V : 1=L3, 2=N1\n")))


def test_a_motor_tap_ties_what_it_feeds():
    assert "HOT" in hazards(
        checked(
            clean(
                more=(
                    "M1 motor 117 V : 1=L3, 2=N1, tap=HOT, frame=CHASSIS\nR7 dummy load 1k : HOT"
                    " -- N1\n"
                )
            )
        )
    )


# capacitors


@pytest.mark.parametrize(
    ("class_", "to", "hazard", "must"),
    [
        ("class Y1", "CHASSIS", False, False),
        ("class Y2", "CHASSIS", False, False),
        ("class X2", "CHASSIS", True, True),
        ("", "CHASSIS", True, True),
        ("class X1", "N1", False, False),
        ("class X2", "N1", False, False),
        ("class Y2", "N1", False, False),
        ("", "N1", True, False),
        ("class Y2", "IN", True, False),
    ],
)
def test_capacitors_on_the_line_by_their_class(class_, to, hazard, must):
    report = checked(clean(more=f"C7 capacitor 2.2n {class_} : L3 -- {to}\n"))
    assert bool(report.hazards) == hazard
    assert ("C7" in told(report)) == must


def test_a_y_capacitor_to_metal_that_is_earthed_through_a_resistor_ties_it():
    report = checked(
        clean(("PE -- CHASSIS", "PE -- CASE"), more="R7 resistor 10 ohm : CASE -- CHASSIS\n")
    )
    assert hazards(report)["CHASSIS"].through == "capacitor"


def test_a_bleeder_across_an_x_capacitor_belongs_there():
    report = checked(clean(more="R7 resistor 1M : L3 -- N1\n"))
    assert not report.hazards
    assert not cautions(report)
    assert live(report) == {"L1", "L2", "L3", "N1"}


# cables and connectors


def test_the_line_on_the_shield_of_a_lead_is_a_hazard():
    cable = "K1 shielded cable : core1 = {} -- {}, shield = {} -- {}\n"
    good = clean(
        (
            "S1  switch SPST                      : L2 -- L3",
            "S1  switch SPST                      : LA -- L3",
        ),
        more=cable.format("L2", "LA", "CHASSIS", "CHASSIS"),
    )
    assert not checked(good).hazards
    report = checked(
        good.replace(
            cable.format("L2", "LA", "CHASSIS", "CHASSIS"),
            cable.format("CHASSIS", "CHASSIS", "L2", "LA"),
        )
    )
    assert set(hazards(report)) == {"L2", "LA"}


UMBILICAL = """
mains 117 V 60 Hz
P1 plug three-pin        : line=L1, neutral=N1, earth=PE
F1 fuse 1 A              : L1 -- L2
T1 transformer 30 VA     : primary = L3 -- N1, secondary 12 V = A -- B, core=PE
CH1 chassis              : PE
X1 connector {first} mates X2 : a=L2, b=L3, c=A, d=B, e=PE
X2 connector {second}         : a=SA, b=SB, c=UA, d=UB, e=CASE
S1 switch SPST           : SA -- SB
R1 resistor 1k           : UA -- UB
CH2 chassis              : CASE
W1 wire                  : UB -- CASE
"""


def test_the_umbilical_half_with_the_line_must_be_the_socket():
    assert not checked(UMBILICAL.format(first="socket", second="plug")).hazards
    wrong = hazards(checked(UMBILICAL.format(first="plug", second="socket")))
    assert set(wrong) == {"L2", "L3"}
    assert all(hazard.touchable for hazard in wrong.values())
    assert states(wrong["L2"]) == {"plug as drawn, X1 pulled, connected directly"}
    assert "Make X1 the socket and X2 the plug" in wrong["L2"].remedy
    assert set(hazards(checked(UMBILICAL.format(first="", second="plug")))) == {"L2", "L3"}


def test_a_half_without_a_mate_is_judged_as_it_stands():
    text = UMBILICAL.format(first="plug", second="socket").replace(" mates X2", "")
    assert set(hazards(checked(text))) == {"L2", "L3"}


def test_pins_of_the_other_half_that_another_lead_keeps_on_the_line_are_found():
    """The switch lead runs past the umbilical, so the pulled amplifier still has the line, and its
    plug shows it.
    """
    text = UMBILICAL.format(first="socket", second="plug") + "W9 wire : L2 -- SA\n"
    assert {"SA", "SB"} <= set(hazards(checked(text)))


def test_a_y_capacitor_counts_as_a_tie_while_a_pulled_umbilical_takes_the_earth_away():
    """The line has a lead of its own; the earth comes by the umbilical only."""
    text = (
        UMBILICAL.format(first="socket", second="socket")
        + "W9 wire : L2 -- SA\nC5 capacitor 2.2n class Y2 : SA -- CASE\n"
    )
    report = checked(text)
    assert hazards(report)["CASE"].through == "capacitor"
    assert all(
        dict(when.connectors) == {"X1": ("pulled",)} for when in hazards(report)["CASE"].when
    )
    assert is_mains_tied(read(text), "CASE")
    assert not is_mains_tied(
        read(text.replace("2.2n class Y2 : SA -- CASE", "2.2n class Y2 : L2 -- PE")), "PE"
    )


# where the switch and the fuse stand


def test_a_switch_behind_the_transformer_is_no_line_switch():
    report = checked(
        clean(
            ("S1  switch SPST                      : L2 -- L3", "W8  wire : L2 -- L3"),
            ("ac1=HV1", "ac1=HV3"),
            more="S1 switch SPST : HV1 -- HV3\n",
        )
    )
    assert "No switch in the line conductor" in told(report)


def test_a_fuse_in_the_neutral_is_told():
    report = checked(
        clean(
            (
                "F1  fuse 0.5 A slow                  : L1 -- L2",
                "W8  wire : L1 -- L2\nF1 fuse 0.5 A : N1 -- N2",
            ),
            ("primary 117 V = L3 -- N1", "primary 117 V = L3 -- N2"),
        )
    )
    assert keys(report) == [("fuse-in-neutral", "F1")]  # moved, it is ahead of the switch too


def test_a_voltage_selector_is_no_power_switch_and_ties_both_its_throws():
    selector = clean(
        ("primary 117 V = L3 -- N1", "primary 234 V = LA -- LB -- N1"),
        ("class X2        : L3 -- N1", "class X2        : L3 -- N1"),
        more="S2 switch SPDT : L3 -- LA -- LB\n",
    )
    assert not checked(selector).hazards
    assert not cautions(checked(selector))
    without = selector.replace(
        "S1  switch SPST                      : L2 -- L3", "W8 wire : L2 -- L3"
    )
    assert "No switch in the line conductor" in told(checked(without))


def test_selector_positions_are_told_one_by_one():
    text = """
P1 plug two-blade : line=L1, neutral=N1
S1 switch SPDT    : L1 -- A -- B
R1 dummy load 1k  : A -- N1
R2 dummy load 1k  : B -- N1
"""
    found = hazards(checked(text))
    assert states(found["A"]) == {
        "plug as drawn, S1 throw1, connected directly",
        "plug reversed, S1 throw2, through R1",
    }


# what must not be cried wolf over


def test_nothing_is_found_in_a_finished_conversion():
    report = checked(CLEAN)
    assert report.verdict == NOTHING
    assert report.exit_status == 0
    assert not cautions(report)
    assert live(report) == {"L1", "L2", "L3", "N1"}


def test_a_netlist_without_a_plug_is_not_called_clear():
    circuit = read(
        CLEAN.replace(
            "P1  plug three-pin                   : line=L1, neutral=N1, earth=PE\n", "open L1\n"
        ).replace("W1  wire green-yellow                : PE -- CHASSIS\n", "")
    )
    report = check(circuit)
    assert "no plug" in report.note.lower()
    assert "no plug" in told(report, "must").lower()
    assert report.exit_status == 1
    assert "nothing found" not in report.verdict
