"""Shorted windings, and rings of windings whose volts do not agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.windings import Winding

#: Windings in a ring may differ by so much of the larger before their ring is refused: what two of
#: one kind differ by.
RING_SHARE = 0.03

#: Volts as turns of each core; of the core "" they are volts.
Volts = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class _Edge:
    """The line, or a winding, between two points."""

    a: str
    b: str
    volts: Volts
    name: str
    part: Part | None


def rings(
    windings: Sequence[Winding],
    line: tuple[str, str] | None,
    volts: float,
    point: Mapping[str, str],
) -> tuple[Problem, ...]:
    """Return a problem for every shorted winding and every ring of windings whose volts do not
    agree.

    ``line`` is the pair of points the line is on. Volts of a core are unknown until a ring with the
    line, or with a core already known, tells them; a ring that then tells otherwise has nothing but
    copper to limit its current.
    """
    problems = []
    edges = [_Edge(*line, {"": volts}, "the line", None)] if line else []
    for winding in windings:
        if point[winding.a] == point[winding.b]:
            problems.append(
                Problem(
                    f"both ends of {winding.row} are on one point: a short circuit of the winding",
                    winding.part.place,
                    hint=(
                        f"take one end of {winding.row} off, or take the wire out that joins them"
                    ),
                )
            )
        else:
            ends = point[winding.a], point[winding.b]
            turns = {winding.core: winding.turns}
            edges.append(_Edge(*ends, turns, winding.row, winding.part))
    return (*problems, *_disagreeing(edges))


def _disagreeing(edges: Sequence[_Edge]) -> list[Problem]:
    """Return a problem for every ring that only copper limits, edge after edge joining a forest."""
    problems = []
    tree: dict[str, list[tuple[str, Volts, str]]] = {}
    known: dict[str, Volts] = {}
    for edge in edges:
        path = _path(tree, edge.a, edge.b)
        if path is None:
            reverse = {core: -turns for core, turns in edge.volts.items()}
            tree.setdefault(edge.a, []).append((edge.b, edge.volts, edge.name))
            tree.setdefault(edge.b, []).append((edge.a, reverse, edge.name))
            continue
        ring = dict(edge.volts)
        for _, volts, _ in path:
            ring = _sum(ring, volts, -1.0)
        for core in [core for core in ring if core in known]:
            ring = _sum(ring, known[core], ring.pop(core))
        unknown = next((core for core, turns in ring.items() if core and abs(turns) > 1e-9), None)
        if unknown is not None:
            _learn(known, unknown, ring)
            continue
        nominal = sum(t * known.get(core, {}).get("", 0.0) for core, t in edge.volts.items())
        excess = ring.get("", 0.0)
        if edge.part is not None and abs(excess) > RING_SHARE * abs(nominal):
            problems.append(_ring(edge, edge.part, [name for _, _, name in path], excess))
    return problems


def _ring(edge: _Edge, part: Part, others: Sequence[str], excess: float) -> Problem:
    return Problem(
        f"{edge.name} and {' and '.join(dict.fromkeys(others))} make a ring whose volts do not"
        f" agree by {abs(excess):.3g} V: only their copper limits the current",
        part.place,
        hint=(
            f"open the ring: take one end of {edge.name} off, or turn it round if it is the wrong"
            " way about"
        ),
    )


def _learn(known: dict[str, Volts], core: str, ring: dict[str, float]) -> None:
    """Put the volts of a core, which a ring tells, into everything known."""
    turns = ring.pop(core)
    known[core] = {other: -amount / turns for other, amount in ring.items()}
    for name, volts in list(known.items()):
        rest = {other: amount for other, amount in volts.items() if other != core}
        known[name] = _sum(rest, known[core], volts.get(core, 0.0))


def _sum(volts: Volts, other: Volts, times: float) -> dict[str, float]:
    return {key: volts.get(key, 0.0) + times * other.get(key, 0.0) for key in {**volts, **other}}


def _path(
    tree: Mapping[str, Sequence[tuple[str, Volts, str]]], start: str, end: str
) -> tuple[tuple[str, Volts, str], ...] | None:
    """Return the edges from ``start`` to ``end`` in a forest, or None where there is no path."""
    stack: list[tuple[str, tuple[tuple[str, Volts, str], ...]]] = [(start, ())]
    seen = {start}
    while stack:
        at, path = stack.pop()
        if at == end:
            return path
        for edge in tree.get(at, ()):
            if edge[0] not in seen:
                seen.add(edge[0])
                stack.append((edge[0], (*path, edge)))
    return None
