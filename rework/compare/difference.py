"""The difference of two circuits by meaning: order of lines, names of nodes, joins and remarks make
none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.compare.entries import (
    Attribute,
    Difference,
    PartChange,
    PortMoved,
    Seat,
    TubeExchange,
    value_text,
)
from rework.compare.nodes import match_nodes
from rework.compare.pins import pin_changes

#: Amounts closer than this are one amount written in two ways: .05 uF and 50n differ in the last
#: bit.
SAME_AMOUNT = 1e-9


def difference(
    before: Circuit, after: Circuit, *, nodes: Mapping[str, str] | None = None
) -> Difference:
    """Return what is different in ``after``.

    Parts are matched by name, nodes by the pins they carry, or as ``nodes`` pairs them.

    Parts that may be turned end for end are the same either way round. Linear in parts and pins,
    but for sorting.
    """
    pairs = _pairs(before, after)
    names = frozenset(part.name for part, _ in pairs)
    exchanged = frozenset(
        part.name for part, other in pairs if part.kind == "tube" and part.type != other.type
    )
    if nodes is None:
        nodes = match_nodes(before, after, fixed=names - exchanged, exchanged=exchanged)
    back = {other: node for node, other in nodes.items()}
    gone, new = (
        sorted(
            (part for part in circuit.parts if part.name not in names), key=lambda part: part.name
        )
        for circuit in (before, after)
    )
    same_type = [(part, other) for part, other in pairs if part.name not in exchanged]
    pins = pin_changes(before, after, same_type, nodes, back)
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
        moved=pins.moved,
        reversed=pins.reversed,
        opened=pins.opened,
        joined=pins.joined,
        split=pins.split,
        merged=pins.merged,
        in_reach=tuple(sorted(reached_after - reached)),
        out_of_reach=tuple(
            sorted(node for node in set(before.touchable) if same.get(node) not in reached_after)
        ),
        ports=_ports(before, after, same),
        mains=(before.mains, after.mains) if before.mains != after.mains else None,
        title=(before.title, after.title) if before.title != after.title else None,
        renamed=tuple(sorted(pair for pair in nodes.items() if pair[0] != pair[1])),
    )


def _pairs(before: Circuit, after: Circuit) -> list[tuple[Part, Part]]:
    """Return the parts of one name and one kind, in the order of names."""
    pairs = [(part, after.by_name[part.name]) for part in before.parts if after.part(part.name)]
    alike = [(part, other) for part, other in pairs if part.kind == other.kind]
    return sorted(alike, key=lambda pair: pair[0].name)


def _same_names(
    before: Circuit, after: Circuit, nodes: Mapping[str, str], back: Mapping[str, str]
) -> dict[str, str]:
    """Return the matched nodes, and those named as touchable or as a port that no pin matches."""
    named = {*before.touchable, *after.touchable}
    named |= {node for _, node in (*before.ports, *after.ports)}
    return {**nodes, **{node: node for node in named if node not in nodes and node not in back}}


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
    attributes = [Attribute("type", part.type, other.type)] if part.type != other.type else []
    old, new = _values(part), _values(other)
    for what in sorted(old.keys() | new.keys()):
        value, another = old.get(what), new.get(what)
        if (
            value is None
            or another is None
            or not math.isclose(value.amount, another.amount, rel_tol=SAME_AMOUNT)
        ):
            attributes.append(
                Attribute(
                    what, value_text(value) if value else "", value_text(another) if another else ""
                )
            )
    words, words_after = sorted(set(part.words)), sorted(set(other.words))
    if words != words_after:
        attributes.append(Attribute("words", " ".join(words), " ".join(words_after)))
    attributes += [
        Attribute(word, part.setting(word), other.setting(word))
        for word in sorted(dict(part.settings).keys() | dict(other.settings).keys())
        if part.setting(word) != other.setting(word)
    ]
    return tuple(attributes)


def _values(part: Part) -> dict[str, Value]:
    """Return the values of a part and of its windings by what a person calls each: ``resistance``,
    ``hv voltage``, ``load resistance``.
    """
    by_role = {
        " ".join(filter(None, (value.role, value.dimension))): value for value in part.values
    }
    for winding, values in part.windings:
        by_role.update(
            {
                " ".join(filter(None, (winding, value.role, value.dimension))): value
                for value in values
            }
        )
    return by_role


def _ports(before: Circuit, after: Circuit, nodes: Mapping[str, str]) -> tuple[PortMoved, ...]:
    old, new = dict(before.ports), dict(after.ports)
    names = sorted(old.keys() | new.keys())
    return tuple(
        PortMoved(name, old.get(name), new.get(name))
        for name in names
        if name not in old or name not in new or nodes.get(old[name]) != new[name]
    )
