"""A set as it was wired, held against its plan, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rework.compare.built import AsBuilt
from rework.compare.entries import Opening, PartChange, PinMove
from rework.compare.sentences import OtherNames, called, part_words
from rework.report.terminal import listed
from rework.rules.words import pin_words

#: So many parts of which a file leaves something out are named before the rest are counted.
MOST_NAMED = 8


def built_text(built: AsBuilt, names: OtherNames) -> str:
    """Return what is missing, extra, on another pin and of another value, then what was not
    compared.
    """
    difference = built.difference
    count = len(built.plan.parts) - len(difference.removed)
    blocks = [
        _verdict(built, count),
        *(
            listed(f"\n{title}: {len(sentences)}", sentences, style)
            for title, sentences, style in (
                ("Missing in the set", list(_missing(built)), "red"),
                ("Extra in the set", list(_extra(built, names)), "red"),
                ("Wired to another point", list(_wired(built, names)), "red"),
                ("Another value or type", list(_valued(built, names)), "red"),
                ("Touchable metal and mains", list(_said(built, names)), "red"),
                ("Within the tolerance of the part", _changes(built.within, names), ""),
                ("Rated higher, or closer, than planned", _changes(built.better, names), ""),
            )
            if sentences
        ),
        *_unstated(built.unstated, names.file),
    ]
    return "\n".join(filter(None, blocks))


def _verdict(built: AsBuilt, count: int) -> str:
    total = len(built.plan.parts)
    if built.is_as_planned:
        return f"Wired as planned: all {total} parts found, each on its points."
    return f"Not wired as planned: {count} of {total} parts found."


def _missing(built: AsBuilt) -> Iterator[str]:
    yield from (f"{part.name}: {part_words(part)}." for part in built.difference.removed)


def _extra(built: AsBuilt, names: OtherNames) -> Iterator[str]:
    for part in built.difference.added:
        line = f" (line {part.place.line})" if part.place else ""
        yield f"{names.added(part.name)}{line}: {part_words(names.placed(part))}."


def _wired(built: AsBuilt, names: OtherNames) -> Iterator[str]:
    difference = built.difference
    yield from (_move(move, names) for move in difference.moved)
    for row in difference.reversed:
        known, (near, far) = names.part(row.part), row.terminals
        if row.whole:
            yield f"{row.part}{known} is reversed: {near} must be on {row.nodes[0]}."
        else:
            first, second = (pin_words(row.part, row.type, lead) for lead in (near, far))
            yield f"{first} and {second}{known}: leads exchanged."
    for open_ in difference.opened:
        yield f"{_pins(open_, names)}: not connected to each other. Planned on node {open_.node}."
    for joined in difference.joined:
        yield f"{_pins(joined, names)}: connected to each other. Planned: not connected."
    for split in difference.split:
        for node in split.into[1:]:
            apart = [
                pin_words(part.name, part.type if part.kind == "tube" else "", terminal)
                for part, terminal in built.built.at.get(node, ())
            ]
            yield f"Not connected to {split.node}: {_listed(apart)} (on {names.after(node)})."
    for port in difference.ports:
        yield (
            f"Port {port.name}: planned on {port.before}, wired to {names.after(port.after or '')}."
        )
    for merge in difference.merged:
        yield f"Nodes {_listed(merge.nodes)} are connected. Planned: not connected."


def _move(move: PinMove, names: OtherNames) -> str:
    name = pin_words(move.part, move.type, move.terminal) + names.part(move.part)
    planned = f"planned on {move.before}" if move.before is not None else "planned open"
    wired = f"wired to {names.after(move.after)}" if move.after is not None else "left open"
    return f"{name}: {planned}, {wired}."


def _valued(built: AsBuilt, names: OtherNames) -> Iterator[str]:
    yield from _changes(built.difference.changed, names)
    for row in built.difference.exchanged:
        yield f"{row.part}{names.part(row.part)}: planned {row.type}, built {row.type_after}."
        for seat in row.moves:
            node = seat.node if seat.node is not None else names.after(seat.node_after or "")
            old = _listed([pin_words(row.part, row.type, pin) for pin in seat.pins]) or "no pin"
            new = _listed([pin_words(row.part, row.type_after, pin) for pin in seat.pins_after])
            yield f"{node}: planned on {old}, wired to {new or 'no pin'}."


def _changes(changes: Sequence[PartChange], names: OtherNames) -> list[str]:
    return [
        f"{change.part}{names.part(change.part)}: "
        + "; ".join(
            f"{called(row.what)} planned {row.before or 'not stated'}, built"
            f" {row.after or 'not stated'}"
            for row in change.attributes
        )
        + "."
        for change in changes
    ]


def _said(built: AsBuilt, names: OtherNames) -> Iterator[str]:
    difference = built.difference
    for node in difference.out_of_reach:
        yield (
            f"Node {node} is touchable in the plan. {names.file} does not say so: write"
            f" `touchable {names.nodes.get(node, node)}`, or the check cannot see it."
        )
    for node in difference.in_reach:
        yield f"Node {names.after(node)} is touchable in {names.file}, and not in the plan."
    if difference.mains is not None:
        yield "The two files state different mains."


def _unstated(changes: Sequence[PartChange], file: str) -> list[str]:
    """Return in one sentence for each property which parts are without it in the set's file."""
    without: dict[str, list[str]] = {}
    for change in changes:
        for row in change.attributes:
            if not row.after:
                without.setdefault(called(row.what), []).append(change.part)
    sentences = [
        f"{what}: {', '.join(parts[:MOST_NAMED])}"
        + (f" and {len(parts) - MOST_NAMED} more" if len(parts) > MOST_NAMED else "")
        + "."
        for what, parts in sorted(without.items())
    ]
    title = f"\nNot compared, because {file} does not state it:"
    return [listed(title, sentences)] if sentences else []


def _pins(row: Opening, names: OtherNames) -> str:
    return _listed(
        [
            pin_words(part, type_, terminal) + names.part(part)
            for (part, terminal), type_ in zip(row.pins, row.types, strict=True)
        ]
    )


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else ""
