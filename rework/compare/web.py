"""A circuit as a graph of parts and nodes, and the colours that refinement gives them.

Two vertices have equal colours after ``k`` rounds where everything within ``k`` steps of them is
the same, names left out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence

from rework.circuit.circuit import Circuit
from rework.compare.symmetry import interchangeable

#: A difference one part wide is told from its surroundings within this many parts; a longer chain
#: is paired from its ends.
MOST_ROUNDS = 24

#: A part or a node: ("part", name) or ("node", name).
Vertex = tuple[str, str]
#: The colours of the vertices of two circuits.
Colours = tuple[Mapping[Vertex, Hashable], Mapping[Vertex, Hashable]]


class Web:
    """The parts and nodes of one circuit with their pins, each pin labelled by the end of the part
    it is.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.edges: dict[Vertex, list[tuple[str, Vertex]]] = {
            ("node", node): [] for node in circuit.nodes
        }
        for part in circuit.parts:
            here: Vertex = ("part", part.name)
            shared = interchangeable(part)
            self.edges[here] = []
            for terminal, node in part.pins:
                label = shared.get(terminal, terminal)
                self.edges[here].append((label, ("node", node)))
                self.edges["node", node].append((label, here))

    def first_colours(self) -> dict[Vertex, Hashable]:
        """Return the colour of each vertex before any neighbour is asked."""
        ports: dict[str, list[str]] = {}
        for port, node in self.circuit.ports:
            ports.setdefault(node, []).append(port)
        touchable = frozenset(self.circuit.touchable)
        colours: dict[Vertex, Hashable] = {
            ("node", node): ("node", tuple(sorted(ports.get(node, ()))), node in touchable)
            for node in self.circuit.nodes
        }
        for part in self.circuit.parts:
            values = Counter(
                (value.role, value.dimension, f"{value.amount:.9g}") for value in part.values
            )
            windings = frozenset(
                (name, value.role, value.dimension, f"{value.amount:.9g}")
                for name, values in part.windings
                for value in values
            )
            colours["part", part.name] = (
                part.kind,
                part.type,
                frozenset(values.items()),
                windings,
                frozenset(part.words),
            )
        return colours


def refine(old: Web, new: Web) -> Sequence[Colours]:
    """Return the colours of both circuits round by round, coarsest first; equal colours mean the
    same in both.

    References
    ----------
    B. Weisfeiler and A. Leman 1968.
    """
    numbers: dict[Hashable, int] = {}

    def numbered(colours: Mapping[Vertex, Hashable]) -> dict[Vertex, int]:
        return {
            vertex: numbers.setdefault(colour, len(numbers)) for vertex, colour in colours.items()
        }

    def refined(web: Web, colours: Mapping[Vertex, int]) -> dict[Vertex, Hashable]:
        return {
            vertex: (
                colours[vertex],
                tuple(sorted((label, colours[second]) for label, second in edges)),
            )
            for vertex, edges in web.edges.items()
        }

    rounds = [(numbered(old.first_colours()), numbered(new.first_colours()))]
    count = 0
    while len(rounds) <= MOST_ROUNDS:
        first, second = rounds[-1]
        classes = len(set(first.values()) | set(second.values()))
        if classes == count:
            break
        count = classes
        rounds.append((numbered(refined(old, first)), numbered(refined(new, second))))
    return rounds


def kinds(old: Web, new: Web) -> Colours:
    """Return colours that know only what kind a part is."""

    def of(web: Web) -> dict[Vertex, Hashable]:
        by_kind = {("part", part.name): part.kind for part in web.circuit.parts}
        return {vertex: by_kind.get(vertex, "node") for vertex in web.edges}

    return of(old), of(new)
