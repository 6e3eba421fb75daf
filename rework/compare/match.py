"""Two circuits whose names differ: which part is which, shown by how they are connected.

First colour refinement (each part and node coloured by what its neighbours are, again and again),
then what is one of a kind in both is paired and the pairing spreads along the pins; what is left
alike is paired by isomorphism. Where the circuits are not the same, the pairs that explain the
difference with the fewest slips are looked for.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.compare.alike import Pairing, pair_alike
from rework.compare.assign import least_cost
from rework.compare.difference import difference
from rework.compare.entries import Difference
from rework.compare.web import Web, kinds, refine

#: Pairs of vertices the isomorphism may try, over all groups, before it gives up.
MOST_STEPS = 200_000
#: Circuits with more parts than this are paired by what follows from refinement alone: the search
#: for the fewest slips costs the square of the parts and more.
MOST_PARTS = 400


@dataclass(frozen=True, slots=True)
class Matching:
    """Pairs of part names and of node names (before, after), sorted; and the parts of ``before``
    for which the steps ran out, undecided.

    ``nodes`` is None where nodes were not looked at: they follow from the pins of the parts.
    """

    parts: tuple[tuple[str, str], ...]
    undecided: tuple[str, ...] = ()
    nodes: tuple[tuple[str, str], ...] | None = None

    @property
    def is_decided(self) -> bool:
        """False where some parts are so alike that the work was given up: what is said of those is
        then no finding.
        """
        return not self.undecided


def match(before: Circuit, after: Circuit, *, steps: int = MOST_STEPS) -> Matching:
    """Return which part of ``after`` is which part of ``before``, whatever their names.

    Where the circuits are the same but for names, every part is paired. Where they are not, the
    pairs are those that leave the fewest slips to explain, as far as the search finds them.

    Notes
    -----
    Refinement costs pins times ``web.MOST_ROUNDS``. ``steps`` bounds the isomorphism.

    References
    ----------
    networkx ``GraphMatcher`` (L. P. Cordella et al. 2001); see ``web`` and ``assign``.
    """
    pairing = Pairing(Web(before), Web(after))
    rounds = refine(pairing.old, pairing.new)
    for colours in reversed(rounds):
        pairing.seed(colours)
        pairing.spread(colours)
    undecided = pair_alike(pairing, rounds[0], steps)
    pairing.spread(rounds[0])
    pairing.spread(kinds(pairing.old, pairing.new))
    parts = {first[1]: second[1] for first, second in pairing.found.items() if first[0] == "part"}
    undecided -= parts.keys()
    last = rounds[-1]
    same = Counter(last[0].values()) == Counter(last[1].values())
    small = max(len(before.parts), len(after.parts)) <= MOST_PARTS
    if undecided or (same and len(parts) == len(before.parts)) or not small:
        return Matching(tuple(sorted(parts.items())), tuple(sorted(undecided)))
    best = least_cost(before, after, parts)
    return Matching(tuple(sorted(best.parts.items())), nodes=tuple(sorted(best.nodes.items())))


@dataclass(frozen=True, slots=True)
class Likeness:
    """Two circuits compared by structure: their difference in the names of ``before``, and what
    parts and nodes of ``before`` are called in ``after``; and the parts that could not be decided.

    ``parts`` has also the parts that only ``after`` has, by the name the difference gives them.
    """

    difference: Difference
    parts: dict[str, str]
    nodes: dict[str, str]
    undecided: tuple[str, ...]


def likeness(before: Circuit, after: Circuit, *, steps: int = MOST_STEPS) -> Likeness:
    """Return how two circuits differ, whatever their names."""
    matching = match(before, after, steps=steps)
    given = names_given(before, after, matching)
    called = _called(after, given)
    nodes = None if matching.nodes is None else dict(matching.nodes)
    change = difference(before, called, nodes=nodes)
    if nodes is None:
        renamed = dict(change.renamed)
        far = {*renamed.values()}
        kept = {*before.nodes} & {*after.nodes} - far
        nodes = {node: node for node in kept if node not in renamed} | renamed
    parts = {name: other for other, name in given.items()}
    return Likeness(change, parts, nodes, matching.undecided)


def names_given(before: Circuit, after: Circuit, matching: Matching) -> dict[str, str]:
    """Return what each part of ``after`` is called in ``before``; a part without a match keeps its
    name if that is free.
    """
    names = {second: first for first, second in matching.parts}
    taken = set(before.by_name) | set(names.values())
    for part in after.parts:
        if part.name in names:
            continue
        name, number = part.name, 2
        while name in taken:
            name, number = f"{part.name}_{number}", number + 1
        names[part.name] = name
        taken.add(name)
    return names


def with_names_of(before: Circuit, after: Circuit, matching: Matching) -> Circuit:
    """Return ``after`` with its parts called as in ``before``; see ``names_given``."""
    return _called(after, names_given(before, after, matching))


def _called(after: Circuit, names: dict[str, str]) -> Circuit:
    def called(part: Part) -> Part:
        settings = tuple((word, names.get(argument, argument)) for word, argument in part.settings)
        return replace(part, name=names[part.name], settings=settings)

    return after.with_parts(tuple(map(called, after.parts)))
