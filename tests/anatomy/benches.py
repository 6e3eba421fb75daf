"""Small invented circuits of kinds that the demos are not, for the tests of anatomy."""

from __future__ import annotations

from pathlib import Path

from rework.anatomy.amplifier import Anatomy, of
from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit

ROOT = Path(__file__).parents[2]
#: Every whole set in the project, by its folder's name.
SETS = {
    path.parent.name: path
    for folder in ("circuits", "tests/sets")
    for path in sorted((ROOT / folder).glob("*/*.circuit"))
    if path.stem == path.parent.name
}
SUPPLIES = {path.parent.name: path for path in sorted((ROOT / "circuits").glob("*/supply.circuit"))}


def read(text: str) -> Circuit:
    """Return the circuit of a text that has to be without a problem."""
    circuit, problems = read_circuit(text, file="bench.circuit")
    assert not problems, [problem.message for problem in problems]
    assert circuit is not None
    return circuit


def set_named(name: str) -> Circuit:
    return read(SETS[name].read_text(encoding="utf-8"))


def anatomy(text: str) -> Anatomy:
    return of(read(text))


#: A supply of direct current, so that a bench needs no rectifier.
DC = """
mains 250 V 0 Hz
P1 plug two-blade : line=BP, neutral=COMMON
J1 jack input : tip=IN, sleeve=COMMON
LS1 speaker 8 ohm : 1=SP, 2=COMMON
"""

FOLLOWER = (
    'circuit "cathode follower between two stages"'
    + DC
    + """
V1 tube 12AX7 : triode1.grid=IN, triode1.plate=P1, triode1.cathode=K1,
  triode2.grid=P1, triode2.plate=B2, triode2.cathode=K2, 4=COMMON, 5=COMMON, unused 9
R1 resistor 1M : IN -- COMMON
R2 resistor 1.5k : K1 -- COMMON
C1 electrolytic 25 uF 25 V : K1 -- COMMON
R3 resistor 100k : B2 -- P1
R4 resistor 100k : K2 -- COMMON
RD resistor 10k : BP -- B2
CD electrolytic 20 uF 350 V : B2 -- COMMON
C2 capacitor .1 uF 400 V : K2 -- GS
R5 resistor 220k : GS -- COMMON
R6 resistor 1.5k : GS -- G3
V2 tube EL84 : 2=G3, 3=K3, 4=COMMON, 5=COMMON, 7=P3, 9=BP, unused 1 6 8
R7 resistor 130 ohm : K3 -- COMMON
T1 output transformer : primary load 5k = BP -- P3, secondary load 8 ohm = SP -- COMMON
"""
)

LONG_TAIL = (
    'circuit "long-tailed pair, push-pull, feedback to its second grid"'
    + DC
    + """
V1 tube 12AX7 : triode1.grid=G1, triode1.plate=P1, triode1.cathode=K,
  triode2.grid=G2, triode2.plate=P2, triode2.cathode=K, 4=COMMON, 5=COMMON, unused 9
C1 capacitor .02 uF : IN -- G1
R1 resistor 1M : G1 -- TAIL
R2 resistor 1M : G2 -- TAIL
R3 resistor 470 ohm : K -- TAIL
R4 resistor 10k : TAIL -- LOW
R5 resistor 4.7k : LOW -- COMMON
C2 capacitor .1 uF : G2 -- LOW
R6 resistor 47k : SP -- LOW
R7 resistor 82k : BP -- P1
R8 resistor 100k : BP -- P2
C3 capacitor .1 uF : P1 -- G3
C4 capacitor .1 uF : P2 -- G4
R9 resistor 220k : G3 -- COMMON
R10 resistor 220k : G4 -- COMMON
V2 tube EL84 : 2=G3, 3=K3, 4=COMMON, 5=COMMON, 7=P3, 9=BP, unused 1 6 8
V3 tube EL84 : 2=G4, 3=K3, 4=COMMON, 5=COMMON, 7=P4, 9=BP, unused 1 6 8
R11 resistor 130 ohm : K3 -- COMMON
T1 output transformer : primary load 8k = P3 -- BP -- P4, secondary load 8 ohm = SP -- COMMON
"""
)

