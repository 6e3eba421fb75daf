"""Which part is which where two circuits differ: the pairs that explain the difference with the
fewest slips.

Two starts (what follows from refinement, and a graduated assignment that asks only for likeness),
each improved in turns: nodes by the pins they share, parts by the nodes they are on; then parts and
nodes that do not fit are tried in each other's place.

References
----------
S. Gold and A. Rangarajan 1996, A graduated assignment algorithm for graph matching, IEEE PAMI 18
(4); H. W. Kuhn 1955 by way of scipy ``linear_sum_assignment``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from rework.circuit.circuit import Circuit
from rework.compare.cost import JOINED, CostSheet, Pairs, absent, shared_pins
from rework.compare.symmetry import interchangeable

#: Turns of nodes and parts before a start counts as settled; two or three are usual.
MOST_TURNS = 8
#: Exchanges tried before the search ends, over all rounds.
MOST_TRIALS = 200
#: Nodes that do not fit of which any two are tried in each other's place.
MOST_ASTRAY = 10
#: Above this cost the start from refinement is doubted and the graduated assignment is asked too.
DOUBTFUL = 3.0
#: Sharpness of the graduated assignment: first, last, and its factor from turn to turn.
SOFTEST, SHARPEST, SHARPER = 0.5, 30.0, 1.25
#: Rounds of row and column scaling in each of its turns (R. Sinkhorn 1964).
SCALINGS = 15


def least_cost(before: Circuit, after: Circuit, start: Mapping[str, str]) -> Pairs:
    """Return the pairs with the least cost that were found, beginning with the parts paired in
    ``start``.

    The cost is that of ``cost.Sheet``; the search is a heuristic, so the least is not proved.
    """
    sheet = CostSheet(before, after)
    best = _settled(sheet, start)
    cost = sheet.cost(best)
    if cost > DOUBTFUL:
        other = _settled(sheet, graduated(sheet))
        if sheet.cost(other) < cost:
            best, cost = other, sheet.cost(other)
    allowance = MOST_TRIALS
    while cost > JOINED and allowance > 0:
        for tried in _trials(sheet, best):
            allowance -= 1
            if sheet.cost(tried) < cost - 1e-9:
                best, cost = tried, sheet.cost(tried)
                break
            if allowance <= 0:
                break
        else:
            break
    return best


def _trials(sheet: CostSheet, pairs: Pairs) -> Iterator[Pairs]:
    """Yield pairs in which two nodes, or two parts, that do not fit have changed places."""
    for first, second in combinations(sheet.astray(pairs)[:MOST_ASTRAY], 2):
        nodes = {**pairs.nodes, first: pairs.nodes[second], second: pairs.nodes[first]}
        yield Pairs(pairs.parts, nodes)
    for parts in _exchanges(sheet, pairs):
        yield _settled(sheet, parts)


def _settled(sheet: CostSheet, parts: Mapping[str, str]) -> Pairs:
    """Return pairs in which nodes follow from parts and parts from nodes, as good as turns make
    them.
    """
    best = Pairs(parts, _nodes(sheet, parts))
    cost = sheet.cost(best)
    for _ in range(MOST_TURNS):
        parts = _parts(sheet, best.nodes)
        turned = Pairs(parts, _nodes(sheet, parts))
        turned_cost = sheet.cost(turned)
        if turned_cost >= cost - 1e-9:
            break
        best, cost = turned, turned_cost
    return best


def _nodes(sheet: CostSheet, parts: Mapping[str, str]) -> dict[str, str]:
    """Return the nodes that share most pins of the paired parts; of equals those of one name."""
    shared = shared_pins(sheet, parts)
    old = {node: at for at, node in enumerate(dict.fromkeys(node for node, _ in shared))}
    new = {node: at for at, node in enumerate(dict.fromkeys(node for _, node in shared))}
    weight = np.zeros((len(old), len(new)))
    for (node, far), count in shared.items():
        apart = len(sheet.before.at.get(node, ())) - len(sheet.after.at.get(far, ()))
        weight[old[node], new[far]] = count - 1e-3 * min(abs(apart), 9) + 1e-4 * (node == far)
    names, far_names = [*old], [*new]
    rows, columns = linear_sum_assignment(weight, maximize=True)
    return {
        names[row]: far_names[column]
        for row, column in zip(rows, columns, strict=True)
        if weight[row, column] > 0
    }


def _by_kind(sheet: CostSheet) -> Iterator[tuple[list[str], list[str]]]:
    """Yield the names of the parts of each kind that both circuits have."""
    old: dict[str, list[str]] = {}
    new: dict[str, list[str]] = {}
    for circuit, names in ((sheet.before, old), (sheet.after, new)):
        for part in circuit.parts:
            names.setdefault(part.kind, []).append(part.name)
    yield from ((old[kind], new[kind]) for kind in old if kind in new)


def _parts(sheet: CostSheet, nodes: Mapping[str, str]) -> dict[str, str]:
    """Return the parts that cost least on these nodes; none where leaving both out costs less."""
    parts: dict[str, str] = {}
    for old, new in _by_kind(sheet):
        cost = np.array(
            [
                [sheet.part_cost(name, other, nodes) + 1e-4 * (name != other) for other in new]
                for name in old
            ]
        )
        apart = np.add.outer(
            [absent(sheet.before.by_name[name]) for name in old],
            [absent(sheet.after.by_name[other]) for other in new],
        )
        for row, column in zip(*linear_sum_assignment(np.minimum(cost, apart)), strict=True):
            if cost[row, column] < apart[row, column]:
                parts[old[row]] = new[column]
    return parts


def _exchanges(sheet: CostSheet, pairs: Pairs) -> Iterator[dict[str, str]]:
    """Yield pairings of parts in which one that does not fit has the counterpart of another."""
    old, free = sheet.dirty(pairs)
    back = {second: first for first, second in pairs.parts.items()}
    for name in old:
        mine = pairs.parts.get(name)
        kind = sheet.before.by_name[name].kind
        others: Iterable[str] = (
            part.name for part in sheet.after.parts if part.kind == kind and part.name != mine
        )
        for second in sorted(
            others, key=lambda second: (second not in free, sheet.label(name, second))
        ):
            trial = {**pairs.parts, name: second}
            holder = back.get(second)
            if holder is not None and mine is not None:
                trial[holder] = mine
            elif holder is not None:
                del trial[holder]
            yield trial


def graduated(sheet: CostSheet) -> dict[str, str]:
    """Return a pairing of parts by likeness alone: like parts on like nodes, softly at first."""
    old, new = sheet.before.parts, sheet.after.parts
    likeness = np.array(
        [[np.exp(-sheet.label(part.name, second.name)) for second in new] for part in old]
    )
    ends = _ends(sheet)
    pins = np.maximum.outer(
        [max(1, len(part.pins)) for part in old], [max(1, len(part.pins)) for part in new]
    )
    degree = np.maximum.outer(
        sum(weights.sum(axis=0) for weights, _ in ends),
        sum(second.sum(axis=0) for _, second in ends),
    ).clip(min=1.0)
    match = likeness / likeness.sum(axis=1, keepdims=True).clip(min=1e-9)
    sharpness = SOFTEST
    while sharpness < SHARPEST:
        nodes = sum(first.T @ match @ second for first, second in ends) / degree
        fit = sum(first @ nodes @ second.T for first, second in ends) / pins
        match = _scaled(likeness * np.exp(sharpness * (fit - fit.max())))
        sharpness *= SHARPER
    rows, columns = linear_sum_assignment(match, maximize=True)
    return {
        old[row].name: new[column].name
        for row, column in zip(rows, columns, strict=True)
        if likeness[row, column] > 0
    }


def _ends(sheet: CostSheet) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Return for each kind of terminal which part of either circuit has it on which node."""
    sides: list[dict[tuple[str, str], list[tuple[int, int]]]] = []
    for circuit in (sheet.before, sheet.after):
        place = {node: at for at, node in enumerate(circuit.nodes)}
        ends: dict[tuple[str, str], list[tuple[int, int]]] = {}
        for row, part in enumerate(circuit.parts):
            shared = interchangeable(part)
            for terminal, node in part.pins:
                end = part.kind, shared.get(terminal, terminal)
                ends.setdefault(end, []).append((row, place[node]))
        sides.append(ends)
    both = []
    for end in sorted(sides[0].keys() | sides[1].keys()):
        matrices = []
        for circuit, ends in zip((sheet.before, sheet.after), sides, strict=True):
            on = np.zeros((len(circuit.parts), len(circuit.nodes)))
            for row, column in ends.get(end, ()):
                on[row, column] += 1.0
            matrices.append(on)
        both.append((matrices[0], matrices[1]))
    return both


def _scaled(match: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a matrix with rows and columns that add up to at most about one."""
    match = match + 1e-12
    for _ in range(SCALINGS):
        match = match / match.sum(axis=1, keepdims=True).clip(min=1e-9)
        match = match / match.sum(axis=0, keepdims=True).clip(min=1e-9)
    return match
