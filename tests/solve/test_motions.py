"""Oscillators that are meant, and those that are not."""

from __future__ import annotations

import pytest

from rework.language.resolve import read_circuit
from rework.solve.signal import loudest, signal
from rework.solve.signal_words import figures

#: An output stage and a phase-shift oscillator beside it, on direct current.
TREMOLO = """mains 250 V 0 Hz
P1 plug : line=B, neutral=COMMON
J1 jack input : tip=G, sleeve=COMMON
R4 resistor 470k : G -- COMMON
V2 tube 6V6GT : 3=PO, 4=B, 5=G, 8=KO, unused 2 7
R5 resistor 270 ohm : KO -- COMMON
C5 electrolytic 25 uF : KO -- COMMON
T1 output transformer 8 W : primary load 5k dcr 250 ohm 10 H = B -- PO, secondary load 8 ohm dcr .4 ohm = SP -- COMMON
SP1 speaker 8 ohm : 1=SP, 2=COMMON
V1 tube 12AX7 : 1=PT, 2=GT, 3=KT, unused 4 5 6 7 8 9 {remark}
R10 resistor 220k : B -- PT
R11 resistor 2.2k : KT -- COMMON
C11 electrolytic 25 uF : KT -- COMMON
C12 capacitor .01 uF : PT -- X1
R12 resistor 1M : X1 -- COMMON
C13 capacitor .01 uF : X1 -- X2
R13 resistor 1M : X2 -- COMMON
C14 capacitor .01 uF : X2 -- GT
R14 resistor 1M : GT -- COMMON
"""


def tremolo(remark: str):
    circuit, problems = read_circuit(TREMOLO.format(remark=remark), file="tremolo.circuit")
    assert circuit is not None, problems
    return circuit


def test_a_tremolo_that_is_marked_oscillates_as_meant_and_nothing_is_tried_against_it():
    found = signal(tremolo('"tremolo oscillator"'))
    assert [mode.node for mode in found.meant] == ["PT"]
    assert found.grows == found.remedies == ()
    assert found.least_damped is None or found.least_damped.damping > 0
    words = dict(figures(found).rows)
    assert words["Oscillator"].startswith("oscillates as meant, at PT")
    assert "all other modes decay" in words["Stability"]


@pytest.mark.parametrize(("remark", "grows"), [('"tremolo oscillator"', 0), ("", 1)])
def test_options_are_told_of_an_oscillation_only_where_it_is_not_meant(remark, grows):
    assert len(loudest(tremolo(remark)).grows) == grows
