"""Pairing what is one of a kind, spreading along the pins, and isomorphism for what is left alike.

A pair that follows so is one that every renaming of the whole would have.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Hashable, Iterable, Mapping

import networkx
from networkx.algorithms.isomorphism import (
    GraphMatcher,
    categorical_edge_match,
    categorical_node_match,
)

from rework.compare.web import Colours, Vertex, Web

#: A group of alike parts with more vertices than this is not tried: the isomorphism recurses once a
#: vertex.
LARGEST_GROUP = 600


class Pairing:
    """The pairs found so far.

    A pair forced by what is one of a kind stays: any renaming of the whole would have it.
    """

    def __init__(self, old: Web, new: Web) -> None:
        self.old, self.new = old, new
        self.found: dict[Vertex, Vertex] = {}
        self.back: dict[Vertex, Vertex] = {}

    def pair(self, first: Vertex, second: Vertex) -> None:
        """Take two vertices as the same."""
        self.found[first], self.back[second] = second, first

    def seed(self, colours: Colours) -> None:
        """Pair every vertex whose colour no other unpaired vertex of its circuit has."""
        old = (
            (colours[0][vertex], vertex) for vertex in self.old.edges if vertex not in self.found
        )
        new = ((colours[1][vertex], vertex) for vertex in self.new.edges if vertex not in self.back)
        for first, second in _one_of_a_kind(old, new):
            self.pair(first, second)

    def spread(self, colours: Colours) -> None:
        """Pair the neighbours of pairs wherever a pin leaves one choice, until nothing more
        follows.
        """
        waiting = deque(sorted(self.found))
        queued = set(waiting)
        while waiting:
            first = waiting.popleft()
            queued.discard(first)
            second = self.found[first]
            old = (
                ((label, colours[0][near]), near)
                for label, near in self.old.edges[first]
                if near not in self.found
            )
            new = (
                ((label, colours[1][near]), near)
                for label, near in self.new.edges[second]
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


def pair_alike(pairing: Pairing, colours: Colours, steps: int) -> set[str]:
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
            match = next(
                (
                    (index, pairs)
                    for index, second in enumerate(candidates)
                    if (pairs := _isomorphism(group, second, allowance)) is not None
                ),
                None,
            )
        except _TooManyStepsError:
            undecided |= {name for kind, name in group if kind == "part"}
            continue
        if match is not None:
            candidates.pop(match[0])
            for first, second in match[1].items():
                pairing.pair(first, second)
    return undecided


def _leftover(
    web: Web,
    paired: dict[Vertex, Vertex],
    colours: Mapping[Vertex, Hashable],
    called: Callable[[Vertex], Vertex],
) -> list[tuple[Hashable, networkx.Graph[Vertex]]]:
    """Return the connected groups of unpaired vertices, each with a signature that two isomorphic
    groups share.

    ``called`` names a paired vertex as in ``before``, so that what a group is tied to counts as
    part of what it is.
    """
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
    near: networkx.Graph[Vertex], far: networkx.Graph[Vertex], allowance: list[int]
) -> dict[Vertex, Vertex] | None:
    """Return the pairs of an isomorphism of two groups, None where there is none.

    Raises _TooManyStepsError.
    """
    if len(near) > LARGEST_GROUP:
        raise _TooManyStepsError

    same_colour = categorical_node_match("colour", None)

    def alike(first: Mapping[str, object], second: Mapping[str, object]) -> bool:
        allowance[0] -= 1
        if allowance[0] < 0:
            raise _TooManyStepsError
        return bool(same_colour(first, second))

    matcher = GraphMatcher(near, far, alike, categorical_edge_match("labels", ()))
    return dict(matcher.mapping) if matcher.is_isomorphic() else None