INTERSTAGE = (
    'circuit "transformer coupled, push-pull, fixed bias from the tap"'
    + DC
    + """
V1 tube 6J5GT : 2=COMMON, 7=COMMON, 3=P1, 5=IN, 8=K1, unused 1
R1 resistor 1M : IN -- COMMON
R2 resistor 1k : K1 -- COMMON
C1 electrolytic 25 uF 25 V : K1 -- COMMON
T2 transformer interstage : primary dcr 500 ohm = BP -- P1, secondary dcr 3k = G2 -- TAP -- G3
R3 resistor 1k : TAP -- COMMON
C2 electrolytic 25 uF 25 V : COMMON -- TAP
V2 tube EL84 : 2=G2, 3=K2, 4=COMMON, 5=COMMON, 7=P2, 9=BP, unused 1 6 8
V3 tube EL84 : 2=G3, 3=K2, 4=COMMON, 5=COMMON, 7=P3, 9=BP, unused 1 6 8
R4 resistor 120 ohm : K2 -- COMMON
T1 output transformer : primary load 8k = P2 -- BP -- P3, secondary load 8 ohm = SP -- COMMON
"""
)

LOCAL_FEEDBACK = (
    'circuit "plate to grid feedback, plate stopper, split plate load, tone control"'
    + DC
    + """
V1 tube 6J5GT : 2=COMMON, 7=COMMON, 3=P1, 5=G1, 8=COMMON, unused 1
R1 resistor 1M : IN -- G1
R2 resistor 2.2M : P1 -- G1
R3 resistor 47k : P1 -- MID
R4 resistor 47k : MID -- BP
C1 capacitor .02 uF : P1 -- G2
R5 resistor 470k : G2 -- COMMON
V2 tube EL84 : 2=G2, 3=K2, 4=COMMON, 5=COMMON, 7=P2, 9=BP, unused 1 6 8
R6 resistor 130 ohm : K2 -- COMMON
R7 resistor 47 ohm : P2 -- PX
C2 capacitor 4.7n : PX -- TONE
R8 pot 50k : ccw=COMMON, wiper=COMMON, cw=TONE
T1 output transformer : primary load 5k = BP -- PX, secondary load 8 ohm = SP -- COMMON
R9 resistor 10 ohm : SP -- Z
C3 capacitor .1 uF : Z -- COMMON
"""
)

CASCODE = (
    'circuit "cascode"'
    + DC
    + """
V1 tube 12AX7 : triode1.grid=IN, triode1.plate=M, triode1.cathode=K1,
  triode2.grid=G2, triode2.plate=P2, triode2.cathode=M, 4=COMMON, 5=COMMON, unused 9
R1 resistor 1M : IN -- COMMON
R2 resistor 1.5k : K1 -- COMMON
R3 resistor 100k : BP -- P2
R4 resistor 470k : BP -- G2
R5 resistor 220k : G2 -- COMMON
C1 capacitor .1 uF : G2 -- COMMON
C2 capacitor .1 uF : P2 -- SP
"""
)

UNNAMED = """circuit "a common that no name tells"
mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=X9
D1 selenium 100 mA 130 V : L1 -- Q1
C1 electrolytic 40 uF 150 V : Q1 -- X9
R1 resistor 1k : Q1 -- Q2
C2 electrolytic 40 uF 150 V : Q2 -- X9
V1 tube 6J5GT : 2=H1, 7=X9, 3=A, 5=G, 8=X9, unused 1
R2 resistor 400 ohm 50 W : L1 -- H1
R3 resistor 100k : Q2 -- A
R4 resistor 10M : G -- X9
J1 jack input : tip=G, sleeve=X9
"""
