"""A difference in words for a person, one sentence an entry."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from rework.circuit.circuit import Mains
from rework.circuit.parts import Part
from rework.compare.entries import (
    Attribute,
    Difference,
    Opening,
    PinMove,
    PortMoved,
    Reversal,
    TubeExchange,
    value_text,
)

#: Returns the words for a pin: called with the name of the part, the tube's type (empty for other
#: parts) and the terminal.
PinWords = Callable[[str, str, str], str]

#: What a person calls a dimension, where it is not the dimension's own name.
_CALLED = {"fraction": "tolerance", "apparent-power": "rating", "at fraction": "position"}


def plain_pin(part: str, _type: str, terminal: str) -> str:
    """Return ``V3.7``, whatever the type of the tube."""
    return f"{part}.{terminal}"


@dataclass(frozen=True)
class OtherNames:
    """What parts and nodes of ``before`` are called in ``after``, and what the other file is
    called. Without names, a part has one name in both, and a node after is called as it is there.
    """

    parts: Mapping[str, str] = field(default_factory=dict)
    nodes: Mapping[str, str] = field(default_factory=dict)
    file: str = "the other file"

    def part(self, name: str) -> str:
        """Return what is said after a part's name: its name in the other file, if it differs."""
        other = self.parts.get(name, name)
        return f" ({other} in {self.file})" if other != name else ""

    def after(self, node: str) -> str:
        """Return a node of ``after``: by its name before, with its name in the other file."""
        if not self.parts:
            return node
        before = self._back.get(node)
        if before is None:
            return f"{node} of {self.file}"
        return before if before == node else f"{before} ({node} in {self.file})"

    @property
    def _back(self) -> dict[str, str]:
        return {other: node for node, other in self.nodes.items()}

    def placed(self, part: Part) -> Part:
        """Return a part of ``after`` on its nodes as they are called before."""
        return part.rebound({node: self.after(node) for _, node in part.pins})

    def added(self, name: str) -> str:
        """Return the name of a part that only the other file has, as that file calls it."""
        return self.parts.get(name, name)


def describe(
    difference: Difference, *, pin: PinWords = plain_pin, names: OtherNames | None = None
) -> tuple[str, ...]:
    """Return the sentences of a difference, in a fixed order; none where there is none.

    ``pin`` gives the words for a pin, so that a caller who knows the tubes can name the element.
    ``names`` says what parts and nodes are called in the other file, where names differ. Renamed
    nodes make no sentence.
    """
    return tuple(_sentences(difference, pin, names or OtherNames()))


def _sentences(difference: Difference, pin: PinWords, names: OtherNames) -> Iterator[str]:
    yield from (f"{part.name} is taken out: {part_words(part)}." for part in difference.removed)
    yield from (f"{part.name} is cut: {part_words(part)}." for part in difference.cut)
    for rows, what in ((difference.added, "new"), (difference.run, "run")):
        for part in rows:
            yield f"{names.added(part.name)} is {what}: {part_words(names.placed(part))}."
    for change in difference.changed:
        yield change_words(change.part, change.attributes, names)
    yield from (_exchange(exchange, pin, names) for exchange in difference.exchanged)
    yield from (move_words(move, pin, names) for move in difference.moved)
    yield from (reversal_words(row, pin, names) for row in difference.reversed)
    yield from (opening_words(row, pin, names) for row in difference.opened)
    for row in difference.joined:
        pins = _listed(_pins_of(row, pin, names))
        yield f"{pins} are now connected to each other; before, each was open."
    for split in difference.split:
        yield f"Node {split.node} is split into {_listed(list(map(names.after, split.into)))}."
    for merge in difference.merged:
        yield f"Nodes {_listed(merge.nodes)} are one node now: {names.after(merge.into)}."
    for node in difference.in_reach:
        yield f"Node {names.after(node)} is now named as touchable."
    for node in difference.out_of_reach:
        yield f"Node {node} is no longer named as touchable."
    yield from (_port(port, names) for port in difference.ports)
    if difference.mains is not None:
        yield f"The mains were {_mains(difference.mains[0])} and are {_mains(difference.mains[1])}."
    if difference.title is not None:
        yield f'The title was "{difference.title[0]}" and is "{difference.title[1]}".'


