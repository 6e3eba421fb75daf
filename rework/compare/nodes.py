"""Which node of one circuit is which node of another, shown by the pins they carry and not by their
names.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from rework.circuit.circuit import Circuit
from rework.compare.symmetry import interchangeable, turnable

#: A pin: its part, and the name that all terminals share which may stand for one another.
PinKey = tuple[str, str]


def match_nodes(
    before: Circuit, after: Circuit, *, fixed: frozenset[str], exchanged: frozenset[str]
) -> dict[str, str]:
    """Return for nodes of ``before`` the node of ``after`` that carries most of the same pins.

    ``fixed`` names the parts in both circuits whose terminals mean the same in both; ``exchanged``
    the tubes whose type changed, which are asked only where no other part can tell. Each node is
    used once. Pairs are taken best first: by pins in common, then by how few pins they do not
    share, then by the same ports and reach, then by the same name. The choice does not depend on
    which circuit is called before. Linear in pins, but for sorting the pairs.
    """
    old, new = _pins_by_node(before, after, fixed), _pins_by_node(after, before, fixed)
    old_tubes, new_tubes = (
        _pins_by_node(before, after, exchanged),
        _pins_by_node(after, before, exchanged),
    )
    shared, tubes = _shared(old, new), _shared(old_tubes, new_tubes)
    said, said_after = _said(before), _said(after)
    same_name = {(node, node) for node in old_tubes.keys() & new_tubes.keys()}

    def order(pair: tuple[str, str]) -> tuple[int, int, int, int, bool, str, str]:
        first, second = pair
        pins = shared.get(pair, 0)
        apart = old.get(first, Counter()).total() + new.get(second, Counter()).total() - 2 * pins
        said_apart = len(said.get(first, frozenset()) ^ said_after.get(second, frozenset()))
        return -pins, -tubes.get(pair, 0), apart, said_apart, first != second, min(pair), max(pair)

    pairs: dict[str, str] = {}
    taken: set[str] = set()
    for first, second in sorted(shared.keys() | tubes.keys() | same_name, key=order):
        if first not in pairs and second not in taken:
            pairs[first] = second
            taken.add(second)
    return pairs


def _pins_by_node(
    circuit: Circuit, other: Circuit, names: frozenset[str]
) -> dict[str, Counter[PinKey]]:
    """Return for every node how often each pin of the named parts is on it; both ends of a turnable
    part count as one pin.
    """
    pins_by_node: dict[str, Counter[PinKey]] = {}
    for part in circuit.parts:
        if part.name not in names:
            continue
        shared = (
            interchangeable(part) if turnable(part) == turnable(other.by_name[part.name]) else {}
        )
        for terminal, node in part.pins:
            pins_by_node.setdefault(node, Counter())[
                (part.name, shared.get(terminal, terminal))
            ] += 1
    return pins_by_node


def _said(circuit: Circuit) -> dict[str, frozenset[tuple[str, str]]]:
    """Return what the file says of nodes: which ports they are and whether they can be touched."""
    said: dict[str, set[tuple[str, str]]] = {
        node: {("touchable", "")} for node in circuit.touchable
    }
    for port, node in circuit.ports:
        said.setdefault(node, set()).add(("port", port))
    return {node: frozenset(words) for node, words in said.items()}


def _shared(
    old: Mapping[str, Counter[PinKey]], new: Mapping[str, Counter[PinKey]]
) -> dict[tuple[str, str], int]:
    """Return how many pins each pair of nodes has in common, for the pairs that have any."""
    where: dict[tuple[str, str], list[tuple[str, int]]] = {}
    for node, pins in new.items():
        for pin, count in pins.items():
            where.setdefault(pin, []).append((node, count))
    shared: dict[tuple[str, str], int] = {}
    for node, pins in old.items():
        for pin, count in pins.items():
            for other, times in where.get(pin, ()):
                shared[node, other] = shared.get((node, other), 0) + min(count, times)
    return shared
