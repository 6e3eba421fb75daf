"""Cans, frames and shafts that are written and bonded change nothing in what the set does."""

from __future__ import annotations

import re
from pathlib import Path

from rework.anatomy import amplifier
from rework.anatomy.function import function
from rework.anatomy.grounds import to_earth
from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.periodic import mains_steady

CANNERY = (Path(__file__).parent / "cannery.circuit").read_text(encoding="utf-8")
#: The same with none of the metal written.
BARE = re.sub(r", (?:frame|shaft|can|core)=CHASSIS", "", CANNERY)


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text, file="cannery.circuit")
    assert circuit is not None, [problem.message for problem in problems]
    return circuit


def bplus(circuit: Circuit) -> float:
    network = assemble(circuit)
    return float(network.volts(mains_steady(network, instants=96).mean, "B1"))


def test_every_row_of_what_works_is_the_same_with_the_metal_written():
    assert CANNERY.count("=CHASSIS") - BARE.count("=CHASSIS") == 7
    assert function(read(CANNERY)) == function(read(BARE))


def test_a_bonded_frame_brings_the_line_to_no_other_point():
    metal, bare = amplifier.of(read(CANNERY)), amplifier.of(read(BARE))
    assert metal.line == bare.line
    assert metal.still == bare.still
    assert metal.rail == bare.rail == {"B1", "B2"}


def test_a_can_is_no_plate_of_its_capacitor():
    assert abs(bplus(read(CANNERY)) - bplus(read(BARE))) < 0.1


def test_a_hot_lug_of_the_speaker_is_no_metal_for_the_earth():
    """Bonded to the chassis it would short its winding; a sleeve on the common is metal."""
    text = (
        'circuit "in a wooden case"\ntouchable SP, BACK\n'
        "T1 output transformer 5k : 4 : primary = B1 -- P1, secondary = SP -- BACK\n"
        "LS1 speaker 4 ohm : SP -- BACK\nR1 resistor 1k : SP -- P1\n"
        "R2 resistor 1k : B1 -- BACK\nC1 electrolytic 8 uF 350 V : B1 -- BACK\n"
    )
    assert to_earth(read(text)) == "BACK"
    assert to_earth(read(text.replace("SP, BACK", "SP"))) is None
