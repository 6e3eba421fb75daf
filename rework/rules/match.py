"""Where a pattern is found in a circuit: typed subgraph matching on the graph of parts and nodes.

Parts of the pattern go to different parts, variables for nodes to different points; the circuit may
have more between them than the pattern says (a monomorphism, not an induced subgraph).
Backtracking, the rarest part first.

References
----------
Ullmann, J. R. (1976), "An algorithm for subgraph isomorphism", J. ACM 23(1), 31-42 (backtracking
with refinement).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from rework.circuit.circuit import Circuit
from rework.circuit.graph import contracted
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.language.quantity import QuantityError, read_value
from rework.rules.rule import PartPattern, PatternEnd, Term
from rework.tubes import library

#: Steps of the search after which it is given up.
MOST_STEPS = 200_000


class TooManySteps(Exception):
    """The search was given up; a pattern that names its parts more closely would have ended."""


@dataclass(frozen=True)
class Match:
    """One place where a pattern fits: part variables to part names, node variables to nodes as
    written in the circuit.

    A part that the pattern names outright is under ``#`` and its name.
    """

    parts: Mapping[str, str]
    nodes: Mapping[str, str]


#: The ends of a pattern as they lie on one part, each as (variable or "", point, node).
_Ends = tuple[tuple[str, str, str], ...]
_Way = tuple[Part, _Ends]
#: Variables for nodes with the point and the node each is bound to.
_Bound = dict[str, tuple[str, str]]


class _Slot:
    """One part pattern made ready: for each candidate part, the ways its ends can lie, found again
    by variable and point.
    """

    def __init__(self, key: str, ways: list[_Way]) -> None:
        self.key, self.ways = key, ways
        self._at: dict[str, dict[str, list[_Way]]] = {}
        for placed in ways:
            for name, point, _ in placed[1]:
                if name:
                    self._at.setdefault(name, {}).setdefault(point, []).append(placed)

    def open_ways(self, nodes: Mapping[str, tuple[str, str]]) -> list[_Way]:
        """Return the ways that agree with the nodes placed so far on one variable, the one that
        leaves the fewest.
        """
        bound = [
            points.get(nodes[name][0], []) for name, points in self._at.items() if name in nodes
        ]
        return min(bound, key=len) if bound else self.ways


class Matcher:
    """Finds patterns in one circuit. ``arguments`` are the values of the rule's parameters."""

    def __init__(
        self, circuit: Circuit, arguments: Mapping[str, str], *, most_steps: int = MOST_STEPS
    ) -> None:
        self.circuit, self.arguments = circuit, arguments
        self.most_steps = most_steps

    def find(
        self,
        patterns: tuple[PartPattern, ...],
        *,
        within: Match | None = None,
        names: tuple[PartPattern, ...] = (),
        shared: Collection[tuple[str, str]] = (),
    ) -> Iterator[Match]:
        """Yield every match, symmetric duplicates included, in the order of the circuit's parts.

        ``within`` fixes the variables of a match found before, whose parts are then not used again;
        ``names`` are the patterns it came from; ``shared`` are pairs of variables that may stand
        for one part. Raises TooManySteps where the search grows beyond its cap.
        """
        group = contracted(self.circuit, keep=self._named_conductors((*names, *patterns)))
        slots = [self._slot(pattern, patterns, group) for pattern in patterns]
        parts = dict(within.parts) if within else {}
        nodes = (
            {name: (group.get(node, node), node) for name, node in within.nodes.items()}
            if within
            else {}
        )
        fixed = frozenset(
            self._literal(group, end.node)
            for pattern in (*names, *patterns)
            for end in pattern.ends
            if end.node.form != "variable"
        )
        search = _Backtracking(fixed, parts, frozenset(map(frozenset, shared)), self.most_steps)
        for parts_of, bound in search.extend(slots, {}, nodes):
            shown = {slot.key: name for slot, name in parts_of.items()}
            yield Match(parts | shown, {name: node for name, (_, node) in bound.items()})

    def _named_conductors(self, patterns: tuple[PartPattern, ...]) -> list[str]:
        kinds = {
            kind
            for pattern in patterns
            for kind in pattern.kinds
            if KINDS[kind].passes == "conductor"
        }
        return [part.name for part in self.circuit.parts if part.kind in kinds]

    def _literal(self, group: Mapping[str, str], term: Term) -> str:
        text = self.arguments.get(term.text, "") if term.form == "parameter" else term.text
        node = node_at(self.circuit, f"{text}.{term.pin}" if term.pin else text)
        return group.get(node, node)

    # candidates

    def _slot(
        self,
        pattern: PartPattern,
        patterns: tuple[PartPattern, ...],
        group: Mapping[str, str],
    ) -> _Slot:
        extra = [
            PatternEnd((end.node.pin,), Term("variable", f"{end.node.text}.{end.node.pin}"))
            for other in patterns
            for end in other.ends
            if end.node.form == "variable"
            and end.node.pin
            and end.node.text == pattern.name.text
            and pattern.name.form == "variable"
        ]
        ends = (*pattern.ends, *dict.fromkeys(extra))
        ways = []
        for part in self.circuit.parts:
            if self._fits(pattern, part):
                ways += [(part, placed) for placed in self._ways(part, ends, group)]
        key = (
            pattern.name.text if pattern.name.form == "variable" else f"#{self._text(pattern.name)}"
        )
        return _Slot(key, ways)

    def _fits(self, pattern: PartPattern, part: Part) -> bool:
        name = self._text(pattern.name)
        if pattern.name.form != "variable" and part.name != name:
            return False
        if pattern.kinds and part.kind not in pattern.kinds:
            return False
        return self._has(part, [self._text(term) for term in pattern.attributes])

    def _text(self, term: Term) -> str:
        return self.arguments.get(term.text, "") if term.form == "parameter" else term.text

    def _has(self, part: Part, wanted: list[str]) -> bool:
        kind = KINDS[part.kind]
        words = iter(wanted)
        for word in words:
            if word in kind.words:
                if word not in part.words:
                    return False
            elif word in kind.settings:
                argument = next(words, "")
                if (part.type if word == "type" else part.setting(word)) != argument:
                    return False
            elif not (part.type.upper() == word.upper() or _has_value(part, word)):
                return False
        return True

    def _ways(
        self, part: Part, ends: tuple[PatternEnd, ...], group: Mapping[str, str]
    ) -> Iterator[tuple[tuple[str, str, str], ...]]:
        """Yield the ways the ends of a pattern can lie on a part, each end as (variable or "",
        point, node).
        """
        positional = [end for end in ends if not end.terminals]
        named = [end for end in ends if end.terminals]
        choices: list[list[tuple[str, ...]]] = []
        if positional:
            choices.append(_orders(part, len(positional)))
        choices += [
            [(terminal,) for name in end.terminals for terminal in terminals_called(part, name)]
            for end in named
        ]
        ordered = [*positional, *named]
        seen = set()
        for choice in product(*choices):
            terminals = [terminal for group_ in choice for terminal in group_]
            if len(set(terminals)) != len(terminals):
                continue
            placed = []
            for end, terminal in zip(ordered, terminals, strict=True):
                node = part.node(terminal)
                if node is None:
                    break
                point = group[node]
                if end.node.form != "variable":
                    if point != self._literal(group, end.node):
                        break
                    placed.append(("", point, node))
                else:
                    placed.append((str(end.node)[1:], point, node))
            else:
                key = tuple((name, point) for name, point, _ in placed)
                if key not in seen:
                    seen.add(key)
                    yield tuple(placed)


