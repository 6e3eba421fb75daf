"""Fuses by their standards. Gates: IEC 60127-2 sheets 3 and 5 as Schurter and Bel print them, UL
248-14 as Littelfuse prints it; each is held from both sides.
"""

from __future__ import annotations

import math

import pytest
from handworked import BARE, read, tied

from rework.circuit.parts import Part, Value
from rework.touch.faults import faults
from rework.touch.fuses import LONGEST, fuse_rule, overloads


def fuse(amps: float, *words: str, volts: float = 250.0) -> Part:
    values = (Value("current", amps), Value("voltage", volts))
    return Part("F1", "fuse", values=values, words=words, pins=(("1", "A"), ("2", "B")))


@pytest.mark.parametrize(
    ("words", "line", "times", "seconds"),
    [
        (("slow",), 120, 1.34, math.inf),
        (("slow",), 120, 1.35, 3600),
        (("slow",), 120, 1.99, 3600),
        (("slow",), 120, 2.0, 120),
        (("slow",), 120, 100, 120),  # the standard states no shorter time
        (("slow",), 230, 2.09, math.inf),
        (("slow",), 230, 2.1, 120),
        (("slow",), 230, 2.74, 120),
        (("slow",), 230, 2.75, 10),
        (("slow",), 230, 4, 3),
        (("slow",), 230, 9.99, 3),
        (("slow",), 230, 10, 0.3),
        (("slow", "ceramic"), 230, 2.1, 1800),
        (("slow", "ceramic"), 230, 2.75, 80),
        (("slow", "ceramic"), 230, 4, 5),
        (("fast",), 230, 2.1, 1800),
        (("fast",), 230, 4, 0.3),
        (("fast",), 230, 10, 0.02),
        ((), 230, 10, 0.3),  # not said: the slower
    ],
)
def test_a_fuse_opens_within_the_time_of_its_gate(words, line, times, seconds):
    assert fuse_rule(fuse(1.0, *words), line).seconds(times) == seconds


@pytest.mark.parametrize(
    ("words", "line", "times"),
    [(("slow",), 120, 2.0), (("slow",), 230, 2.1), (("slow", "ceramic"), 230, 2.75)],
)
def test_it_ends_a_fault_from_the_first_gate_that_is_soon_enough(words, line, times):
    rule = fuse_rule(fuse(0.5, *words), line)
    assert rule.opens_at == pytest.approx(0.5 * times)
    assert rule.seconds(rule.opens_at) <= LONGEST


@pytest.mark.parametrize(
    ("amps", "words", "line", "breaks"),
    [
        (0.5, ("slow",), 120, 10_000),
        (0.5, ("slow",), 230, 35),
        (6.3, ("slow",), 230, 63),
        (0.5, ("slow", "ceramic"), 230, 1500),
        (1.0, ("slow",), 127, 35),  # above 125 V by the 250 V row
        (2.0, ("slow",), 127, 100),
    ],
)
def test_what_a_fuse_can_break(amps, words, line, breaks):
    assert fuse_rule(fuse(amps, *words), line).breaks == breaks


def test_a_fuse_above_its_rated_volts_can_break_nothing():
    assert fuse_rule(fuse(0.5, "slow", volts=125), 230).breaks == 0


def test_the_two_standards_differ_in_what_a_fuse_carries():
    assert fuse_rule(fuse(2.0, "slow"), 230).holds == 3.0  # 1.5 times for an hour
    assert fuse_rule(fuse(2.0, "slow"), 120).holds == 2.0


EARTHED = (
    "W1 wire : PE -- CHASSIS",
    "F1 fuse 1 A slow {words} : L -- LF",
    "R1 resistor 500 ohm 0% : LF -- N",
    "C1 capacitor 1n class Y2 0% : LF -- CHASSIS",
)


def short_to_chassis(words: str, mains: str):
    parts = [line.format(words=words) for line in EARTHED]
    report = faults(tied(*parts, mains=mains, plug="three-pin", earth=", earth=PE"), changes=BARE)
    return next(one for one in report.outcomes if one.fault.what == "C1 short")


def test_a_glass_fuse_does_not_break_an_earth_fault_at_230_volts():
    """253 V over 0.62 ohm is some 400 A, and it can break 35 A."""
    outcome = short_to_chassis("250 V", "230 V 50 Hz")
    assert outcome.verdict == "breaker"
    assert outcome.ended.is_beyond_breaking
    assert "high breaking capacity" in outcome.cleared
    assert outcome.ended.amps == pytest.approx(253 / 0.62, rel=0.05)


def test_it_does_at_120_volts():
    outcome = short_to_chassis("250 V", "120 V 60 Hz")
    assert outcome.verdict == "cleared"
    assert "within 120 s" in outcome.cleared
    assert "UL 248-14" in outcome.cleared


def test_a_fuse_at_twice_the_primary_current_protects_from_shorts_only():
    circuit = read("""circuit "x"
mains 230 V 50 Hz
open N, S1, S2
P1 plug two-blade : line=L, neutral=N
F1 fuse 0.4 A slow : L -- LF
S1 switch SPST : LF -- LS
T1 transformer 46 VA : primary 230 V = LS -- N, secondary 6 V = S1 -- S2
F2 fuse 1 A : S1 -- X
R1 resistor 1k : X -- S2
""")
    (overload,) = overloads(circuit)
    assert overload.rule.part == "F1"
    assert overload.primary_amps == pytest.approx(0.2)
    assert overload.times == pytest.approx(3.0)  # twice the current, and 1.5 times for an hour
