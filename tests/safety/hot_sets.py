"""Small sets of our own for the mains check, and how the tests beside this file read them."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit
from rework.safety.check import check
from rework.safety.findings import Caution, Hazard, Report


def read(text: str) -> Circuit:
    """Return the circuit of a text that has to be without a problem."""
    circuit, problems = read_circuit(text, file="bench.circuit")
    assert not problems, [problem.message for problem in problems]
    assert circuit is not None
    return circuit


def checked(text: str) -> Report:
    return check(read(text))


def hazards(report: Report) -> dict[str, Hazard]:
    return {hazard.node: hazard for hazard in report.hazards}


def live(report: Report) -> set[str]:
    return {one.node for one in report.live}


def cautions(report: Report, weight: str = "must") -> list[Caution]:
    return [caution for caution in report.cautions if caution.weight == weight]


def keys(report: Report, weight: str = "must") -> list[tuple[str, str]]:
    """Return (sort, part) of all cautions of one weight, sorted."""
    return sorted((caution.key, caution.part) for caution in cautions(report, weight))


def told(report: Report, weight: str = "must") -> str:
    """Return the messages of all cautions of one weight as one text."""
    return "\n".join(caution.message for caution in cautions(report, weight))


#: A finished conversion on one chassis: nothing to be found in it.
CLEAN = """
circuit "Reading-room amplifier, reworked"
mains 117 V 60 Hz
touchable CHASSIS

P1  plug three-pin                   : line=L1, neutral=N1, earth=PE
F1  fuse 0.5 A slow                  : L1 -- L2
S1  switch SPST                      : L2 -- L3
W1  wire green-yellow                : PE -- CHASSIS
T1  transformer 40 VA                : primary 117 V = L3 -- N1, hv 150 V 100 mA = HV1 -- HV2,
                                       heater 6.3 V 2 A = H1 -- H2, screen=CHASSIS, core=CHASSIS
C8  capacitor .01 uF class X2        : L3 -- N1
C9  capacitor 2.2n class Y2          : L3 -- CHASSIS
D1  bridge silicon                   : ac1=HV1, ac2=HV2, plus=B1, minus=COMMON
C1  electrolytic 47 uF 250 V         : B1 -- COMMON
R1  resistor 1k                      : B1 -- B2
C2  electrolytic 47 uF 250 V         : B2 -- COMMON
R8  resistor 100 ohm                 : H1 -- COMMON
R9  resistor 100 ohm                 : H2 -- COMMON
W2  wire black                       : COMMON -- CHASSIS
J1  jack input                       : tip=IN, sleeve=COMMON
R2  resistor 1M                      : IN -- COMMON
V1  tube 12AX7                       : 1=B2, 2=G2, 3=K1, 4=H1, 5=H1, 9=H2, 6=PL1, 7=IN, 8=K1
R3  resistor 100k                    : B2 -- PL1
R4  resistor 1.5k                    : K1 -- COMMON
C3  capacitor .022 uF                : PL1 -- G2
R5  resistor 470k                    : G2 -- COMMON
V2  tube 6AQ5                        : 1=K1, 2=K2, 3=H1, 4=H2, 5=PL2, 6=B2, unused 7
R6  resistor 270 ohm                 : K2 -- COMMON
T2  output transformer               : primary = B1 -- PL2, secondary = SP -- COMMON
LS1 speaker                          : 1=SP, 2=COMMON, frame=CHASSIS
CH1 chassis                          : CHASSIS
"""


def clean(*changes: tuple[str, str], more: str = "") -> str:
    """Return the finished conversion with some text changed, each change found once, and lines
    added at the end.
    """
    text = CLEAN
    for before, after in changes:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    return text + more
