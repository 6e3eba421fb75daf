"""Pins on other nodes than before, and what a person would call several of them together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.compare.entries import Merge, Opening, PinMove, Reversal, Split
from rework.compare.symmetry import turnable


@dataclass(frozen=True, slots=True)
class PinChanges:
    """Pins of the same parts on other nodes: leads exchanged, connections of two pins opened and
    made, nodes split and made one, and every other move.
    """

    moved: tuple[PinMove, ...]
    reversed: tuple[Reversal, ...]
    opened: tuple[Opening, ...]
    joined: tuple[Opening, ...]
    split: tuple[Split, ...]
    merged: tuple[Merge, ...]


def pin_changes(
    before: Circuit,
    after: Circuit,
    pairs: Iterable[tuple[Part, Part]],
    nodes: Mapping[str, str],
    back: Mapping[str, str],
) -> PinChanges:
    """Return what became of the pins of paired parts; ``nodes`` pairs the nodes, ``back`` is its
    inverse.
    """
    moves = [move for part, other in pairs for move in _moves(part, other, nodes)]
    reversals = _reversals(before, moves, nodes)
    leads = {(row.part, lead) for row in reversals for lead in row.terminals}
    moves = [move for move in moves if (move.part, move.terminal) not in leads]
    opened = _openings(before, after, moves, nodes)
    alone = {pin for row in opened for pin in row.pins}
    moves = [move for move in moves if (move.part, move.terminal) not in alone]
    joined = _openings(after, before, list(map(_turned, moves)), back)
    alone = {pin for row in joined for pin in row.pins}
    moves = [move for move in moves if (move.part, move.terminal_after) not in alone]
    moved, split, merged = _splits_and_merges(moves, nodes, back)
    return PinChanges(tuple(moved), reversals, opened, joined, split, merged)


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


def _reversals(
    before: Circuit, moves: list[PinMove], nodes: Mapping[str, str]
) -> tuple[Reversal, ...]:
    """Return the pairs of moved pins of one part that went each to the node of the other."""
    reversals = []
    waiting: dict[tuple[str, str | None, str | None], list[PinMove]] = {}
    for move in moves:
        if move.terminal != move.terminal_after or move.before is None or move.after is None:
            continue
        came, went = nodes.get(move.before), move.after
        partners = waiting.get((move.part, went, came), [])
        if partners and came is not None:
            first = partners.pop(0)
            leads, on = (first.terminal, move.terminal), (first.before or "", move.before)
            on_after = first.after or "", move.after
            whole = len(before.by_name[move.part].leads) == 2
            reversals.append(Reversal(move.part, move.type, leads, on, on_after, whole))
        else:
            waiting.setdefault((move.part, came, went), []).append(move)
    return tuple(reversals)


def _openings(
    circuit: Circuit, other: Circuit, moves: list[PinMove], nodes: Mapping[str, str]
) -> tuple[Opening, ...]:
    """Return the nodes of two pins in ``one`` that are alone each in ``other``; ``moves`` and
    ``nodes`` lead from ``one`` to ``other``.
    """
    openings = []
    for move in moves:
        if move.before is None or move.after is None or len(other.at[move.after]) != 1:
            continue
        pins, kept = circuit.at[move.before], nodes.get(move.before)
        if len(pins) != 2 or kept is None or len(other.at.get(kept, ())) != 1:
            continue
        parts = {other.at[at][0][0].name for at in (kept, move.after)}
        if parts == {part.name for part, _ in pins}:
            first, second = ((part.name, terminal) for part, terminal in pins)
            types = [part.type if part.kind == "tube" else "" for part, _ in pins]
            openings.append(Opening(move.before, (first, second), (types[0], types[1])))
    return tuple(openings)


def _turned(move: PinMove) -> PinMove:
    """Return the move from ``after`` back to ``before``."""
    return PinMove(
        move.part, move.type, move.terminal_after, move.terminal, move.after, move.before
    )


def _splits_and_merges(
    moved: list[PinMove], nodes: Mapping[str, str], back: Mapping[str, str]
) -> tuple[list[PinMove], tuple[Split, ...], tuple[Merge, ...]]:
    """Return the moves that are left after two or more pins that went the same way, to or from a
    node of their own, are marked as one.
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
