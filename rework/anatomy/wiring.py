"""The nodes of a circuit as points: what conductors hold together, and where asked the contacts of
mated connectors.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property

from rework.anatomy.links import joints
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, conductor_ends
from rework.circuit.parts import Part

#: A part with one of its terminals.
Pin = tuple[Part, str]


class Wiring:
    """One circuit with its nodes merged into points, each named by the first of its nodes.

    Parameters
    ----------
    circuit
        The circuit. Read only.
    mated
        Whether the contacts of mated connectors hold their two sides together. Without it every
        connector counts as pulled.
    """

    def __init__(self, circuit: Circuit, *, mated: bool = True) -> None:
        self.circuit = circuit
        self.mated = mated

    @cached_property
    def points_of(self) -> dict[str, str]:
        """Every node with the point that it is part of."""
        merged = Merged()
        for part in self.circuit.parts:
            if part.is_conductor:
                for near, far in conductor_ends(part):
                    merged.join(near, far)
        if self.mated:
            for near, far in contact_nodes(self.circuit):
                merged.join(near, far)
        first: dict[str, str] = {}
        for node in self.circuit.nodes:
            first.setdefault(merged.find(node), node)
        return {node: first[merged.find(node)] for node in self.circuit.nodes}

    def point(self, node: str) -> str:
        """Return the point a node, or a name joined to one, is part of."""
        node = self.circuit.node_named(node)
        return self.points_of.get(node, node)

    def points(self, nodes: Iterable[str]) -> frozenset[str]:
        """Return the points that some nodes are part of."""
        return frozenset(self.point(node) for node in nodes)

    def of(self, part: Part, terminal: str) -> str | None:
        """Return the point at a terminal, or None where it is bound to nothing."""
        node = part.node(terminal)
        return None if node is None else self.point(node)

    def ends(self, part: Part) -> tuple[str, ...]:
        """Return the points at the terminals of a part, in the order of its pins; its metal is
        none of them.
        """
        return tuple(self.point(node) for node in part.ends)

    @cached_property
    def at(self) -> dict[str, tuple[Pin, ...]]:
        """Every point with the (part, terminal) pairs on it, conductors left out."""
        pins: dict[str, list[Pin]] = {}
        for part in self.circuit.parts:
            if not part.is_conductor:
                for terminal, node in part.pins:
                    pins.setdefault(self.point(node), []).append((part, terminal))
        return {point: tuple(on) for point, on in pins.items()}

    @cached_property
    def names(self) -> tuple[tuple[str, str], ...]:
        """Every name of a node, joined names too, with its point."""
        names = [*self.circuit.nodes, *(alias for alias, _ in self.circuit.aliases)]
        return tuple((name, self.point(name)) for name in names)

    def parts_at(self, point: str) -> Iterator[Part]:
        """Yield the parts with a terminal on a point, each once, conductors left out."""
        seen: set[str] = set()
        for part, _ in self.at.get(point, ()):
            if part.name not in seen:
                seen.add(part.name)
                yield part


def contact_nodes(circuit: Circuit) -> Iterator[tuple[str, str]]:
    """Yield the pairs of nodes that meet in the contacts of mated connectors."""
    for near, here, other, there in joints(circuit):
        first, second = circuit.by_name[near].node(here), circuit.by_name[other].node(there)
        if first is not None and second is not None:
            yield first, second
