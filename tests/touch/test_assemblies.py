"""Parts of several sides: what passes between their sides, and what depends on a class that the file
does not state.
"""

from __future__ import annotations

import math

import pytest
from handworked import BARE, tied

from rework.touch.touch import touch

#: The upper tolerance of the line of 120 V.
LINE = 132.0
PARTS = {
    "relay": "K1 relay SPST 24 V 650 ohm {} : L -- M, coil1=CHASSIS, coil2=D",
    "optocoupler": "U1 optocoupler {} : anode=L, cathode=M, collector=CHASSIS, emitter=D",
    "module": "PS1 module DC-DC 12 V {} : in.line=L, in.neutral=M, out.plus=CHASSIS, out.minus=D",
}


@pytest.mark.parametrize(("capacitance", "farads"), [("", 4.7e-9), ("2n2", 2.2e-9)])
def test_both_capacitors_of_a_line_filter_leak_when_the_neutral_is_open(capacitance, farads):
    circuit = tied(
        f"LF1 inlet filter 1 A 250 V {capacitance} class Y2 : line=L, neutral=N, line-out=L2,"
        " neutral-out=N2, earth=CHASSIS",
        "R1 resistor 100 ohm 50 W : L2 -- N2",
    )
    (touched,) = touch(circuit, changes=BARE).touches
    assert "neutral open" in touched.state
    assert touched.amps == pytest.approx(LINE * 2 * math.pi * 60 * 2 * farads, rel=0.01)


def test_a_line_filter_without_a_class_is_taken_as_broken_down():
    circuit = tied(
        "LF1 inlet filter 1 A 250 V 2n2 : line=L, neutral=N, line-out=L2, neutral-out=N2,"
        " earth=CHASSIS",
        "R1 resistor 100 ohm 50 W : L2 -- N2",
    )
    report = touch(circuit, changes=BARE)
    assert report.touches[0].volts == pytest.approx(LINE, rel=0.01)
    assert any("LF1 has no class written" in words for words in report.unknown)


@pytest.mark.parametrize("kind", PARTS)
@pytest.mark.parametrize("written", ["", "class functional", "class basic", "class reinforced"])
def test_only_a_class_that_isolates_keeps_the_line_on_its_own_side(kind, written):
    report = touch(tied("open D, M", PARTS[kind].format(written)), changes=BARE)
    (touched,) = report.touches
    proved = written == "class reinforced"
    assert touched.reading == pytest.approx(0.0, abs=1e-9)
    assert bool(report.unproved) is not proved
    # broken down, the whole line is on the person
    assert (touched.unproved_reading > 0.06) is not proved
