"""A difference told to a person, one sentence an entry."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rework.circuit.circuit import Mains
from rework.circuit.parts import Part
from rework.compare.difference import Attribute, Difference, PinMove, TubeExchange, value_text

#: Returns the words for a pin: called with the name of the part, the tube's type (empty for other
#: parts) and the terminal.
PinWords = Callable[[str, str, str], str]


def plain_pin(part: str, _type: str, terminal: str) -> str:
    """Return ``V3.7``, whatever the type of the tube."""
    return f"{part}.{terminal}"


def describe(difference: Difference, *, pin: PinWords = plain_pin) -> tuple[str, ...]:
    """Return the sentences that tell a difference, in a fixed order; none where there is none.

    ``pin`` gives the words for a pin, so that a caller who knows the tubes can name the element.
    Renamed nodes are not told.
    """
    told = [f"{part.name} is taken out: {part_words(part)}." for part in difference.removed]
    told += [f"{part.name} is cut: {part_words(part)}." for part in difference.cut]
    told += [f"{part.name} is new: {part_words(part)}." for part in difference.added]
    told += [f"{part.name} is run: {part_words(part)}." for part in difference.run]
    told += [
        f"{change.part}: {'; '.join(map(_attribute, change.attributes))}."
        for change in difference.changed
    ]
    told += [_exchange(exchange, pin) for exchange in difference.exchanged]
    told += [_move(move, pin) for move in difference.moved]
    told += [
        f"Node {split.node} is split into {_listed(split.into)}." for split in difference.split
    ]
    told += [
        f"Nodes {_listed(merge.nodes)} are one node now: {merge.into}."
        for merge in difference.merged
    ]
    told += [f"Node {node} is named as within reach of a hand now." for node in difference.in_reach]
    told += [
        f"Node {node} is no longer named as within reach of a hand."
        for node in difference.out_of_reach
    ]
    for port in difference.ports:
        if port.before is None or port.after is None:
            told.append(
                f"Port {port.name} on {port.after} is new."
                if port.before is None
                else f"There is no port {port.name} any more; it was on {port.before}."
            )
        else:
            told.append(f"Port {port.name} moves from {port.before} to {port.after}.")
    if difference.mains is not None:
        told.append(
            f"The mains were {_mains(difference.mains[0])} and are {_mains(difference.mains[1])}."
        )
    if difference.title is not None:
        told.append(f'The title was "{difference.title[0]}" and is "{difference.title[1]}".')
    return tuple(told)


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


def _attribute(attribute: Attribute) -> str:
    what, before, after = attribute.what, attribute.before, attribute.after
    if before and after:
        return f"{what} {before}, now {after}"
    return f"{what} {after} is new" if after else f"{what} {before} is gone"


def _exchange(exchange: TubeExchange, pin: PinWords) -> str:
    first = f"{exchange.part} is a {exchange.type_after} in place of the {exchange.type}"
    if not exchange.moves:
        return first + "; every lead keeps its pin."
    told = []
    for seat in exchange.moves:
        node = seat.node if seat.node is not None else seat.node_after
        old = _listed([pin(exchange.part, exchange.type, terminal) for terminal in seat.pins])
        new = _listed(
            [pin(exchange.part, exchange.type_after, terminal) for terminal in seat.pins_after]
        )
        told.append(
            f"{node} moves from {old} to {new}"
            if old and new
            else f"{node} is disconnected from {old}"
            if old
            else f"{node} is connected to {new}"
        )
    return f"{first}; {'; '.join(told)}."


def _move(move: PinMove, pin: PinWords) -> str:
    name = pin(move.part, move.type, move.terminal)
    if move.terminal_after != move.terminal:
        name += f" (now {move.part}.{move.terminal_after})"
    if move.before is None:
        return f"{name} is connected to {move.after}; it was not connected."
    return (
        f"{name} is disconnected from {move.before} and connected to {move.after}."
        if move.after is not None
        else f"{name} is disconnected from {move.before} and left open."
    )


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else ""


def _mains(mains: Mains | None) -> str:
    if mains is None:
        return "not stated"
    return f"{mains.volts:g} V " + (f"{mains.hertz:g} Hz" if mains.hertz else "DC")
