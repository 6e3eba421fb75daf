"""Where something is in a text file, and what is wrong there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Severity = Literal["error", "caution"]


@dataclass(frozen=True, slots=True)
class Place:
    """A stretch of one line of a file.

    Lines and columns count from 1; ``end`` is one past the last character.
    """

    file: str
    line: int
    column: int
    end: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One mistake in one place, reported so that it can be fixed.

    ``message`` says what is wrong, ``expected`` what would have been right, ``hint`` what to write
    instead, ``text`` is the line itself. An ``error`` stops the work (exit status 2); a ``caution``
    does not.
    """

    message: str
    place: Place | None = None
    text: str = ""
    expected: str = ""
    hint: str = ""
    severity: Severity = "error"

    def at(self, place: Place, text: str) -> Problem:
        """Return the same problem with its place filled in, unless it already has one."""
        return self if self.place else replace(self, place=place, text=text)


def errors(problems: tuple[Problem, ...]) -> tuple[Problem, ...]:
    """Return the problems that stop the work."""
    return tuple(problem for problem in problems if problem.severity == "error")
