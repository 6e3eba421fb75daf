"""Every built-in rule on an invented circuit that is unlike those of its own examples: the parts that
are no more as they were, as they come to be, and one case that it refuses or leaves.
"""

from __future__ import annotations

from dataclasses import dataclass

from each import each

from rework.circuit.circuit import Circuit
from rework.language.resolve import read_circuit
from rework.language.writer import write_circuit
from rework.rules.catalogue import builtin_names, load
from rework.rules.rewrite import Applied, NothingToDo, Outcome, Refused, plan

LINE = """mains 230 V 50 Hz
P1 plug two-blade : line=L1, neutral=BASE
S1 switch SPST : L1 -- L2
F1 fuse slow 0.5 A : L2 -- L3
"""
P_STRING = (
    LINE
    + """R1 resistor dropper 560 ohm 60 W : L3 -- H1
V1 tube PL84 : heater=H1 -- H2, plate=P1, screen=B2, grid=G1, cathode=K1
V2 tube PY82 : heater=H2 -- BASE, plate=L3, cathode=B1
C1 electrolytic 47 uF 350 V : B1 -- BASE
R2 resistor 1k 5 W : B1 -- B2
C2 electrolytic 32 uF 350 V : B2 -- BASE
R3 resistor 150 ohm 2 W : K1 -- BASE
R4 resistor 470k : G1 -- BASE
T1 output transformer 3 W : primary load 2.4k = P1 -- B1, secondary load 5 ohm = SP1 -- BASE
LS1 speaker 5 ohm : SP1 -- BASE
C3 capacitor 10 nF 1000 V : BASE -- SHELL
CH chassis : SHELL
"""
)
NEW = """mains 117 V 60 Hz
SUPPLY/P1 plug three-pin : line=SUPPLY/L1, neutral=SUPPLY/N1, earth=SUPPLY/earth
SUPPLY/T1 transformer 40 VA : primary 117 V = SUPPLY/L1 -- SUPPLY/N1, hv 120 V = SUPPLY/A -- SUPPLY/common, heater 6.3 V 2 A = SUPPLY/heater1 -- SUPPLY/heater2
SUPPLY/D1 diode 1000 V 1 A : SUPPLY/A -- SUPPLY/bplus
SUPPLY/C1 electrolytic 47 uF 350 V : SUPPLY/bplus -- SUPPLY/common
SUPPLY/CH chassis : SUPPLY/earth
"""
FED = (
    NEW
    + """join HA SUPPLY/heater1
join HB SUPPLY/heater2
join BOARD SUPPLY/common
V1 tube 6AU6 : heater=HA -- HB, plate=PA, screen=SA, grid=GA, cathode=KA, suppressor=KA
V2 tube 6AQ5 : heater=HA -- HB, plate=PB, screen=SUPPLY/bplus, grid=GB, cathode=KB
R1 resistor 220k : SUPPLY/bplus -- PA
R2 resistor 1M : SUPPLY/bplus -- SA
C1 capacitor .1 400 V : SA -- BOARD
R3 resistor 1.5k : KA -- BOARD
C2 capacitor .01 400 V : PA -- GB
R4 resistor 470k : GB -- BOARD
R5 resistor 270 ohm 2 W : KB -- BOARD
T2 output transformer 4 W : primary load 5k = PB -- SUPPLY/bplus, secondary load 8 ohm = SPA -- BOARD
LS1 speaker 8 ohm 4 W : SPA -- BOARD
J1 jack mic : tip=GA, sleeve=BOARD
R6 resistor 2.2M : GA -- BOARD
CH chassis : METAL
"""
)
SERIES = """mains 117 V 60 Hz
P1 plug two-blade : line=LA, neutral=GND
S1 switch SPST : LA -- LB
V3 tube 35Z5GT : heater=LB -- HA, plate=LB, cathode=BA, unused 3
V2 tube 50L6GT : heater=HA -- HB, plate=PO, screen=BB, grid=GO, cathode=KO
V1 tube 12SQ7 : heater=HB -- HC, plate=PI, grid=GI, cathode=GND, diode1=GND, diode2=GND, unused 1
PL1 lamp pilot 6.3 V 0.15 A : HC -- HD
R9 resistor wirewound 90 ohm 5 W : HD -- GND
C1 electrolytic 40 uF 150 V : BA -- GND
R1 resistor 1k 2 W : BA -- BB
C2 electrolytic 30 uF 150 V : BB -- GND
R2 resistor 220k : BB -- PI
C3 capacitor .01 400 V : PI -- GO
R3 resistor 470k : GO -- GND
R4 resistor 150 ohm 1 W : KO -- GND
R5 resistor 10M : GI -- GND
C4 capacitor .01 400 V : IN -- GI
J1 jack phono : tip=IN, sleeve=GND
T1 output transformer 3 W : primary load 2k = PO -- BA, secondary load 4 ohm = SP -- GND
LS1 speaker 4 ohm : SP -- GND
C5 capacitor .05 400 V : GND -- PAN
CH chassis : PAN
"""
BACK = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=MINUS
V2 tube 35W4 : heater=L1 -- H1, plate=L1, cathode=B1, unused 6
V1 tube 50B5 : heater=H1 -- H2, plate=PO, screen=B1, grid=G1, cathode=COMMON
R1 resistor dropper 210 ohm 10 W : H2 -- MINUS
C1 electrolytic 40 uF 150 V : B1 -- MINUS
R2 resistor 130 ohm 2 W : COMMON -- MINUS
C2 electrolytic 25 uF 25 V : COMMON -- MINUS
R3 resistor 470k : G1 -- MINUS
T1 output transformer 3 W : primary load 2.5k = PO -- B1, secondary load 4 ohm = SP -- COMMON
LS1 speaker 4 ohm : SP -- COMMON
"""
PLUGGED = """open UB, UC, UH, UK, UE, B7, HOT, COLD
S-P1 plug three-pin : line=SL, neutral=SN, earth=SE
S-T1 transformer 40 VA : core=SE, primary 117 V = SL -- SN, hv 120 V = SA -- SM, heater 6.3 V = SH -- SK
S-D1 diode 1000 V 1 A : SA -- SP
S-C1 electrolytic 47 uF 350 V : SP -- SM
X7 connector socket mates X8 : 1=SP, 2=SM, 3=SH, 4=SK, 5=SE
X8 connector plug : 1=UB, 2=UC, 3=UH, 4=UK, 5=UE
V1 tube 6AQ5 : heater=HOT -- COLD, plate=PB, screen=B7, grid=GB, cathode=KB
R4 resistor 470k : GB -- BASE
R5 resistor 270 ohm 2 W : KB -- BASE
T2 output transformer 4 W : primary load 5k = PB -- B7, secondary load 8 ohm = SPA -- BASE
LS1 speaker 8 ohm 4 W : SPA -- BASE
CH chassis : SHELL
"""
DOUBLER = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=N1
S1 switch SPST : L1 -- L2
R7 resistor surge 10 ohm 5 W : L2 -- L4
D1 selenium 130 V 150 mA : L4 -- BA
D2 selenium 130 V 150 mA : BASE -- L4
C1 electrolytic 80 uF 150 V : BA -- N1
C2 electrolytic 80 uF 150 V : N1 -- BASE
R8 resistor 10k 5 W : BA -- BASE
"""
BENCH = (
    NEW
    + """open B7, HOT, COLD, SUPPLY/heater1, SUPPLY/heater2
V1 tube 6AQ5 : heater=HOT -- COLD, plate=PB, screen=B7, grid=GB, cathode=KB
R4 resistor 470k : GB -- BASE
R5 resistor 270 ohm 2 W : KB -- BASE
T2 output transformer 4 W : primary load 5k = PB -- B7, secondary load 8 ohm = SPA -- BASE
LS1 speaker 8 ohm 4 W : SPA -- BASE
CH chassis : SHELL
"""
)
OLD_STRING = (
    NEW
    + """open L9, SUPPLY/heater1, SUPPLY/heater2
join B7 SUPPLY/bplus
join BASE SUPPLY/common
V1 tube 6AQ5 : heater=L9 -- H1, plate=PB, screen=B7, grid=GB, cathode=KB
V2 tube 6AV6 : heater=H1 -- BASE, plate=PC, grid=GC, cathode=BASE, diode1=BASE, diode2=BASE
R4 resistor 470k : GB -- BASE
R5 resistor 270 ohm 2 W : KB -- BASE
R6 resistor 220k : B7 -- PC
R7 resistor 10M : GC -- BASE
C5 capacitor 22n 400 V : PC -- GB
T2 output transformer 4 W : primary load 5k = PB -- B7, secondary load 8 ohm = SPA -- BASE
LS1 speaker 8 ohm 4 W : SPA -- BASE
"""
)
DECK = """mains 230 V 50 Hz
open HV1, HV2, OLDA, OLDB
SUPPLY/P1 plug three-pin : line=SL, neutral=SUPPLY/motor2, earth=SUPPLY/motor-earth
SUPPLY/CH chassis : SUPPLY/motor-earth
SUPPLY/F1 fuse slow 0.5 A : SL -- SUPPLY/motor1
SUPPLY/T1 transformer 40 VA : primary 230 V = SUPPLY/motor1 -- SUPPLY/motor2, hv 200 V = HV1 -- HV2
M2 motor 230 V 50 Hz 15 W : 1=OLDA, 2=OLDB, frame=PLATE
CH chassis : PLATE
"""
FIELD = """mains 117 V 60 Hz
P1 plug two-blade : line=L1, neutral=GND
D1 selenium 130 V 100 mA : L1 -- BA
C1 electrolytic 40 uF 150 V : BA -- GND
L3 field coil 450 ohm 4 W : BA -- BB
C2 electrolytic 40 uF 150 V : BB -- GND
R1 resistor 4.7k 2 W : BB -- GND
"""
KNOB = """mains 230 V 50 Hz
open HX, HY, OLD1, OLD2
SUPPLY/P1 plug three-pin : line=SL, neutral=SN, earth=SE
SUPPLY/F1 fuse slow 0.4 A : SL -- SUPPLY/switch1
SUPPLY/T1 transformer 30 VA : primary 230 V = SUPPLY/switch2 -- SN, heater 6.3 V = HX -- HY, core=SE
SUPPLY/CH chassis : SE
open SUPPLY/switch1, SUPPLY/switch2
S4 switch SPST : OLD1 -- OLD2
CH chassis : DECK
R8 resistor 1M : GR -- BASE
J3 jack phono : tip=GR, sleeve=BASE
"""
AUTO = """mains 220 V 50 Hz
P1 plug two-pin : line=L1, neutral=GND
S1 switch SPST : L1 -- L2
T9 autotransformer 60 VA : winding 220 V tap 6.3 V tap 127 V = GND -- HT -- MID -- L2
V1 tube 6AV6 : heater=HT -- GND, plate=PC, grid=GC, cathode=GND, diode1=GND, diode2=GND
D1 selenium 130 V 75 mA : MID -- BA
C1 electrolytic 40 uF 250 V : BA -- GND
R1 resistor 220k : BA -- PC
R2 resistor 10M : GC -- GND
"""


