"""Slips of a person who wires forty parts, one function a kind, and whether a difference names them.

Each function returns the circuit with one slip in it, or None where this circuit offers no place for it.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import fields, replace

import networkx
from networkx.algorithms.isomorphism import categorical_multiedge_match, categorical_node_match

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.compare.entries import Difference
from rework.compare.symmetry import interchangeable, turnable


def with_part(circuit: Circuit, part: Part) -> Circuit:
    """Return the circuit with one part in place of the one of that name."""
    return circuit.with_parts(
        tuple(part if one.name == part.name else one for one in circuit.parts)
    )


def with_pin(part: Part, terminal: str, node: str) -> Part:
    """Return the part with one terminal on another node."""
    return replace(part, pins=tuple((t, node if t == terminal else n) for t, n in part.pins))


def moved_pin(circuit: Circuit, chance: random.Random) -> Circuit | None:
    part = chance.choice(circuit.parts)
    terminal, _ = chance.choice(part.pins)
    other = chance.choice([one for one in circuit.nodes if one not in dict(part.pins).values()])
    return with_part(circuit, with_pin(part, terminal, other))


def open_pin(circuit: Circuit, chance: random.Random) -> Circuit | None:
    """A node's name with a slip of the pen: the pin is alone on it."""
    part = chance.choice(circuit.parts)
    terminal, node = chance.choice(part.pins)
    if len(circuit.at[node]) < 2:
        return None
    return with_part(circuit, with_pin(part, terminal, "SLIP"))


def swapped_ends(circuit: Circuit, chance: random.Random) -> Circuit | None:
    """Two leads of one part exchanged: a polar part reversed, two pins of a socket mixed up."""
    part = chance.choice(circuit.parts)
    if len(part.pins) < 2:
        return None
    (one, node), (other, another) = chance.sample(part.pins, 2)
    if node == another or any({one, other} == {run[0], run[-1]} for run in turnable(part)):
        return None
    return with_part(circuit, with_pin(with_pin(part, one, another), other, node))


def other_value(circuit: Circuit, chance: random.Random) -> Circuit | None:
    """The first value a decade off."""
    part = chance.choice([one for one in circuit.parts if one.values])
    times = chance.choice((0.1, 10.0))
    first = replace(part.values[0], amount=part.values[0].amount * times, text="slip")
    return with_part(circuit, replace(part, values=(first, *part.values[1:])))


def left_out(circuit: Circuit, chance: random.Random) -> Circuit | None:
    part = chance.choice(circuit.parts)
    return circuit.with_parts(tuple(one for one in circuit.parts if one is not part))


def too_many(circuit: Circuit, chance: random.Random) -> Circuit | None:
    """A part more, as another in the set, between two nodes."""
    part = chance.choice([one for one in circuit.parts if len(one.pins) == 2])
    ends = chance.sample(circuit.nodes, 2)
    pins = tuple((terminal, node) for (terminal, _), node in zip(part.pins, ends, strict=True))
    return circuit.with_parts((*circuit.parts, replace(part, name="EXTRA", pins=pins, settings=())))


def merged_nodes(circuit: Circuit, chance: random.Random) -> Circuit | None:
    one, other = chance.sample(circuit.nodes, 2)
    return replace(
        circuit,
        parts=tuple(part.rebound({one: other}) for part in circuit.parts),
        touchable=tuple(dict.fromkeys(other if n == one else n for n in circuit.touchable)),
        ports=tuple((port, other if n == one else n) for port, n in circuit.ports),
    )


def other_tube(circuit: Circuit, chance: random.Random) -> Circuit | None:
    tubes = [part for part in circuit.parts if part.kind == "tube"]
    if not tubes:
        return None
    return with_part(circuit, replace(chance.choice(tubes), type="6BA6"))


def measured(circuit: Circuit, chance: random.Random) -> Circuit:
    """Return the circuit as one who measures writes it: first values within 10 %, no ratings, no words."""
    parts = []
    for part in circuit.parts:
        first = part.values[:1]
        if part.kind in ("resistor", "capacitor", "electrolytic"):
            drift = 1 + chance.uniform(-0.1, 0.1)
            first = tuple(
                replace(value, amount=value.amount * drift, text="measured") for value in first
            )
            part = replace(part, values=first, words=())
        parts.append(part)
    return circuit.with_parts(tuple(parts))