def part_words(part: Part) -> str:
    """Return what a part is and where it goes: ``resistor 220k 1/2 W, B2 to G1``."""
    what = " ".join(
        filter(None, (part.kind, part.type, *map(value_text, part.values), *part.words))
    )
    if len(part.pins) == 2:
        return f"{what}, {part.pins[0][1]} to {part.pins[1][1]}"
    return (
        f"{what},"
        f" {', '.join(f'{terminal} on {node}' for terminal, node in part.pins) or 'on nothing'}"
    )


def change_words(part: str, attributes: Sequence[Attribute], names: OtherNames) -> str:
    """Return what changed of a part, as in ``R2: resistance 150 ohm, now 270 ohm.``."""
    return f"{part}{names.part(part)}: {'; '.join(map(_attribute, attributes))}."


def called(what: str) -> str:
    """Return what a person calls a property: ``tolerance``, ``hv voltage``, ``load resistance``."""
    if what in _CALLED:
        return _CALLED[what]
    *first, dimension = what.split(" ")
    return " ".join([*first, _CALLED.get(dimension, dimension)])


def _attribute(attribute: Attribute) -> str:
    what, before, after = called(attribute.what), attribute.before, attribute.after
    if before and after:
        return f"{what} {before}, now {after}"
    return f"{what} {after} is new" if after else f"{what} {before} is gone"


def _exchange(exchange: TubeExchange, pin: PinWords, names: OtherNames) -> str:
    first = (
        f"{exchange.part}{names.part(exchange.part)} is a {exchange.type_after} in place of the"
        f" {exchange.type}"
    )
    if not exchange.moves:
        return first + "; every lead keeps its pin."
    moved = []
    for seat in exchange.moves:
        node = seat.node if seat.node is not None else names.after(seat.node_after or "")
        old = _listed([pin(exchange.part, exchange.type, terminal) for terminal in seat.pins])
        new = _listed(
            [pin(exchange.part, exchange.type_after, terminal) for terminal in seat.pins_after]
        )
        moved.append(
            f"{node} moves from {old} to {new}"
            if old and new
            else f"{node} is disconnected from {old}"
            if old
            else f"{node} is connected to {new}"
        )
    return f"{first}; {'; '.join(moved)}."


def move_words(move: PinMove, pin: PinWords, names: OtherNames) -> str:
    """Return a move as in ``R3.2 is disconnected from B2 and connected to SP.``."""
    name = pin(move.part, move.type, move.terminal) + names.part(move.part)
    if move.terminal_after != move.terminal:
        name += f" (now {move.part}.{move.terminal_after})"
    if move.before is None:
        return f"{name} is connected to {names.after(move.after or '')}; it was not connected."
    if move.after is None:
        return f"{name} is disconnected from {move.before} and left open."
    return f"{name} is disconnected from {move.before} and connected to {names.after(move.after)}."


def reversal_words(row: Reversal, pin: PinWords, names: OtherNames) -> str:
    """Return two leads exchanged, as in ``C8 is reversed: plus is on COMMON, minus on B1.``."""
    (near, far), (node, another) = row.terminals, row.nodes
    known = names.part(row.part)
    if row.whole:
        return f"{row.part}{known} is reversed: {near} is on {another}, {far} on {node}."
    first, second = (pin(row.part, row.type, terminal) for terminal in row.terminals)
    return f"{first} and {second}{known} are exchanged: on {another} and {node}."


def opening_words(row: Opening, pin: PinWords, names: OtherNames) -> str:
    """Return a connection of two pins that is gone."""
    pins = _listed(_pins_of(row, pin, names))
    return f"{pins} are no longer connected to each other (node {row.node})."


def _pins_of(row: Opening, pin: PinWords, names: OtherNames) -> list[str]:
    return [
        pin(part, type_, terminal) + names.part(part)
        for (part, terminal), type_ in zip(row.pins, row.types, strict=True)
    ]


def _port(port: PortMoved, names: OtherNames) -> str:
    if port.before is None:
        return f"Port {port.name} on {names.after(port.after or '')} is new."
    if port.after is None:
        return f"Port {port.name} is gone; it was on {port.before}."
    return f"Port {port.name} moves from {port.before} to {names.after(port.after)}."


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else ""


def _mains(mains: Mains | None) -> str:
    if mains is None:
        return "not stated"
    return f"{mains.volts:g} V " + (f"{mains.hertz:g} Hz" if mains.hertz else "DC")
