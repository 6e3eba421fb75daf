"""Random circuits: what the mains check calls clear carries no more than the capacitance there is explains; a tie shows its current."""

from __future__ import annotations

import math
import random

import pytest

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.safety.current.network import ANCHOR
from rework.safety.current.person import assumed, networks
from rework.safety.current.touch import touch
from rework.safety.ties import trace_ties

#: Circuits tried, in this many batches.
CIRCUITS, BATCHES = 5000, 10
KNOWN = assumed()


def part(name: str, kind: str, one: str, other: str, *values: Value, words: tuple[str, ...] = ()) -> Part:
    terminals = {"electrolytic": ("plus", "minus"), "diode": ("anode", "cathode")}.get(kind, ("1", "2"))
    return Part(name, kind, values=values, words=words, pins=tuple(zip(terminals, (one, other), strict=True)))


def random_circuit(seed: int) -> tuple[Circuit, float, float]:
    """Return a circuit, the farads of its insulation, and the ohms of all its resistors together."""
    draw = random.Random(seed)
    near, far = [f"A{n}" for n in range(draw.randint(2, 5))], [f"B{n}" for n in range(draw.randint(2, 5))]
    parts = [Part("P1", "plug", words=("two-blade",), pins=(("line", "L"), ("neutral", "N")))]
    ohms = farads = 0.0
    near += ["L", "N"]
    if draw.random() < 0.6:
        volts = (("primary", (Value("voltage", 120.0),)), ("secondary", (Value("voltage", draw.choice((6.3, 24.0, 120.0))),)))
        parts.append(Part("T1", "transformer", windings=volts, pins=(("primary.start", draw.choice(near)), ("primary.finish", draw.choice(near)),
                                                                   ("secondary.start", draw.choice(far)), ("secondary.finish", draw.choice(far)))))
        farads += KNOWN["interwinding_farad"]
    for number in range(draw.randint(2, 12)):
        side = near if draw.random() < 0.5 else far
        if draw.random() < 0.06:
            one, other = draw.choice(near), draw.choice(far)
        else:
            one, other = draw.choice(side), draw.choice(side)
        kind = draw.choice(("resistor", "resistor", "wire", "fuse", "diode"))
        value = ()
        if kind == "resistor":
            amount = 10 ** draw.uniform(1, 6)
            value, ohms = (Value("resistance", amount), Value("fraction", 0.0)), ohms + amount
        parts.append(part(f"X{number}", kind, one, other, *value))
    used = {node for item in parts for _, node in item.pins}
    touchable = tuple(node for node in ("B0", "B1", "A0") if node in used)
    return Circuit("random", Mains(120.0, 60.0), tuple(parts), touchable), farads, ohms + 20 * KNOWN["conducting_ohm"] + KNOWN["magnetising_ohm"]


@pytest.mark.parametrize("batch", range(BATCHES))
def test_the_current_agrees_with_the_galvanic_check(batch):
    w, person = 2 * math.pi * 60, abs(networks()["iec"].impedance(60))
    for seed in range(batch * CIRCUITS // BATCHES, (batch + 1) * CIRCUITS // BATCHES):
        circuit, farads, ohms = random_circuit(seed)
        tied = trace_ties(circuit).tied
        for found in touch(circuit).touches:
            if found.other:
                continue
            if found.node in tied:
                assert found.amps > 0.9 * 132 / (ohms + person), (seed, found.node)
            else:
                # The primary may drive its secondary as well as lift it: line volts and winding volts, both through the insulation.
                most = 2 * 132 * w * farads + len(circuit.nodes) * ANCHOR * 132 * 2
                assert found.amps <= most, (seed, found.node)
