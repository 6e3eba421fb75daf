"""Graph views of a circuit: parts and nodes with an edge a pin, and conductors contracted to single
points.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, strands

if TYPE_CHECKING:
    import networkx


class Merged:
    """Names merged into groups (disjoint sets with path halving and union by size; Tarjan 1975)."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}
        self._size: dict[str, int] = {}

    def find(self, name: str) -> str:
        """Return one fixed name of the group that ``name`` is in."""
        parent = self._parent
        if name not in parent:
            return name
        while parent[name] != name:
            parent[name] = name = parent[parent[name]]
        return name

    def join(self, near: str, far: str) -> None:
        """Make one group of the groups of two names."""
        for name in (near, far):
            if name not in self._parent:
                self._parent[name], self._size[name] = name, 1
        first, second = self.find(near), self.find(far)
        if first == second:
            return
        if self._size[first] < self._size[second]:
            first, second = second, first
        self._parent[second] = first
        self._size[first] += self._size[second]

    def groups(self) -> dict[str, list[str]]:
        """Return the groups by their fixed name; names never joined are in none."""
        groups: dict[str, list[str]] = {}
        for name in self._parent:
            groups.setdefault(self.find(name), []).append(name)
        return groups


def conductor_ends(part: Part) -> Iterator[tuple[str, str]]:
    """Return the pairs of nodes a trace, wire or cable holds together."""
    if part.kind == "shielded cable":
        for run in strands(part):
            nodes = [part.node(terminal) for terminal in run]
            yield from itertools.pairwise(nodes)
    else:
        nodes = [node for _, node in part.pins]
        yield from itertools.pairwise(nodes)


def contracted(circuit: Circuit, *, keep: Iterable[str] = ()) -> dict[str, str]:
    """Return every node with the first name (in sorted order) of the points its conductors hold it
    together with.

    Conductors named in ``keep`` are not contracted.
    """
    kept = frozenset(keep)
    merged = Merged()
    for part in circuit.parts:
        if part.is_conductor and part.name not in kept:
            for near, far in conductor_ends(part):
                merged.join(near, far)
    first: dict[str, str] = {}
    for node in circuit.nodes:
        first.setdefault(merged.find(node), node)
    return {node: first[merged.find(node)] for node in circuit.nodes}


def bipartite(circuit: Circuit) -> networkx.MultiGraph:
    """Return the graph of parts and nodes: vertices ``("part", name)`` and ``("node", name)``, an
    edge a pin.

    Part vertices carry ``part``; edges carry ``terminal`` and use it as their key.
    """
    import networkx

    graph = networkx.MultiGraph()
    graph.add_nodes_from((("node", node) for node in circuit.nodes), bipartite=1)
    for part in circuit.parts:
        graph.add_node(("part", part.name), bipartite=0, part=part)
        for terminal, node in part.pins:
            graph.add_edge(("part", part.name), ("node", node), key=terminal, terminal=terminal)
    return graph
