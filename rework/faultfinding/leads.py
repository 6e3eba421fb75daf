"""Leads off, exchanged, or elsewhere: the edits that most troubles of wiring are made of."""

from __future__ import annotations

from collections.abc import Iterator

from rework.circuit.circuit import Circuit
from rework.circuit.edits import MoveLead
from rework.circuit.parts import Part
from rework.faultfinding.trouble import SingleTrouble, TroubleKind


def alone(circuit: Circuit, part: str, terminal: str) -> str:
    """Return a node of its own for a terminal that is taken off."""
    return circuit.free_node_name(f"{part}-{terminal}-off".replace("/", "-").replace(".", "-"))


def lead_off(
    circuit: Circuit, part: Part, terminal: str, kind: TroubleKind, *, inside: bool = False
) -> Iterator[SingleTrouble]:
    """Yield one terminal of a part on a node of its own."""
    node = part.node(terminal)
    if node is not None and len(circuit.at[node]) > 1:
        move = MoveLead(part.name, terminal, alone(circuit, part.name, terminal))
        yield SingleTrouble(kind, part.name, (terminal,), actions=(move,), inside=inside)


def exchanged(part: Part, first: str, second: str, kind: TroubleKind) -> SingleTrouble:
    """Return a trouble with the leads of two terminals of a part exchanged."""
    moves = (
        MoveLead(part.name, first, part.at(second)),
        MoveLead(part.name, second, part.at(first)),
    )
    return SingleTrouble(kind, part.name, (first, second), actions=moves)
