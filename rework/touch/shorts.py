"""Shorts that are in no part's value: between the electrodes of a tube, through the insulation of a
transformer, across neighbouring contacts and pins.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise, product

from rework.anatomy.links import mated
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, strands
from rework.touch.electrodes import carries
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: Electrodes that lie side by side in a bulb and may touch, by how their names begin.
TOUCHING = (
    ("heater", "cathode", "heater"),
    ("plate", "grid", "electrodes"),
    ("plate", "screen", "electrodes"),
    ("plate", "suppressor", "electrodes"),
    ("grid", "screen", "electrodes"),
    ("grid", "cathode", "electrodes"),
    ("screen", "suppressor", "electrodes"),
)
#: Sockets whose eight pins are evenly spaced all round, so that the last is beside the first.
CLOSED_RINGS = ("octal", "loctal", "rimlock")
LAST_OF_RING = 8


@dataclass(frozen=True, slots=True)
class Short:
    """Two nodes that touch: what happens, to which part, and the kind of fault."""

    what: str
    part: str
    kind: str
    nodes: tuple[str, str]


def shorts(circuit: Circuit) -> Iterator[Short]:
    """Return every such short whose ends are on two nodes, in the order of the parts."""
    for part in circuit.parts:
        every: Iterator[Short] = iter(())
        if part.kind == "tube":
            every = _of_tube(part)
        elif KINDS[part.kind].is_wound and part.kind != "autotransformer":
            every = _of_insulation(part)
        yield from (short for short in every if short.nodes[0] != short.nodes[1])
    for short in (*_of_contacts(circuit), *_of_pins(circuit)):
        if short.nodes[0] != short.nodes[1]:
            yield short


def _of_tube(part: Part) -> Iterator[Short]:
    """Return the shorts between electrodes of one unit of a tube, and from its heater."""
    known = library.find(part.type) if part.type else None
    if known is None:
        return
    for (pin, node), (other, far) in combinations(part.pins, 2):
        for first, two, kind in TOUCHING:
            if carries(known, pin, two) and carries(known, other, first):
                pin, node, other, far = other, far, pin, node
            if carries(known, pin, first) and carries(known, other, two):
                if kind == "electrodes" and not _one_unit(known, pin, other):
                    continue
                yield Short(
                    f"{part.name} {first} pin {pin} shorted to its {two} pin {other}",
                    part.name,
                    kind,
                    (node, far),
                )
                break


def _one_unit(known: TubeType, pin: str, other: str) -> bool:
    """Return whether two pins have elements of one unit, or of none in particular."""
    units, others = (
        {name.rpartition(".")[0] for name in known.elements_of(pin_name)}
        for pin_name in (pin, other)
    )
    return bool(units & others) or "" in units | others


def _of_insulation(part: Part) -> Iterator[Short]:
    """Return the breakdowns from every end and tap of a primary to every end and tap of the other
    windings, to the screen and to the core.
    """
    runs = [run for run in strands(part) if run != ("core",)]
    primaries = [terminal for run in runs if run[0].startswith("primary") for terminal in run]
    others = [terminal for run in runs if not run[0].startswith("primary") for terminal in run]
    if part.node("core") is not None:
        others.append("core")
    for first, second in product(primaries, others):
        yield Short(
            f"{part.name} insulation {first} to {second} broken down",
            part.name,
            "insulation",
            (part.at(first), part.at(second)),
        )


def _of_contacts(circuit: Circuit) -> Iterator[Short]:
    """Return the neighbouring contacts of every connector bridged, in the order of their names."""
    seconds = {other for _, other in mated(circuit)}
    for part in circuit.parts:
        if part.kind == "connector":
            for (terminal, node), (other, far) in pairwise(part.pins):
                # The two halves of a mated pair lie on the same nodes but for the contact between.
                twice = part.name in seconds and _mate_has(circuit, part, terminal, other)
                if not twice:
                    yield Short(
                        f"{part.name} contacts {terminal} and {other} bridged",
                        part.name,
                        "contacts",
                        (node, far),
                    )


def _mate_has(circuit: Circuit, part: Part, near: str, far: str) -> bool:
    """Return whether the first half of a mated pair has both contacts too."""
    first = next(first for first, second in mated(circuit) if second == part.name)
    return None not in (circuit.by_name[first].node(near), circuit.by_name[first].node(far))


def _of_pins(circuit: Circuit) -> Iterator[Short]:
    """Return the neighbouring pins of every tube and empty socket bridged."""
    for part in circuit.parts:
        if part.kind not in ("tube", "socket"):
            continue
        at = {int(pin): node for pin, node in part.pins if pin.isdigit()}
        beside = [(pin, pin + 1) for pin in at] + [(LAST_OF_RING, 1)] * _closes(part)
        for pin, other in beside:
            if pin in at and other in at:
                yield Short(
                    f"{part.name} pins {pin} and {other} bridged",
                    part.name,
                    "pins",
                    (at[pin], at[other]),
                )


def _closes(part: Part) -> bool:
    """Return whether the last pin of a socket is beside the first."""
    known = library.find(part.type) if part.kind == "tube" and part.type else None
    base = known.base if known else " ".join(part.words)
    return any(ring in base for ring in CLOSED_RINGS)
