"""What it costs to make one circuit of another, given which part and node is which: the number of
slips that would explain the difference, each of another value, pin, lead or part.

One slip costs about one; what a person would report as one thing (two leads exchanged, two nodes
made one) costs little more than one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.compare.symmetry import interchangeable, turnable

#: Another first value, or another type number.
OTHER_VALUE = 1.0
#: A first value so near that it can be the same part, measured: within NEAR.
DRIFTED = 0.3
#: Parts of 20 % tolerance were the usual ones, and old carbon resistors drift upwards.
NEAR = 0.25
#: A second value (a rating, a tolerance) that differs, and one that only one file states.
OTHER_RATING, UNSTATED = 0.4, 0.1
#: A word or setting of only one of the two parts.
OTHER_WORD = 0.1
#: The most that what is written on two parts can cost: more than this is another part.
MOST_LABEL = 2.0
#: Two leads of one part exchanged; two nodes made one, or one made two.
EXCHANGED, JOINED = 1.2, 1.3
#: A part without a counterpart, for every two pins it has: two such cost a little more than one
#: part with both leads moved, or with another value and one lead moved.
ABSENT = 1.05
#: A port on another node, and a node that only one file says is within reach.
OTHER_PORT, OTHER_REACH = 1.0, 0.5
#: A counterpart of another name: decides between what is the same otherwise.
OTHER_NAME = 1e-4

#: A move of a pin: the node before and the node after, empty where the pin is on nothing.
Move = tuple[str, str]


@dataclass(frozen=True)
class Pairs:
    """Which part and node of ``before`` is which of ``after``; what is left out has none."""

    parts: Mapping[str, str]
    nodes: Mapping[str, str]


@dataclass
class CostSheet:
    """Two circuits, with what is asked again and again of their parts computed once."""

    before: Circuit
    after: Circuit
    _labels: dict[tuple[str, str], float] = field(default_factory=dict)
    _runs: dict[str, tuple[tuple[str, ...], ...]] = field(default_factory=dict)

    def label(self, first: str, second: str) -> float:
        """Return what it costs that two parts have other values, types and words; infinite where
        they are of different kinds.
        """
        key = first, second
        if key not in self._labels:
            self._labels[key] = label_cost(self.before.by_name[first], self.after.by_name[second])
        return self._labels[key]

    def moves(self, first: str, second: str, nodes: Mapping[str, str]) -> tuple[float, list[Move]]:
        """Return what leads exchanged within one part cost, and the other pins that moved."""
        part, written = self.before.by_name[first], dict(self.after.by_name[second].pins)
        old = {terminal: (nodes.get(node), node) for terminal, node in part.pins}
        if first not in self._runs:
            self._runs[first] = turnable(part)

        def stays(terminal: str, turned: str) -> bool:
            if terminal not in old or turned not in written:
                return terminal not in old and turned not in written
            return old[terminal][0] == written[turned]

        for run in self._runs[first]:
            mirrored = tuple(reversed(run))
            if sum(map(stays, run, mirrored)) > sum(map(stays, run, run)):
                turned = dict(zip(mirrored, run, strict=True))
                written = {turned.get(pin, pin): node for pin, node in written.items()}
        moved = [pin for pin in {**old, **written} if not stays(pin, pin)]
        exchanged = next(
            (
                {pin, lead}
                for pin in moved
                for lead in moved
                if pin < lead and stays(pin, lead) and stays(lead, pin)
            ),
            set(),
        )
        return (
            EXCHANGED if exchanged else 0.0,
            [
                (old[pin][1] if pin in old else "", written.get(pin, ""))
                for pin in moved
                if pin not in exchanged
            ],
        )

    def part_cost(self, first: str, second: str, nodes: Mapping[str, str]) -> float:
        """Return what it costs that these two parts are one, each moved pin counted alone."""
        label = self.label(first, second)
        if math.isinf(label):
            return label
        cost, moves = self.moves(first, second, nodes)
        return label + cost + len(moves)

    def cost(self, pairs: Pairs) -> float:
        """Return what it costs to make ``after`` of ``before`` by these pairs."""
        total, moves = 0.0, Counter[Move]()
        for first, second in pairs.parts.items():
            exchanged, moved = self.moves(first, second, pairs.nodes)
            total += self.label(first, second) + exchanged
            moves.update(moved)
        taken = set(pairs.parts.values())
        total += sum(absent(part) for part in self.before.parts if part.name not in pairs.parts)
        total += sum(absent(part) for part in self.after.parts if part.name not in taken)
        total += self._moved(moves, pairs.nodes) + self._said(pairs.nodes)
        return total + OTHER_NAME * sum(
            first != second for pair in (pairs.parts, pairs.nodes) for first, second in pair.items()
        )

    def _moved(self, moves: Counter[Move], nodes: Mapping[str, str]) -> float:
        """Return what moved pins cost; those that went together to or from a node of their own as
        one.
        """
        back = set(nodes.values())
        sources = Counter(after for _, after in moves)
        targets = Counter(before for before, _ in moves)
        total = 0.0
        for (before, after), count in moves.items():
            split = after not in back and sources[after] == 1
            merged = before not in nodes and targets[before] == 1
            together = count > 1 and before and after and (split or merged)
            total += JOINED if together else count
        return total

    def _said(self, nodes: Mapping[str, str]) -> float:
        """Return what it costs that the files say other things of nodes."""
        old, new = dict(self.before.ports), dict(self.after.ports)
        ports = sum(
            port not in old or port not in new or nodes.get(old[port]) != new[port]
            for port in old.keys() | new.keys()
        )
        reach = {nodes.get(node, "") for node in self.before.touchable} ^ set(self.after.touchable)
        return OTHER_PORT * ports + OTHER_REACH * len(reach)

    def astray(self, pairs: Pairs) -> list[str]:
        """Return the nodes of ``before`` from or to which pins moved, in the order of names."""
        back = {far: node for node, far in pairs.nodes.items()}
        nodes: set[str] = set()
        for first, second in pairs.parts.items():
            if self.part_cost(first, second, pairs.nodes) > NEAR_ENOUGH:
                for before, after in self.moves(first, second, pairs.nodes)[1]:
                    nodes |= {before, back.get(after, "")}
        return sorted(nodes & pairs.nodes.keys())

    def dirty(self, pairs: Pairs) -> tuple[list[str], list[str]]:
        """Return the parts of ``before``, and those of ``after``, that are not simply the same."""
        old = [
            part.name
            for part in self.before.parts
            if part.name not in pairs.parts
            or self.part_cost(part.name, pairs.parts[part.name], pairs.nodes) > NEAR_ENOUGH
        ]
        taken = set(pairs.parts.values())
        return old, [part.name for part in self.after.parts if part.name not in taken]


#: A pair of parts that costs no more than this has its place: another value would cost more.
NEAR_ENOUGH = 0.9


def absent(part: Part) -> float:
    """Return what it costs that a part has no counterpart."""
    return ABSENT * max(1.0, len(part.pins) / 2)


def label_cost(before: Part, after: Part) -> float:
    """Return what it costs that two parts have other values, types and words."""
    if before.kind != after.kind:
        return math.inf
    total = OTHER_VALUE if before.type != after.type else 0.0
    main = before.traits.dimensions[:1]
    for name, old, new in _both(before, after):
        first = name[0] == "" and (name[2],) == main and not name[1]
        if old is None or new is None:
            total += UNSTATED
        elif not math.isclose(old, new, rel_tol=1e-9):
            near = abs(old - new) <= NEAR * max(abs(old), abs(new))
            total += (DRIFTED if near else OTHER_VALUE) if first else OTHER_RATING
    said = [
        {*part.words, *(pair for pair in part.settings if pair[0] in ("class", "type"))}
        for part in (before, after)
    ]
    return min(MOST_LABEL, total + OTHER_WORD * len(said[0] ^ said[1]))


def _both(
    part: Part, other: Part
) -> Iterable[tuple[tuple[str, str, str], float | None, float | None]]:
    """Yield each value of two parts: its winding, role and dimension, and both amounts."""
    old, new = _amounts(part), _amounts(other)
    for name in sorted(old.keys() | new.keys()):
        yield name, old.get(name), new.get(name)


def _amounts(part: Part) -> dict[tuple[str, str, str], float]:
    def of(winding: str, values: tuple[Value, ...]) -> dict[tuple[str, str, str], float]:
        return {(winding, value.role, value.dimension): value.amount for value in values}

    amounts = of("", part.values)
    for winding, values in part.windings:
        amounts.update(of(winding, values))
    return amounts


def shared_pins(sheet: CostSheet, parts: Mapping[str, str]) -> dict[tuple[str, str], float]:
    """Return for pairs of nodes how many pins of paired parts they have in common, and a little
    for what both files say of them.
    """
    counts: dict[tuple[str, str], float] = {}
    for first, second in parts.items():
        part, written = sheet.before.by_name[first], sheet.after.by_name[second]
        shared = interchangeable(part)
        ends: dict[str, list[str]] = {}
        for terminal, node in written.pins:
            ends.setdefault(shared.get(terminal, terminal), []).append(node)
        for terminal, node in part.pins:
            for far in dict.fromkeys(ends.get(shared.get(terminal, terminal), ())):
                counts[node, far] = counts.get((node, far), 0.0) + 1.0
    new = dict(sheet.after.ports)
    for port, node in sheet.before.ports:
        if port in new:
            counts[node, new[port]] = counts.get((node, new[port]), 0.0) + OTHER_PORT
    for node in sheet.before.touchable:
        for far in sheet.after.touchable:
            if (node, far) in counts:
                counts[node, far] += OTHER_REACH
    return counts
