"""Bands of a signal, held to circuits with the drawn values written into them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Value
from rework.language.resolve import read_circuit
from rework.solve.signal import Signal, signal
from rework.solve.signal_words import figures

#: One output tube on direct current: the line is B+, so that its ±10 % is that of B+.
STAGE = """mains 180 V 0 Hz
P1 plug : line=BPLUS, neutral=COMMON
J1 jack input : tip=G, sleeve=COMMON
R1 resistor 470k 0% : G -- COMMON
V1 tube 6AQ5 : 1=G, 2=K, 5=PL, 6=BPLUS, unused 3 4
R2 resistor 270 ohm {tolerance} : K -- COMMON
C1 capacitor 100 uF 0% : K -- COMMON
T1 output transformer 5 W : primary load 5k dcr 200 ohm 10 H = BPLUS -- PL, secondary load 8 ohm dcr 0.5 ohm = SP -- COMMON
SP1 speaker 8 ohm : 1=SP, 2=COMMON
"""


def stage(volts: float = 180.0, ohms: float = 270.0) -> Circuit:
    text = STAGE.format(tolerance="10%").replace("180 V", f"{volts:g} V")
    circuit, problems = read_circuit(text, file="stage.circuit")
    assert circuit is not None, problems
    parts = (
        replace(part, values=(Value("resistance", ohms),)) if part.name == "R2" else part
        for part in circuit.parts
    )
    return replace(circuit, parts=tuple(parts))


@cache
def with_bands() -> Signal:
    return signal(stage(), samples=300)


def test_the_band_of_the_watts_holds_what_the_line_at_its_ends_gives():
    """The line is all but everything here: 162 and 198 V are its ends, of which the band has nine
    tenths and what tube and resistor add.
    """
    found = with_bands()
    assert found.bands is not None
    assert found.bands.watts is not None
    low, high = found.bands.watts
    ends = [signal(stage(volts)).full.watts for volts in (162.0, 198.0)]
    assert low < found.full.watts < high
    assert low == pytest.approx(ends[0], rel=0.12)
    assert high == pytest.approx(ends[1], rel=0.12)


def test_gain_and_output_impedance_are_inside_their_bands_and_these_are_wider_than_line_and_resistor():
    found = with_bands()
    assert found.bands is not None
    for value, (low, high) in (
        (found.gain, found.bands.gain),
        (found.output_ohms, found.bands.output_ohms),
    ):
        assert low < value < high
    gains = [signal(stage(*ends)).gain for ends in ((162.0, 297.0), (198.0, 243.0))]
    low, high = found.bands.gain
    assert np.ptp(gains) < high - low < 4 * np.ptp(gains)  # the tube adds the most


def test_bands_are_told_below_what_they_are_of_and_only_where_they_were_asked_for():
    rows = [str(name) for name, *_ in figures(with_bands()).rows]
    assert rows[1] == "  band"
    assert rows.count("  band") >= 3
    assert "300 draws" in figures(with_bands()).lead
    assert signal(stage()).bands is None
