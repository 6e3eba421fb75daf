"""Random circuits of every kind of part: what the mains check calls clear carries no more than the
capacitance there is explains; a tie shows its current.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, Value
from rework.safety.states import states_to_try
from rework.safety.ties import trace_ties
from rework.touch.element import Element
from rework.touch.model import model
from rework.touch.network import ANCHOR
from rework.touch.person import assumed, networks
from rework.touch.touch import touch

#: Circuits tried, in this many batches.
CIRCUITS, BATCHES = 800, 4
KNOWN = assumed()
W = 2 * math.pi * 60
#: Ohms of a winding, its magnetising impedance and what is reflected into it, more than there can
#: be.
WOUND = 50e3


def ohms(amount: float) -> Value:
    return Value("resistance", amount)


def volts(amount: float) -> Value:
    return Value("voltage", amount)


class Random:
    """A circuit of two sides: near the line, and far from it unless something ties them."""

    def __init__(self, seed: int) -> None:
        self.draw = random.Random(seed)
        self.near = ["L", "N", *(f"A{n}" for n in range(self.draw.randint(1, 4)))]
        self.far = [f"B{n}" for n in range(self.draw.randint(2, 4))]
        self.parts: list[Part] = []
        earth = self.draw.random() < 0.3
        self.add(
            "P1", "plug", [("line", "L"), ("neutral", "N"), *([("earth", "PE")] if earth else [])]
        )
        if earth and self.draw.random() < 0.7:
            self.add("W0", "wire", [("1", "PE"), ("2", "METAL")])
        for number in range(self.draw.randint(3, 10)):
            self.part(f"X{number}", self.draw.choice(FORMS))
        at = {node for part in self.parts for _, node in part.pins}
        reached = tuple(node for node in ("B0", "B1", "A0", "METAL") if node in at)
        self.circuit = Circuit("random", Mains(120.0, 60.0), tuple(self.parts), reached)

    def add(self, name: str, kind: str, pins, values=(), **more) -> None:
        self.parts.append(Part(name, kind, values=tuple(values), pins=tuple(pins), **more))

    def part(self, name: str, kind: str) -> None:  # noqa: C901  one branch a kind of part
        draw = self.draw
        side = self.near if draw.random() < 0.5 else self.far
        other = (self.far if side is self.near else self.near) if draw.random() < 0.05 else side
        one, two, three = draw.choice(side), draw.choice(other), draw.choice(side)
        ohm, farads = 10 ** draw.uniform(1, 6), draw.choice((1e-10, 1e-9, 1e-8, 3e-5))
        match kind:
            case "resistor" | "thermistor" | "dummy load" | "speaker" | "motor":
                pins = [
                    ("1", one),
                    ("2", two),
                    *(
                        [("frame", "METAL")]
                        if kind in ("speaker", "motor") and draw.random() < 0.3
                        else []
                    ),
                ]
                self.add(
                    name,
                    kind,
                    pins,
                    [ohms(ohm), *([Value("fraction", 0.0)] if kind == "resistor" else [])],
                )
            case "lamp":
                self.add(name, kind, [("1", one), ("2", two)], [volts(6.3), Value("current", 0.15)])
            case "fuse" | "trace" | "wire":
                self.add(
                    name,
                    kind,
                    [("1", one), ("2", two)],
                    [Value("current", 1.0)] if kind == "fuse" else [],
                )
            case "capacitor" | "electrolytic":
                ends = ("1", "2") if kind == "capacitor" else ("plus", "minus")
                self.add(
                    name,
                    kind,
                    zip(ends, (one, two), strict=True),
                    [Value("capacitance", farads), Value("fraction", 0.0)],
                    settings=(
                        (("class", "Y2"),)
                        if kind == "capacitor" and farads <= 1e-9 and draw.random() < 0.3
                        else ()
                    ),
                )
            case "choke":
                self.add(
                    name, kind, [("1", one), ("2", two)], [Value("inductance", 10.0), ohms(200.0)]
                )
            case "pot":
                shaft = [("shaft", "METAL")] if draw.random() < 0.4 else []
                self.add(
                    name,
                    kind,
                    [("ccw", one), ("wiper", two), ("cw", three), *shaft],
                    [ohms(ohm)],
                    words=(draw.choice(("plastic-shaft", "metal-shaft")),),
                )
            case "switch":
                style = draw.choice(("SPST", "SPDT"))
                names = ("1", "2") if style == "SPST" else ("pole", "throw1", "throw2")
                self.add(name, kind, zip(names, (one, two, three), strict=False), words=(style,))
            case "diode" | "selenium":
                self.add(name, kind, [("anode", one), ("cathode", two)])
            case "bridge":
                self.add(
                    name,
                    kind,
                    [("ac1", one), ("ac2", two), ("plus", three), ("minus", draw.choice(side))],
                )
            case "tube":
                tube, pins = draw.choice(
                    (("12AU6", "134567"), ("35W4", "3457"), ("6X4", "13467"), ("12AV6", "123457"))
                )
                self.add(
                    name,
                    kind,
                    [(pin, two if pin == "1" else draw.choice(side)) for pin in pins],
                    type=tube,
                )
            case "transformer" | "output transformer":
                mains = kind == "transformer"
                first = self.near if mains else side
                values = (
                    (
                        ("primary", (volts(120.0),)),
                        ("secondary", (volts(draw.choice((6.3, 24.0, 120.0))),)),
                    )
                    if mains
                    else (
                        ("primary", (Value("resistance", 2500.0, "load"),)),
                        ("secondary", (Value("resistance", 4.0, "load"),)),
                    )
                )
                pins = [
                    ("primary.start", draw.choice(first)),
                    ("primary.finish", draw.choice(first)),
                    ("secondary.start", draw.choice(self.far)),
                    ("secondary.finish", draw.choice(self.far)),
                ]
                self.add(
                    name,
                    kind,
                    ([("core", "METAL")] if draw.random() < 0.3 else []) + pins,
                    windings=values,
                )
            case "autotransformer":
                self.add(
                    name,
                    kind,
                    [("winding.start", one), ("winding.tap", three), ("winding.finish", two)],
                    windings=(("winding", (volts(240.0),)),),
                )
            case "jack":
                self.add(name, kind, [("tip", one), ("sleeve", two)])
            case "pickup" | "microphone":
                self.add(
                    name,
                    kind,
                    [("signal", one), ("shield", two)],
                    [ohms(ohm)] if draw.random() < 0.7 else [],
                )
            case "connector":
                self.add(name, kind, [("1", one), ("2", three)], words=("socket",))
                self.add(
                    f"{name}P",
                    kind,
                    [("1", draw.choice(other)), ("2", draw.choice(side))],
                    words=("plug",),
                    settings=(("mates", name),),
                )
            case "shielded cable":
                self.add(
                    name,
                    kind,
                    [("core.1", one), ("core.2", two), ("shield.1", three), ("shield.2", three)],
                )
            case "chassis":
                self.add(name, kind, [("metal", "METAL")])
            case "earth":
                self.add(name, kind, [("stud", "PE")])
            case "socket" | "headphones" | "breaker" | "varistor" | "unlisted part":
                self.add(name, kind, [("1", one), ("2", two)], [ohms(ohm)])
            case "light-emitting diode" | "zener diode" | "gas regulator":
                self.add(name, kind, [("anode", one), ("cathode", two)])
            case "battery":
                self.add(name, kind, [("plus", one), ("minus", two)], [volts(9.0)])
            case "outlet":
                self.add(name, kind, [("line", one), ("neutral", two)])
            case "transistor":
                self.add(name, kind, [("emitter", one), ("base", two), ("collector", three)])
            case "relay" | "optocoupler" | "module":
                names = {
                    "relay": ("coil1", "coil2", "1", "2"),
                    "optocoupler": ("anode", "cathode", "collector", "emitter"),
                    "module": ("in.line", "in.neutral", "out.plus", "out.minus"),
                }[kind]
                nodes = (one, two, three, draw.choice(side))
                self.add(name, kind, zip(names, nodes, strict=True), [ohms(650.0)])
            case "inlet filter":
                names = ("line", "neutral", "line-out", "neutral-out")
                nodes = (one, draw.choice(side), three, draw.choice(side))
                pins = [*zip(names, nodes, strict=True), ("earth", "PE")]
                farad = [Value("capacitance", 1e-9)]
                self.add(name, kind, pins, farad, settings=(("class", "Y2"),))


FORMS = (
    "resistor",
    "resistor",
    "thermistor",
    "dummy load",
    "speaker",
    "motor",
    "lamp",
    "fuse",
    "trace",
    "wire",
    "capacitor",
    "electrolytic",
    "choke",
    "pot",
    "switch",
    "diode",
    "selenium",
    "bridge",
    "tube",
    "transformer",
    "transformer",
    "output transformer",
    "autotransformer",
    "jack",
    "pickup",
    "microphone",
    "connector",
    "shielded cable",
    "chassis",
    "earth",
    "socket",
    "headphones",
    "breaker",
    "varistor",
    "unlisted part",
    "light-emitting diode",
    "zener diode",
    "gas regulator",
    "battery",
    "outlet",
    "transistor",
    "relay",
    "optocoupler",
    "module",
    "inlet filter",
)


def test_every_kind_is_drawn():
    assert set(FORMS) | {"plug"} == set(KINDS)


#: The pins of the tubes drawn: a grid's, and those from which they conduct to the cathode.
GRIDS = {"12AU6": ("1",), "12AV6": ("1",)}
PLATES = {"12AU6": ("5", "6"), "12AV6": ("5", "7")}


def one_way_conducting(circuit: Circuit) -> Iterator[Circuit]:
    """Return the circuit with the grid or the plates of every tube left out. The check lets a tube
    pass from any electrode to any other; from its grid to its plate, over the cathode, none does:
    a grid that drives its cathode positive leaves the plate without a volt to conduct at.
    """
    tubes = [part for part in circuit.parts if part.type in GRIDS]
    for choice in product((GRIDS, PLATES), repeat=len(tubes)):
        out = {part.name: at[part.type] for part, at in zip(tubes, choice, strict=True)}
        parts = (
            replace(part, pins=tuple(pin for pin in part.pins if pin[0] not in out[part.name]))
            if part.name in out
            else part
            for part in circuit.parts
        )
        yield replace(circuit, parts=tuple(parts))


def tied_in_some_state(circuit: Circuit) -> dict[str, str]:
    """Return what is tied in some one position of the switches and with each tube conducting from
    its grid or from its plates, and how: the check itself closes a switch in every position and
    joins every electrode at once.
    """
    found: dict[str, str] = {}
    for one in one_way_conducting(circuit):
        worst = trace_ties(one)
        states = [worst]
        if any(part.traits.is_switch for part in circuit.parts):
            tried = states_to_try(one, worst)
            states = [trace_ties(one, state=tried.state(one, row)) for row in tried.rows]
        for state in states:
            for node, how in state.tied.items():
                if found.get(node) != "conduction":
                    found[node] = how
    return found


def passed(elements: tuple[Element, ...], *, capacitors: bool) -> float:
    """Return the ohms of everything in a circuit in a row: more than there is on any way through
    it.
    """
    found = 0.0
    for element in elements:
        if element.kind == "winding":
            found += WOUND
        elif element.siemens:
            found += 1 / element.siemens + W * element.henries
        if capacitors and element.kind == "capacitor":
            found += 1 / (W * element.farads)
    return found + 200 * KNOWN["conducting_ohm"]


@pytest.mark.parametrize("batch", range(BATCHES))
def test_the_current_agrees_with_the_galvanic_check(batch, monkeypatch):
    monkeypatch.setattr("rework.touch.ports.MOST_PAIRED", 0)  # to earth only
    person = abs(networks()["iec"].impedance(60))
    for seed in range(batch * CIRCUITS // BATCHES, (batch + 1) * CIRCUITS // BATCHES):
        circuit = Random(seed).circuit
        worst, tied = trace_ties(circuit).tied, tied_in_some_state(circuit)
        report = touch(circuit)
        elements = model(circuit, KNOWN).elements
        farads = sum(element.farads for element in elements if element.kind == "insulation")
        y_farads = sum(part.value("capacitance") for part in circuit.parts if part.setting("class"))
        for found in report.touches:
            if found.other or found.pulled:  # bare contacts are judged pulled only
                continue
            if found.node in tied:
                most = passed(elements, capacitors=tied[found.node] == "capacitor")
                assert max(found.reading, found.unproved_reading) > 0.9 * 132 / (most + person), (
                    seed,
                    found.node,
                )
            elif found.node not in worst:
                # Line volts and the volts that windings step up to, both through the insulation;
                # class Y counts while its far end is earthed.
                explained = (3 * 264 * W * (farads + y_farads)) + len(
                    circuit.nodes
                ) * ANCHOR * 264 * 2
                assert found.reading <= explained, (seed, found.node)