@dataclass(slots=True)
class _Backtracking:
    """The backtracking: what is fixed, the parts given, which names may share a part, the steps."""

    fixed: frozenset[str]
    given: Mapping[str, str]
    shared: frozenset[frozenset[str]]
    most_steps: int
    steps: int = 0

    def extend(
        self, slots: list[_Slot], placed: dict[_Slot, str], nodes: _Bound
    ) -> Iterator[tuple[dict[_Slot, str], _Bound]]:
        """Yield every way to place the slots that are left, the one with fewest ways first."""
        if not slots:
            yield placed, nodes
            return
        slot = min(slots, key=lambda each: len(each.open_ways(nodes)))
        rest = [each for each in slots if each is not slot]
        for part, ends in slot.open_ways(nodes):
            self.steps += 1
            if self.steps > self.most_steps:
                raise TooManySteps
            if self._may_be(slot, part.name, placed):
                bound = _bind(ends, nodes, self.fixed)
                if bound is not None:
                    yield from self.extend(rest, {**placed, slot: part.name}, bound)

    def _may_be(self, slot: _Slot, name: str, placed: Mapping[_Slot, str]) -> bool:
        if slot.key in self.given:
            return self.given[slot.key] == name
        if name in self.given.values():
            return False
        return all(
            frozenset((slot.key, other.key)) in self.shared
            for other, used in placed.items()
            if used == name
        )


