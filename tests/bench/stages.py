"""Random ordinary stages over every pentode and triode of the library, and how many settle:
``python tests/bench/stages.py [COUNT [SEED]]``.

Each is one tube behind a transformer, a diode and a filter: resistance-coupled or with an output
transformer, on cathode bias or grid leak, its values drawn over what sets have. Types without
printed rows have no law and are counted apart; exits 1 where a stage does not settle. Some seconds
for 300.
"""

from __future__ import annotations

import math
import random
import sys
from collections import Counter

from rework.circuit.preferred import nearest
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.network import CannotSolve
from rework.solve.periodic import mains_steady
from rework.tubes import library
from rework.tubes.tubetype import TubeType

SUPPLY = """\
mains 117 V 60 Hz
P1 plug two-blade : line=L, neutral=N
T9 transformer 60 VA : primary 117 V dcr 10 ohm = L -- N, secondary {volts:.0f} V dcr 60 ohm = H -- COMMON
D1 diode silicon : H -- BP
C1 electrolytic 47 uF 450 V : BP -- COMMON
R1 resistor {filter:.0f} ohm : BP -- B1
C2 electrolytic 47 uF 450 V : B1 -- COMMON
"""
OUTPUT = """\
T1 output transformer 5 W : primary load {load:.0f} ohm dcr 250 ohm = B1 -- PL, secondary load 4 ohm = SP -- COMMON
LS1 speaker 4 ohm 5 W : SP -- COMMON
"""
COUPLED = """\
R2 resistor {load:.0f} ohm : B1 -- PL
C4 capacitor .02 uF 400 V : PL -- NEXT
R6 resistor 470k : NEXT -- COMMON
"""
SCREEN = """\
R3 resistor {ohms:.0f} ohm : B1 -- SC
C5 capacitor .1 uF 400 V : SC -- COMMON
"""


def units() -> list[tuple[TubeType, str]]:
    """Return every unit that has a plate, a grid and a cathode, with ``UNIT.`` before elements."""
    tubes = [tube for name in library.types() if (tube := library.find(name)) is not None]
    return [
        (tube, f"{unit}." if unit else "")
        for tube in tubes
        for unit in tube.units or ("",)
        if all(
            tube.pins_of(f"{unit}." * bool(unit) + name) for name in ("plate", "grid", "cathode")
        )
    ]


def stage(draw: random.Random, tube: TubeType, unit: str) -> str:
    """Return the text of a random ordinary stage with a unit."""

    def between(low: float, high: float) -> float:
        return nearest(low * (high / low) ** draw.random())

    pentode = bool(tube.pins_of(f"{unit}screen"))
    output = draw.random() < (0.5 if pentode else 0.2)
    load = between(2e3, 10e3) if output else between(*((47e3, 1e6) if pentode else (22e3, 470e3)))
    text = SUPPLY.format(volts=between(90, 330), filter=between(220, 4700))
    text += (OUTPUT if output else COUPLED).format(load=load)
    if pentode:
        straight = output or draw.random() < 0.15
        ohms = between(100, 4700) if straight else nearest(load * math.exp(draw.uniform(0.4, 1.8)))
        text += SCREEN.format(ohms=ohms)
    biased = draw.random() > 0.2
    text += (
        f"R4 resistor {between(*((120, 680) if output else (560, 10e3))):.0f} ohm : K -- COMMON\n"
        if biased
        else "join K COMMON\n"
    )
    if biased and draw.random() < 0.7:
        text += "C6 electrolytic 25 uF 25 V : K -- COMMON\n"
    text += f"R5 resistor {470e3 if biased else between(220e3, 10e6):.0f} ohm : G -- COMMON\n"
    nodes = {"plate": "PL", "grid": "G", "cathode": "K", "screen": "SC"}
    on = {pin: node for name, node in nodes.items() for pin in tube.pins_of(unit + name)}
    held = ("suppressor", "beam-plates")
    on |= {pin: "K" for name in held for pin in tube.pins_of(unit + name) if pin not in on}
    empty = ("none", "absent", "internal")
    idle = [pin for pin in tube.socket_pins if pin not in on and tube.element(pin) not in empty]
    pins = ", ".join(f"{pin}={node}" for pin, node in on.items())
    return text + f"V1 tube {tube.type} : {pins}{', unused ' * bool(idle)}{' '.join(idle)}\n"


def main(count: int, seed: int) -> int:
    """Solve so many stages and print what became of them."""
    draw, known, results = random.Random(seed), units(), Counter[str]()
    for _ in range(count):
        text = stage(draw, *draw.choice(known))
        circuit, problems = read_circuit(text, file="stage.circuit")
        if circuit is None:
            print(text, *problems, sep="\n")
            return 1
        try:
            network = assemble(circuit, cold=())
        except CannotSolve:
            results["without a law"] += 1
            continue
        try:
            bias(network, mains_steady(network))
            results["settled"] += 1
        except CannotSolve as error:
            results["not settled"] += 1
            print(text, error, sep="\n")
    print(dict(results))
    return 1 if results["not settled"] else 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*(numbers + [300, 1][len(numbers) :])))
