"""What works in a circuit as far as its wiring shows: a remedy may not take any of it away.

A fact is what a row of ``anatomy.function`` is about, where the row says that it works; and every
wired pin of a part that is more than a lead, a resistor or a capacitor.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rework.anatomy.function import wiring_function
from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.circuit.kinds import KINDS, Form
from rework.safety.survey import Survey

#: What works or not: the aspect, the part, its pin or what else it is about.
Fact = tuple[str, str, str]
#: The aspect of a wired pin.
PIN = "pin"
_PINNED = (Form.PINS, Form.WINDINGS, Form.POLES)
#: What is not about the function of a set but about how its file is written.
_OF_THE_FILE = (Aspect.PORT, Aspect.HANGING, Aspect.NAME)


class Function:
    """What works and what does not in one circuit, as facts.

    Where a fact is about a node, ``works`` has it under one name of its point; ``works_under_any``
    has it under all of them, for an edit may give the point another name, and has with it what
    works with a note.
    """

    def __init__(self, survey: Survey) -> None:
        rows = [row for row in wiring_function(survey.circuit) if row.aspect not in _OF_THE_FILE]
        pins = frozenset(_pins(survey))
        self.works = pins | _facts(rows, Working.WORKS)
        noted = self.works | _facts(rows, Working.NOTE)
        names: dict[str, list[str]] = {}
        for node in survey.circuit.nodes:
            names.setdefault(survey.point[node], []).append(node)
        self.works_under_any = noted | frozenset(
            (aspect, name, place)
            for aspect, subject, place in noted
            if subject in survey.circuit.at
            for name in names[survey.point[subject]]
        )
        self.fails = tuple(
            (str(row.aspect), row.subject, row.place)
            for row in rows
            if row.working is Working.FAULT
        )


def _facts(rows: Iterable[FunctionRow], working: Working) -> frozenset[Fact]:
    return frozenset(
        (str(row.aspect), row.subject, row.place) for row in rows if row.working is working
    )


def _pins(survey: Survey) -> Iterator[Fact]:
    """Return the wired pins of parts that are more than a lead, a resistor or a capacitor."""
    for part in survey.circuit.parts:
        if part.kind != "socket" and KINDS[part.kind].form in _PINNED:
            for terminal, _ in part.pins:
                yield PIN, part.name, terminal