def _bind(ends: _Ends, nodes: _Bound, fixed: frozenset[str]) -> _Bound | None:
    """Return the nodes with those of one way added, or None where it says otherwise or two
    variables would meet.
    """
    bound = dict(nodes)
    for name, point, node in ends:
        if not name:
            continue
        if name in bound:
            if bound[name][0] != point:
                return None
        elif point in fixed or any(point == other for other, _ in bound.values()):
            return None
        else:
            bound[name] = (point, node)
    return bound


def distinct(matches: Iterator[Match], group: Mapping[str, str]) -> Iterator[Match]:
    """Yield the matches without those that find the same parts on the same points again."""
    seen = set()
    for match in matches:
        key = (
            frozenset(match.parts.values()),
            frozenset(group.get(node, node) for node in match.nodes.values()),
        )
        if key not in seen:
            seen.add(key)
            yield match


def node_at(circuit: Circuit, text: str) -> str:
    """Return the node a word names: a node, a joined name, a port of an attached circuit, or
    ``PART.terminal``.
    """
    name, _, terminal = text.partition(".")
    part = circuit.part(name) if terminal else None
    if part is not None:
        for pin in terminals_called(part, terminal):
            if (node := part.node(pin)) is not None:
                return node
        return text
    if text not in circuit.at:
        for port, node in circuit.ports:
            if port == text:
                return node
    return circuit.node_named(text)


def terminals_called(part: Part, name: str) -> tuple[str, ...]:
    """Return the terminals of a part that a word names: a terminal, a pin number, or an element of
    a tube.
    """
    bound = [terminal for terminal, _ in part.pins]
    known = [*bound, *part.unused]
    if name in known:
        return (name,)
    if part.kind == "tube" and (tube := library.find(part.type)) is not None:
        pins = tube.pins_of(name)
        if not pins and tube.units:
            pins = tuple(pin for unit in tube.units for pin in tube.pins_of(f"{unit}.{name}"))
        return tuple(dict.fromkeys(pin for pin in pins if pin in known)) or ()
    return ()


def _orders(part: Part, count: int) -> list[tuple[str, ...]]:
    """Return the orders in which a part's terminals can meet ends that are written by position."""
    kind = KINDS[part.kind]
    pins = part.pins if len(part.pins) == count else part.leads
    terminals = tuple(terminal for terminal, _ in pins)
    if len(terminals) != count or kind.form not in ("two", "one", "poles", "pins"):
        return []
    if count == 2 and not kind.polar:
        return [terminals, terminals[::-1]]
    if count == 2 and "bipolar" in part.words:
        return [terminals, terminals[::-1]]
    if kind.form == "two":
        return [tuple(terminal for terminal in kind.terminals if terminal in terminals)]
    return [terminals]


def _has_value(part: Part, text: str) -> bool:
    dimensions = KINDS[part.kind].dimensions
    for bare in sorted(dimensions):
        try:
            wanted = read_value(text, bare=bare)
        except QuantityError:
            continue
        if any(
            value.dimension == wanted.dimension
            and abs(value.amount - wanted.amount) <= 1e-9 * abs(wanted.amount)
            for value in part.values
        ):
            return True
    return False
