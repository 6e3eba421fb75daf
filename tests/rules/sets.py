"""Small sets of our own, as found on the bench, and the supply they are given.

Read by the tests beside this file.
"""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, apply_edit
from rework.language.resolve import read_circuit

#: Miniature tubes, floating common, line bypass with a resistor beside it, traces to cut, switch in
#: the hot lead.
PAGER = """
circuit "Weigh-house pager, as found"
mains 117 V 60 Hz
touchable CHASSIS

P1   plug two-blade                : line=L1, neutral=N1
S1   switch on R9                  : L1 -- L2
F1   fuse 1 A                      : L2 -- L3
R1   resistor dropper 150 ohm 10 W : L3 -- H5
V4   tube 35W4                     : 3=H4, 4=H5, lamp-tap=TAP, plate=PL, cathode=B1, 1=L3
R2   resistor surge 33 ohm 1 W     : L3 -- PL
LA1  lamp pilot 6.3 V 150 mA       : H5 -- TAP
V3   tube 50C5                     : heater1=H4, heater2=H3, cathode=K3, 2=G3, unused 5, screen=B2, plate=P3
V1   tube 12AU6                    : heater1=H1, heater2=COMMON, grid=G1, suppressor=COMMON, plate=P1, screen=S1N, cathode=COMMON
V2   tube 12AV6                    : heater1=HA, heater2=HB, grid=G2, cathode=COMMON, 5=COMMON, 6=COMMON, plate=P2
K1   trace                         : H3 -- HA          "along the edge"
K2   trace                         : HB -- H1
C1   electrolytic 50 uF 150 V      : B1 -- COMMON
R3   resistor 1k 1 W               : B1 -- B2
C2   electrolytic 30 uF 150 V      : B2 -- COMMON
C3   capacitor 0.05 uF 400 V       : COMMON -- CHASSIS
R4   resistor 220k 1/2 W           : COMMON -- CHASSIS
C4   capacitor 0.1 uF 400 V        : L3 -- COMMON
J1   jack input                    : tip=IN, sleeve=CHASSIS
M1   chassis                       : CHASSIS
R5   resistor 1M                   : IN -- COMMON
C5   capacitor 10n 400 V           : IN -- G1
R6   resistor 4M7                  : G1 -- COMMON
R7   resistor 220k                 : B2 -- P1
R8   resistor 1M                   : B2 -- S1N
C6   capacitor 0.1 uF 400 V        : S1N -- COMMON
R9   pot 500k metal-shaft          : ccw=COMMON, wiper=W1N, cw=V1N, shaft=CHASSIS
C7   capacitor 10n 400 V           : P1 -- V1N
C8   capacitor 10n 400 V           : W1N -- G2
R10  resistor 10M                  : G2 -- COMMON
R11  resistor 470k                 : B2 -- P2
C9   capacitor 10n 400 V           : P2 -- G3
R12  resistor 470k                 : G3 -- COMMON
R13  resistor 150 ohm 1 W          : K3 -- COMMON
C10  electrolytic 25 uF 25 V       : K3 -- COMMON
T1   output transformer            : primary = B1 -- P3, secondary = SP1 -- SP2
LS1  speaker 4 ohm                 : SP1 -- SP2
join COMMON N1
"""

#: A late set: dual triode with a tapped heater, silicon rectifier, switch in the common lead,
#: output cathode on the common and biased from resistors between the common and B-.
TALKBACK = """
circuit "Rehearsal-room talkback, as found"
mains 117 V 60 Hz

P1   plug two-blade                : line=L1, neutral=N1
S1   switch                        : BMIN -- N1
TH1  thermistor NTC 100 ohm        : L1 -- H1
D1   diode silicon 400 V 1 A       : DA -- B1
R1   resistor surge 22 ohm 2 W     : L1 -- DA
V2   tube 50C5                     : heater1=H1, heater2=H2, cathode=COMMON, 2=G2, unused 5, screen=B2, plate=P2
V1   tube 12AX7                    : 4=H2, 5=H3, unused 9, triode1.grid=G1, triode1.cathode=K1, triode1.plate=P1,
                                     triode2.grid=G1B, triode2.cathode=K1B, triode2.plate=P1B
V3   tube 12AV6                    : heater1=H3, heater2=BMIN, grid=G3, cathode=COMMON, 5=COMMON, 6=COMMON, plate=P3
C1   electrolytic 50 uF 150 V      : B1 -- BMIN
R2   resistor 1k 1 W               : B1 -- B2
C2   electrolytic 30 uF 150 V      : B2 -- BMIN
R3   resistor back-bias 68 ohm 1 W : COMMON -- TAP
R4   resistor 82 ohm 1 W           : TAP -- BMIN
R5   resistor 470k                 : G2 -- BMIN
C3   capacitor 0.05 uF 400 V       : BMIN -- CHASSIS
M1   chassis                       : CHASSIS
J1   jack input                    : tip=IN, sleeve=CHASSIS
C4   capacitor 10n                 : IN -- G1
R6   resistor 1M                   : G1 -- COMMON
R7   resistor 1k                   : K1 -- COMMON
R8   resistor 100k                 : B2 -- P1
C5   capacitor 10n                 : P1 -- G1B
R9   resistor 1M                   : G1B -- COMMON
R10  resistor 1k                   : K1B -- COMMON
R11  resistor 100k                 : B2 -- P1B
C6   capacitor 10n                 : P1B -- G3
R12  resistor 10M                  : G3 -- COMMON
R13  resistor 220k                 : B2 -- P3
C7   capacitor 10n                 : P3 -- G2
T1   output transformer            : primary = B1 -- P2, secondary = SP1 -- SP2
LS1  speaker 4 ohm                 : SP1 -- SP2
"""

#: The new supply, on a chassis of its own, with an umbilical that unplugs.
SUPPLY = """
circuit "Supply with umbilical"
mains 117 V 60 Hz
P1   plug three-pin                : line=L1, neutral=N1, earth=E
F1   fuse slow 500 mA              : L1 -- L2
T1   transformer 60 VA             : core=E, primary = L3 -- N1, hv 115 V = A1 -- A2, heater 6.3 V 3 A = H1 -- HT -- H2
BR1  bridge 600 V 2 A              : ac1=A1, ac2=A2, plus=B0, minus=BM
C1   electrolytic 100 uF 250 V     : B0 -- BM
R1   resistor bleeder 100k 2 W     : B0 -- BM
R2   resistor 100 ohm 5 W          : B0 -- B1
C2   electrolytic 100 uF 250 V     : B1 -- BM
M1   chassis                       : E
X1   connector socket mates X2     : 1=B1, 2=BM, 3=H1, 4=H2, 5=E, 6=L2, 7=L3, 8=HT
X2   connector plug                : 1=UB, 2=UC, 3=UH1, 4=UH2, 5=UE, 6=US1, 7=US2, 8=UHT
open UB, UC, UH1, UH2, UE, US1, US2, UHT
port bplus = UB, common = UC, heater1 = UH1, heater2 = UH2, earth = UE, switch1 = US1, switch2 = US2, heater-tap = UHT
"""


def circuit(text: str) -> Circuit:
    """Return the circuit of a text that holds no mistake."""
    read, problems = read_circuit(text, file="bench.circuit")
    assert read is not None, "\n".join(f"{p.place}: {p.message} ({p.hint})" for p in problems)
    return read


def with_supply(text: str) -> Circuit:
    """Return the circuit with the supply set beside it, its ports still open."""
    return apply_edit(circuit(text), AttachCircuit(circuit(SUPPLY), "SUPPLY"))
