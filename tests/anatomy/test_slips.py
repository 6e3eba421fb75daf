"""What is unusual enough to be a slip of the pen, held from both sides of its limit."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.anatomy.function import function
from rework.anatomy.function_row import Aspect, Working
from rework.circuit.kinds import KINDS
from rework.language.resolve import read_circuit

PAGER = (Path(__file__).parents[2] / "circuits" / "pager" / "pager.circuit").read_text()
SLIPS = (Aspect.POLARITY, Aspect.STAGE, Aspect.CONTROL, Aspect.MATCH, Aspect.VALUE)


def slips(text: str) -> list[tuple[Aspect, str]]:
    circuit, problems = read_circuit(text, file="x")
    assert problems == ()
    return [(row.aspect, row.subject) for row in function(circuit) if row.aspect in SLIPS]


@pytest.mark.parametrize("name", ["C11", "C12", "C10", "C2"])
def test_every_electrolytic_of_a_set_is_told_when_it_is_turned(name):
    line = next(line for line in PAGER.split("\n") if line.startswith(f"{name} "))
    head, ends = line.split('  "')[0].rsplit(" : ", 1)
    plus, minus = ends.split(" -- ")
    text = PAGER.replace(line, f"{head} : {minus} -- {plus}")
    assert slips(text) == [(Aspect.POLARITY, name)]
    assert slips(text.replace(f"{head} :", f"{head} bipolar :")) == []


@pytest.mark.parametrize("kind", sorted(name for name, kind in KINDS.items() if kind.usual))
def test_a_value_is_told_beyond_what_its_kind_usually_has_and_not_within(kind):
    letters = {"current": "A", "voltage": "V", "resistance": "ohm", "power": "W"}
    letters |= {"capacitance": "F", "inductance": "H"}
    ends = "1=A, 2=B" if kind == "motor" else "ac1=A, ac2=B, plus=C, minus=D"
    ends = {"pot": "ccw=A, wiper=B, cw=B", "bridge": ends, "motor": ends}.get(kind, "A -- B")
    for dimension, low, high in KINDS[kind].usual:
        for amount, told in ((low, 0), (high, 0), (0.99 * low, 1), (1.01 * high, 1)):
            amount_text = f"{amount:.20f}".rstrip("0").rstrip(".")
            text = f"X1 {kind} {amount_text} {letters[dimension]} : {ends}\nopen A, B, C, D\n"
            text = text if kind == "bridge" else text.replace(", C, D", "")
            assert len(slips(text)) == told, text


def test_a_load_that_costs_3_db_against_the_printed_one_is_told():
    # the sheet of the 35C5 prints 2.5k; a 6AQ5 in its place wants 5k
    assert slips(PAGER.replace("load 2.5k", "load 4.98k")) == []
    assert slips(PAGER.replace("load 2.5k", "load 5k")) == [(Aspect.MATCH, "T1")]
    assert slips(PAGER.replace("load 2.5k", "load 1.26k")) == []
    assert slips(PAGER.replace("load 2.5k", "load 1.25k")) == [(Aspect.MATCH, "T1")]


def test_a_neon_lamp_of_a_milliampere_is_usual():
    neon = "X1 lamp neon 65 V {} mA : A -- B\nopen A, B\n"
    assert [len(slips(neon.format(amount))) for amount in (0.09, 0.1, 1, 20, 21)] == [1, 0, 0, 0, 1]


def test_a_control_of_audio_taper_turns_up_to_the_right():
    turned = PAGER.replace("ccw=COMMON, wiper=WIPER, cw=VOL", "ccw=VOL, wiper=WIPER, cw=COMMON")
    assert slips(turned) == [(Aspect.CONTROL, "R6")]
    assert slips(turned.replace("audio metal", "linear metal")) == []


def test_a_slip_is_to_know_and_a_turned_capacitor_is_a_fault():
    circuit, _ = read_circuit(PAGER.replace("1 A 250 V", "1 mA 250 V"), file="x")
    row = next(row for row in function(circuit) if row.aspect is Aspect.VALUE)
    assert (row.subject, row.working, row.value) == ("F1", Working.NOTE, 1e-3)


def test_a_plate_is_told_of_outside_its_shares():
    from rework.solve.plates import Plate

    assert not Plate("V1", 10.1, 100.0).is_odd
    assert Plate("V1", 9.9, 100.0).is_odd
    assert not Plate("V1", 79.0, 100.0).is_odd
    assert Plate("V1", 81.0, 100.0).is_odd


@pytest.mark.parametrize(
    ("part", "right", "usual", "odd"),
    [
        ("R9", "470k", "2.2M", "2.3M"),  # grid leak of the output stage
        ("R4", "100k", "15k", "14k"),  # plate load
        ("C2", "25 uF", "0.5 uF", "0.4 uF"),  # cathode bypass
        ("C4", ".01 uF", ".47 uF", ".5 uF"),  # coupling
        ("R6", "1M", "70k", "68k"),  # volume
    ],
)
def test_a_value_is_told_where_no_part_in_that_place_has_it(part, right, usual, odd):
    line = next(line for line in PAGER.split("\n") if line.startswith(f"{part} "))
    assert right in line
    assert slips(PAGER.replace(line, line.replace(right, usual, 1))) == []
    assert slips(PAGER.replace(line, line.replace(right, odd, 1))) == [(Aspect.VALUE, part)]


def test_a_divider_before_an_inverter_and_a_loudness_network_hold_no_odd_grid_leak():
    """10k under 330k is of the inverter's grid, not of the output tube's; 15k before a capacitor
    alone leads no direct current.
    """
    text = """mains 117 V 60 Hz
P1 plug two-blade : line=L, neutral=COMMON
D1 diode 1N4007 : L -- B1
C1 electrolytic 47 uF 250 V : B1 -- COMMON
V1 tube 12SL7GT : heater=L -- HA, triode1.plate=PA, triode1.grid=GA, triode1.cathode=KA,
                  triode2.plate=PB, triode2.grid=GB, triode2.cathode=KA
V2 tube 50L6GT : heater=HA -- HB, plate=PO, screen=B1, grid=GO, cathode=KO, unused 1 6
V3 tube 50L6GT : heater=HB -- COMMON, plate=PX, screen=B1, grid=GX, cathode=KO, unused 1 6
R1 resistor 220k : B1 -- PA
R2 resistor 220k : B1 -- PB
R3 resistor 2.2k : KA -- COMMON
R4 resistor 330k : GO -- GB
R5 resistor 10k : GB -- COMMON
R6 resistor 330k : GX -- COMMON
R7 resistor 120 ohm : KO -- COMMON
C2 capacitor .02 uF 400 V : PA -- GO
C3 capacitor .02 uF 400 V : PB -- GX
T1 output transformer 8k p-p : 8 : primary = PO -- B1 -- PX, secondary = SP -- COMMON
LS1 speaker 8 ohm : SP -- COMMON
R9 pot 1M audio tap 300k : ccw=COMMON, wiper=GA, cw=IN, tap=TAP
R8 resistor 15k : TAP -- RC
C4 capacitor .02 uF 200 V : RC -- COMMON
J1 jack phono : tip=IN, sleeve=COMMON
"""
    assert not [part for _, part in slips(text) if part in ("R5", "R8")]
