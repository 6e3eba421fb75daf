"""Two circuits whose names differ: which part is which, told by how they are connected.

First colour refinement (each part and node coloured by what its neighbours are, again and again),
then what is one of a kind in both is paired and the pairing spreads along the pins; what is left
alike is paired by networkx isomorphism.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.compare.symmetry import interchangeable

if TYPE_CHECKING:
    import networkx

#: A difference one part wide is told from its surroundings within this many parts; a longer chain
#: is paired from its ends.
MOST_ROUNDS = 24
#: Pairs of vertices the isomorphism may try, over all groups, before it gives up.
MOST_STEPS = 200_000
#: A group of alike parts with more vertices than this is not tried: the isomorphism recurses once a
#: vertex.
LARGEST_GROUP = 600

#: A part or a node: ("part", name) or ("node", name).
Vertex = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Matching:
    """Pairs of part names (before, after), sorted; and the parts of ``before`` for which the steps
    ran out, undecided.
    """

    parts: tuple[tuple[str, str], ...]
    undecided: tuple[str, ...] = ()

    @property
    def is_decided(self) -> bool:
        """False where some parts are so alike that the work was given up: what is said of those is
        then no finding.
        """
        return not self.undecided


def match(before: Circuit, after: Circuit, *, steps: int = MOST_STEPS) -> Matching:
    """Return which part of ``after`` is which part of ``before``, whatever their names.

    Where the circuits are the same but for names, every part is paired. Where they are not, parts
    away from the difference are paired first and the rest by kind and place, as far as only one
    choice is left.

    Notes
    -----
    Refinement costs pins times ``MOST_ROUNDS``. ``steps`` bounds the isomorphism.

    References
    ----------
    B. Weisfeiler and A. Leman 1968 (refinement); networkx ``GraphMatcher`` (L. P. Cordella et al.
    2001).
    """
    pairing = _Pairing(_Web(before), _Web(after))
    rounds = _refine(pairing.old, pairing.new)
    for colours in reversed(rounds):
        pairing.seed(colours)
        pairing.spread(colours)
    undecided = _pair_alike(pairing, rounds[0], steps)
    pairing.spread(rounds[0])
    pairing.spread(_kinds(pairing.old, pairing.new))
    parts = sorted((one[1], other[1]) for one, other in pairing.found.items() if one[0] == "part")
    paired = {name for name, _ in parts}
    return Matching(tuple(parts), tuple(sorted(undecided - paired)))


def with_names_of(before: Circuit, after: Circuit, matching: Matching) -> Circuit:
    """Return ``after`` with each matched part called as in ``before``; a part without a match keeps
    its name if that is free.
    """
    names = {other: one for one, other in matching.parts}
    taken = set(before.by_name) | set(names.values())
    for part in after.parts:
        if part.name in names:
            continue
        name, number = part.name, 2
        while name in taken:
            name, number = f"{part.name}_{number}", number + 1
        names[part.name] = name
        taken.add(name)

    def called(part: Part) -> Part:
        settings = tuple((word, names.get(argument, argument)) for word, argument in part.settings)
        return replace(part, name=names[part.name], settings=settings)

    return after.with_parts(tuple(map(called, after.parts)))


class _Web:
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


Colours = tuple[Mapping[Vertex, Hashable], Mapping[Vertex, Hashable]]


def _refine(old: _Web, new: _Web) -> Sequence[Colours]:
    """Return the colours of both circuits round by round, coarsest first; equal colours mean the
    same in both.
    """
    numbers: dict[Hashable, int] = {}

    def numbered(colours: Mapping[Vertex, Hashable]) -> dict[Vertex, int]:
        return {
            vertex: numbers.setdefault(colour, len(numbers)) for vertex, colour in colours.items()
        }

    def refined(web: _Web, colours: Mapping[Vertex, int]) -> dict[Vertex, Hashable]:
        return {
            vertex: (
                colours[vertex],
                tuple(sorted((label, colours[other]) for label, other in edges)),
            )
            for vertex, edges in web.edges.items()
        }

    rounds = [(numbered(old.first_colours()), numbered(new.first_colours()))]
    count = 0
    while len(rounds) <= MOST_ROUNDS:
        one, other = rounds[-1]
        classes = len(set(one.values()) | set(other.values()))
        if classes == count:
            break
        count = classes
        rounds.append((numbered(refined(old, one)), numbered(refined(new, other))))
    return rounds


def _kinds(old: _Web, new: _Web) -> Colours:
    """Return colours that know only what kind a part is."""

    def of(web: _Web) -> dict[Vertex, Hashable]:
        kinds = {("part", part.name): part.kind for part in web.circuit.parts}
        return {vertex: kinds.get(vertex, "node") for vertex in web.edges}

    return of(old), of(new)


class _Pairing:
    """The pairs found so far.

    A pair forced by what is one of a kind stays: any renaming of the whole would have it.
    """

    def __init__(self, old: _Web, new: _Web) -> None:
        self.old, self.new = old, new
        self.found: dict[Vertex, Vertex] = {}
        self.back: dict[Vertex, Vertex] = {}

    def pair(self, one: Vertex, other: Vertex) -> None:
        """Take two vertices as the same."""
        self.found[one], self.back[other] = other, one

    def seed(self, colours: Colours) -> None:
        """Pair every vertex whose colour no other unpaired vertex of its circuit has."""
        old = (
            (colours[0][vertex], vertex) for vertex in self.old.edges if vertex not in self.found
        )
        new = ((colours[1][vertex], vertex) for vertex in self.new.edges if vertex not in self.back)
        for one, other in _one_of_a_kind(old, new):
            self.pair(one, other)

    def spread(self, colours: Colours) -> None:
        """Pair the neighbours of pairs wherever a pin leaves one choice, until nothing more
        follows.
        """
        waiting = deque(sorted(self.found))
        queued = set(waiting)
        while waiting:
            one = waiting.popleft()
            queued.discard(one)
            other = self.found[one]
            old = (
                ((label, colours[0][near]), near)
                for label, near in self.old.edges[one]
                if near not in self.found
            )
            new = (
                ((label, colours[1][near]), near)
                for label, near in self.new.edges[other]
                if near not in self.back
            )
            for near, far in _one_of_a_kind(old, new):
                if near not in self.found and far not in self.back:
                    self.pair(near, far)
                    again = [
                        vertex
                        for vertex in (near, *(vertex for _, vertex in self.old.edges[near]))
                        if vertex in self.found and vertex not in queued
                    ]
                    waiting.extend(again)
                    queued.update(again)


def _one_of_a_kind(
    old: Iterable[tuple[Hashable, Vertex]], new: Iterable[tuple[Hashable, Vertex]]
) -> list[tuple[Vertex, Vertex]]:
    """Return the pairs of vertices that stand alone under one key on both sides."""
    sides: list[dict[Hashable, list[Vertex]]] = [{}, {}]
    for side, entries in zip(sides, (old, new), strict=True):
        for key, vertex in entries:
            group = side.setdefault(key, [])
            if vertex not in group[:2]:
                group.append(vertex)
    return [
        (group[0], sides[1][key][0])
        for key, group in sides[0].items()
        if len(group) == 1 and len(sides[1].get(key, ())) == 1
    ]


class _TooManyStepsError(Exception):
    """The isomorphism tried more pairs than it may."""


def _pair_alike(pairing: _Pairing, colours: Colours, steps: int) -> set[str]:
    """Pair what is left, group by connected group, by isomorphism; return the parts of groups that
    were given up.
    """
    left = [
        _leftover(pairing.old, pairing.found, colours[0], lambda vertex: vertex),
        _leftover(pairing.new, pairing.back, colours[1], pairing.back.__getitem__),
    ]
    waiting: dict[Hashable, list[networkx.Graph[Vertex]]] = {}
    for signature, group in left[1]:
        waiting.setdefault(signature, []).append(group)
    undecided: set[str] = set()
    allowance = [steps]
    for signature, group in left[0]:
        candidates = waiting.get(signature, [])
        try:
            found = next(
                (
                    (index, pairs)
                    for index, other in enumerate(candidates)
                    if (pairs := _isomorphism(group, other, allowance)) is not None
                ),
                None,
            )
        except _TooManyStepsError:
            undecided |= {name for kind, name in group if kind == "part"}
            continue
        if found is not None:
            candidates.pop(found[0])
            for one, other in found[1].items():
                pairing.pair(one, other)
    return undecided


def _leftover(
    web: _Web,
    paired: dict[Vertex, Vertex],
    colours: Mapping[Vertex, Hashable],
    called: Callable[[Vertex], Vertex],
) -> list[tuple[Hashable, networkx.Graph[Vertex]]]:
    """Return the connected groups of unpaired vertices, each with a signature that two isomorphic
    groups share.

    ``called`` names a paired vertex as in ``before``, so that what a group hangs on counts as part
    of what it is.
    """
    import networkx

    graph = networkx.Graph()
    for vertex, edges in web.edges.items():
        if vertex in paired:
            continue
        held = sorted((label, called(near)) for label, near in edges if near in paired)
        graph.add_node(vertex, colour=(colours[vertex], tuple(held)))
        links: dict[Vertex, list[str]] = {}
        for label, near in edges:
            if near not in paired:
                links.setdefault(near, []).append(label)
        graph.add_edges_from(
            (vertex, near, {"labels": tuple(sorted(labels))}) for near, labels in links.items()
        )
    groups: list[tuple[Hashable, networkx.Graph[Vertex]]] = []
    for members in sorted(networkx.connected_components(graph), key=min):
        group = graph.subgraph(members).copy()
        groups.append(
            (frozenset(Counter(colour for _, colour in group.nodes(data="colour")).items()), group)
        )
    return groups


def _isomorphism(
    one: networkx.Graph[Vertex], other: networkx.Graph[Vertex], allowance: list[int]
) -> dict[Vertex, Vertex] | None:
    """Return the pairs of an isomorphism of two groups, None where there is none.

    Raises _TooManyStepsError.
    """
    from networkx.algorithms.isomorphism import (
        GraphMatcher,
        categorical_edge_match,
        categorical_node_match,
    )

    if len(one) > LARGEST_GROUP:
        raise _TooManyStepsError

    same_colour = categorical_node_match("colour", None)

    def alike(first: Mapping[str, object], second: Mapping[str, object]) -> bool:
        allowance[0] -= 1
        if allowance[0] < 0:
            raise _TooManyStepsError
        return bool(same_colour(first, second))

    matcher = GraphMatcher(one, other, alike, categorical_edge_match("labels", ()))
    return dict(matcher.mapping) if matcher.is_isomorphic() else None
