"""Why an amplifier was not driven to clipping, as problems that name what to look at."""

from __future__ import annotations

from collections.abc import Sequence

from rework.circuit.place import Problem
from rework.solve.positions import Position
from rework.solve.stability import Mode


def turned_down(held: Sequence[Position], at_tone: float) -> Problem:
    """Return that an amplifier gives less than it gets where its controls were asked to be."""
    where = ", ".join(f"{position.part} at {position.at}" for position in held)
    return Problem(
        f"with {where} the gain is {at_tone:.2g} at 1 kHz: it was not driven to clipping",
        hint="without --at, the table of responses has the gain at each stop of the controls",
    )


def oscillating(mode: Mode) -> Problem:
    """Return that an amplifier oscillates, and at what."""
    return Problem(
        f"it oscillates at {mode.hertz:,.0f} Hz, strongest at {mode.node}",
        hint="rework signal tries what tames it",
    )


def untamed(mode: Mode) -> Problem:
    """Return that an amplifier oscillates whatever is tried."""
    return Problem(
        f"it oscillates, strongest at {mode.node}, and nothing tried tames it: it has no watts",
        hint=("look for feedback where there should be none, and at the decoupling of the supply"),
    )
