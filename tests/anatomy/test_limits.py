"""Every limit of anatomy from both sides."""

from __future__ import annotations

import pytest
from benches import anatomy, read

from rework.anatomy.amplifier import of
from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.anatomy.heating import Heating
from rework.anatomy.lost import lost
from rework.circuit.edits import AttachCircuit, Edit, RunWire, apply_edit
from rework.circuit.parts import Part

SET = """circuit "one stage on an isolated supply"
mains 120 V 60 Hz
P1 plug three-pin : line=L1, neutral=N1, earth=PE
F1 fuse 0.5 A 250 V : L1 -- L2
S1 switch : L2 -- L3
T1 transformer 30 VA : primary 120 V = L3 -- N1, hv 110 V = A1 -- A2,
  heater {heater} V = H1 -- COMMON, core=PE
M1 motor {motor} V 10 W : 1=L3, 2=N1, frame=PE
LP1 lamp {lamp} V 150 mA : H1 -- COMMON
D1 bridge silicon 1 A 600 V : ac1=A1, ac2=A2, plus=B1, minus=NEG
C1 electrolytic 47 uF 250 V : B1 -- NEG
RB resistor {back} ohm : NEG -- COMMON
J1 jack input : tip=IN, sleeve=COMMON
R2 resistor 470k : IN -- COMMON
V1 tube EL84 : 2=IN, 3=K, 4=H1, 5=COMMON, 7=P, 9=SCR, unused 1 6 8
RS resistor {screen} ohm : B1 -- SCR
R3 resistor {cathode} ohm : K -- COMMON
T2 output transformer 5 W : primary load 5k = B1 -- P, secondary load 4 ohm = SP -- BACK
RL resistor {lead} ohm : BACK -- RET
LS1 speaker 4 ohm 5 W : 1=SP, 2=RET
"""
SOUND = {
    "heater": 6.3,
    "motor": 120,
    "lamp": 6.3,
    "back": 100,
    "screen": 1000,
    "cathode": 270,
    "lead": 0.1,
}


def told(**changed: float) -> dict[str, Working]:
    text = SET.format(**{name: f"{value:.9g}" for name, value in (SOUND | changed).items()})
    return {f"{row.aspect} {row.subject}": row.working for row in function(read(text))}


def test_the_set_works_as_it_is():
    assert set(told().values()) == {Working.WORKS}


@pytest.mark.parametrize(
    ("name", "inside", "outside", "key"),
    [
        ("heater", 6.3 * 1.099, 6.3 * 1.101, "heater V1"),
        ("heater", 6.3 * 0.901, 6.3 * 0.899, "heater V1"),
        ("lamp", 6.3 / 1.099, 6.3 / 1.101, "lamp LP1"),
        ("lamp", 6.3 / 0.901, 6.3 / 0.399, "lamp LP1"),
        ("motor", 120 / 1.099, 120 / 1.101, "motor M1"),
        ("motor", 120 / 0.901, 120 / 0.899, "motor M1"),
        ("back", 19.9e3, 20.1e3, "B- return COMMON"),
        ("cathode", 0.999e6, 1.001e6, "cathode V1"),
        ("screen", 4.999e6, 5.001e6, "screen V1"),
        ("lead", 1.99, 2.01, "load LS1"),
    ],
)
def test_a_limit_holds_from_both_sides(name, inside, outside, key):
    if name == "cathode":  # the way to B- is part of it
        inside, outside = inside - 100, outside - 100
    assert told(**{name: inside})[key] is Working.WORKS
    assert told(**{name: outside})[key] is Working.FAULT


def test_a_dim_lamp_is_noted_and_a_dark_one_is_a_fault():
    assert told(lamp=6.3 / 0.899)["lamp LP1"] is Working.NOTE
    assert told(lamp=6.3 / 0.401)["lamp LP1"] is Working.NOTE
    assert told(lamp=6.3 / 0.399)["lamp LP1"] is Working.FAULT


@pytest.mark.parametrize(("farads", "filters"), [("1 uF", True), (".99 uF", False)])
def test_a_capacitor_without_polarity_filters_from_a_microfarad(farads, filters):
    text = SET.format(**SOUND) + f"C9 capacitor {farads} 400 V : B1 -- COMMON\n"
    assert anatomy(text).is_filter("C9") is filters


@pytest.mark.parametrize(("ohms", "is_fed"), [("4.99k", True), ("5.01k", False)])
def test_a_rectifier_is_fed_through_a_few_kilohms(ohms, is_fed):
    text = SET.format(**SOUND).replace("ac1=A1", "ac1=A3").replace("ac2=A2", "ac2=A4")
    text += f"RA resistor {ohms} : A1 -- A3\nRC resistor {ohms} : A2 -- A4\n"
    rows = {f"{row.aspect} {row.subject}": row.working for row in function(read(text))}
    assert (rows["rectifier D1"] is Working.WORKS) is is_fed


@pytest.mark.parametrize(("ohms", "carries"), [("4999 ohm", True), ("5001 ohm", False)])
def test_a_resistor_of_five_kilohms_carries_no_heater_current(ohms, carries):
    text = SET.format(**SOUND).replace("4=H1, 5=COMMON", "4=H1, 5=H5")
    text += f"RH resistor {ohms} : H5 -- COMMON\n"
    (row,) = (row for row in Heating(of(read(text)).heaters).warmth() if row.part == "V1")
    assert row.volts is not None
    assert (row.volts > 0.001) is carries


def test_a_lamp_across_part_of_the_string_is_judged_more_kindly_than_one_on_a_winding():
    text = """circuit "lamp on the tap"
mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=COMMON
V4 tube 35W4 : 3=H2, 4=L1, 5=L1, 6=TAP, 7=B1, unused 1 2
LP1 lamp pilot 6.3 V 150 mA : L1 -- TAP
R1 resistor {ohms} ohm 10 W : H2 -- COMMON
C1 electrolytic 40 uF 150 V : B1 -- COMMON
R2 resistor 5k : B1 -- COMMON
"""
    rows = {row.subject: row for row in function(read(text.format(ohms=560)))}
    assert rows["LP1"].working is Working.WORKS
    rows = {row.subject: row for row in function(read(text.format(ohms=1200)))}
    assert rows["LP1"].working is Working.FAULT


def test_a_port_that_nothing_is_on_is_told_and_one_that_is_used_is_not():
    supply = read(
        """circuit "supply"
mains 120 V 60 Hz
P1 plug three-pin : line=L1, neutral=N1, earth=PE
T1 transformer : primary 120 V = L1 -- N1, heater 6.3 V = H1 -- H2, core=PE
R1 resistor 100 ohm : H1 -- H2
port heater1 = H1, heater2 = H2
"""
    )
    attach = AttachCircuit(supply, "SUPPLY")
    before = read(SET.format(**SOUND))
    after = apply_edit(before, attach)
    wire = Part("W9", "wire", pins=(("1", "SUPPLY/H1"), ("2", "COMMON")))
    after = apply_edit(after, RunWire(wire))
    rows = lost(before, after, (Edit(attach), Edit(RunWire(wire))))
    assert [(row.subject, row.part) for row in rows if row.aspect == "port"] == [
        ("heater2", "SUPPLY")
    ]


def test_every_position_of_a_selector_in_the_line_has_to_feed_the_primary():
    text = SET.format(**SOUND).replace("S1 switch : L2 -- L3", "S1 switch SPDT : L2 -- L3 -- L9")
    rows = {(row.aspect.value, row.subject): row for row in function(read(text + "open L9\n"))}
    found = [row for row in rows.values() if row.working is Working.FAULT]
    assert found, "one of the two throws leads nowhere"
