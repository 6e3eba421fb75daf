"""The difference of two circuits by meaning: order of lines, names of nodes, joins and remarks make
none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.parts import Part, Value
from rework.compare.nodes import match_nodes
from rework.compare.symmetry import turnable

#: Amounts closer than this are one amount written in two ways: .05 uF and 50n differ in the last
#: bit.
SAME_AMOUNT = 1e-9


@dataclass(frozen=True, slots=True)
class PinMove:
    """A pin on another node than before. A node is None where the pin is on nothing.

    ``terminal`` is the pin's name before, ``terminal_after`` after: they differ only where the part
    was also turned round. ``type`` is the type of a tube, so that whoever prints the move can name
    the element.
    """

    part: str
    type: str
    terminal: str
    terminal_after: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Attribute:
    """One property of a part that differs; an empty text where the file does not state it."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class PartChange:
    """A part of the same kind with other values, words, type or settings."""

    part: str
    attributes: tuple[Attribute, ...]


@dataclass(frozen=True, slots=True)
class Seat:
    """The pins an exchanged tube has on one node, before and after; a node is None where it has no
    counterpart.
    """

    node: str | None
    node_after: str | None
    pins: tuple[str, ...]
    pins_after: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TubeExchange:
    """Another tube type in the same place, with the nodes that are on other pins now (none where
    all stay).
    """

    part: str
    type: str
    type_after: str
    moves: tuple[Seat, ...]


@dataclass(frozen=True, slots=True)
class Split:
    """One node that is several now; ``into`` begins with the one that kept most of its pins."""

    node: str
    into: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Merge:
    """Several nodes that are one now; ``nodes`` begins with the one most of its pins are from."""

    nodes: tuple[str, ...]
    into: str


@dataclass(frozen=True, slots=True)
class Port:
    """A port on another node; a node is None where there is no such port."""

    name: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Difference:
    """Everything in which two circuits differ, each kind of difference in the order of part or node
    names.

    Conductors (trace, wire, shielded cable) are ``cut`` and ``run``, all other parts ``removed``
    and ``added``. A part of the same name but another kind is removed and added. ``renamed`` nodes
    are told for information and are no difference.
    """

    added: tuple[Part, ...] = ()
    removed: tuple[Part, ...] = ()
    changed: tuple[PartChange, ...] = ()
    exchanged: tuple[TubeExchange, ...] = ()
    moved: tuple[PinMove, ...] = ()
    cut: tuple[Part, ...] = ()
    run: tuple[Part, ...] = ()
    split: tuple[Split, ...] = ()
    merged: tuple[Merge, ...] = ()
    in_reach: tuple[str, ...] = ()
    out_of_reach: tuple[str, ...] = ()
    ports: tuple[Port, ...] = ()
    mains: tuple[Mains | None, Mains | None] | None = None
    title: tuple[str, str] | None = None
    renamed: tuple[tuple[str, str], ...] = ()

    @property
    def is_empty(self) -> bool:
        """True where the circuits mean the same; node names may differ."""
        return not any(
            getattr(self, entry.name) for entry in fields(self) if entry.name != "renamed"
        )

    def as_json(self) -> dict[str, object]:
        """Return the difference as plain lists, dicts and texts.

        ``same``: true where nothing differs. ``added``, ``removed``, ``run``, ``cut``: parts, each
        with ``part``, ``kind``, ``type``, ``values`` (texts), ``words`` and ``pins`` (terminal to
        node). ``changed``: ``part`` and ``attributes``, each with ``what``, ``before``, ``after``.
        ``exchanged``: ``part``, ``type``, ``type_after`` and ``moves``, each with ``node``,
        ``node_after``, ``pins``, ``pins_after``. ``moved``: ``part``, ``type`` (of a tube),
        ``terminal``, ``terminal_after``, ``before``, ``after`` (nodes, null for nothing).
        ``split``: ``node``, ``into``. ``merged``: ``nodes``, ``into``. ``in_reach``,
        ``out_of_reach``: nodes named touchable now, and no longer. ``ports``: ``name``, ``before``,
        ``after``. ``mains``: null, or ``before`` and ``after``, each null or ``volts`` and
        ``hertz``. ``title``: null, or ``before`` and ``after``. ``renamed``: ``before``, ``after``;
        not counted in ``same``.
        """
        told: dict[str, object] = {"same": self.is_empty}
        for entry in fields(self):
            content = getattr(self, entry.name)
            if entry.name in ("mains", "title"):
                told[entry.name] = content and {
                    "before": _plain(content[0]),
                    "after": _plain(content[1]),
                }
            elif entry.name == "renamed":
                told[entry.name] = [{"before": one, "after": other} for one, other in content]
            else:
                told[entry.name] = [_plain(one) for one in content]
        return told