@dataclass(frozen=True, slots=True)
class Work:
    """A rule with its arguments on a circuit, and the lines it takes out and puts in."""

    rule: str
    arguments: str
    before: str
    out: str
    put_in: str


@dataclass(frozen=True, slots=True)
class Left:
    """A rule that refuses, with the beginning of a reason, or finds nothing to do."""

    rule: str
    arguments: str
    circuit: str
    reason: str = ""


WORKS = (
    Work(
        "balance-heaters",
        "way=resistors, one=HA, other=HB, common=BOARD",
        FED,
        """""",
        """
R7 resistor 100 ohm 1/2 W : HA -- BOARD
R8 resistor 100 ohm 1/2 W : HB -- BOARD
""",
    ),
    Work(
        "block-input",
        "jack=J1, common=BOARD, capacitor=22n 400 V",
        FED,
        """
J1 jack mic : tip=GA, sleeve=BOARD
""",
        """
J1 jack mic : tip=J1-tip, sleeve=BOARD
C3 capacitor film 22n 400 V : C3-1 -- GA
W1 wire stranded 18 AWG : J1-tip -- C3-1
""",
    ),
    Work(
        "bond-chassis",
        "",
        FED,
        """""",
        """
W1 wire green-yellow 18 AWG : METAL -- SUPPLY/earth
""",
    ),
    Work(
        "bond-common",
        "common=BOARD, chassis=METAL",
        FED.replace("CH chassis : METAL", "CH chassis : METAL\njoin METAL SUPPLY/earth"),
        """""",
        """
W1 wire black 18 AWG : BOARD -- METAL
""",
    ),
    Work(
        "change-value",
        "part=R9, value=82 ohm 10 W",
        SERIES,
        """
R9 resistor wirewound 90 ohm 5 W : HD -- GND
""",
        """
R9 resistor wirewound 82 ohm 10 W : HD -- GND
""",
    ),
    Work(
        "connect-umbilical",
        "bplus=B7, common=BASE, heater1=HOT, heater2=COLD, chassis=SHELL, bplus-port=UB, common-port=UC, heater1-port=UH, heater2-port=UK, earth-port=UE",
        PLUGGED,
        """""",
        """
W1 wire red 18 AWG : UB -- B7
W2 wire violet 18 AWG : UC -- BASE
W3 wire brown twisted 18 AWG : UH -- HOT
W4 wire brown twisted 18 AWG : UK -- COLD
W5 wire green-yellow 18 AWG : UE -- SHELL
""",
    ),
    Work(
        "cut-heater-string",
        "one=HEATA, other=HEATB",
        OLD_STRING,
        """
V1 tube 6AQ5 : 1=GB, 2=KB, 3=L9, 4=H1, 5=PB, 6=B7
V2 tube 6AV6 : 1=GC, 2=BASE, 3=H1, 4=BASE, 5=BASE, 6=BASE, 7=PC
""",
        """
V1 tube 6AQ5 : 1=GB, 2=KB, 3=L9, 4=V1-4, 5=PB, 6=B7
V2 tube 6AV6 : 1=GC, 2=BASE, 3=H1, 4=V2-4, 5=BASE, 6=BASE, 7=PC
W1 wire brown twisted 18 AWG : L9 -- HEATA
W2 wire brown twisted 18 AWG : V1-4 -- HEATB
W3 wire brown twisted 18 AWG : H1 -- HEATA
W4 wire brown twisted 18 AWG : V2-4 -- HEATB
""",
    ),
    Work(
        "decouple-stage",
        "load=R1, rail=SUPPLY/bplus, common=BOARD",
        FED,
        """
R1 resistor 220k : SUPPLY/bplus -- PA
""",
        """
R1 resistor 220k : R1-1 -- PA
W1 wire red 18 AWG : R1-1 -- DEC1
R7 resistor 10k 1 W : SUPPLY/bplus -- DEC1
C3 electrolytic 22 uF 350 V : DEC1 -- BOARD
""",
    ),
    Work(
        "exchange-field-coil",
        "coil=L3, resistor=470 ohm 10 W",
        FIELD,
        """
L3 choke field-coil 450 ohm 4 W : BA -- BB
""",
        """
R2 resistor wirewound 470 ohm 10 W : BA -- BB
""",
    ),
    Work(
        "exchange-output-transformer",
        "transformer=T1, load=5k, speaker=5 ohm",
        P_STRING,
        """
T1 output transformer 3 W : primary load 2.4k = P1 -- B1, secondary load 5 ohm = SP1 -- BASE
""",
        """
T1 output transformer 4 W : primary load 5k = P1 -- B1, secondary load 5 ohm = SP1 -- BASE
""",
    ),
    Work(
        "exchange-tube",
        "tube=V1, type=6SQ7",
        SERIES,
        """
V1 tube 12SQ7 : 2=GI, 3=GND, 4=GND, 5=GND, 6=PI, 7=HB, 8=HC, unused 1
""",
        """
V1 tube 6SQ7 : 2=GI, 3=GND, 4=GND, 5=GND, 6=PI, 7=HB, 8=HC, unused 1
""",
    ),
    Work(
        "feed-motor",
        "motor=M2",
        DECK,
        """""",
        """
W1 wire gray 18 AWG : SUPPLY/motor1 -- OLDA
W2 wire gray 18 AWG : SUPPLY/motor2 -- OLDB
W3 wire green-yellow 18 AWG : SUPPLY/motor-earth -- PLATE
""",
    ),
    Work(
        "fit-bleeder",
        "node=SUPPLY/bplus, common=BOARD, resistor=47k 2 W",
        FED,
        """""",
        """
R7 resistor bleeder 47k 2 W : SUPPLY/bplus -- BOARD
""",
    ),
    Work(
        "fit-surge-resistor",
        "rectifier=SUPPLY/D1, resistor=22 ohm 2 W",
        FED,
        """
SUPPLY/D1 diode 1000 V 1 A : SUPPLY/A -- SUPPLY/bplus
T2 output transformer 4 W : primary load 5k = PB -- SUPPLY/bplus, secondary load 8 ohm = SPA -- BOARD
""",
        """
SUPPLY/D1 diode 1000 V 1 A : SUPPLY-D1-anode -- SUPPLY/bplus
T2 output transformer 4 W : primary load 5k = PB -- SUPPLY/bplus,
secondary load 8 ohm = SPA -- BOARD
R7 resistor surge wirewound 22 ohm 2 W : R7-1 -- SUPPLY/A
W1 wire stranded 18 AWG : SUPPLY-D1-anode -- R7-1
""",
    ),
    Work(
        "isolate-keep-rectifier",
        "chassis=PAN",
        SERIES,
        """
P1 plug two-blade : line=LA, neutral=GND
""",
        """
P2 plug three-pin : line=MAINS1, neutral=MAINS2, earth=PAN
F1 fuse slow 1 A : MAINS1 -- MAINS3
S2 switch SPST 250 V 3 A : MAINS3 -- MAINS4
T2 transformer 100 VA : primary 117 V = MAINS4 -- MAINS2, secondary 117 V = LA -- GND
""",
    ),
    Work(
        "isolate-only",
        "common=GND, chassis=PAN",
        SERIES,
        """
P1 plug two-blade : line=LA, neutral=GND
V3 tube 35Z5GT : 2=LB, 5=LB, 7=HA, 8=BA, unused 3
R9 resistor wirewound 90 ohm 5 W : HD -- GND
""",
        """
V3 tube 35Z5GT : 2=LB, 7=HA, unused 3 5 8
R9 resistor wirewound 90 ohm 5 W : HD -- R9-2
P2 plug three-pin : line=MAINS1, neutral=MAINS2, earth=PAN
F1 fuse slow 500 mA : MAINS1 -- MAINS3
S2 switch SPST 250 V 3 A : MAINS3 -- MAINS4
T2 transformer 50 VA : primary 117 V = MAINS4 -- MAINS2, secondary 117 V = LA -- ISO
W1 wire gray 18 AWG : R9-2 -- ISO
BR1 bridge : ac1=LB, ac2=ISO, plus=BA, minus=GND
""",
    ),
    Work(
        "keep-back-bias",
        "return=BACK",
        BACK,
        """
R2 resistor 130 ohm 2 W : COMMON -- MINUS
C2 electrolytic 25 uF 25 V : COMMON -- MINUS
R3 resistor 470k : G1 -- MINUS
""",
        """
R2 resistor 130 ohm 2 W : COMMON -- R2-2
C2 electrolytic 25 uF 25 V : COMMON -- C2-minus
R3 resistor 470k : G1 -- R3-2
W1 wire violet 18 AWG : R2-2 -- BACK
W2 wire violet 18 AWG : R3-2 -- BACK
W3 wire violet 18 AWG : C2-minus -- BACK
""",
    ),
    Work(
        "keep-dial-lamp",
        "one=NH1, other=NH2",
        SERIES,
        """
V1 tube 12SQ7 : 2=GI, 3=GND, 4=GND, 5=GND, 6=PI, 7=HB, 8=HC, unused 1
PL1 lamp pilot 6.3 V 0.15 A : HC -- HD
R9 resistor wirewound 90 ohm 5 W : HD -- GND
""",
        """
V1 tube 12SQ7 : 2=GI, 3=GND, 4=GND, 5=GND, 6=PI, 7=HB, unused 1 8
PL1 lamp pilot 6.3 V 0.15 A : PL1-1 -- PL1-2
R9 resistor wirewound 90 ohm 5 W : 2=GND, unused 1
W1 wire brown 20 AWG : PL1-1 -- NH1
W2 wire brown 20 AWG : PL1-2 -- NH2
""",
    ),
    Work(
        "open-line-to-chassis",
        "",
        SERIES,
        """
C5 capacitor .05 uF 400 V : GND -- PAN
""",
        """""",
    ),
    Work(
        "release-line-cord",
        "",
        P_STRING,
        """
P1 plug two-blade : line=L1, neutral=BASE
S1 switch SPST : L1 -- L2
F1 fuse slow 0.5 A : L2 -- L3
""",
        """
S1 switch SPST : unused 1 2
""",
    ),
    Work(
        "remove-filter",
        "",
        P_STRING,
        """
C1 electrolytic 47 uF 350 V : B1 -- BASE
""",
        """""",
    ),
    Work(
        "remove-rectifier",
        "",
        P_STRING,
        """
V1 tube PL84 : 2=G1, 3=K1, 4=H1, 5=H2, 7=P1, 9=B2
V2 tube PY82 : 3=B1, 4=H2, 5=BASE, 9=L3
""",
        """
V1 tube PL84 : 2=G1, 3=K1, 4=H1, 7=P1, 9=B2, unused 5
V2 socket noval : 3=B1
""",
    ),
    Work(
        "remove-rectifier",
        "",
        DOUBLER,
        """
S1 switch SPST : L1 -- L2
R7 resistor surge 10 ohm 5 W : L2 -- L4
D1 selenium 130 V 150 mA : L4 -- BA
D2 selenium 130 V 150 mA : BASE -- L4
""",
        """
S1 switch SPST : 1=L1, unused 2
""",
    ),
    Work(
        "renew-filter-capacitor",
        "node=SUPPLY/bplus, common=BOARD, old=SUPPLY/C1, capacitor=33 uF 450 V",
        FED,
        """
SUPPLY/C1 electrolytic 47 uF 350 V : SUPPLY/bplus -- BOARD
""",
        """
SUPPLY/C1 electrolytic 47 uF 350 V : unused plus minus
C3 electrolytic 33 uF 450 V : SUPPLY/bplus -- BOARD
""",
    ),
    Work(
        "reuse-power-switch",
        "switch=S4, chassis=DECK",
        KNOB,
        """
S4 switch SPST : OLD1 -- OLD2
""",
        """
S4 switch SPST : S4-1 -- S4-2
WS1 shielded cable 18 AWG : core1 = S4-1 -- SUPPLY/switch1, core2 = S4-2 -- SUPPLY/switch2, core3 = SE -- DECK,
shield=SE
""",
    ),
    Work(
        "rewire-tapped-heater",
        "tube=V1, one=HA, other=HB",
        FED.replace(
            "V1 tube 6AU6 : heater=HA -- HB, plate=PA, screen=SA, grid=GA, cathode=KA, suppressor=KA",
            "V1 tube 12AX7 : 4=HX, 5=HY, unused 9, triode1.plate=PA, triode1.grid=GA, triode1.cathode=KA, triode2.plate=SA, triode2.grid=GA, triode2.cathode=KA",
        )
        + "open HX, HY\n",
        """
V1 tube 12AX7 : 1=SA, 2=GA, 3=KA, 4=HX, 5=HY, 6=PA, 7=GA, 8=KA, unused 9
""",
        """
V1 tube 12AX7 : 1=SA, 2=GA, 3=KA, 4=HX, 5=HY, 6=PA, 7=GA, 8=KA, 9=V1-9
W1 wire brown 18 AWG : HX -- HY
W2 wire brown twisted 18 AWG : HX -- HA
W3 wire brown twisted 18 AWG : V1-9 -- HB
""",
    ),
    Work(
        "selenium-to-silicon",
        "rectifier=D9, resistor=47 ohm 5 W",
        P_STRING.replace(
            "V2 tube PY82 : heater=H2 -- BASE, plate=L3, cathode=B1",
            "D9 selenium 250 V 100 mA : L3 -- B1\nR9 resistor 63 ohm 10 W : H2 -- BASE",
        ),
        """
D9 selenium 250 V 100 mA : L3 -- B1
""",
        """
R10 resistor surge wirewound 47 ohm 5 W : L3 -- SILICON1
D10 diode silicon 1000 V 1 A : SILICON1 -- B1
""",
    ),
    Work(
        "take-out-autotransformer",
        "",
        AUTO,
        """
S1 switch SPST : L1 -- L2
T9 autotransformer 60 VA : winding 220 V tap 6.3 V tap 127 V = GND -- HT -- MID -- L2
V1 tube 6AV6 : 1=GC, 2=GND, 3=HT, 4=GND, 5=GND, 6=GND, 7=PC
D1 selenium 130 V 75 mA : MID -- BA
""",
        """
S1 switch SPST : 1=L1, unused 2
V1 tube 6AV6 : 1=GC, 2=GND, 4=GND, 5=GND, 6=GND, 7=PC, unused 3
D1 selenium 130 V 75 mA : cathode=BA, unused anode
""",
    ),
    Work(
        "take-out-dropper",
        "",
        SERIES,
        """
V1 tube 12SQ7 : 2=GI, 3=GND, 4=GND, 5=GND, 6=PI, 7=HB, 8=HC, unused 1
PL1 lamp pilot 6.3 V 0.15 A : HC -- HD
R9 resistor wirewound 90 ohm 5 W : HD -- GND
""",
        """
V1 tube 12SQ7 : 2=GI, 3=GND, 4=GND, 5=GND, 6=PI, 7=HB, unused 1 8
""",
    ),
    Work(
        "take-out-part",
        "part=C5",
        SERIES,
        """
C5 capacitor .05 uF 400 V : GND -- PAN
""",
        """""",
    ),
)
LEFT = (
    Left(
        "balance-heaters",
        "way=bridge, one=HA, other=HB, common=BOARD",
        FED,
        "bridge is no way to balance a heater pair:",
    ),
    Left("block-input", "jack=LS1, common=BOARD", FED, "There is no jack LS1 in the circuit."),
    Left("bond-chassis", "earth=NOWHERE", FED, "NOWHERE is joined to no earth."),
    Left("bond-common", "common=BOARD, chassis=METAL", FED, "METAL is not bonded to earth yet."),
    Left("change-value", "part=R99, value=10k", SERIES, "There is no part R99 in the circuit."),
    Left(
        "connect-umbilical",
        "bplus=B7, common=BASE, heater1=HOT, heater2=COLD, chassis=SHELL",
        BENCH,
        "SUPPLY/bplus is on no connector that mates with another.",
    ),
    Left(
        "cut-heater-string",
        "",
        OLD_STRING.replace("V2 tube 6AV6", "V2 tube 12AV6"),
        "The heater of V2 is not one for 6.3 V as it is wired.",
    ),
    Left(
        "decouple-stage",
        "load=R99, rail=SUPPLY/bplus, common=BOARD",
        FED,
        "There is no resistor R99 from SUPPLY/bplus to a stage:",
    ),
    Left("exchange-field-coil", "coil=L3", FIELD, "Say what takes the place of L3:"),
    Left(
        "exchange-output-transformer",
        "transformer=R1, load=5k",
        P_STRING,
        "There is no output transformer R1 with one primary and one secondary a",
    ),
    Left("exchange-tube", "tube=V1, type=6X4", SERIES, "6X4 is no twin of the tube in V1:"),
    Left(
        "feed-motor",
        "motor=M2",
        DECK.replace("motor 230 V", "motor 117 V"),
        "M2 is for other volts than the line's 230 V:",
    ),
    Left(
        "fit-bleeder",
        "node=NOWHERE, common=BOARD, resistor=47k 2 W",
        FED,
        "There is no node NOWHERE for the bleeder:",
    ),
    Left(
        "fit-surge-resistor",
        "rectifier=V1, resistor=22 ohm 2 W",
        FED,
        "There is no diode V1 in the circuit.",
    ),
    Left(
        "isolate-keep-rectifier",
        "chassis=NOWHERE",
        SERIES,
        "There is no node NOWHERE for the earth of the new cord:",
    ),
    Left(
        "isolate-only",
        "common=COMMON, chassis=SP",
        BACK,
        "The output tube takes its bias from resistors between COMMON and B-;",
    ),
    Left("keep-back-bias", "return=B1", BACK, "There is a node B1 already."),
    Left(
        "keep-dial-lamp",
        "",
        SERIES.replace("lamp pilot 6.3 V 0.15 A", "lamp pilot 12 V 0.15 A"),
        "PL1 is for more volts than the new pair has:",
    ),
    Left(
        "open-line-to-chassis",
        "",
        FED,
        "There is no line cord on the board any more, so the nodes of the line ",
    ),
    Left("release-line-cord", "", FED),
    Left("remove-filter", "", FED),
    Left("remove-rectifier", "", FED),
    Left(
        "renew-filter-capacitor",
        "node=NOWHERE, common=BOARD",
        FED,
        "There is no node NOWHERE for the capacitor:",
    ),
    Left(
        "reuse-power-switch",
        "switch=S9, chassis=DECK",
        KNOB,
        "There is no switch S9, or no supply chassis beside the amplifier that ",
    ),
    Left(
        "rewire-tapped-heater",
        "tube=V2, one=HA, other=HB",
        FED,
        "The heater of V2 has no tap on a pin, whatever its socket looks like.",
    ),
    Left(
        "selenium-to-silicon",
        "rectifier=V2, resistor=47 ohm 5 W",
        P_STRING,
        "There is no selenium rectifier V2 with two leads in the circuit.",
    ),
    Left("take-out-autotransformer", "", SERIES),
    Left("take-out-dropper", "", FED),
    Left("take-out-part", "part=V1", SERIES, "V1 is in the heater string:"),
)


