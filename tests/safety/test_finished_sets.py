"""What a finished conversion wants besides no ties: plug, fuse, switch, earth, heaters, ratings."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hot_sets import CLEAN, cautions, checked, clean, keys, read, told

from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.circuit.parts import Part
from rework.safety.check import check

SWITCH = "S1  switch SPST                      : L2 -- L3"
FUSE = "F1  fuse 0.5 A slow                  : L1 -- L2"
HEATER = "heater 6.3 V 2 A = H1 -- H2"
BALANCE = (
    "R8  resistor 100 ohm                 : H1 -- COMMON\nR9  resistor 100 ohm                 : H2"
    " -- COMMON\n"
)


def must(*changes, more: str = "") -> str:
    return told(checked(clean(*changes, more=more)))


def wanting(*changes, more: str = "") -> list[tuple[str, str]]:
    return keys(checked(clean(*changes, more=more)))


# plug, fuse and switch


def test_a_two_blade_plug_has_no_earth():
    assert ("no-earth", "P1") in wanting(
        (
            "plug three-pin                   : line=L1, neutral=N1, earth=PE",
            "plug two-blade : line=L1, neutral=N1",
        ),
        more="open PE\n",
    )


def test_the_fuse_comes_before_the_switch():
    report = checked(
        clean(
            (FUSE, "F1  fuse 0.5 A slow                  : L2 -- L3"),
            (SWITCH, "S1  switch SPST                      : L1 -- L2"),
        )
    )
    assert keys(report) == [("fuse-order", "S1")]
    assert cautions(report)[0].remedy == (
        "Exchange S1 and F1: wire the line to the fuse F1 first, and from there to S1."
    )


FILTERED = (
    (FUSE, "F1  fuse 0.5 A slow : LF -- L2"),
    ("primary 117 V = L3 -- N1", "primary 117 V = L3 -- NF"),
    ("C8  capacitor .01 uF class X2        : L3 -- N1", ""),
)
ONE_CASE = (
    "LF1 inlet filter 3 A 250 V class Y2 1 nF : line=L1, neutral=N1, line-out=LF, neutral-out=NF,"
    " earth=CHASSIS\n"
)
CHOKES = (
    "L8 choke 10 mH 1 A : L1 -- LF\nL9 choke 10 mH 1 A : N1 -- NF\n"
    "C10 capacitor .1 uF 275 V class X2 : L1 -- N1\n"
)


@pytest.mark.parametrize("line_filter", [ONE_CASE, CHOKES], ids=["in one case", "of two chokes"])
def test_a_line_filter_may_be_ahead_of_fuse_and_switch(line_filter):
    assert wanting(*FILTERED, more=line_filter) == []
    assert all(
        row.working is Working.WORKS for row in function(read(clean(*FILTERED, more=line_filter)))
    )


@pytest.mark.parametrize("line_filter", [ONE_CASE, CHOKES], ids=["in one case", "of two chokes"])
def test_behind_a_line_filter_fuse_and_switch_are_asked_for_as_ever(line_filter):
    fuse, *others = FILTERED
    no_fuse = ((FUSE, "W8 wire : LF -- L2"), *others)
    assert wanting(*no_fuse, more=line_filter) == [("fuse-order", "S1")]
    assert wanting(fuse, *others, (SWITCH, "W9 wire : L2 -- L3"), more=line_filter) == [
        ("no-switch", "T1")
    ]


def test_filter_and_bypass_capacitors_need_no_class_where_the_earthed_common_is_tied():
    """An autotransformer in place of the isolating one: B+ and common are both on the mains."""
    report = checked(
        clean(
            ("hv 150 V 100 mA = HV1 -- HV2,\n", "\n"),
            more="AT1 autotransformer 60 VA : winding 234 V = HV1 -- L3 -- N1\n"
            "W20 wire : HV2 -- N1\nW21 wire : N1 -- COMMON\n",
        )
    )
    assert report.hazards
    assert "not-class-y" not in {caution.key for caution in report.cautions}


def test_a_set_without_a_fuse():
    assert "There is no fuse in the line conductor between P1 and T1." in must(
        (FUSE, "W8 wire : L1 -- L2"), (SWITCH, "W9 wire : L2 -- L3")
    )


def test_a_switch_and_no_fuse():
    report = checked(clean((FUSE, "W8 wire : L1 -- L2")))
    assert keys(report) == [("fuse-order", "S1")]
    assert "new fuse F1, 0.63 A slow 250 V" in cautions(report)[0].remedy  # 40 VA: 0.34 A


def test_a_set_without_a_switch():
    assert must((SWITCH, "W9 wire : L2 -- L3")) == "No switch in the line conductor turns off T1."
    assert checked(clean((SWITCH, "W9 wire : L2 -- L3"))).cautions[0].remedies


def test_a_switch_in_the_neutral_only():
    report = checked(
        clean(
            (SWITCH, "S1 switch : N2 -- N1\nW9 wire : L2 -- L3"),
            ("primary 117 V = L3 -- N1", "primary 117 V = L3 -- N2"),
        )
    )
    assert ("switch-in-neutral", "S1") in keys(report)
    assert "Move S1 to the line conductor" in "".join(one.remedy for one in cautions(report))


def test_a_two_pole_switch_and_fuses_in_both_conductors_are_allowed_the_second_fuse_is_told():
    report = checked(
        clean(
            (SWITCH, "S1 switch DPST : L2 -- L3, N1 -- N2\nF2 fuse 0.5 A : N2 -- N3"),
            ("primary 117 V = L3 -- N1", "primary 117 V = L3 -- N3"),
            ("class X2        : L3 -- N1", "class X2        : L3 -- N3"),
        )
    )
    assert not cautions(report)
    assert ("fuse-in-neutral", "F2") in keys(report, "mind")


def test_an_x_capacitor_may_stand_before_the_fuse():
    assert not must(("class X2        : L3 -- N1", "class X2        : L1 -- N1"))


# earth


def test_a_chassis_that_no_conductor_bonds():
    text = must(
        (
            "W1  wire green-yellow                : PE -- CHASSIS",
            "R7 resistor 10 ohm : PE -- CHASSIS",
        )
    )
    assert "CHASSIS" in text
    assert "no conductor bonds it to the earth of the plug" in text


def test_an_input_sleeve_must_be_bonded_a_speaker_jack_need_not():
    assert "IN2 " not in must(more="J2 jack input : tip=IN, sleeve=COMMON\n")
    assert "FLOAT (J2 sleeve) is metal" in must(
        more="J2 jack input : tip=IN, sleeve=FLOAT\nR7 resistor 1M : IN -- FLOAT\n"
    )
    report = checked(
        clean(
            more=(
                "T3 output transformer : primary = B1 -- PL2, secondary = A -- B\nJ2 jack speaker :"
                " tip=A, sleeve=B\n"
            )
        )
    )
    assert not cautions(report)
    assert ("output-not-bonded", "J2") in keys(report, "mind")


APART = """
mains 117 V 60 Hz
P1 plug three-pin            : line=L1, neutral=N1, earth=PE
F1 fuse 1 A                  : L1 -- L2
T1 transformer 60 VA         : primary = L3 -- N1, secondary 12 V = A -- B, core=PE
CH1 chassis                  : PE
X1 connector socket mates X2 : 1=A, 2=B, 3=PE
X2 connector plug            : 1=UA, 2=UB, 3=CASE
S1 switch on R2              : SA -- SB
R2 pot 500k plastic-shaft    : ccw=UA, wiper=UA, cw=UB
CH2 chassis                  : CASE
W2 wire                      : UB -- CASE
W3 shielded cable            : core1 = L2 -- SA, core2 = L3 -- SB{}
"""


def test_line_left_in_the_amplifier_by_the_switch_lead_when_the_umbilical_is_pulled():
    text = told(checked(APART.format("")))
    assert text == "With X1 unplugged, CASE has no earth while the line is still at S1."


def test_an_earth_that_comes_with_the_switch_lead_mends_it():
    assert not told(checked(APART.format(", shield = PE -- CASE")))


def test_with_no_line_in_the_amplifier_the_earth_contact_is_to_be_known_only():
    report = checked(
        APART.format("")
        .replace(
            "W3 shielded cable            : core1 = L2 -- SA, core2 = L3 -- SB",
            "W3 wire : L2 -- SA\nW4 wire : L3 -- SB",
        )
        .replace(" on R2", "")
    )
    assert not cautions(report)
    assert "With X1 unplugged, CASE has no earth." in told(report, "mind")


def test_a_connector_with_line_and_earth():
    report = checked(
        APART.format("")
        .replace("core1 = L2 -- SA, core2 = L3 -- SB", "core1 = UL -- SA, core2 = UM -- SB")
        .replace("1=A, 2=B, 3=PE", "1=A, 2=B, 3=PE, 4=L2, 5=L3")
        .replace("1=UA, 2=UB, 3=CASE", "1=UA, 2=UB, 3=CASE, 4=UL, 5=UM")
    )
    assert not cautions(report)
    assert "X1 carries both the line and the earth of CASE." in told(report, "mind")


def test_a_y_capacitor_is_to_be_measured():
    assert ("class-y", "C9") in keys(checked(CLEAN), "mind")


# heaters


def test_heater_volts_are_held_to_a_tenth_of_the_rating_by_the_way_it_is_wired():
    assert not must((HEATER, "heater 6.9 V 2 A = H1 -- H2"))
    text = must((HEATER, "heater 7 V 2 A = H1 -- H2"))
    assert "V1 (12AX7), wired for 6.3 V, is on the heater winding of T1 with 7 V" in text
    assert "V2 (6AQ5)" in text


def test_a_12ax7_wired_for_twice_the_volts():
    text = must(("4=H1, 5=H1, 9=H2", "4=H1, 5=H2, unused 9"))
    assert (
        text
        == "The heater of V1 (12AX7), wired for 12.6 V, is on the heater winding of T1 with 6.3 V:"
        " more than 10 % off."
    )


def test_half_a_heater_shorted_by_its_tap():
    text = must(
        ("4=H1, 5=H1, 9=H2", "4=H1, 5=H2, 9=H2"),
        (HEATER, "heater 12.6 V 2 A = H1 -- H2"),
        ("3=H1, 4=H2, 5=PL2", "3=H1, 4=HT, 5=PL2"),
        more="R7 resistor 14 ohm 5 W : HT -- H2\n",
    )
    assert text == "Half of the heater of V1 is shorted: its tap, pin 9, is connected to one end."


@pytest.mark.parametrize(
    ("pins", "what"),
    [
        ("4=H1, 5=H1, unused 9", "pin 9 is open"),
        ("4=H1, 9=H2, unused 5", "pin 5 is open"),
        ("4=H1, 5=H1, 9=H1", "both ends are on one point"),
    ],
)
def test_every_heater_pin_is_fed(pins, what):
    assert f"The heater of V1 (12AX7) is not fed: {what}." in must(("4=H1, 5=H1, 9=H2", pins))


def test_a_heater_with_one_end_in_the_air():
    assert "The heater of V2 is not fed: one end is connected to nothing else." in must(
        ("3=H1, 4=H2, 5=PL2", "3=H1, 4=HX, 5=PL2"), more="open HX\n"
    )


def test_a_series_resistor_is_counted_into_the_volts():
    assert not must(
        (HEATER, "heater 12.6 V 2 A = H1 -- H2"),
        ("3=H1, 4=H2, 5=PL2", "3=H1, 4=HT, 5=PL2"),
        ("4=H1, 5=H1, 9=H2", "4=H1, 5=H2, unused 9"),
        more="R7 resistor 14 ohm 5 W : HT -- H2\n",
    )


def test_a_winding_with_too_few_amperes():
    assert "The heater winding of T1 supplies 0.7 A and V1 and V2 draw 0.75 A." in must(
        (HEATER, "heater 6.3 V 0.7 A = H1 -- H2")
    )


def test_half_a_tapped_winding():
    report = checked(
        clean(
            (HEATER, "heater 12.6 V 2 A = H1 -- H2 -- H3"),
            more="LP1 lamp pilot 12.6 V 150 mA : H1 -- H3\n",
        )
    )
    assert not cautions(report)


def test_heaters_that_nothing_holds_to_common():
    report = checked(clean((BALANCE, "")))
    assert keys(report) == [("heater-floating", "T1")]
    assert cautions(report)[0].remedy == (
        "Fit two resistors of 100 ohm 1/2 W, R7 and R8, from both ends of it to COMMON."
    )


def test_a_bridge_on_common_holds_the_winding_it_is_fed_from():
    bridge = (
        "BR9 bridge 400 V 1 A : ac1=H1, ac2=H2, plus=BX, minus=COMMON\nC99 capacitor 1 uF 50 V : BX"
        " -- COMMON\n"
    )
    assert not wanting((BALANCE, ""), more=bridge)
    adrift = bridge.replace("minus=COMMON", "minus=BN").replace("BX -- COMMON", "BX -- BN")
    assert ("heater-floating", "T1") in wanting((BALANCE, ""), more=adrift)


def test_a_tap_or_a_pot_is_a_reference_as_well():
    assert not must((BALANCE, ""), (HEATER, "heater 6.3 V 2 A = H1 -- COMMON -- H2"))
    assert not must((BALANCE, "R8 pot 100 ohm : ccw=H1, wiper=COMMON, cw=H2\n"))


def test_raised_heaters_are_held_to_the_heater_cathode_limit():
    report = checked(
        clean(
            (
                BALANCE,
                (
                    "R8 resistor 100k : B1 -- HR\nR9 resistor 22k : HR -- COMMON\nR7 resistor 100"
                    " ohm : HR -- H1\n"
                ),
            )
        )
    )
    assert not cautions(report)
    assert (
        "raises the heater winding of T1. The lowest heater-cathode limit is 90 V, of V2 (6AQ5"
        in told(report, "mind")
    )


STRING = """
mains 117 V 60 Hz
P1 plug two-blade   : line=L1, neutral=COMMON
R1 resistor {ohms} ohm 10 W dropper : L1 -- H1
V1 tube 35W4        : 3=H2, 4=H1, 5=L1, 7=B1, unused 6
V2 tube {type}      : 3=H2, 4=H3, 1=K2, 2=G2, 6=B1, 7=PL2, unused 5
V3 tube 12AV6       : 1=G3, 2=COMMON, 3=H3, 4=COMMON, 5=COMMON, 6=COMMON, 7=PL3
R2 resistor 150 ohm : K2 -- COMMON
R3 resistor 470k    : G2 -- COMMON
R4 resistor 2.2k    : B1 -- PL2
R5 resistor 10M     : G3 -- COMMON
R6 resistor 220k    : B1 -- PL3
"""


def strings(text: str) -> str:
    return "\n".join(line for line in told(checked(text)).splitlines() if "string" in line)


def test_a_string_that_adds_up():
    assert not strings(STRING.format(ohms=130, type="50C5"))


def test_a_string_that_does_not():
    text = strings(STRING.format(ohms=600, type="50C5"))
    assert (
        text
        == "The heater string V1, V2 and V3 adds up to 187.6 V at 150 mA and is on the line with"
        " 117 V: more than 10 % off."
    )


def test_a_tube_of_another_heater_current_in_the_string():
    text = strings(STRING.format(ohms=130, type="34GD5"))
    assert text.startswith(
        "The heaters in one string do not have the same current: V1 150 mA, V2 100 mA and V3 150 mA"
    )


# ratings


def test_half_wave_on_a_transformer_is_told_a_bridge_and_two_plates_are_not():
    half = clean(
        (
            "D1  bridge silicon                   : ac1=HV1, ac2=HV2, plus=B1, minus=COMMON",
            "R7 resistor 33 ohm : HV1 -- HX\nD1 diode : HX -- B1\nW8 wire : HV2 -- COMMON",
        )
    )
    assert "D1 is a half-wave rectifier on the hv winding of T1" in told(checked(half), "mind")
    assert "half-wave" not in told(checked(CLEAN), "mind")
    full = clean(
        (
            "D1  bridge silicon                   : ac1=HV1, ac2=HV2, plus=B1, minus=COMMON",
            "V3 tube 6X4 : 1=HV1, 6=HV2, 7=B1, 3=H1, 4=H2, unused 2 5",
        ),
        ("hv 150 V 100 mA = HV1 -- HV2", "hv 300 V 60 mA = HV1 -- COMMON -- HV2"),
    )
    assert "half-wave" not in told(checked(full), "mind")
    doubler = clean(
        (
            "D1  bridge silicon                   : ac1=HV1, ac2=HV2, plus=B1, minus=COMMON",
            (
                "D1 diode : HV1 -- B1\nD2 diode : COMMON -- HV1\nC5 electrolytic 47 uF : B1 --"
                " HV2\nC6 electrolytic 47 uF : HV2 -- COMMON"
            ),
        )
    )
    assert "half-wave" not in told(checked(doubler), "mind")


def test_one_plate_of_a_rectifier_tube_is_half_wave_too():
    text = clean(
        (
            "D1  bridge silicon                   : ac1=HV1, ac2=HV2, plus=B1, minus=COMMON",
            "V3 tube 6X4 : 1=HV1, 6=HV1, 7=B1, 3=H1, 4=H2, unused 2 5\nW8 wire : HV2 -- COMMON",
        )
    )
    assert "V3 is a half-wave rectifier" in told(checked(text), "mind")


def test_an_unknown_tube_must_be_looked_up_unless_it_is_said_to_be_unlisted():
    odd = "V7 tube {} : 1=COMMON, 2=COMMON, 3=COMMON\n"
    circuit = read(CLEAN)
    strange = Part("V7", "tube", type="6ZZ9", pins=(("1", "COMMON"), ("2", "CHASSIS")))
    assert "V7 is a 6ZZ9, which is not in the tube library" in told(
        check(circuit.with_parts((*circuit.parts, strange)))
    )
    assert not cautions(checked(clean(more=odd.format("6ZZ9 unlisted"))))


def test_every_pin_of_a_tube_is_accounted_for():
    circuit = read(CLEAN)
    lifted = tuple(
        (
            replace(part, pins=tuple(pin for pin in part.pins if pin[0] != "6"))
            if part.name == "V2"
            else part
        )
        for part in circuit.parts
    )
    assert (
        told(check(circuit.with_parts(lifted)))
        == "Of V2 (6AQ5) the netlist does not say where pin 6 (screen) goes."
    )
