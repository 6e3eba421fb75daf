"""The answer of ``check``."""

from __future__ import annotations

from dataclasses import dataclass

from rework.commands.answers.shape import Sides, shaped
from rework.safety.findings import Live, Report, as_json

__all__ = ["Check", "Sides"]


@dataclass(frozen=True, slots=True)
class PathStep:
    """A step of a path: the part, the terminals in and out, the node; ``mate`` of a connector."""

    part: str
    into: str
    out_of: str
    node: str
    mate: str = ""


@dataclass(frozen=True, slots=True)
class HotState:
    """States of plug, switches and connectors in which a node is joined to the hot conductor."""

    plug: tuple[str, ...]
    switches: dict[str, tuple[str, ...]]
    connectors: dict[str, tuple[str, ...]]
    how: str
    through: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class TriedEdit:
    """An edit of the circuit: its name, and the part, pin or wire."""

    edit: str
    what: str


@dataclass(frozen=True, slots=True)
class Remedied:
    """What to do. ``does`` is ``edit`` (made on the circuit and checked again before it was
    printed), ``measure``, or ``write`` (the netlist leaves something open).
    """

    words: str
    does: str
    edits: tuple[TriedEdit, ...]


@dataclass(frozen=True, slots=True)
class Tied:
    """A node tied to the mains that is a hazard."""

    node: str
    parts: tuple[str, ...]
    touchable: bool
    through: str
    path: tuple[PathStep, ...]
    bridges: tuple[str, ...]
    when: tuple[HotState, ...]
    remedies: tuple[Remedied, ...]


@dataclass(frozen=True, slots=True)
class Warned:
    """Something to fix (``must``) or to know (``mind``)."""

    key: str
    message: str
    part: str
    pin: str
    node: str
    remedies: tuple[Remedied, ...]
    weight: str


@dataclass(frozen=True, slots=True)
class Check:
    """What the mains check found."""

    verdict: str
    note: str
    hazards: tuple[Tied, ...]
    live: tuple[Live, ...]
    cautions: tuple[Warned, ...]


def check_answer(report: Report) -> Check:
    """Return the answer of one report."""
    return shaped(as_json(report), Check)
