"""Which parts lie on some way between two points that visits no point twice."""

from __future__ import annotations

from collections.abc import Iterable

#: An edge: its key, and the two points that it joins.
Edge = tuple[str, str, str]


def on_the_way(
    edges: Iterable[Edge], start: str, end: str
) -> tuple[frozenset[str], frozenset[str]]:
    """Return the keys of the edges, and the points, on any simple way from ``start`` to ``end``.

    An edge lies on such a way if and only if it is in one biconnected block with an edge drawn
    between the two ends (Tarjan, SIAM J. Comput. 1(2), 1972). Linear in the edges. Where the two
    are one point nothing lies between.
    """
    if start == end:
        return frozenset(), frozenset({start})
    virtual = -1
    listed = list(edges)
    pairs = [(first, second) for _, first, second in listed]
    touching: dict[str, list[tuple[int, str]]] = {start: [(virtual, end)], end: [(virtual, start)]}
    for number, (first, second) in enumerate(pairs):
        if first != second:
            touching.setdefault(first, []).append((number, second))
            touching.setdefault(second, []).append((number, first))
    block = _block_with(virtual, touching, start)
    if block == {virtual}:
        return frozenset(), frozenset()
    inside = block - {virtual}
    keys = frozenset(listed[number][0] for number in inside)
    return keys, frozenset(point for number in inside for point in pairs[number])


def _block_with(wanted: int, touching: dict[str, list[tuple[int, str]]], root: str) -> set[int]:
    """Return the numbers of the edges in one biconnected block with the wanted edge.

    The search begins at ``root``, an end of that edge, and takes that edge first, so that the
    block is complete when the search is back at the root for the first time.
    """
    order = {root: 0}
    low = {root: 0}
    edges: list[int] = []
    used: set[int] = set()
    walk: list[tuple[str, int]] = [(root, 0)]
    while walk:
        point, position = walk.pop()
        if position < len(touching[point]):
            walk.append((point, position + 1))
            number, other = touching[point][position]
            if number in used:
                continue
            used.add(number)
            edges.append(number)
            if other in order:
                low[point] = min(low[point], order[other])
            else:
                order[other] = low[other] = len(order)
                walk.append((other, 0))
        elif walk:
            above, at = walk[-1]
            low[above] = min(low[above], low[point])
            if low[point] >= order[above]:
                start = edges.index(touching[above][at - 1][0])
                block = set(edges[start:])
                del edges[start:]
                if wanted in block:
                    return block
    return {wanted}