def value_text(value: Value) -> str:
    """Return a value as its file wrote it, or its SI amount where it came from no file."""
    return value.text or f"{value.amount:g} ({value.dimension}, SI)"


def _plain(content: object) -> object:
    if isinstance(content, Part):
        return {
            "part": content.name,
            "kind": content.kind,
            "type": content.type,
            "values": [value_text(value) for value in content.values],
            "words": list(content.words),
            "pins": dict(content.pins),
        }
    if is_dataclass(content):
        return {entry.name: _plain(getattr(content, entry.name)) for entry in fields(content)}
    return [_plain(one) for one in content] if isinstance(content, tuple) else content


def difference(before: Circuit, after: Circuit) -> Difference:
    """Return what is different in ``after``.

    Parts are matched by name, nodes by the pins they carry.

    Parts that may be turned end for end are the same either way round. Linear in parts and pins,
    but for sorting.
    """
    kept = [
        part
        for part in before.parts
        if (other := after.part(part.name)) is not None and other.kind == part.kind
    ]
    kept.sort(key=lambda part: part.name)
    names = frozenset(part.name for part in kept)
    exchanged = frozenset(
        part.name
        for part in kept
        if part.kind == "tube" and part.type != after.by_name[part.name].type
    )
    nodes = match_nodes(before, after, fixed=names - exchanged, exchanged=exchanged)
    back = {other: node for node, other in nodes.items()}
    gone, new = (
        sorted((part for part in one.parts if part.name not in names), key=lambda part: part.name)
        for one in (before, after)
    )
    pairs = [(part, after.by_name[part.name]) for part in kept]
    same_type = [(part, other) for part, other in pairs if part.name not in exchanged]
    moves = [move for part, other in same_type for move in _moves(part, other, nodes)]
    moved, split, merged = _splits_and_merges(moves, nodes, back)
    changes = ((part.name, _attributes(part, other)) for part, other in same_type)

    same = _same_names(before, after, nodes, back)
    reached, reached_after = {same.get(node) for node in before.touchable}, set(after.touchable)
    return Difference(
        added=tuple(part for part in new if not part.is_conductor),
        run=tuple(part for part in new if part.is_conductor),
        removed=tuple(part for part in gone if not part.is_conductor),
        cut=tuple(part for part in gone if part.is_conductor),
        changed=tuple(PartChange(name, attributes) for name, attributes in changes if attributes),
        exchanged=tuple(
            _exchange(part, other, nodes, back) for part, other in pairs if part.name in exchanged
        ),
        moved=tuple(moved),
        split=split,
        merged=merged,
        in_reach=tuple(sorted(reached_after - reached)),
        out_of_reach=tuple(
            sorted(node for node in set(before.touchable) if same.get(node) not in reached_after)
        ),
        ports=_ports(before, after, same),
        mains=(before.mains, after.mains) if before.mains != after.mains else None,
        title=(before.title, after.title) if before.title != after.title else None,
        renamed=tuple(sorted(pair for pair in nodes.items() if pair[0] != pair[1])),
    )


def _same_names(
    before: Circuit, after: Circuit, nodes: Mapping[str, str], back: Mapping[str, str]
) -> dict[str, str]:
    """Return the matched nodes, and those named as touchable or as a port that no pin matches."""
    named = {*before.touchable, *after.touchable}
    named |= {node for _, node in (*before.ports, *after.ports)}
    return {**nodes, **{node: node for node in named if node not in nodes and node not in back}}


def _moves(part: Part, other: Part, nodes: Mapping[str, str]) -> list[PinMove]:
    old, new = dict(part.pins), dict(other.pins)

    def stays(terminal: str, turned: str) -> bool:
        if terminal not in old or turned not in new:
            return terminal not in old and turned not in new
        return nodes.get(old[terminal]) == new[turned]

    partner = {terminal: terminal for terminal in (*old, *new)}
    for run in turnable(part) if turnable(part) == turnable(other) else ():
        mirrored = tuple(reversed(run))
        if sum(map(stays, run, mirrored)) > sum(map(stays, run, run)):
            partner.update(zip(run, mirrored, strict=True))
    return [
        PinMove(
            part.name,
            part.type if part.kind == "tube" else "",
            terminal,
            turned,
            old.get(terminal),
            new.get(turned),
        )
        for terminal, turned in partner.items()
        if not stays(terminal, turned)
    ]


