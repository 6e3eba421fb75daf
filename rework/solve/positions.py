"""Where the controls and switches of a circuit stand: as the file says, or as they are taken."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value, drawn_position, switch_style
from rework.circuit.place import Problem
from rework.solve.network import CannotSolve

#: Where a control may be said to stand, by its turn from ccw.
TURNS = {"ccw": 0.0, "middle": 0.5, "cw": 1.0}


@dataclass(frozen=True, slots=True)
class Position:
    """A control or switch with its position, and whether the file (or the reader) states it."""

    part: str
    at: str
    stated: bool


def positions(circuit: Circuit) -> tuple[Position, ...]:
    """Return the position of every control and switch."""
    rows = []
    for part in circuit.parts:
        if part.kind == "pot":
            turn = turned(part)
            named = {value: name for name, value in TURNS.items()}
            at = "middle" if turn is None else named.get(turn, f"{turn:.0%}")
            rows.append(Position(part.name, at, turn is not None))
        elif part.traits.is_switch:
            rows.append(Position(part.name, drawn_position(part), bool(part.setting("in"))))
    return tuple(rows)


def staying(circuit: Circuit, held: Collection[str]) -> tuple[Position, ...]:
    """Return the positions of what is ``held``, and of every control whose position is stated."""
    return tuple(
        position
        for position in positions(circuit)
        if position.part in held
        or (position.stated and circuit.by_name[position.part].kind == "pot")
    )


def turned(part: Part) -> float | None:
    """Return how far a control is turned, 0 at ccw to 1 at cw; None where nothing is said."""
    return part.value("fraction", role="at")


def positioned(circuit: Circuit, wanted: Mapping[str, str]) -> Circuit:
    """Return a circuit with controls and switches where they are ``wanted``: ccw, middle, cw or a
    percentage for a control, one of its positions for a switch.

    Raises CannotSolve with everything that is neither.
    """
    problems, parts = [], dict(circuit.by_name)
    for name, at in wanted.items():
        part = parts.get(name)
        moved = None if part is None else _moved(part, at)
        if part is None or moved is None:
            problems.append(_misplaced(circuit, part, name, at))
        else:
            parts[name] = moved
    if problems:
        raise CannotSolve(*problems)
    return circuit.with_parts(tuple(parts[part.name] for part in circuit.parts))


def _moved(part: Part, at: str) -> Part | None:
    if part.kind == "pot":
        turn = TURNS.get(at)
        if turn is None:
            try:
                turn = float(at.removesuffix("%")) / 100
            except ValueError:
                return None
        if not 0 <= turn <= 1:
            return None
        kept = tuple(v for v in part.values if (v.dimension, v.role) != ("fraction", "at"))
        return replace(part, values=(*kept, Value("fraction", turn, "at")))
    if part.traits.is_switch and at in switch_style(part).positions:
        kept_settings = tuple(setting for setting in part.settings if setting[0] != "in")
        return replace(part, settings=(*kept_settings, ("in", at)))
    return None


def _misplaced(circuit: Circuit, part: Part | None, name: str, at: str) -> Problem:
    if part is None:
        known = ", ".join(position.part for position in positions(circuit)) or "none"
        return Problem(
            f"there is no control or switch {name} in the circuit", hint=f"there are: {known}"
        )
    if part.kind == "pot":
        expected = "ccw, middle, cw or a percentage such as 30%"
    elif part.traits.is_switch:
        expected = " or ".join(switch_style(part).positions)
    else:
        expected = "a pot or a switch"
    return Problem(f"{name} has no position {at}", expected=expected)
