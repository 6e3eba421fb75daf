"""The answer of ``check``."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rework.anatomy.function_row import FunctionRow, Working
from rework.commands.answers.shape import Sides, shaped
from rework.commands.function_words import sentence
from rework.rules.conversion import Conversion
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
class RemedyAnswer:
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
    remedies: tuple[RemedyAnswer, ...]


@dataclass(frozen=True, slots=True)
class Warned:
    """Something to fix (``must``) or to know (``mind``)."""

    key: str
    message: str
    part: str
    pin: str
    node: str
    remedies: tuple[RemedyAnswer, ...]
    weight: str


@dataclass(frozen=True, slots=True)
class Worked:
    """Whether one thing in a set works: the key ``aspect``, what it is about, the verdict
    ``working``, a figure with its rating in ``unit``, and words where something is wrong.
    """

    aspect: str
    subject: str
    working: str
    value: float | None
    rated: float | None
    unit: str
    place: str
    part: str
    words: str


@dataclass(frozen=True, slots=True)
class ConversionAnswer:
    """Lines of a job after which, tried on this netlist, nothing is tied to the mains; ``kind`` is
    ``isolate`` or ``supply``.
    """

    kind: str
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """What the mains check found; ``function`` is whether the finished set of a job works, as far
    as its wiring shows; ``conversions`` are there where no single remedy clears a hazard.
    """

    verdict: str
    note: str
    hazards: tuple[Tied, ...]
    live: tuple[Live, ...]
    cautions: tuple[Warned, ...]
    function: tuple[Worked, ...] = ()
    conversions: tuple[ConversionAnswer, ...] = ()


def check_answer(
    report: Report, rows: Iterable[FunctionRow] = (), tried: Iterable[Conversion] = ()
) -> Check:
    """Return the answer of one report, with whether the set works and its conversions."""
    more = {
        "function": tuple(map(worked, rows)),
        "conversions": tuple(
            ConversionAnswer(conversion.kind, conversion.rules) for conversion in tried
        ),
    }
    return shaped(as_json(report) | more, Check)


def worked(row: FunctionRow) -> Worked:
    """Return the answer of one row."""
    return Worked(
        row.aspect.value,
        row.subject,
        row.working.value,
        row.value,
        row.rated,
        row.unit,
        str(row.place),
        row.part,
        "" if row.working is Working.WORKS else sentence(row),
    )
