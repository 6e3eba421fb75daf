"""Slips of the pen, one at a time, in the files of the demos: what tells each of them, or why nothing
can.

``PROBLEM``: the file does not read. ``CHECK``: the mains check says more than of the file without the
slip. ``WIRING``: summary's function says so, seen from the wiring. ``FIGURES``: it says so once the
circuit is solved. A text that begins with "it" is why the netlist as written cannot show it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
from each import each

from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.circuit.circuit import Circuit
from rework.commands.function_words import sentence
from rework.language.resolve import read_circuit
from rework.safety.check import check

ROOT = Path(__file__).parents[1]
PROBLEM, CHECK, WIRING, FIGURES = "problem", "check", "wiring", "figures"
SAME = "it is the same circuit: a part without a direction was turned round"
LIKELY = "it is a circuit that such sets have: the drawing of the set has to decide"
WORKS = "it still works, within every rating: the drawing of the set has to decide"


class Slip(NamedTuple):
    """One slip: the demo, what is written for what (the first time it is there), who tells it, and
    words of what is told.
    """

    demo: str
    right: str
    wrong: str
    by: str
    words: str = ""


SLIPS = (
    # a wrong pin
    Slip("pager", "TAP -- LP", "V4.1 -- LP", PROBLEM, "V4.1 is said to be unused"),
    Slip("hostel", "V2.3 -- V1.5", "V2.3 -- V1.6", PROBLEM, "only V1.5 is on the node H3"),
    Slip("hostel", "V2.3 -- V1.5", "V2.3 -- V1.9", PROBLEM, "V1.9 is said to be unused"),
    Slip("pager", "plate=PL3", "1=PL3", PROBLEM, "bound twice"),
    Slip("rink", "7=H1, 8=B1", "7=B1, 8=H1", WIRING, "no B+ at the plate of V2"),
    Slip(
        "pager", "plate=PL1, screen=SC1", "plate=SC1, screen=PL1", WIRING, "no signal path from J1"
    ),
    Slip(
        "pager",
        "screen=B2, plate=PL3",
        "screen=PL3, plate=B2",
        WIRING,
        "no signal reaches SP1",
    ),
    Slip(
        "pager", "grid=G1, suppressor", "grid=CATH1, suppressor", WIRING, "no signal path from J1"
    ),
    Slip(
        "hostel",
        "triode1.plate=PL1, triode1.grid=G1, triode1.cathode=CATH1, triode2.plate=PL2",
        "triode1.plate=PL2, triode1.grid=G1, triode1.cathode=CATH1, triode2.plate=PL1",
        WIRING,
        "no input reaches the grid of V1 triode2",
    ),
    Slip(
        "skihut",
        "triode.grid=G1, triode.cathode=CHASSIS, triode.plate=PL1, pentode.grid=G2",
        "triode.grid=G2, triode.cathode=CHASSIS, triode.plate=PL1, pentode.grid=G1",
        WIRING,
        "no input reaches the grid of V1 triode",
    ),
    Slip("pager", "3=H6, 4=H5", "3=H5, 4=H6", SAME),
    # a pin, or a line, is missing
    Slip("pager", ", cathode=CATH1", "", PROBLEM, "V1 has nothing on pin 7 (cathode)"),
    Slip("pager", ", 7=B1", "", PROBLEM, "V4 has nothing on pin 7 (cathode)"),
    Slip("pager", ", sleeve=COMMON", "", PROBLEM, "only J1.sleeve"),
    Slip("pager", ", wiper=WIPER", "", PROBLEM, "R6 has nothing on wiper"),
    Slip("pager", ", neutral=COMMON", "", PROBLEM, "P1 has nothing on neutral"),
    Slip("pager", ", diode2=COMMON", "", PROBLEM, "V2 has nothing on pin 5 (diode2)"),
    Slip(
        "pager",
        "R9   resistor 470k 1/2 W 10%  : G3 -- COMMON\n",
        "",
        WIRING,
        "grid of V3 (pin 2) has no return",
    ),
    Slip(
        "pager",
        "C7   capacitor .01 uF 400 V paper 20%  : PL2 -- G3\n",
        "",
        WIRING,
        "no signal path from J1",
    ),
    Slip(
        "pager",
        "R13  resistor 15k 1/2 W 10%          : B2 -- B3\n",
        "",
        WIRING,
        "no B+ at the plate of V1",
    ),
    # swapped ends
    Slip("pager", "can    : B1 -- COMMON", "can    : COMMON -- B1", WIRING, "C11 is the wrong way"),
    Slip("pager", "25 V            : CATH1 -- COMMON", "25 V : COMMON -- CATH1", WIRING, "C2 is"),
    Slip("hostel", "DA -- B1", "B1 -- DA", WIRING, "no B+ at the plate of V2"),
    Slip(
        "pager", "ccw=COMMON, wiper=WIPER, cw=VOL", "ccw=VOL, wiper=WIPER, cw=COMMON", WIRING, "R6"
    ),
    Slip("pager", "tip=IN, sleeve=COMMON", "tip=COMMON, sleeve=IN", WIRING, "J1"),
    Slip("pager", "line=L1, neutral=COMMON", "line=COMMON, neutral=L1", CHECK, "neutral"),
    Slip(
        "pager",
        "B1 -- PL3,\n                                secondary load 8 ohm dcr 0.7 ohm = SP -- COMMON",
        "SP -- COMMON,\n                                secondary load 8 ohm dcr 0.7 ohm = B1 -- PL3",
        WIRING,
        "no signal path from J1",
    ),
    Slip("pager", "B1 -- B2", "B2 -- B1", SAME),
    Slip("pager", "= B1 -- PL3", "= PL3 -- B1", SAME),
    Slip("pager", "1=SP, 2=COMMON", "1=COMMON, 2=SP", SAME),
    # two nodes become one
    Slip("pager", "PL2 -- G3", "PL1 -- G3", WIRING, "the plate of V2 leads to no other stage"),
    Slip("pager", "B3 -- PL2", "B3 -- PL1", WIRING, "no B+ at the plate of V2"),
    Slip(
        "pager",
        'CATH3 -- COMMON  "',
        'CATH1 -- COMMON  "',
        PROBLEM,
        "only V3.1 is on the node CATH3",
    ),
    Slip("pager", "G3 -- COMMON", "G2 -- COMMON", WIRING, "grid of V3 (pin 2) has no return"),
    Slip("pager", "plate=PL2", "plate=PL1", WIRING, "no signal path from J1"),
    Slip("pager", "IN -- G1", "IN -- G2", WIRING, "no input reaches the grid of V1"),
    Slip("pager", "WIPER -- G2", "WIPER -- G1", WIRING, "no signal path from J1"),
    Slip("pager", "G2 -- COMMON", "G1 -- COMMON", WIRING, "grid of V2 (pin 1) has no return"),
    Slip("pager", "3=H1, 4=L3, 5=LP", "3=L3, 4=L3, 5=LP", CHECK, "V4"),
    Slip("rink", "COMMON -- BMINUS", "COMMON -- COMMON", PROBLEM, "both ends of R8 are on"),
    Slip("pager", "B3 -- PL1", "B2 -- PL1", LIKELY),
    Slip("pager", "B2 -- B3", "B1 -- B3", LIKELY),
    Slip("pager", "screen=B2", "screen=B1", LIKELY),
    # a node is used once
    Slip("pager", "WIPER -- G2", "WIPPER -- G2", PROBLEM, "WIPPER"),
    Slip("pager", "PL1 -- VOL", "PL1 -- VOLL", PROBLEM, "VOLL"),
    Slip("pager", "B3 -- PL1", "B4 -- PL1", PROBLEM, "only R4.1 is on the node B4"),
    Slip("pager", "SC1 -- COMMON", "SC2 -- COMMON", PROBLEM, "only C3.1 is on the node SC2"),
    Slip("pager", "TAP -- LP", "TAP -- LQ", PROBLEM, "LQ"),
    # a wrong decade
    Slip("pager", "R11  resistor 200 ohm", "R11  resistor 20 ohm", FIGURES, "plate dissipation"),
    Slip("pager", "R4  resistor 100k", "R4  resistor 10k", FIGURES, "check its resistors"),
    Slip("pager", "R4  resistor 100k", "R4  resistor 1M", FIGURES, "check its resistors"),
    Slip("pager", "R16  resistor 150 ohm", "R16  resistor 1.5k", WIRING, "V4 gets"),
    Slip("hostel", "R16  resistor 360 ohm", "R16  resistor 36 ohm", WIRING, "V2 gets"),
    Slip("pager", "R15  resistor 22 ohm", "R15  resistor 22k", WIRING, "no alternating current"),
    Slip("pager", "load 2.5k", "load 25k", WIRING, "T1 is for 25 kohm"),
    Slip("pager", "R9   resistor 470k", "R9   resistor 4.7M", WIRING, "for a grid leak"),
    Slip("pager", "C4  capacitor .01 uF", "C4  capacitor .1 uF", WORKS),
    Slip("pager", "R7   resistor 10M", "R7   resistor 1M", WORKS),
    # a wrong unit
    Slip("pager", "fuse 1 A", "fuse 1 mA", WIRING, "F1: 1 mA is unusual for a fuse"),
    Slip("hostel", "1N4004 1 A", "1N4004 1 mA", WIRING, "D1: 1 mA is unusual for a diode"),
    Slip("skihut", "1.5k 100 mA", "1.5k 100 A", WIRING, "TH1: 100 A is unusual for a thermistor"),
    Slip("rink", "lamp pilot 6.3 V 150 mA", "lamp pilot 6.3 V 150 A", WIRING, "LP1: 150 A"),
    Slip("pager", "C4  capacitor .01 uF", "C4  capacitor .01 F", WIRING, "C4: 10 mF"),
    Slip("pager", "C4  capacitor .01 uF", "C4  capacitor .01 mF", PROBLEM, "could be millifarad"),
    Slip("pager", "electrolytic 40 uF 150 V", "electrolytic 40 nF 150 V", WIRING, "C11: 40 nF"),
    Slip("pager", "R12  resistor 1.5k", "R12  resistor 1.5", PROBLEM, "1.5 has no unit"),
    Slip("pager", "R2  resistor 1k", "R2  resistor 1M", FIGURES, "V1"),
    Slip("pager", "dcr 190 ohm", "dcr 190k", WIRING, "T1: 190 kohm"),
    Slip("pager", "mains 117 V", "mains 17 V", WIRING, "mains: 17 V is unusual"),
    Slip("pager", "60 Hz", "600 Hz", WIRING, "mains: 600 Hz is unusual"),
    Slip("pager", "40 uF 150 V", "40 uF 15 V", FIGURES, "C11: voltage"),
    Slip("pager", "200 ohm 1 W", "200 ohm 1/10 W", FIGURES, "R11: power"),
    # a wrong type or name
    Slip("pager", "tube 12BA6", "tube 12AV6", PROBLEM, "a 12AV6 has no element"),
    Slip("pager", "tube 35W4", "tube 35X4", PROBLEM, "35X4 is not in the tube library"),
    Slip("pager", "tube 35C5", "tube 25C5", CHECK, "V4"),
    Slip("pager", "R12  resistor", "R13  resistor", PROBLEM, "R13 is used twice"),
    Slip("pager", "tube 12BA6", "tube 12AU6", WORKS),
)
CAUGHT = tuple(slip for slip in SLIPS if not slip.by.startswith("it "))
NOT_CATCHABLE = tuple(slip for slip in SLIPS if slip.by.startswith("it "))


def written(slip: Slip) -> str:
    text = demo(slip.demo)
    assert slip.right in text
    return text.replace(slip.right, slip.wrong, 1)


@cache
def demo(name: str) -> str:
    return (ROOT / "circuits" / name / f"{name}.circuit").read_text()


@cache
def right(name: str) -> Circuit:
    circuit, problems = read_circuit(demo(name), file=name)
    assert problems == ()
    return circuit


def told_by_function(circuit: Circuit) -> set[str]:
    return {sentence(row) for row in function(circuit) if row.working is not Working.WORKS}


def told_by_check(circuit: Circuit) -> set[str]:
    report = check(circuit)
    return {f"{one.key} {one.part}: {one.message}" for one in report.cautions} | {
        f"hazard {one.node}" for one in report.hazards
    }


def told_by_figures(circuit: Circuit) -> set[str]:
    from rework.solve.function import performance, solved_rows

    rows = solved_rows(circuit, performance(circuit))
    return {sentence(row) for row in rows if row.working is not Working.WORKS}


@cache
def usual(name: str, by: str) -> frozenset[str]:
    tellers = {WIRING: told_by_function, CHECK: told_by_check, FIGURES: told_by_figures}
    return frozenset(tellers[by](right(name)))


def test_there_are_fifty_slips_and_most_are_caught():
    assert len(SLIPS) >= 50
    assert len(CAUGHT) >= 0.85 * len(SLIPS)


@pytest.mark.parametrize("slip", CAUGHT, ids=lambda slip: f"{slip.demo}: {slip.wrong[:32]!r}")
def test_a_slip_is_told(slip):
    circuit, problems = read_circuit(written(slip), file=slip.demo)
    if slip.by == PROBLEM:
        assert slip.words in " ".join(problem.message for problem in problems)
        assert problems
        return
    assert circuit is not None
    tellers = {WIRING: told_by_function, CHECK: told_by_check, FIGURES: told_by_figures}
    new = tellers[slip.by](circuit) - usual(slip.demo, slip.by)
    assert any(slip.words in one for one in new), new


@pytest.mark.parametrize(
    "slip", NOT_CATCHABLE, ids=lambda slip: f"{slip.demo}: {slip.wrong[:32]!r}"
)
def test_a_slip_that_cannot_be_caught_is_listed_with_its_reason(slip):
    """When one of these is told one day, it belongs above."""
    circuit, problems = read_circuit(written(slip), file=slip.demo)
    assert problems == ()
    assert told_by_function(circuit) == usual(slip.demo, WIRING)


@each("name", ["pager", "hostel", "rink", "skihut"])
def test_the_files_without_a_slip_are_told_nothing(name):
    assert usual(name, WIRING) == frozenset()
