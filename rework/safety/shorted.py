"""Conductors that join two pins of the plug: with the plug in, a short."""

from __future__ import annotations

from collections.abc import Iterator

from rework.circuit.edits import CutConductor, FitPart
from rework.safety.cord import moved_leads, reconnected, rewiring
from rework.safety.findings import Caution, Finding, Remedy
from rework.safety.survey import Survey
from rework.safety.trial import shorts

#: So many wires are tried as the one that makes a short.
_MOST_WIRES = 6


def shorted_line(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every two pins of a plug that conductors, fuses and closed contacts
    join.
    """
    return tuple(
        Caution(
            "line-shorted",
            f"In {plug}, {first} and {second} are joined by conductors, fuses or closed contacts:"
            " with the plug in, that is a short.",
            plug,
            first,
            survey.circuit.by_name[plug].at(first),
            (
                *(tuple(_onto_metal(survey, plug)) or rewiring(survey)),
                *_wires(survey, survey.circuit.by_name[plug].at(first)),
            ),
        )
        for plug, first, second in sorted(shorts(survey))
    )


def _onto_metal(survey: Survey, plug: str) -> Iterator[Remedy]:
    """Yield the far end of each wire from the earth pin put on the chassis, where it is not."""
    earth = survey.circuit.by_name[plug].node("earth")
    chassis = [node for part in survey.of_kind("chassis") for _, node in part.pins]
    for part, near in survey.circuit.at[earth] if earth and chassis else ():
        for far, node in part.pins if part.kind == "wire" else ():
            if far != near and node not in chassis:
                edits = reconnected(part, {far: chassis[0]})
                moved = next(edit.part for edit in edits if isinstance(edit, FitPart))
                yield Remedy(moved_leads(part, moved), edits)


def _wires(survey: Survey, node: str) -> Iterator[Remedy]:
    """Yield the taking out of each wire that is part of a short."""
    rail, tried = survey.rail[node], 0
    for part in survey.of_kind("wire", "trace"):
        ends = [at for _, at in part.pins]
        if tried < _MOST_WIRES and all(survey.rail[end] == rail for end in ends):
            tried += 1
            verb = "Cut trace" if part.kind == "trace" else "Take out wire"
            words = f"{verb} {part.name}: it joins {' to '.join(ends)}."
            yield Remedy(words, (CutConductor(part.name),))
