"""Amplifiers put together at random from stages: triodes, pentodes, pots, tone branches, feedback,
an output stage; heaters in a string; a filter chain of one to three sections.
"""

from __future__ import annotations

import random
import re

_TRIODES = ("12AV6", "12AT6", "12SQ7")


def amplifier(rng: random.Random) -> str:
    """Return the text of an amplifier."""
    stages = rng.randint(1, 5)
    rails = rng.randint(1, 3)
    lines = [
        'circuit "Put together at random"',
        "mains 117 V 60 Hz" if rng.random() < 0.7 else "mains 230 V 50 Hz",
        "P1 plug two-blade : line=L1, neutral=COM",
        "S1 switch SPST : L1 -- L2",
        "F1 fuse 1 A : L2 -- L3",
        "R900 resistor 33 ohm 5 W : L3 -- AN",
        "D1 diode 1 A 1000 V : AN -- RAIL1",
        "J1 jack input : tip=G1, sleeve=COM",
        "R901 resistor 1M : G1 -- COM",
    ]
    for rail in range(1, rails + 1):
        lines.append(f"C90{rail} electrolytic 40 uF 350 V : RAIL{rail} -- COM")
        if rail > 1:
            lines.append(f"R91{rail} resistor 4.7k 2 W : RAIL{rail - 1} -- RAIL{rail}")
    heater = "L3"
    for number in range(1, stages + 1):
        lines += _stage(rng, number, f"RAIL{rails}", heater)
        heater = f"H{number}"
    last = stages + 1
    lines += [
        f"V{last} tube 50C5 : cathode=K{last}, grid=G{last}, screen=RAIL{min(2, rails)},"
        f" plate=PL{last}, 3=H{last}, 4={heater}, unused 5",
        f"R{last}1 resistor 150 ohm 1 W : K{last} -- COM",
        f"T1 output transformer : primary load 2.5k = RAIL1 -- PL{last},"
        " secondary load 4 ohm = SP -- COM",
        "LS1 speaker 4 ohm : 1=SP, 2=COM",
        f"W1 wire : H{last} -- COM",
    ]
    if rng.random() < 0.3:
        lines.append(f"R990 resistor 47k : SP -- K{last}")
    return "\n".join(lines) + "\n"


def long_chain(stages: int) -> str:
    """Return the text of a chain of triode stages on one rail, heaters in a string."""
    lines = [
        'circuit "Long chain"',
        "mains 117 V 60 Hz",
        "P1 plug two-blade : line=L1, neutral=COM",
        "S1 switch SPST : L1 -- L2",
        "D1 diode 1 A 1000 V : L2 -- RAIL",
        "C900 electrolytic 100 uF 350 V : RAIL -- COM",
        "J1 jack input : tip=G1, sleeve=COM",
        "R900 resistor 1M : G1 -- COM",
    ]
    heater = "L2"
    for n in range(1, stages + 1):
        lines += [
            f"V{n} tube 12AV6 : grid=G{n}, cathode=K{n}, plate=P{n}, diode1=K{n}, diode2=K{n},"
            f" 3=H{n}, 4={heater}",
            f"R{n}01 resistor 1.5k : K{n} -- COM",
            f"R{n}02 resistor 100k : RAIL -- P{n}",
            f"C{n}02 capacitor .02 uF 400 V : P{n} -- G{n + 1}",
            f"R{n}03 resistor 470k : G{n + 1} -- COM",
        ]
        heater = f"H{n}"
    end = [f"W1 wire : {heater} -- COM", f"J2 jack output : tip=G{stages + 1}, sleeve=COM"]
    return "\n".join([*lines, *end]) + "\n"