def read(text: str) -> Circuit:
    circuit, problems = read_circuit(text, file="set.circuit")
    assert circuit is not None, problems
    return circuit


def planned(rule_name: str, arguments: str, circuit: Circuit) -> Outcome:
    rule, problems = load(rule_name)
    assert rule is not None, problems
    pairs = (pair.partition("=") for pair in arguments.split(", ") if pair)
    return plan(rule, circuit, {name: value for name, _, value in pairs})


def parts_of(circuit: Circuit) -> set[str]:
    return {" ".join(line.split()) for line in write_circuit(circuit).splitlines()}


@each("work", WORKS)
def test_a_rule_does_its_work_on_another_set(work):
    before = read(work.before)
    outcome = planned(work.rule, work.arguments, before)
    assert isinstance(outcome, Applied), outcome
    was, now = parts_of(before), parts_of(outcome.after)
    changed = [
        {line for line in some - others if line and not line.startswith("open ")}
        for some, others in ((was, now), (now, was))
    ]
    assert changed == [set(filter(None, text.splitlines())) for text in (work.out, work.put_in)]


@each("left", LEFT)
def test_a_rule_refuses_or_leaves_what_is_not_its_work(left):
    outcome = planned(left.rule, left.arguments, read(left.circuit))
    if left.reason:
        assert isinstance(outcome, Refused), outcome
        assert any(reason.startswith(left.reason) for reason in outcome.reasons), outcome.reasons
    else:
        assert isinstance(outcome, NothingToDo), outcome


def test_every_rule_is_tried_on_another_set():
    elsewhere = {"resistor-for-heater", "take-out-heater-transformer"}  # test_second_circuits.py
    assert {work.rule for work in WORKS} | elsewhere == set(builtin_names())
    assert {left.rule for left in LEFT} | elsewhere == set(builtin_names())
