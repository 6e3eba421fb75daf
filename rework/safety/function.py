"""What works in a circuit as far as its wiring shows: a remedy may not take any of it away.

A fact is what a row of ``anatomy.function`` is about, where the row says that it works; and every
wired pin of a part that is more than a lead, a resistor or a capacitor.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.function import wiring_function
from rework.anatomy.function_row import Aspect, Working
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
    has it under all of them, for an edit may give the point another name.
    """

    def __init__(self, survey: Survey) -> None:
        rows = [row for row in wiring_function(survey.circuit) if row.aspect not in _OF_THE_FILE]
        self.works = frozenset(
            (str(row.aspect), row.subject, row.place)
            for row in rows
            if row.working in (Working.WORKS, Working.NOTE)
        ) | frozenset(_pins(survey))
        names: dict[str, list[str]] = {}
        for node in survey.circuit.nodes:
            names.setdefault(survey.point[node], []).append(node)
        self.works_under_any = self.works | frozenset(
            (aspect, name, place)
            for aspect, subject, place in self.works
            if subject in survey.circuit.at
            for name in names[survey.point[subject]]
        )
        self.fails = tuple(
            (str(row.aspect), row.subject, row.place)
            for row in rows
            if row.working is Working.FAULT
        )


def _pins(survey: Survey) -> Iterator[Fact]:
    """Return the wired pins of parts that are more than a lead, a resistor or a capacitor."""
    for part in survey.circuit.parts:
        if part.kind != "socket" and KINDS[part.kind].form in _PINNED:
            for terminal, _ in part.pins:
                yield PIN, part.name, terminal
