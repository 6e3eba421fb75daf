"""Does a set work, in figures: on small sets with one thing wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from rework.anatomy.function import function
from rework.anatomy.function_row import Aspect, Working
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Value
from rework.language.resolve import read_circuit
from rework.solve.function import Performance, compared, performance, settled, solved_rows

SETS = Path(__file__).parents[1] / "sets"

BENCH = """circuit "one stage on a bridge"
mains 117 V 60 Hz
P1 plug three-pin : line=L1, neutral=N1, earth=PE
F1 fuse 0.5 A 250 V : L1 -- L2
T1 transformer 30 VA : primary 117 V dcr 15 ohm = L2 -- N1,
  hv 110 V 100 mA dcr 40 ohm = A1 -- A2,
  heater 6.3 V 1 A dcr 0.1 ohm = H1 -- COMMON, core=PE
D1 bridge silicon 1 A 600 V : ac1=A1, ac2=A2, plus=B1, minus=COMMON
C1 electrolytic 47 uF 250 V : B1 -- COMMON
R1 resistor 22k 2 W : B1 -- COMMON
J1 jack input : tip=IN, sleeve=COMMON
R2 resistor 470k : IN -- COMMON
V1 tube EL84 : 2=IN, 3=K, 4=H1, 5=COMMON, 7=P, 9=B1, unused 1 6 8
R3 resistor 270 ohm 2 W : K -- COMMON
C2 electrolytic 50 uF 25 V : K -- COMMON
T2 output transformer 5 W : primary load 5k dcr 250 ohm = B1 -- P,
  secondary load 4 ohm dcr 0.3 ohm = SP -- COMMON
LS1 speaker 4 ohm 5 W : 1=SP, 2=COMMON
"""


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text)
    assert not problems, [problem.message for problem in problems]
    assert circuit is not None
    return circuit


@pytest.fixture(scope="module")
def sound() -> Performance:
    return performance(read(BENCH))


def faults(text: str) -> dict[tuple[str, str], str]:
    circuit = read(text)
    return {
        (row.aspect.value, row.subject): str(row.place)
        for row in solved_rows(circuit, performance(circuit))
        if row.working is Working.FAULT
    }


def test_a_sound_set_has_figures_and_nothing_over(sound):
    rows = solved_rows(read(BENCH), sound)
    assert not [row for row in rows if row.working is Working.FAULT]
    kept = [row for row in rows if row.aspect is Aspect.RATING]
    rated = {stress.part for stress in sound.stresses if stress.rating}
    fuses = {row.subject for row in rows if row.aspect is Aspect.FUSE}
    assert {row.subject for row in kept} == rated - fuses
    assert all(row.value <= row.rated * 1.1 for row in kept)
    assert sound.gain is not None
    assert sound.gain > 0.5
    assert sound.watts is not None
    assert 0.3 < sound.watts < 3
    assert sound.rail == "B1"
    assert sound.rail_volts == pytest.approx(140, rel=0.1)


def test_a_fuse_that_carries_more_than_its_rating_is_told_at_that_amount(sound):
    found = faults(BENCH.replace("fuse 0.5 A", "fuse 0.05 A"))
    assert ("fuse", "F1") in found
    assert sound.line_amps is not None
    just = BENCH.replace("fuse 0.5 A", f"fuse {sound.line_amps * 1.001:.5f} A")
    assert ("fuse", "F1") not in faults(just)


def test_a_capacitor_over_its_volts_and_a_tube_without_current_are_told():
    assert ("rating", "C1") in faults(BENCH.replace("47 uF 250 V", "47 uF 100 V"))
    cut = BENCH.replace(
        "R3 resistor 270 ohm 2 W : K -- COMMON", "R3 resistor 100 megohm : K -- COMMON"
    )
    assert ("plate current", "V1") in faults(cut)


def test_direct_current_through_a_heater_winding_starves_the_heater():
    """The supply's minus goes through a half-wave diode and the heater winding's own heater."""
    text = BENCH.replace(
        "heater 6.3 V 1 A dcr 0.1 ohm = H1 -- COMMON", "heater 6.3 V 1 A dcr 0.1 ohm = HW -- COMMON"
    )
    circuit = read(text + "D2 diode silicon 3 A 100 V : HW -- H1\n")
    (heater,) = [row for row in function(circuit) if row.aspect is Aspect.HEATER]
    assert (heater.working, heater.place, heater.part) == (Working.FAULT, "half-wave", "D2")
    (volts,) = [row.amount for row in performance(circuit).stresses if row.key == "heater_volts"]
    # the diode is ideal to the wiring: some 0.8 V of 8.9 V at the peak
    assert heater.value == pytest.approx(volts, rel=0.15)
    # what the wiring shows is told once
    rows = solved_rows(circuit, performance(circuit))
    assert not [r for r in rows if r.working is Working.FAULT and r.place == "heater_volts"]


def test_a_heater_on_smoothed_direct_current_has_the_solved_volts():
    text = BENCH.replace("= H1 -- COMMON", "= HW -- COMMON")
    text += "D2 diode silicon 3 A 100 V : HW -- H1\nC9 electrolytic 10000 uF 16 V : H1 -- COMMON\n"
    circuit = read(text)
    (wired,) = [row for row in function(circuit) if row.aspect is Aspect.HEATER]
    assert (wired.working, wired.value) == (Working.UNKNOWN, None)
    now = performance(circuit)
    assert now.gain is not None, "on direct current its cathode is hot"
    assert Working.UNKNOWN not in {row.working for row in settled((wired,), now)}


def test_a_fall_of_three_decibels_is_a_fault_and_less_is_not(sound):
    circuit = read(BENCH)
    less = replace(sound, gain=sound.gain / 1.40)
    rows = {r.aspect: r for r in compared(circuit, sound, circuit, less, ())}
    assert rows[Aspect.GAIN].working is Working.WORKS
    lower = replace(sound, gain=sound.gain / 1.42, watts=sound.watts / 2.01)
    rows = {r.aspect: r for r in compared(circuit, sound, circuit, lower, ())}
    assert rows[Aspect.GAIN].working is Working.FAULT
    assert rows[Aspect.WATTS].working is Working.FAULT


def test_a_set_whose_only_input_is_a_speaker_is_not_told_as_silent():
    circuit = read((SETS / "bakery" / "bakery.circuit").read_text(encoding="utf-8"))
    rows = solved_rows(circuit, performance(circuit, rated=False))
    assert all(row.working is not Working.FAULT for row in rows if row.aspect is Aspect.NUMBERS)


def test_a_heater_on_a_motor_tap_of_unknown_volts_is_not_told_as_cold():
    circuit = read((SETS / "holiday-camp" / "holiday-camp.circuit").read_text(encoding="utf-8"))
    rows = solved_rows(circuit, performance(circuit))
    assert [row for row in rows if row.subject == "V1" and row.place == "heater_volts"] == []


def test_a_value_without_figures_stays_out_of_the_fuse_row():
    circuit = read(BENCH)
    fuse = circuit.by_name["F1"]
    bare = replace(fuse, values=tuple(v for v in fuse.values if v.dimension != "current"))
    assert isinstance(bare.values[0], Value)
    parts = tuple(bare if part is fuse else part for part in circuit.parts)
    other = circuit.with_parts(parts)
    rows = solved_rows(other, performance(other, rated=False))
    assert [row for row in rows if row.aspect is Aspect.FUSE] == []