def _stage(rng: random.Random, number: int, rail: str, heater: str) -> list[str]:
    """Return one stage from grid G<number> to the next grid."""
    n, after = number, number + 1
    kind = rng.choice(_TRIODES)
    ends = {"12SQ7": (7, 8)}.get(kind, (3, 4))
    shield = ", 1=COM" if kind == "12SQ7" else ""
    cathode = rng.random() < 0.7
    node = f"K{n}" if cathode else "COM"
    lines = [
        f"V{n} tube {kind} : grid=G{n}, cathode={node}, plate=PL{n}, diode1={node}, diode2={node},"
        f" {ends[0]}=H{n}, {ends[1]}={heater}{shield}",
        f"R{n}2 resistor 220k 1/2 W : {rail} -- PL{n}",
    ]
    if cathode:
        lines.append(f"R{n}1 resistor 2.2k : K{n} -- COM")
        if rng.random() < 0.6:
            lines.append(f"C{n}1 electrolytic 25 uF 25 V : K{n} -- COM")
    if rng.random() < 0.4:
        lines += [f"C{n}5 capacitor 4.7n : PL{n} -- T{n}", f"R{n}5 resistor 100k : T{n} -- COM"]
    if rng.random() < 0.4:
        lines += [
            f"C{n}2 capacitor .01 uF 400 V : PL{n} -- VOL{n}",
            f"R{n}3 pot 500k : ccw=COM, wiper=G{after}, cw=VOL{n}",
        ]
    else:
        lines += [
            f"C{n}2 capacitor .01 uF 400 V : PL{n} -- G{after}",
            f"R{n}3 resistor 470k : G{after} -- COM",
        ]
    return lines


def two_in_one(rng: random.Random) -> str:
    """Return the text of two amplifiers that share nothing but the file."""
    first = amplifier(rng)
    second = "\n".join(
        _renamed(line) for line in amplifier(rng).splitlines() if not line.startswith(_HEADS)
    )
    return f"{first}{second}\n"


_HEADS = ("circuit", "mains")


def _renamed(line: str) -> str:
    """Return a line with a Z behind every name of a part or a node."""
    head, _, pins = line.partition(" : ")
    name, rest = head.split(" ", 1)
    load = pins if "load" in pins else ""
    if load:
        pins = re.sub(r"= (\w+) -- (\w+)", r"= \1Z -- \2Z", pins)
    else:
        pins = re.sub(r"(=|^|-- )(\w+)(?= --|,|$)", r"\1\2Z", pins)
    return f"{name}Z {rest} : {pins}"


def oddity(rng: random.Random) -> str:
    """Return parts of every kind at nodes drawn from few: on one node, on none, across each other."""
    nodes = [f"N{number}" for number in range(rng.choice((1, 2, 4, 9)))]
    lines = ['circuit "Odd"']
    if rng.random() < 0.7:
        lines.append(rng.choice(("mains 117 V 60 Hz", "mains 230 V 50 Hz")))
    for number in range(rng.choice((1, 2, 5, 12, 25))):
        made = rng.choice(_ODD)
        named = made.replace("#", str(number))
        lines.append(re.sub(r"@", lambda _: rng.choice(nodes), named))
    text = "\n".join(lines) + "\n"
    for node in nodes[1:]:  # a node of one pin is an error of the file
        if len(re.findall(rf"\b{node}\b", text)) == 1:
            text = re.sub(rf"\b{node}\b", nodes[0], text)
    return text


_ODD = (
    "R# resistor 10k 1/2 W : @ -- @",
    "C# capacitor .01 uF 400 V : @ -- @",
    "E# electrolytic 40 uF 350 V can : @ -- @",
    "L# choke 8 H 80 mA : @ -- @",
    "F# fuse 1 A : @ -- @",
    "S# switch SPST : @ -- @",
    "S# switch DPDT in throw2 : @ -- @ -- @, @ -- @ -- @",
    "D# diode 1 A 600 V : @ -- @",
    "B# bridge 1 A 600 V : ac1=@, ac2=@, plus=@, minus=@",
    "P# pot 500k : ccw=@, wiper=@, cw=@",
    "J# jack input : tip=@, sleeve=@",
    "LS# speaker 4 ohm : 1=@, 2=@",
    "PL# plug two-blade : line=@, neutral=@",
    "W# wire : @ -- @",
    "CH# chassis : @",
    "V# tube 12AX7 : 1=@, 2=@, 3=@, 4=@, 5=@, 6=@, 7=@, 8=@, unused 9",
    "V# tube 50C5 : cathode=@, grid=@, screen=@, plate=@, 3=@, 4=@, unused 5",
    "V# tube 35W4 : 3=@, 4=@, 5=@, 7=@, unused 1 2 6",
    "T# output transformer : primary load 2.5k = @ -- @, secondary load 4 ohm = @ -- @",
    "T# transformer 50 VA : primary 117 V = @ -- @, hv 250 V = @ -- @ -- @, heater 6.3 V = @ -- @",
    "M# motor 117 V 12 W : @ -- @",
)
