"""Where a person can touch the set: every node within reach to earth, every two of them, and the
bare contacts of a connector that is pulled.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from rework.anatomy.links import mated
from rework.circuit.circuit import Circuit
from rework.touch.parts import EARTH

#: So many nodes in reach are tried two by two; where there are more, the only verdict is "over".
MOST_PAIRED = 40
#: The umbilical of a contact that is bare all the time: no other half is in the netlist.
NO_MATE = ""


class Port(NamedTuple):
    """Two nodes that a person bridges; ``pulled`` names the umbilical that has to be pulled before
    they can be reached, or is empty.
    """

    node: str
    other: str
    pulled: str = ""

    @property
    def to_earth(self) -> bool:
        """Whether the person is on earth and touches one node."""
        return self.other == EARTH

    @property
    def nodes(self) -> tuple[str, str]:
        """Both nodes."""
        return self.node, self.other


def touch_ports(circuit: Circuit) -> list[Port]:
    """Return every node in reach to earth, every two of them up to ``MOST_PAIRED`` nodes, and bare
    contacts to earth and to one another.
    """
    reached = sorted(node for node in circuit.within_reach if node in circuit.at)
    ports = [Port(node, EARTH) for node in reached]
    ports += [Port(first, second) for first, second in combinations(reached[:MOST_PAIRED], 2)]
    for pulled, contacts in bare_contacts(circuit):
        bare = sorted(set(contacts) - set(reached))
        ports += [Port(node, EARTH, pulled) for node in bare]
        ports += [
            Port(first, second, pulled) for first, second in combinations(bare[:MOST_PAIRED], 2)
        ]
    return list(dict.fromkeys(ports))


def bare_contacts(circuit: Circuit) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Return (umbilical, nodes) for every half of a connector whose contacts can be touched.

    A half that is not said to be a socket has bare contacts, as in the mains check. The umbilical
    is named by its first half, or is empty where the netlist has no other half.
    """
    named = {name: pair[0] for pair in mated(circuit) for name in pair}
    for part in circuit.parts:
        if part.kind == "connector" and "socket" not in part.words and part.pins:
            yield named.get(part.name, NO_MATE), tuple(node for _, node in part.pins)


def not_paired(ports: Sequence[Port]) -> tuple[str, ...]:
    """Return a sentence on the nodes that were not tried in pairs, or nothing."""
    count = sum(port.to_earth and not port.pulled for port in ports)
    if count <= MOST_PAIRED:
        return ()
    return (
        f"{count} nodes are in reach: all were tried to earth, only the first {MOST_PAIRED} in"
        " pairs",
    )
