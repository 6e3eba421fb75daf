"""Circuits for the tests of compare: a small amplifier by hand, and random ones from hypothesis."""

from __future__ import annotations

import random
from dataclasses import replace

from hypothesis import strategies as st

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value


def ohms(amount: float, text: str = "") -> tuple[Value, ...]:
    return (Value("resistance", amount, text=text or f"{amount:g} ohm"),)


def two(name: str, kind: str, one: str, other: str, amount: float = 0, **more) -> Part:
    ends = {"diode": ("anode", "cathode"), "electrolytic": ("plus", "minus")}.get(kind, ("1", "2"))
    return Part(
        name,
        kind,
        values=ohms(amount) if amount else (),
        pins=tuple(zip(ends, (one, other), strict=True)),
        **more,
    )


def tube(name: str, type_: str, **pins: str) -> Part:
    bound = sorted(
        ((pin.lstrip("p"), node) for pin, node in pins.items()), key=lambda pin: int(pin[0])
    )
    return Part(name, "tube", type=type_, pins=tuple(bound))


def output_stage() -> Circuit:
    """A 50C5 with its cathode resistor, grid leak, coupling capacitor, transformer and speaker."""
    return Circuit(
        "Output stage",
        Mains(117, 60),
        (
            tube("V3", "50C5", p1="K", p2="G", p3="H1", p4="H2", p5="G", p6="B2", p7="PL"),
            two("R1", "resistor", "G", "COMMON", 470e3),
            two("R2", "resistor", "K", "COMMON", 150),
            two("R3", "resistor", "B1", "B2", 1e3),
            two("C1", "capacitor", "IN", "G"),
            two("C2", "electrolytic", "K", "COMMON"),
            two("C3", "electrolytic", "B2", "COMMON"),
            two("W1", "wire", "H1", "COMMON"),
            two("R4", "resistor", "B1", "H2", 68),
            Part(
                "T1",
                "output transformer",
                pins=(
                    ("primary.start", "B1"),
                    ("primary.finish", "PL"),
                    ("secondary.start", "SP"),
                    ("secondary.finish", "COMMON"),
                ),
            ),
            Part("SP1", "speaker", pins=(("1", "SP"), ("2", "COMMON"))),
            Part("J1", "jack", pins=(("tip", "IN"), ("sleeve", "COMMON"))),
        ),
        touchable=("SP",),
        ports=(("bplus", "B1"),),
    )


@st.composite
def random_circuits(draw, most: int = 24) -> Circuit:
    return random_circuit(draw(st.randoms(use_true_random=False)), draw(st.integers(2, most)))


def random_circuit(chance: random.Random, count: int) -> Circuit:
    """Return a circuit of ``count`` parts between about half as many nodes, every node on at least
    two pins.
    """
    nodes = [f"N{number}" for number in range(max(3, count // 2))]
    kinds = (
        "resistor",
        "capacitor",
        "diode",
        "electrolytic",
        "wire",
        "fuse",
        "resistor",
        "pot",
        "tube",
    )
    parts = []
    for number in range(count):
        kind = chance.choice(kinds)
        name = f"X{number}"
        if kind == "pot":
            parts.append(
                Part(
                    name,
                    kind,
                    pins=tuple(
                        (terminal, chance.choice(nodes)) for terminal in ("ccw", "wiper", "cw")
                    ),
                )
            )
        elif kind == "tube":
            pins = {f"p{pin}": chance.choice(nodes) for pin in range(1, 8)}
            parts.append(tube(name, chance.choice(("12AU6", "12AV6")), **pins))
        else:
            parts.append(
                two(
                    name,
                    kind,
                    chance.choice(nodes),
                    chance.choice(nodes),
                    chance.choice((0, 100, 220, 470)),
                )
            )
    circuit = Circuit("Random", Mains(117, 60), tuple(parts))
    return replace(circuit, touchable=(circuit.nodes[0],), ports=(("out", circuit.nodes[-1]),))


def renamed(circuit: Circuit, chance: random.Random, *, parts: bool = False) -> Circuit:
    """Return the circuit with other node names, its lines shuffled and its symmetric two-ended
    parts turned round at random.
    """
    fresh = [f"Q{number}" for number in range(len(circuit.nodes))]
    chance.shuffle(fresh)
    nodes = dict(zip(circuit.nodes, fresh, strict=True))
    names = (
        {
            part.name: f"Y{number}"
            for number, part in enumerate(chance.sample(circuit.parts, len(circuit.parts)))
        }
        if parts
        else {}
    )
    made = []
    for part in circuit.parts:
        part = replace(
            part.rebound(nodes),
            name=names.get(part.name, part.name),
            settings=tuple(
                (word, names.get(argument, argument)) for word, argument in part.settings
            ),
        )
        if part.kind in ("resistor", "capacitor", "wire", "fuse") and chance.random() < 0.5:
            (one, node), (other, another) = part.pins
            part = replace(part, pins=((one, another), (other, node)))
        made.append(part)
    chance.shuffle(made)
    return replace(
        circuit,
        parts=tuple(made),
        touchable=tuple(nodes[node] for node in circuit.touchable),
        ports=tuple((port, nodes[node]) for port, node in circuit.ports),
    )