def _splits_and_merges(
    moved: list[PinMove], nodes: Mapping[str, str], back: Mapping[str, str]
) -> tuple[list[PinMove], tuple[Split, ...], tuple[Merge, ...]]:
    """Return the moves that are left after two or more pins that went the same way, to or from a
    node of their own, are told as one.
    """
    ways: dict[tuple[str | None, str | None], list[PinMove]] = {}
    sources: dict[str | None, set[str | None]] = {}
    targets: dict[str | None, set[str | None]] = {}
    for move in moved:
        ways.setdefault((move.before, move.after), []).append(move)
        sources.setdefault(move.after, set()).add(move.before)
        targets.setdefault(move.before, set()).add(move.after)
    split: dict[str, list[str]] = {}
    merged: dict[str, list[str]] = {}
    for (node, new), moves in list(ways.items()):
        if len(moves) < 2 or node is None or new is None:
            continue
        if new not in back and len(sources[new]) == 1:
            split.setdefault(node, []).append(new)
            del ways[node, new]
        elif node not in nodes and len(targets[node]) == 1:
            merged.setdefault(new, []).append(node)
            del ways[node, new]
    return (
        [move for move in moved if (move.before, move.after) in ways],
        tuple(Split(node, (nodes[node], *sorted(into))) for node, into in sorted(split.items())),
        tuple(
            Merge((back[new], *sorted(merged[new])), new)
            for new in sorted(merged, key=lambda new: back[new])
        ),
    )


def _exchange(
    part: Part, other: Part, nodes: Mapping[str, str], back: Mapping[str, str]
) -> TubeExchange:
    old: dict[str, list[str]] = {}
    new: dict[str, list[str]] = {}
    for pins, on in ((part.pins, old), (other.pins, new)):
        for terminal, node in pins:
            on.setdefault(node, []).append(terminal)
    seats = [
        Seat(node, nodes.get(node), tuple(old[node]), tuple(new.get(nodes.get(node, ""), ())))
        for node in sorted(old)
    ]
    seats += [
        Seat(back.get(node), node, (), tuple(new[node]))
        for node in sorted(new)
        if back.get(node) not in old
    ]
    return TubeExchange(
        part.name,
        part.type,
        other.type,
        tuple(seat for seat in seats if sorted(seat.pins) != sorted(seat.pins_after)),
    )


def _attributes(part: Part, other: Part) -> tuple[Attribute, ...]:
    found = [Attribute("type", part.type, other.type)] if part.type != other.type else []
    old, new = _values(part), _values(other)
    for what in sorted(old.keys() | new.keys()):
        one, another = old.get(what), new.get(what)
        if (
            one is None
            or another is None
            or not math.isclose(one.amount, another.amount, rel_tol=SAME_AMOUNT)
        ):
            found.append(
                Attribute(
                    what, value_text(one) if one else "", value_text(another) if another else ""
                )
            )
    words, words_after = sorted(set(part.words)), sorted(set(other.words))
    if words != words_after:
        found.append(Attribute("words", " ".join(words), " ".join(words_after)))
    found += [
        Attribute(word, part.setting(word), other.setting(word))
        for word in sorted(dict(part.settings).keys() | dict(other.settings).keys())
        if part.setting(word) != other.setting(word)
    ]
    return tuple(found)


def _values(part: Part) -> dict[str, Value]:
    """Return the values of a part and of its windings by what a person calls each: ``resistance``,
    ``hv voltage``, ``load resistance``.
    """
    found = {" ".join(filter(None, (value.role, value.dimension))): value for value in part.values}
    for winding, values in part.windings:
        found.update(
            {
                " ".join(filter(None, (winding, value.role, value.dimension))): value
                for value in values
            }
        )
    return found


def _ports(before: Circuit, after: Circuit, nodes: Mapping[str, str]) -> tuple[Port, ...]:
    old, new = dict(before.ports), dict(after.ports)
    names = sorted(old.keys() | new.keys())
    return tuple(
        Port(name, old.get(name), new.get(name))
        for name in names
        if name not in old or name not in new or nodes.get(old[name]) != new[name]
    )
