"""The answer of ``compare``."""

from __future__ import annotations

from dataclasses import dataclass

from rework.commands.answers.change import Changes, changes_answer
from rework.commands.answers.check import Check, check_answer
from rework.compare.built import AsBuilt
from rework.compare.entries import PartChange
from rework.compare.sentences import OtherNames
from rework.safety.findings import Report


@dataclass(frozen=True, slots=True)
class WiredSet:
    """The set as wired against the plan: ``changes`` from plan to set, and what does not count:
    values ``within`` their tolerance, ratings ``better`` than planned, and what only one file
    states (``unstated``). ``check`` is the mains check of the set as wired.
    """

    as_planned: bool
    changes: Changes
    within: tuple[PartChange, ...]
    better: tuple[PartChange, ...]
    unstated: tuple[PartChange, ...]
    check: Check


def wired_answer(built: AsBuilt, names: OtherNames, report: Report) -> WiredSet:
    """Return the answer of a set held against its plan."""
    return WiredSet(
        built.is_as_planned,
        changes_answer(built.difference, names),
        built.within,
        built.better,
        built.unstated,
        check_answer(report),
    )
