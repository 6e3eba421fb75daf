"""IEC 60062 marking codes: the letter stands in place of the decimal point.

The standard itself was not seen. The resistance examples are those the encyclopedia article "RKM
code" (https://en.wikipedia.org/wiki/RKM_code, section on the part value code) and sizes.com
"Resistors, usage" (https://www.sizes.com/materials/resistUsage.htm) print with IEC 60062:2016 as
their source; the capacitance examples are those of eestudenthelp.blogspot.com 2009/09 "Capacitor
markings" (2n2) and wungiel.pl 01_Sep_2005 "Capacitor marking" (10n, n51); the letters p, n, micro
and m are listed in the same article. All seen 2026-11-25.
"""

from __future__ import annotations

import pytest

from rework.language.resolve import read_circuit

RESISTANCES = {
    "R47": 0.47,
    "4R7": 4.7,
    "470R": 470,
    "4K7": 4.7e3,
    "47K": 47e3,
    "47K3": 47.3e3,
    "470K": 470e3,
    "4M7": 4.7e6,
    "R68": 0.68,
    "6R8": 6.8,
    "68R": 68,
}
CAPACITANCES = {"2n2": 2.2e-9, "10n": 10e-9, "n51": 0.51e-9}
#: Made from the article's list of letters, not printed there as examples.
BY_THE_LETTERS = {
    "4n7": 4.7e-9,
    "p10": 0.1e-12,
    "3p3": 3.3e-12,
    "33p": 33e-12,
    "µ47": 0.47e-6,
    "4µ7": 4.7e-6,
    "u47": 0.47e-6,
    "4m7": 4.7e-3,
}


def value_on(line: str) -> float:
    circuit, problems = read_circuit(f"{line} : A -- B\nX1 dummy load 8 ohm : A -- B")
    assert circuit is not None, problems
    return circuit.parts[0].values[0].amount


@pytest.mark.parametrize("marking", RESISTANCES, ids=lambda marking: f"rkm-code-{marking}")
def test_resistor_marking(marking: str):
    assert value_on(f"R1 resistor {marking}") == RESISTANCES[marking]


@pytest.mark.parametrize(
    "marking", CAPACITANCES, ids=lambda marking: f"capacitor-markings-{marking}"
)
def test_capacitor_marking(marking: str):
    assert value_on(f"C1 capacitor {marking}") == CAPACITANCES[marking]


@pytest.mark.parametrize("marking", BY_THE_LETTERS)
def test_capacitor_marking_by_the_listed_letters(marking: str):
    assert value_on(f"C1 capacitor {marking}") == BY_THE_LETTERS[marking]
