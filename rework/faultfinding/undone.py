"""What a job may have left undone: every edit not done, half done, or done at the neighbour.

A circuit with a step left out is not an edit of the finished circuit: it is the job replayed
without that step. So these troubles carry the circuit itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    Action,
    AttachCircuit,
    Edit,
    EditError,
    ExchangeTube,
    FitPart,
    LiftPin,
    RunWire,
    apply_edit,
    as_left,
    subject,
)
from rework.circuit.kinds import Law
from rework.circuit.parts import Part
from rework.faultfinding.trouble import SingleTrouble, TroubleKind, weights
from rework.language.terminals import tube_of
from rework.rules.run import JobRun

#: Pins on a point at which more meet is a bus.
MEET = 6


@dataclass(frozen=True, slots=True)
class Undone:
    """A trouble of the job with the circuit it leaves."""

    trouble: SingleTrouble
    circuit: Circuit


def undone(run: JobRun) -> tuple[Undone, ...]:
    """Return every edit of a job not done, half done, or done at the neighbour."""
    edits, circuit = run.edits, run.before
    variants: list[tuple[SingleTrouble, Circuit]] = []
    for number, edit in enumerate(edits):
        variants += _variants(circuit, edits, number, edit.action)
        circuit = apply_edit(circuit, edit.action)
    return tuple(
        Undone(replace(trouble, weight=trouble.weight * weights()[trouble.kind].weight), circuit)
        for trouble, circuit in variants
        if circuit.parts
    )


def _variants(
    before: Circuit, edits: Sequence[Edit], number: int, action: Action
) -> Iterator[tuple[SingleTrouble, Circuit]]:
    """Yield what may go wrong with one edit; ``before`` is the circuit that it is made on."""
    if isinstance(action, AttachCircuit):
        return
    name, rule = subject(action), edits[number].rule
    at = (action.terminal,) if isinstance(action, LiftPin) else ()

    def left(
        kind: TroubleKind, instead: Sequence[Action], *more: str, weight: float = 1.0
    ) -> Iterator[tuple[SingleTrouble, Circuit]]:
        circuit = _replayed(before, edits, number, instead)
        if circuit is not None:
            trouble = SingleTrouble(kind, name, (*at, *more, rule), weight=weight, step=number)
            yield trouble, circuit

    yield from left(TroubleKind.NOT_DONE, ())
    match action:
        case ExchangeTube(_, type_, _, _, moves):
            if moves:
                yield from left(TroubleKind.HALF_DONE, (_old_wiring(before, action),), type_)
            for element, old, new in moves:
                half = _without_move(action, old, new)
                if half is not None:
                    yield from left(TroubleKind.HALF_DONE, (half,), element, weight=1 / len(moves))
        case LiftPin(part, terminal):
            for other in _beside(before, part, terminal):
                yield from left(TroubleKind.AT_NEIGHBOUR, (LiftPin(part, other),), other)
        case RunWire(part) | FitPart(part):
            for end, wrong_end in _wrong_ends(before, part):
                ends = tuple((t, wrong_end if t == end else node) for t, node in part.pins)
                moved = replace(action, part=replace(part, pins=ends))
                yield from left(TroubleKind.AT_NEIGHBOUR, (moved,), end, wrong_end, weight=0.5)


def _replayed(
    before: Circuit, edits: Sequence[Edit], number: int, instead: Sequence[Action]
) -> Circuit | None:
    """Return the circuit after a job with other actions in the place of one, made on the circuit
    ``before`` it; None where these cannot be made. What the job does later and cannot do then is
    left out too.
    """
    circuit = before
    try:
        for action in instead:
            circuit = apply_edit(circuit, action)
    except EditError:
        return None
    for edit in edits[number + 1 :]:
        with suppress(EditError):
            circuit = apply_edit(circuit, edit.action)
    return as_left(circuit)


def _old_wiring(before: Circuit, action: ExchangeTube) -> ExchangeTube:
    """Return an exchange in which the new tube is in the socket and no lead was moved."""
    old = before.by_name[action.name]
    return replace(action, pins=old.pins, unused=old.unused)


def _without_move(
    action: ExchangeTube, old: tuple[str, ...], new: tuple[str, ...]
) -> ExchangeTube | None:
    """Return an exchange in which one element's leads stay on their old pin; None where another
    lead has that pin by then.
    """
    nodes = dict(action.pins)
    if not old or not new or new[0] not in nodes or old[0] in nodes:
        return None
    pins = tuple((old[0] if pin == new[0] else pin, node) for pin, node in action.pins)
    unused = tuple(pin for pin in action.unused if pin != old[0])
    return replace(action, pins=pins, unused=(*unused, new[0]))


def _beside(circuit: Circuit, part: str, terminal: str) -> tuple[str, ...]:
    """Return the lugs beside a pin of a tube socket that have something on them."""
    seat = circuit.part(part)
    tube = tube_of(seat) if seat is not None else None
    if seat is None or tube is None or terminal not in tube.socket_pins:
        return ()
    lugs = tube.socket_pins
    place = lugs.index(terminal)
    return tuple(
        pin
        for pin in (*lugs[max(place - 1, 0) : place], *lugs[place + 1 : place + 2])
        if seat.node(pin) is not None
    )


def _wrong_ends(before: Circuit, part: Part) -> Iterator[tuple[str, str]]:
    """Yield the ends of a wire or new part with the point beside theirs: the next lug of a socket,
    or the other end of a resistor or choke.
    """
    for end, node in part.pins:
        name, _, terminal = node.partition(".")
        seats = (
            [(name, terminal)]
            if terminal and name in before.by_name
            else [
                (p.name, t) for p, t in before.at.get(node, ()) if p.kind in ("tube", "connector")
            ]
        )
        for seat, pin in seats[:2]:
            for other in _beside(before, seat, pin):
                neighbour = before.by_name[seat].at(other)
                if neighbour != node:
                    yield end, neighbour
        for neighbour in _behind(before, node):
            yield end, neighbour


def _behind(before: Circuit, node: str) -> tuple[str, ...]:
    """Return the other ends of the resistors and chokes at a point; none where many parts meet, as
    on a bus, whose lugs nobody takes for another's.
    """
    here = before.at.get(node, ())
    across = [
        other
        for part, _ in here
        if part.traits.law in (Law.RESISTANCE, Law.COIL) and len(part.ends) == 2
        for other in part.ends
        if other != node and len(before.at.get(other, ())) <= MEET
    ]
    return tuple(dict.fromkeys(across)) if len(here) <= MEET else ()
