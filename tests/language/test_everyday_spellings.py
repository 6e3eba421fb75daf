"""What the bench writes is read, or asked about with both readings; never guessed."""

from __future__ import annotations

import re

import pytest
from each import each

from rework.circuit.parts import Part
from rework.language.resolve import read_circuit
from rework.language.writer import tidy, write_circuit

#: As written on the bench, and as the file would state it.
READ = [
    ("C1 capacitor .01 400 V : A -- B", "C1 capacitor 0.01 uF 400 V : A -- B"),
    ("C1 condenser .047u 630V : A -- B", "C1 capacitor 47n 630 V : A -- B"),
    ("C1 electrolytic 40 150V : A -- B", "C1 electrolytic 40 uF 150 V : A -- B"),
    ("R1 resistor 1k ohm : A -- B", "R1 resistor 1k : A -- B"),
    ("R1 resistor 2k2 ohm 1/2 W : A -- B", "R1 resistor 2k2 1/2 W : A -- B"),
    ("R1 resistor 2R2 ohms : A -- B", "R1 resistor 2.2 ohm : A -- B"),
    ("R1 resistor 4.7 k ohm 1/2 W : A -- B", "R1 resistor 4k7 1/2 W : A -- B"),
    ("R1 resistor\u00a0220k\u00a01/2\u00a0W : A -- B", "R1 resistor 220k 1/2 W : A -- B"),
    ("R1 Resistor 220K wire-wound : A -- B", "R1 resistor 220k wirewound : A -- B"),
    ("PL1 lamp #47 : A -- B", 'PL1 lamp type "#47" 6.3 V 150 mA : A -- B'),
    ("PL1 lamp type 47 : A -- B", "PL1 lamp type 47 6.3 V 150 mA : A -- B"),
    ("PL1 dial lamp #44 : A -- B", 'PL1 lamp pilot type "#44" 6.3 V 250 mA : A -- B'),
    ("PL1 pilot lamp 6.3 V 150 mA : A -- B", "PL1 lamp pilot 6.3 V 150 mA : A -- B"),
    ("P1 plug polarized : line=A, neutral=B", "P1 plug polarised : line=A, neutral=B"),
    ("P1 plug two-prong : line=A, neutral=B", "P1 plug two-blade : line=A, neutral=B"),
    ("L1 field coil 1k ohm : A -- B", "L1 choke field-coil 1k ohm : A -- B"),
    ("L1 filter choke 8 H 250 ohm : A -- B", "L1 choke 8 H 250 ohm : A -- B"),
    ("V1 valve 12AU6 : 1=A, 2=B, 3=A, 4=B, 5=A, 6=B, 7=A", None),
    (
        "T1 heater transformer 20 VA : primary 117 V = A -- B, heater 6.3 V = C -- D",
        "T1 transformer 20 VA : primary 117 V = A -- B, heater 6.3 V = C -- D",
    ),
    ("J1 jack mic : tip=A, sleeve=B", "J1 jack mic : tip=A, sleeve=B"),
    ("J1 jack phono : tip=A, sleeve=B", "J1 jack phono : tip=A, sleeve=B"),
    ("MK1 mic crystal : signal=A, shield=B", "MK1 microphone crystal : signal=A, shield=B"),
    (
        "R1 volume control 500k log : ccw=A, wiper=B, cw=C",
        "R1 pot audio 500k : ccw=A, wiper=B, cw=C",
    ),
    ("R1 potentiometer 1M lin : ccw=A, wiper=B, cw=C", "R1 pot linear 1M : ccw=A, wiper=B, cw=C"),
    ("F1 fuse slow-blow 1 A : A -- B", "F1 fuse slow 1 A : A -- B"),
    ("D1 LED red 2 V 20 mA : A -- B", "D1 light-emitting diode red 2 V 20 mA : A -- B"),
    ("D1 zener 12 V 1 W : A -- B", "D1 zener diode 12 V 1 W : A -- B"),
    ("RV1 MOV 150 V : A -- B", "RV1 varistor 150 V : A -- B"),
    (
        "R1 NTC cold 800 ohm hot 40 ohm : A -- B",
        "R1 thermistor NTC cold 800 ohm hot 40 ohm : A -- B",
    ),
    ("LS1 loudspeaker 4 ohm : A -- B", "LS1 speaker 4 ohm : A -- B"),
    ("S1 switch dpdt : A -- B -- C, D -- E -- F", "S1 switch DPDT : A -- B -- C, D -- E -- F"),
    ("S1 switch center-off SPDT : A -- B -- C", "S1 switch SPDT centre-off : A -- B -- C"),
    ('U1 part unlisted "delay line" : 1=A, 2=B', None),
    (
        "T2 output transformer 2.5k : 4 : primary = A -- B, secondary = C -- D",
        "T2 output transformer : primary load 2.5k = A -- B, secondary load 4 ohm = C -- D",
    ),
    (
        "T2 output transformer 5 W 5k6 : 8 ohm push-pull : primary = A -- B -- C, secondary = D -- E",
        "T2 output transformer push-pull 5 W : primary load 5k6 = A -- B -- C,"
        " secondary load 8 ohm = D -- E",
    ),
    ("R1 dropper 150 ohm 10 W : A -- B", "R1 resistor dropper 150 ohm 10 W : A -- B"),
    ("R1 barretter 560 ohm 60 W : A -- B", "R1 resistor ballast 560 ohm 60 W : A -- B"),
    ("R1 resistor linecord 100 ohm : A -- B", "R1 resistor line-cord 100 ohm : A -- B"),
    ("P1 plug two-pin : line=A, neutral=B", "P1 plug two-blade : line=A, neutral=B"),
    ("PU1 phono pickup crystal : signal=A, shield=B", "PU1 pickup crystal : signal=A, shield=B"),
    ("D1 bridge rectifier 1 A : ac1=A, ac2=B, plus=C, minus=D", None),
    ("S1 toggle switch SPST : A -- B", "S1 switch SPST : A -- B"),
    ("L1 choke 8 H dcr 250 ohm : A -- B", "L1 choke 8 H 250 ohm : A -- B"),
    (
        "V1 tube 25Z6GT : plate1=A, cathode1=B, plate2=C, cathode2=D, heater1=E, heater2=F, unused 1 6",
        "V1 tube 25Z6GT : diode1.plate=A, diode1.cathode=B, diode2.plate=C, diode2.cathode=D,"
        " heater1=E, heater2=F, unused 1 6",
    ),
    ("C1 electrolytic 20 mfd 150 WVDC : A -- B", "C1 electrolytic 20 uF 150 V : A -- B"),
    ("C1 capacitor .05 600WV : A -- B", "C1 capacitor 50n 600 V : A -- B"),
    ("F1 fuse 1 A slo-blo : A -- B", "F1 fuse slow 1 A : A -- B"),
    ("J1 phono jack : tip=A, sleeve=B", "J1 jack phono : tip=A, sleeve=B"),
    ("S1 on-off switch : A -- B", "S1 switch : A -- B"),
    ("R1 line-cord resistor 160 ohm : A -- B", "R1 resistor line-cord 160 ohm : A -- B"),
    (
        "R1 resistor 150 ohms 10 watts wire wound : A -- B",
        "R1 resistor wirewound 150 ohms 10 W : A -- B",
    ),
    ("R1 carbon resistor 220k tol 5% : A -- B", "R1 resistor carbon 220k 5% : A -- B"),
    ("R1 bleeder resistor 220k : A -- B", "R1 resistor bleeder 220k : A -- B"),
    ("R1 grid leak 10M : A -- B", "R1 resistor 10M : A -- B"),
    ("C1 paper cap .02 600V : A -- B", "C1 capacitor paper .02 uF 600 V : A -- B"),
    ("C1 coupling capacitor .02 400V : A -- B", "C1 capacitor .02 uF 400 V : A -- B"),
    ("C1 electrolytic cap 20 uF 25 V : A -- B", "C1 electrolytic 20 uF 25 V : A -- B"),
    ("C1 40 uF 150 V electrolytic : A -- B", "C1 electrolytic 40 uF 150 V : A -- B"),
    ("C1 disc cap 470 pF 1kV : A -- B", "C1 capacitor ceramic 470 pF 1 kV : A -- B"),
    ("C1 capacitor silver mica 250 pF : A -- B", "C1 capacitor mica 250 pF : A -- B"),
    ("F1 1A fuse : A -- B", "F1 fuse 1 A : A -- B"),
    ("F1 fuse 3AG 1A slow blow : A -- B", "F1 fuse glass slow 1 A : A -- B"),
    ("F1 fuse 250 mA T : A -- B", "F1 fuse slow 250 mA : A -- B"),
    ("S1 spst switch : A -- B", "S1 switch SPST : A -- B"),
    ("S1 slide switch SPDT : A -- B -- C", "S1 switch SPDT : A -- B -- C"),
    ("J1 RCA jack : hot=A, shell=B", "J1 jack phono : tip=A, sleeve=B"),
    ("J1 jack speaker : tip=A, sleeve=B", "J1 jack speaker : tip=A, sleeve=B"),
    ("P1 mains plug two-pin : L=A, N=B", "P1 plug two-blade : line=A, neutral=B"),
    ("PL1 #47 panel lamp : A -- B", 'PL1 lamp type "#47" 6.3 V 150 mA : A -- B'),
    ("D1 diode 1N4007 : a=A, k=B", "D1 diode type 1N4007 : A -- B"),
    ("D1 silicon rectifier 1N4007 : A -- B", "D1 diode silicon type 1N4007 : A -- B"),
    (
        "D1 bridge W08 : ac=A, ac=B, plus=C, minus=D",
        "D1 bridge type W08 : ac1=A, ac2=B, plus=C, minus=D",
    ),
    (
        "Q1 2N3904 transistor : e=A, b=B, c=C",
        "Q1 transistor type 2N3904 : base=B, collector=C, emitter=A",
    ),
    (
        "V1 vacuum tube 50C5 : anode=A, cathode=B, heater=A, heater=B, g1=A, g2=B",
        "V1 tube 50C5 : plate=A, cathode=B, heater1=A, heater2=B, grid=A, screen=B",
    ),
    (
        "V1 50C5 tube : pin1=B, pin2=A, pin3=A, pin4=B, pin6=B, pin7=A",
        "V1 tube 50C5 : 1=B, 2=A, 3=A, 4=B, 6=B, 7=A",
    ),
    ("L1 smoothing choke 8 H : A -- B", "L1 choke 8 H : A -- B"),
    (
        "T1 mic transformer : primary 1 V = A -- B, secondary 20 V = C -- D",
        "T1 transformer : primary 1 V = A -- B, secondary 20 V = C -- D",
    ),
    ("M1 phono motor 117 V 12 W : A -- B", "M1 motor 117 V 12 W : A -- B"),
    ("W1 jumper : A -- B", "W1 wire : A -- B"),
    ("S1 switch 3-position : A -- B -- C -- D", "S1 switch SP3T : A -- B -- C -- D"),
    (
        "S1 rotary switch 2 pole 4 way in throw3 : A -- B -- C -- D -- A, B -- C -- D -- A -- B",
        "S1 switch 2P4T in throw3 : A -- B -- C -- D -- A, B -- C -- D -- A -- B",
    ),
    ("D1 1N4007 : A -- B", "D1 diode type 1N4007 : A -- B"),
    ("PL1 #47 : A -- B", 'PL1 lamp type "#47" 6.3 V 150 mA : A -- B'),
    (
        "V1 50C5 : plate=A, cathode=B, heater=A -- B, grid=A, screen=B",
        "V1 tube 50C5 : plate=A, cathode=B, heater1=A, heater2=B, grid=A, screen=B",
    ),
    ("V1 OA2 : A -- B", "V1 gas regulator 150 V 30 mA type OA2 : A -- B"),
    ("C1 capacitor .05 MFD : A -- B", "C1 capacitor 0.05 uF : A -- B"),
    ("C1 capacitor 270 pf mica : A -- B", "C1 capacitor mica 270 pF : A -- B"),
    ("R1 resistor 1 megohm : A -- B", "R1 resistor 1M : A -- B"),
    ("HP1 phones 2k : A -- B", "HP1 headphones 2k : 1=A, 2=B"),
    (
        "K1 relay SPST coil 24 V 600 ohm : A -- B, coil=A -- B",
        "K1 relay SPST 24 V 600 ohm : A -- B, coil1=A, coil2=B",
    ),
    (
        "T1 heater transformer 117 V : 6.3 V 1 A : primary = A -- B, heater = C -- D",
        "T1 transformer : primary 117 V = A -- B, heater 6.3 V 1 A = C -- D",
    ),
    ("mains 117 V 60 cycles", "mains 117 V 60 Hz"),
    ("mains 220 V DC", "mains 220 V 0 Hz"),
    ("mains 110 VDC", "mains 110 V DC"),
    ("R1 resistor 2.2 megs : A -- B", "R1 resistor 2.2M : A -- B"),
    ("R1 resistor 470 ohms ½ W : A -- B", "R1 resistor 470 ohm 1/2 W : A -- B"),
    ("R1 resistor 22k 1½ W : A -- B", "R1 resistor 22k 1.5 W : A -- B"),
    ("R1 resistor 100K Ohm 1/2 watt ±10% : A -- B", "R1 resistor 100k 1/2 W 10% : A -- B"),
    ("R1 resistor 100 k +/- 10 % : A -- B", "R1 resistor 100k 10% : A -- B"),
    ("C1 capacitor 100 uuf 500 V : A -- B", "C1 capacitor 100 pF 500 V : A -- B"),
    ("C1 capacitor 100 \u00b5\u00b5F mica : A -- B", "C1 capacitor mica 100 pF : A -- B"),
    ("C1 capacitor 0.1 microfarad 400 volt : A -- B", "C1 capacitor 0.1 uF 400 V : A -- B"),
    ("C1 MP capacitor 0.1 uF 250 V : A -- B", "C1 capacitor paper 0.1 uF 250 V : A -- B"),
    ("C1 electrolytic 10 uF 25VDC axial : A -- B", "C1 electrolytic 10 uF 25 V : A -- B"),
    ("C1 electrolytic 40 uF 150 V : A -- B, case=C", "C1 electrolytic 40 uF 150 V : A -- B, can=C"),
    ("L1 choke 10 Henries 400 ohm : A -- B", "L1 choke 10 H 400 ohm : A -- B"),
    ("L1 field-coil 1800 ohm 6 W : A -- B", "L1 choke field-coil 1800 ohm 6 W : A -- B"),
    (
        "L1 speaker field 1800 ohm : A -- B, basket=C",
        "L1 choke field-coil 1800 ohm : A -- B, frame=C",
    ),
    ("S1 toggle switch SPST : A -- B, bushing=C", "S1 switch SPST : A -- B, frame=C"),
    ("S1 switch SPST closed : A -- B", "S1 switch SPST in ON : A -- B"),
    ("S1 switch SPST normally open : A -- B", "S1 switch SPST in OFF : A -- B"),
    ("S1 switch SPDT on-off-on : A -- B -- C", "S1 switch SPDT centre-off : A -- B -- C"),
    (
        "S1 switch selector 3 positions at 2 : A -- B -- C -- D",
        "S1 switch SP3T in throw2 : A -- B -- C -- D",
    ),
    (
        "S1 voltage selector SP3T in position 3 : A -- B -- C -- D",
        "S1 switch SP3T in throw3 : A -- B -- C -- D",
    ),
    ("S1 interlock switch : A -- B", "S1 switch : A -- B"),
    (
        "K1 relay SPDT 12 V 150 ohm : coil=A -- B, com=C, nc=D, no=E",
        "K1 relay SPDT 12 V 150 ohm : C -- D -- E, coil1=A, coil2=B",
    ),
    ("B1 circuit breaker 2 amp 250 VAC : A -- B", "B1 breaker 2 A 250 V : A -- B"),
    ("RV1 VDR 130 V : A -- B", "RV1 varistor 130 V : A -- B"),
    ("RT1 inrush limiter 120 ohm : A -- B", "RT1 thermistor NTC 120 ohm : A -- B"),
    ("BT1 67.5 V B battery : A -- B", "BT1 battery 67.5 V : A -- B"),
    ("LP1 neon NE2 : A -- B", "LP1 lamp neon type NE2 : A -- B"),
    (
        "U1 SMPS 12 V 1 A : in.L=A, in.N=B, out.plus=C, out.minus=D",
        "U1 module switched-mode 12 V 1 A : in.L=A, in.N=B, out.plus=C, out.minus=D",
    ),
    (
        "U1 optocoupler PC817 class reinforced : a=A, k=B, collector=C, e=D",
        "U1 optocoupler type PC817 class reinforced : anode=A, cathode=B, collector=C, emitter=D",
    ),
    ("J1 stereo jack : tip=A, ring=B, sleeve=C", "J1 jack : tip=A, sleeve=C, ring=B"),
    ("P1 plug Schuko : L=A, N=B, PE=C", "P1 plug three-pin : line=A, neutral=B, earth=C"),
    (
        "P1 plug two-blade polarized : narrow=A, wide=B",
        "P1 plug two-blade polarised : line=A, neutral=B",
    ),
    (
        "V1 tube 50C5 : plate=A, cath=B, fil=C, fil=D, control-grid=E, screen-grid=F",
        "V1 tube 50C5 : 1=B, 2=E, 3=C, 4=D, 6=F, 7=A",
    ),
    (
        "V1 tube ECL82/6BM8 : 1=A, 2=B, 3=A, 4=B, 5=A, 6=B, 7=A, 8=B, 9=A",
        "V1 tube ECL82 : 1=A, 2=B, 3=A, 4=B, 5=A, 6=B, 7=A, 8=B, 9=A",
    ),
    (
        "T1 filament transformer 117 V : 6.3 V CT : primary = A -- B, secondary = C -- D -- E",
        "T1 transformer : primary 117 V = A -- B, secondary 6.3 V tap 50% = C -- D -- E",
    ),
    (
        "T1 output transformer 8k p-p : 8 : primary = A -- B -- C, secondary = D -- E",
        "T1 output transformer push-pull : primary load 8k = A -- B -- C, secondary load 8 ohm = D -- E",
    ),
    (
        "T1 output transformer : primary load 8k ct = A -- B -- C, secondary load 8 ohm = D -- E",
        "T1 output transformer : primary load 8k tap 50% = A -- B -- C, secondary load 8 ohm = D -- E",
    ),
    ("mains 117 volts 60 cycle", "mains 117 V 60 Hz"),
    ("D1 BY127 : A -- B", "D1 diode type BY127 : A -- B"),
    ("D1 diode 1000 V PIV 1 A : A -- B", "D1 diode 1000 V 1 A : A -- B"),
    ("M1 gramophone motor 92 V 0.3 A : A -- B", "M1 motor 92 V 0.3 A : A -- B"),
    ("R1 potmeter 500k lin : ccw=A, wiper=B, cw=C", "R1 pot linear 500k : ccw=A, wiper=B, cw=C"),
    (
        "V1 tube 6V6GT/G : 2=B, 3=A, 4=B, 5=A, 7=B, 8=A, unused 1 6",
        "V1 tube 6V6GT : 2=B, 3=A, 4=B, 5=A, 7=B, 8=A, unused 1 6",
    ),
    ("R1 resistor 2.2k \u03a9 1/2 W : A -- B", "R1 resistor 2.2k 1/2 W : A -- B"),
    ("R1 resistor 2.2k\u00a0\u2126 : A -- B", "R1 resistor 2.2k : A -- B"),
    ("R1 resistor 2k2 \u03a9 : A -- B", "R1 resistor 2k2 : A -- B"),
    ("R1 resistor 2k2\u00a0\u2126 1 W : A -- B", "R1 resistor 2k2 1 W : A -- B"),
    ("R1 resistor 470K\u03a9 : A -- B", "R1 resistor 470k : A -- B"),
    ("R1 resistor 3\u03a93 : A -- B", "R1 resistor 3.3 ohm : A -- B"),
    ("R1 resistor 2,2 k\u03a9 0,5 W : A -- B", "R1 resistor 2.2k 0.5 W : A -- B"),
    ("R1 resistor 470 KOHM 1/4w : A -- B", "R1 resistor 470k 1/4 W : A -- B"),
    ("R1 resistor 1MEG 5 percent : A -- B", "R1 resistor 1M 5% : A -- B"),
    ("R1 resistor 0.47R : A -- B", "R1 resistor 0.47 ohm : A -- B"),
    ("R1 resistor 150 R 5W ww : A -- B", "R1 resistor wirewound 150 ohm 5 W : A -- B"),
    ("R1 RESISTOR 150 OHM, 10 WATT : A -- B", "R1 resistor 150 ohm 10 W : A -- B"),
    ("R1 resistor 220k / 1W : A -- B", "R1 resistor 220k 1 W : A -- B"),
    ("C1 capacitor 0,022 uF : A -- B", "C1 capacitor 22n : A -- B"),
    ("C1 capacitor .047 MFD. 600 v. : A -- B", "C1 capacitor 47n 600 V : A -- B"),
    ("C1 capacitor 50 \u00b5\u00b5fd : A -- B", "C1 capacitor 50 pF : A -- B"),
    ("C1 capacitor 47n/630V= : A -- B", "C1 capacitor 47n 630 V : A -- B"),
    ("C1 capacitor X2 47nF 250V~ : A -- B", "C1 capacitor class X2 47n 250 V : A -- B"),
    ("C1 electrolytic 50\u00b5/350V : A -- B", "C1 electrolytic 50 uF 350 V : A -- B"),
    ("C1 electrolytic 20 mfd, 150 V DC : A -- B", "C1 electrolytic 20 uF 150 V : A -- B"),
    ("L1 choke 8 hy 400\u03a9 : A -- B", "L1 choke 8 H 400 ohm : A -- B"),
    ("L1 choke 10 h : A -- B", "L1 choke 10 H : A -- B"),
    ("PL1 pilot light No. 47 : A -- B", "PL1 lamp pilot type 47 6.3 V 150 mA : A -- B"),
    ("PL1 lamp 6,3V/0,15A : A -- B", "PL1 lamp 6.3 V 0.15 A : A -- B"),
    ("F1 fuse 1 amp. SB : A -- B", "F1 fuse slow 1 A : A -- B"),
    (
        "V1 tube 12 AU 6 : 1=A, 2=B, 3=C, 4=D, 5=E, 6=F, 7=A",
        "V1 tube 12AU6 : 1=A, 2=B, 3=C, 4=D, 5=E, 6=F, 7=A",
    ),
    (
        "V1 tube 50C5 : pin 1=B, pin 2=A, pin 3=A, pin 4=B, pin 6=B, pin 7=A",
        "V1 tube 50C5 : 1=B, 2=A, 3=A, 4=B, 6=B, 7=A",
    ),
    ("S1 spst : A -- B", "S1 switch SPST : A -- B"),
    ("V3 UY 41 : 1=A, 8=B, 2=C, 7=D", "V3 tube UY41 : 1=A, 8=B, 2=C, 7=D"),
    ("R1 resistor 220k : A \u2013 B", "R1 resistor 220k : A -- B"),
    ("R1 resistor 220k : A -> B", "R1 resistor 220k : A -- B"),
    (
        "R1 resistor 220k : A -- B \u201cthe # brown\u201d",
        'R1 resistor 220k : A -- B "the # brown"',
    ),
    ("MAINS 117 V 60 Hz", "mains 117 V 60 Hz"),
    ("Mains 230V~/50 c/s", "mains 230 V 50 Hz"),
]
#: As written on the bench, and what the question must contain.
ASKED = [
    ("C1 capacitor 250 400 V : A -- B", "250 pF or 250 uF"),
    ("D1 rectifier 1N4007 : A -- B", "did you mean diode?"),
    (
        "T2 output transformer : primary 2.5k = A -- B, secondary load 4 ohm = C -- D",
        "write load 2.5k or dcr 2.5k",
    ),
    (
        "T2 output transformer 5 W : 4 : primary = A -- B, secondary = C -- D",
        "as in output transformer 2.5k : 4",
    ),
    (
        "T2 output transformer 5k : 4 : primary load 5k = A -- B, secondary = C -- D",
        "the load of the primary is stated twice",
    ),
    (
        "T2 output transformer 5k : 4 : primary = A -- B",
        "there is no secondary for the load of 4 ohm",
    ),
    ("R1 resistor 1k : 4 : A -- B", "one line has a second colon"),
    (
        "T1 mic transformer 1:20 : primary = A -- B, secondary = C -- D",
        "one line has a second colon",
    ),
    ("C1 capacitor 10,000 pF : A -- B", "write 10000 or 10.000"),
    ("C1 Y cap 2.2 nF : A -- B", "did you mean capacitor class Y2?"),
    ("F1 fuse T250mA : A -- B", "did you mean 250 mA slow?"),
    ("S1 switch 2 position : A -- B", "write SPST where it is OFF or ON, or SPDT"),
    ("S1 switch 2-pole : A -- B, C -- D", "write DPST where it is OFF or ON, or DPDT"),
    ("R1 1 meg 1/2 W : A -- B", "write R1 resistor 1 meg 1/2 W"),
    ("C1 .05uf 400 V : A -- B", "write C1 capacitor .05uf 400 V"),
    ("C1 .047 600V : A -- B", "write C1 capacitor .047 600V"),
    ("R 1 resistor 220k : A -- B", "write R1"),
    ("R1 = resistor 220k : A -- B", "leave the = out"),
    ("R1 resistor 1 MOHM : A -- B", "1 Mohm or 1 mohm"),
    ("R1 resistor 1,000 ohms : A -- B", "write 1000 or 1.000"),
    ("R1 resistor 22k (1W) : A -- B", "( has no meaning here"),
    ("R1 resistor 2.2k \u2013 1 W : A -- B", "leave the dash out"),
    ("R1 resistor 220k : A to B", "write A -- B"),
    ("C1 capacitor .05 mf : A -- B", "microfarad, as old drawings print it, or millifarad"),
    ("C1 capacitor .047-600 : A -- B", "did you mean .047 uF 600 V?"),
    ("C1 capacitor 10 000 pF : A -- B", "write 10000 pF if it is one"),
    ("C1 capacitor 500cm : A -- B", "write 556 pF"),
    ("C1 electrolytic 2x50 uF 350V : A -- B", "each section of a can"),
    ("C1 electrolytic 50uF-150V : A -- B", "leave the hyphen out"),
    ("C1 electrolytic 50 uF 150 V 105\u00b0C : A -- B", "into a remark"),
    ("PL1 lamp 6-8 V .15 A : A -- B", "write 6 V or 8 V"),
    ("F1 fuse 1AT : A -- B", "did you mean 1 A slow?"),
    ("F1 fuse 250mA/T : A -- B", "did you mean 250 mA slow?"),
    ("V1 tube 50C5 : 1-A, 2-B", "write = for -"),
    ("D1 selenium 100mA : plus=A, minus=B", "marked + is its cathode"),
    ("R1 pot 500k audio with switch : ccw=A, wiper=B, cw=C", "the switch on a line of its own"),
    ("R1 pot 500k : 1=A, 2=B, 3=C", "wiper for the middle lug"),
    ("R1 pot 500k : A -- B -- C", "write ccw=A, wiper=B, cw=C"),
    ("mains 120V60Hz", "write 120 V 60 Hz"),
    (
        "T2 output transformer 2.5k : 4 : A -- B, C -- D",
        "write primary = A -- B, secondary = C -- D",
    ),
    (
        "K1 relay SPST 24 V : coil=A -- B, contacts=C -- D",
        "contacts have no name before them: write C -- D",
    ),
    ("S1 switch double-pole : A -- B, C -- D", "double-pole is not a word for a switch"),
    (
        "S1 switch SPST on volume control : A -- B",
        "the name that the volume control has in this file",
    ),
    ("D1 bridge 1 A : ~=A, ~=B, +=C, -=D", "ac1 and ac2 of a bridge"),
    (
        "T1 transfo 20 VA : primary 230 V = A -- B, secondary 6.3 V = C -- D",
        "did you mean transformer?",
    ),
    (
        "T1 output transformer 5k to 4 ohm : primary = A -- B, secondary = C -- D",
        "output transformer 5k : 4",
    ),
    ("T1 output transformer primary 5k secondary 4 ohm : A -- B, C -- D", "primary is not a word"),
    ("P1 line cord two-blade : line=A, neutral=B", "did you mean plug?"),
    ("mains 220-240 V 50 Hz", "a set is on one line at a time"),
    ("T2 autotransformer : winding 240 V = A -- B -- C tap 120 V", "tap 120 V = A -- B -- C"),
    ("R1 resistor 470 : A -- B", "for ohms write 470 ohm"),
    ("C1 electrolytic 40+40 uF : A -- B", "a line of its own"),
    ("C1 electrolytic 40/20 uF 150 V : A -- B", "each section of a can"),
    ("C1 electrolytic 50-30 uF 150 V : A -- B", "a line of its own"),
    ("P1 plug 3-prong : line=A, neutral=B, earth=C", "write three-pin"),
    ("V1 tube 50L6-GT : 1=A, 2=B", "leave the hyphen out: 50L6GT"),
    ("PU1 phono crystal : signal=A, shield=B", "did you mean pickup or jack phono?"),
    ("C1 capacitor 10.000 pF : A -- B", "10 pF or 10000 pF"),
    ("R1 resistor 1.500 ohm : A -- B", "1.5 ohm or 1500 ohm"),
    ("C1 capacitor 104 400 V : A -- B", "104 pF, 104 uF or, by its code of three digits, 100 nF"),
    ("C1 capacitor 473K 400 V : A -- B", "did you mean 47 nF 10%?"),
    ("C1 capacitor .1/400 : A -- B", "did you mean .1 uF 400 V?"),
    ("C1 electrolytic 8 MFD 450 : A -- B", "write 450 V"),
    ("C1 safety capacitor 2.2 nF : A -- B", "capacitor class Y2"),
    ("R1 resistor 470E 1 W : A -- B", "did you mean 470 ohm?"),
    ("R1 pot 500k A : ccw=A, wiper=B, cw=C", "write audio or linear"),
    ("R1 pot 1M tapped 250k : ccw=A, wiper=B, cw=C", "write unused tap"),
    ("T1 transformer : primary 0-110-220 V = A -- B -- C", "write 220 V tap 110 V = START"),
    ("T1 transformer : primary 117 V = A -- B, secondary 2x250 V = C -- D -- E", "250-0-250 V"),
    (
        "T1 transformer : primary 220 V turns 1000 tap 450 turns = A -- B -- C",
        "the unit turns is apart from its value",
    ),
    ("T1 autotransformer : 0=A, 110=B, 220=C", "winding 220 V tap 110 V = START"),
    ("T1 output transformer 5k/8 ohm : primary = A -- B, secondary = C -- D", "write 5k : 8"),
    (
        "T1 output transformer 5k : 4/8/16 : primary = A -- B, secondary = C -- D -- E -- F",
        "secondary tap 50% tap 71%",
    ),
    ("T1 output transformer : P1=A, P2=B, S1=C, S2=D", "primary = A -- B, secondary = C -- D"),
    ("T1 output transformer ratio 40:1 : primary = A -- B, secondary = C -- D", "write 6.4k : 4"),
    (
        "T1 output transformer : primary load 5k = A -- B, secondary load 4/8 ohm = C -- D",
        "two values",
    ),
    ("S1 switch SPST metal : A -- B", "frame=CHASSIS"),
    ("S1 switch SPST-NC : A -- B", "write SPST in ON"),
    ("U1 wall wart 12 V : in.L=A, in.N=B", "module switched-mode or transformer"),
    ("J1 input : tip=A, sleeve=B", "did you mean jack input?"),
    ("V1A tube 12AX7 : plate=A, grid=B, cathode=C", "name the unit too: triode1, triode2"),
    ("mains 115/230 V 50 Hz", "write the line that it is on now"),
    ("mains 110 V AC/DC", "write the line that it is on now"),
    ("mains 240V~50Hz", "write volts and hertz with a blank"),
]
#: More of both, as drawings of the time and notes in a margin have them.
ALSO_READ = [
    ("R1 resistor 4M7 : A -- B", "R1 resistor 4.7 megohm : A -- B"),
    ("R1 resistor 10M 1/2 W : A -- B", "R1 resistor 10 megohm 1/2 W : A -- B"),
    ("R1 resistor 250MΩ : A -- B", "R1 resistor 250 megohm : A -- B"),
    ("R1 res. 47k : A -- B", "R1 resistor 47k : A -- B"),
    ("R1 adjustable resistor 150 ohm 25 W : A -- B", "R1 resistor 150 ohm 25 W : A -- B"),
    ("R1 resistance cord 160 ohm : A -- B", "R1 resistor line-cord 160 ohm : A -- B"),
    ("R9 pot 1/2 meg : ccw=A, wiper=B, cw=C", "R9 pot 500k : ccw=A, wiper=B, cw=C"),
    (
        "R9 pot 2 meg audio taper tapped at 500k : ccw=A, wiper=B, cw=C, tap=D",
        "R9 pot audio 2M tap 500k : ccw=A, wiper=B, cw=C, tap=D",
    ),
    ("R9 pot 1M antilog : ccw=A, arm=B, cw=C", "R9 pot reverse-audio 1M : ccw=A, wiper=B, cw=C"),
    ("R9 preset 1k reverse log : ccw=A, slider=B, cw=C", None),
    (
        "C1 electrolytic 8 mfd 450V non-polarized : A -- B",
        "C1 electrolytic bipolar 8 uF 450 V : A -- B",
    ),
    ("C1 capacitor .00025 mfd mica : A -- B", "C1 capacitor mica 250 pF : A -- B"),
    ("PL1 dial lamp type 47 bayonet base : A -- B", "PL1 lamp pilot type 47 6.3 V 150 mA : A -- B"),
    ("S1 DPST toggle : A -- B, C -- D", "S1 switch DPST : A -- B, C -- D"),
    (
        "S1 talk-listen switch DPDT : A -- B -- C, D -- E -- F",
        "S1 switch DPDT : A -- B -- C, D -- E -- F",
    ),
    ("F1 fuse 1A 250V fast acting : A -- B", "F1 fuse fast 1 A 250 V : A -- B"),
    ("D1 diode 1N4007 : band=A, anode=B", "D1 diode type 1N4007 : B -- A"),
    ("J1 mic input : tip=A, sleeve=B", "J1 jack mic : tip=A, sleeve=B"),
    ("J1 output jack : tip=A, sleeve=B", "J1 jack output : tip=A, sleeve=B"),
    ("J1 speaker jack : tip=A, sleeve=B", "J1 jack speaker : tip=A, sleeve=B"),
    ("J1 jack : tip=A, sleeve=B, switch=C", "J1 jack : tip=A, sleeve=B, break=C"),
    ("LS1 dynamic speaker voice coil 3.2 ohm : A -- B", "LS1 speaker 3.2 ohm : 1=A, 2=B"),
    ("LS1 speaker 4 ohm PM : A -- B", "LS1 speaker 4 ohm : 1=A, 2=B"),
    ("W1 hookup wire black 6 inches 22 ga : A -- B", "W1 wire black 22 AWG 6 in : A -- B"),
    ("V1 output tube 50C5 : 1=B, 2=A, 3=A, 4=B, 6=B, 7=A", None),
    (
        "T1 output transformer 10k CT : 8 : primary = A -- B -- C, secondary = D -- E",
        "T1 output transformer push-pull : primary load 10k = A -- B -- C, secondary load 8 ohm = D -- E",
    ),
    ("mains 115 volts ac 60 cps", "mains 115 V 60 Hz"),
]
ALSO_ASKED = [
    ("R1 resistor 500M : A -- B", "write 500k or 500 megohm"),
    ("R1 resistor 50 M ohm : A -- B", "write 50k or 50 megohm"),
    ("R9 pot 250M : ccw=A, wiper=B, cw=C", "250 thousand ohms"),
    ("R1 resistor 10M 10 W : A -- B", "write 10k or 10 megohm"),
    ("R1 resistor 500m : A -- B", "write 0.5 ohm, 500k or 500 megohm"),
    ("R1 resistor 47O k 1/2 W : A -- B", "did you mean 470k?"),
    ("R1 resistor 1OO ohm : A -- B", "did you mean 100 ohm?"),
    ("R1 resistor 47O : A -- B", "write 47 ohm or 470 ohm"),
    ("C1 electrolytic 50 uF 15OV : A -- B", "did you mean 150 V?"),
    ("C1 capacitor .O5 uF : A -- B", "did you mean .05?"),
    ("R1 resistor 1k5W : A -- B", "write 1k 5 W or 1k5"),
    ("R1 resistor 1K5 W : A -- B", "write 1K 5 W or 1K5"),
    ("R1 resistor 150ohm10W : A -- B", "did you mean 150 ohm 10 W?"),
    ("R1 resistor yellow violet orange gold : A -- B", "did you mean 47k 5%?"),
    ("R1 resistor red-red-brown : A -- B", "did you mean 220 ohm?"),
    ("R1 resistor 47k J : A -- B", "write 5%"),
    ("R1 resistor 47k silver : A -- B", "write 10%"),
    ("R1 resistor 22k half watt : A -- B", "write 1/2 W"),
    ("R1 ballast K55B : A -- B", "55 V in all"),
    ("R1 carbon 47k : A -- B", "did you mean resistor?"),
    ("PL1 lamp 6V3 150mA : A -- B", "did you mean 6.3 V?"),
    ("F1 fuse 1A5 : A -- B", "did you mean 1.5 A?"),
    ("C1 capacitor 5 k : A -- B", "write 5000 pF"),
    ("C1 electrolytic 25/25 : A -- B", "25 uF 25 V, or a line for each section"),
    ("R9 pot 500k at half : ccw=A, wiper=B, cw=C", "write at 50%"),
    ("R9 stereo pot 2x500k : ccw=A, wiper=B, cw=C", "a line for each gang"),
    ("R9 dual pot 500k : ccw=A, wiper=B, cw=C", "a line for each gang"),
    ("R9 pot 500k with loudness tap : ccw=A, wiper=B, cw=C", "tap=NODE"),
    ("R9 pot 1M tap 2M : ccw=A, wiper=B, cw=C, tap=D", "between the ends"),
    ("R9 pot 1M tap 250k tap 500k : ccw=A, wiper=B, cw=C, tap=D", "second tap"),
    ("R9 pot 500k : hot=A, arm=B, cold=C", "cw is the end"),
    ("V1 tube 12AU7 : 1=A, 2=B, 3=C, 4+5=D, 6=E", "write 4=D, 5=D"),
    ("V1 tube 35-W-4 : 1=A", "leave the hyphen out: 35W4"),
    ("T1 power transformer 240-0-240V 60 mA, 6.3V 2A : primary 117 V = A -- B", "at that winding"),
    ("T1 transformer 117 V to 6.3 V 1A : primary = A -- B, secondary = C -- D", "117 V : 6.3 V"),
    ("T1 isolation transformer 1:1 : primary = A -- B, secondary = C -- D", "state the volts"),
    ("T1 autotransformer 110/220 V : winding = A -- B -- C", "winding 220 V tap 110 V"),
    (
        "T1 output transformer 2500 ohm to 3.2 ohm : primary = A -- B, secondary = C -- D",
        "write 2500 ohm : 3.2 ohm",
    ),
    ("LS1 speaker 3.2 ohm field 450 ohm : A -- B", "a line of its own"),
    ('LS1 4" PM speaker 3.2 ohm : A -- B', "leave it out"),
    ("RT1 NTC 100 ohm cold : A -- B", "write cold 100 ohm"),
    ("P1 ac plug : A -- B", "write line=A, neutral=B"),
    ("P1 plug two wire : line=A, neutral=B", "write two-blade"),
    ("J1 jack closed circuit : tip=A, sleeve=B", "break=NODE"),
    ("X1 octal socket mates X2 : 1=A, 2=B", "write connector socket"),
    ("D1 selenium 5-plate 75 mA : A -- B", "put it into a remark"),
    ("line 117 V", "write mains"),
]


