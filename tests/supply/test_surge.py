"""The resistor that goes with silicon: B+ with it is what the selenium gave, or under every
rating; held to solving the set with that resistor in.
"""

from __future__ import annotations

import pytest

from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit
from rework.rules import catalogue
from rework.rules.rewrite import Applied, plan
from rework.solve.assemble import assemble
from rework.solve.periodic import mains_steady
from rework.supply.feed import feed_of
from rework.supply.surge import CLOSE, surge_resistors

SELENIUM = """circuit "selenium"
mains 117 V 60 Hz
P1  plug two-blade           : line=L1, neutral=COMMON
R9  resistor 22 ohm 5 W      : L1 -- SA
D1  selenium 100 mA 130 V    : SA -- B1
C1  electrolytic 40 uF 200 V : B1 -- COMMON
V1  tube 50L6GT              : 2=H1, 3=P1N, 4=B1, 5=G1, 7=COMMON, 8=K1, unused 1 6
R1  resistor dropper 450 ohm 15 W : L1 -- H1
R2  resistor 150 ohm 2 W     : K1 -- COMMON
R3  resistor 470k            : G1 -- COMMON
T1  output transformer 4 W   : primary load 2k dcr 200 ohm = B1 -- P1N, secondary load 4 ohm dcr 0.4 ohm = S -- COMMON
LS1 speaker 4 ohm            : 1=S, 2=COMMON
"""


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text)
    assert circuit is not None, problems
    return circuit


def bplus(circuit: Circuit) -> float:
    network = assemble(circuit)
    mean = mains_steady(network).mean
    return float(network.volts(mean, "B1") - network.volts(mean, "COMMON"))


def test_silicon_with_the_resistor_gives_the_b_plus_that_the_selenium_gave():
    circuit = read(SELENIUM)
    (resistor,) = surge_resistors(circuit, feed_of(circuit))
    assert resistor.part == "D1"
    assert resistor.aim == pytest.approx(bplus(circuit))
    assert resistor.bplus_without > resistor.aim
    rule, _ = catalogue.load("selenium-to-silicon")
    exact = {"rectifier": "D1", "resistor": f"{resistor.exact_ohms:.4g} ohm"}
    outcome = plan(rule, circuit, exact)
    assert isinstance(outcome, Applied)
    assert bplus(outcome.after) == pytest.approx(resistor.aim, rel=2 * CLOSE)
    made = {"rectifier": "D1", "resistor": resistor.step.partition("resistor=")[2]}
    assert bplus(plan(rule, circuit, made).after) == pytest.approx(resistor.bplus)


def test_a_tube_or_silicon_with_a_resistor_wants_none():
    silicon = read(SELENIUM.replace("selenium 100 mA 130 V", "diode silicon 1 A 600 V"))
    assert surge_resistors(silicon, feed_of(silicon)) == ()
