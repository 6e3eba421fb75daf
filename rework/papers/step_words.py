"""What to do, where, and what to check before the next step: the words of each kind of edit."""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    Action,
    AttachCircuit,
    Bridge,
    CutConductor,
    ExchangeTube,
    FitPart,
    LiftPin,
    MoveLead,
    RemovePart,
    RunWire,
    SetValue,
)
from rework.circuit.parts import Part
from rework.papers.mains_wires import in_regions_unit
from rework.papers.places import end_words, listed, neighbours, pin_words, place_words, plain

#: More leads than this at one place are too many to look at.
_FEW = 4


@dataclass(frozen=True, slots=True)
class StepText:
    """The words of one step."""

    what: str
    where: str
    check: str


def step_words(
    action: Action, before: Circuit, after: Circuit, final: Circuit, gone: frozenset[str]
) -> StepText:
    """Return the words of an action.

    Places are those of the circuit at that step, without the parts in ``gone``, which are out by
    then; what is built is described as it ends up in ``final``.
    """
    match action:
        case RemovePart(name):
            return _remove(before.by_name[name], before, after)
        case CutConductor(name):
            return _cut(before.by_name[name], before, gone)
        case LiftPin(name, terminal):
            return _lift(before.by_name[name], terminal, before, gone)
        case FitPart(part):
            return _fit(part, final, _absent(final, before))
        case RunWire(part):
            return _run(part, final, _absent(final, before))
        case ExchangeTube(name, type_, _, _, moves):
            return _exchange(before.by_name[name], type_, moves)
        case SetValue(name):
            old, new = before.by_name[name], after.by_name[name]
            return StepText(
                f"Exchange {name}: remove {plain(old)}, fit {plain(new)}",
                _leads(final.by_name[name], final, _absent(final, before)),
                "Measure the new part before you solder it in.",
            )
        case AttachCircuit(circuit, prefix):
            return StepText(
                f"Build {circuit.title or prefix} on its own chassis",
                f"Work from its own sheet. In these pages its names begin with {prefix}/.",
                "Ohmmeter from every lead to where it goes, against the sheet of the supply.",
            )
        case MoveLead(name, terminal, node):
            there = place_words(before, node, gone)
            return StepText(
                f"Move {pin_words(before.by_name[name], terminal)}",
                f"to {there}",
                "Ohmmeter from the lead to its new place: there is a direct connection.",
            )
        case Bridge(a, b):
            return StepText(f"Join {a} and {b}", "", "Ohmmeter between both.")


def _remove(part: Part, before: Circuit, after: Circuit) -> StepText:
    verb = "Pull" if part.kind == "tube" else "Remove"
    nodes = {node for _, node in part.pins if node in after.at}
    around = {node: neighbours(after, node) for node in sorted(nodes)}
    stays = [f"{node}: {listed(words)}" for node, words in around.items() if 0 < len(words) <= _FEW]
    check = f"Still in place: {'; '.join(stays)}." if stays else "Nothing else is loose."
    return StepText(f"{verb} {part.name}, {plain(part)}", _leads(part, before), check)


def _cut(part: Part, before: Circuit, gone: frozenset[str]) -> StepText:
    trace = part.kind == "trace"
    ends = " to ".join(_other_end(before, node, {part.name, *gone}) for _, node in part.pins)
    return StepText(
        f"Cut trace {part.name}" if trace else f"Remove {part.name}, {plain(part)}",
        _remarked(ends, part),
        "Ohmmeter across the cut, leads free: there is no direct connection.",
    )


def _lift(part: Part, terminal: str, before: Circuit, gone: frozenset[str]) -> StepText:
    there = place_words(before, part.at(terminal), {part.name, *gone})
    return StepText(
        f"Lift {pin_words(part, terminal)}",
        f"from {there}",
        "Ohmmeter from the lug to where its lead was: there is no direct connection.",
    )


def _absent(final: Circuit, before: Circuit) -> frozenset[str]:
    """Return the parts of the finished set that are not there yet."""
    return frozenset(final.by_name.keys() - before.by_name.keys())


def _fit(part: Part, final: Circuit, absent: frozenset[str]) -> StepText:
    seat = final.by_name.get(part.name, part)
    if part.kind == "socket":
        return StepText(
            f"Keep the socket of {part.name} as a tie point: {plain(part)}",
            _leads(seat, final, absent),
            "Tag the socket: no tube belongs in it.",
        )
    check = (
        "Polarity as written. Ohmmeter from lug to lug: no short."
        if part.kind == "electrolytic"
        else "Each lead against the drawing After. No short between neighbouring lugs."
    )
    return StepText(f"Fit {part.name}, {plain(part)}", _leads(seat, final, absent), check)


def _run(part: Part, final: Circuit, absent: frozenset[str]) -> StepText:
    ends = [
        f"{terminal}: {end_words(final, part, terminal, end, absent)}"
        for terminal, end in part.pins
    ]
    return StepText(
        f"Run {part.name}, {plain(in_regions_unit(part, final))}",
        "; ".join(ends),
        "Ohmmeter from end to end: less than 0.5 ohm above the test leads.",
    )


def _exchange(
    old: Part, type_: str, moves: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...]
) -> StepText:
    what = (
        f"Rewire socket {old.name} for the {type_} that stays"
        if type_ == old.type
        else f"Prepare socket {old.name} for a {type_} in place of the {old.type}"
    )
    moved = "; ".join(
        f"{element}: from {_pins(was)} to {_pins(now)}" for element, was, now in moves
    )
    return StepText(
        what,
        moved or "every element keeps its pin",
        f"Ohmmeter from every lug of {old.name} to where its wire goes, against the socket view.",
    )


def _pins(pins: tuple[str, ...]) -> str:
    return f"pin {' + '.join(pins)}" if pins else "no pin"


def _leads(part: Part, circuit: Circuit, absent: frozenset[str] = frozenset()) -> str:
    """Return where each lead of a part goes, and the remark of the netlist on it; a place on which
    nothing is yet is a tie point.
    """
    but = absent | {part.name}
    places = [
        place_words(circuit, node, but)
        if not absent or neighbours(circuit, node, but)
        else f"tie point {node}"
        for _, node in part.pins
    ]
    leads = "; ".join(
        f"{terminal} on {place}" for (terminal, _), place in zip(part.pins, places, strict=True)
    )
    return _remarked(leads or "every lead is free already", part)


def _remarked(words: str, part: Part) -> str:
    return f"{words}; {part.remark}" if part.remark else words


def _other_end(circuit: Circuit, node: str, but: set[str]) -> str:
    lugs = [
        pin_words(part, pin)
        for part, pin in circuit.at[node]
        if part.name not in but and part.kind in ("tube", "socket")
    ]
    return lugs[0] if lugs and len(circuit.at[node]) <= _FEW else place_words(circuit, node, but)