def read(text: str):
    nodes = sorted({word for word in "ABCDEF" if re.search(rf"[ =]{word}\b", text)})
    more = f"\nopen {', '.join(nodes)}\n" if nodes else "\n"
    return read_circuit(text + more, file="bench.circuit")


def only(text: str) -> Part | object:
    circuit, problems = read(text)
    assert circuit is not None, "\n".join(map(str, problems))
    assert problems == ()
    return circuit


@pytest.mark.parametrize(("written", "meant"), READ, ids=[written for written, _ in READ])
def test_it_is_read_as_the_bench_means_it(written, meant):
    circuit = only(written)
    assert circuit == only(meant or written)
    again, _ = read_circuit(write_circuit(circuit), file="bench.circuit")
    assert again == circuit, write_circuit(circuit)
    tidied, _ = tidy(written + "\n", "bench.circuit")
    assert only(tidied) == circuit


@pytest.mark.parametrize(("written", "question"), ASKED, ids=[written for written, _ in ASKED])
def test_what_may_mean_two_things_is_asked_about_once(written, question):
    circuit, problems = read(written)
    assert circuit is None
    assert len(problems) == 1, problems
    assert question in f"{problems[0].message} {problems[0].expected} {problems[0].hint}"


@each(("written", "meant"), ALSO_READ)
def test_this_is_read_too(written, meant):
    circuit = only(written)
    assert circuit == only(meant or written)
    assert read_circuit(write_circuit(circuit), file="bench.circuit")[0] == circuit


@each(("written", "question"), ALSO_ASKED)
def test_this_is_asked_about_once_too(written, question):
    test_what_may_mean_two_things_is_asked_about_once(written, question)


def test_two_values_in_one_are_pointed_at_from_the_first():
    _, (problem,) = read("C1 electrolytic 20-20 uF 150 V : A -- B")
    assert problem.text[problem.place.column - 1 :].startswith("20-20")


def test_a_number_of_a_lamp_is_no_comment_and_a_comment_is_no_lamp():
    assert only("PL1 lamp #47 : A -- B # the left one").parts[0].type == "#47"
    assert read("R1 resistor 1k : A -- B #47 is spare")[0].parts[0].remark == ""
    assert read("#47 is spare\nR1 resistor 1k : A -- B")[0].parts[0].name == "R1"