Slip = Callable[[Circuit, random.Random], Circuit | None]
SLIPS: tuple[Slip, ...] = (
    moved_pin,
    open_pin,
    swapped_ends,
    other_value,
    left_out,
    too_many,
    merged_nodes,
    other_tube,
)


def slipped(circuit: Circuit, chance: random.Random, slip: Slip) -> Circuit:
    """Return the circuit with a slip of that kind that makes it another circuit."""
    while True:
        after = slip(circuit, chance)
        if after is not None and not isomorphic(circuit, after):
            return after


def graph(circuit: Circuit) -> networkx.MultiGraph:
    """Return the circuit as a graph of networkx, names left out: what the tests hold ours to."""
    made = networkx.MultiGraph()
    ports: dict[str, list[str]] = {}
    for port, node in circuit.ports:
        ports.setdefault(node, []).append(port)
    for node in {*circuit.nodes}:
        made.add_node(
            ("node", node), what=("node", sorted(ports.get(node, ())), node in circuit.touchable)
        )
    for part in circuit.parts:
        amounts = Counter(
            (value.role, value.dimension, f"{value.amount:.6g}") for value in part.values
        )
        made.add_node(("part", part.name), what=(part.kind, part.type, amounts, part.words))
        shared = interchangeable(part)
        for terminal, node in part.pins:
            made.add_edge(("part", part.name), ("node", node), end=shared.get(terminal, terminal))
    return made


def isomorphic(one: Circuit, other: Circuit) -> bool:
    """Say whether networkx finds two circuits the same but for names."""
    first, second = graph(one), graph(other)
    if sorted(str(what) for _, what in first.nodes(data="what")) != sorted(
        str(what) for _, what in second.nodes(data="what")
    ):
        return False
    return networkx.is_isomorphic(
        first,
        second,
        node_match=categorical_node_match("what", None),
        edge_match=categorical_multiedge_match("end", ""),
    )


def entries(found: Difference) -> Counter[tuple[str, ...]]:
    """Return what a difference names: the kind of entry, the part and pin, or the node."""
    told: list[tuple[str, ...]] = []
    for entry in fields(found):
        if entry.name in ("renamed", "mains", "title"):
            continue
        for row in getattr(found, entry.name):
            match entry.name:
                case "added" | "run":
                    told.append((entry.name, row.kind))
                case "removed" | "cut":
                    told.append((entry.name, row.name))
                case "moved":
                    told.append((entry.name, row.part, row.terminal))
                case "reversed":
                    told.append((entry.name, row.part, *sorted(row.terminals)))
                case "opened" | "joined":
                    told.append((entry.name, *sorted(map(".".join, row.pins))))
                case "changed" | "exchanged":
                    told.append((entry.name, row.part))
                case "split":
                    told.append((entry.name, row.node))
                case "merged":
                    told.append((entry.name, *sorted(row.nodes)))
                case _:
                    told.append((entry.name, getattr(row, "name", str(row))))
    return Counter(told)


def same_slips(
    plan: Circuit, wanted: Counter[tuple[str, ...]], told: Counter[tuple[str, ...]]
) -> bool:
    """Say whether two sets of entries name the same parts and pins, but for what networkx finds to be
    the same under another name (the two input resistors of two equal jacks).
    """
    if wanted == told:
        return True
    marked = []
    for entries_of in (wanted, told):
        made = graph(plan)
        for number, (what, *named) in enumerate(entries_of.elements()):
            made.add_node(("mark", str(number)), what=(what,))
            for name in named[:1] if what not in ("merged", "opened") else named:
                part = name.rpartition(".")[0] if what == "opened" else name
                kind = "node" if what in ("merged", "split") else "part"
                if (kind, part) in made:
                    made.add_edge(
                        ("mark", str(number)),
                        (kind, part),
                        end=" ".join(named[1:]) if what in ("moved", "reversed") else "",
                    )
        marked.append(made)
    first, second = marked
    return networkx.is_isomorphic(
        first,
        second,
        node_match=categorical_node_match("what", None),
        edge_match=categorical_multiedge_match("end", ""),
    )
