"""Problems as text with a caret under the place, and as plain values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, TextIO

from rework.circuit.place import Place, Problem
from rework.report.terminal import printable, styled, width

#: More problems than this are counted, not listed.
MOST_LISTED = 200
_LONGEST_LINE = 160


def problem_text(problem: Problem, *, stream: TextIO | None = None) -> str:
    """Return one problem: where and what, the line with a caret under the place, what was expected,
    what to write.
    """
    where = f"{printable(str(problem.place))}: " if problem.place else ""
    style = "red" if problem.severity == "error" else "yellow"
    rows = [
        f"{where}{styled(problem.severity, style, stream=stream)}: {printable(problem.message)}"
    ]
    if problem.place and problem.text.strip():
        rows += _pointed(problem.place, problem.text)
    if problem.expected:
        rows.append(f"    expected: {printable(problem.expected)}")
    if problem.hint:
        rows.append(f"    remedy:   {printable(problem.hint)}")
    return "\n".join(rows)


def _pointed(place: Place, text: str) -> list[str]:
    """Return the line and the caret under it, tabs as eight columns and wide letters as two."""
    column, end = place.column - 1, place.end - 1
    start = max(0, column - _LONGEST_LINE // 2) if len(text) > _LONGEST_LINE else 0
    text, column, end = text[start : start + _LONGEST_LINE], column - start, end - start
    before = printable(text[:column].expandtabs(8))
    marked = printable(text[column:end]) or " "
    shown = printable(text.expandtabs(8))
    return [f"    {shown}", "    " + " " * width(before) + "^" * max(1, width(marked))]


def problems_text(problems: Sequence[Problem], *, stream: TextIO | None = None) -> str:
    """Return all problems, and how many more there are beyond the first two hundred."""
    shown = [problem_text(problem, stream=stream) for problem in problems[:MOST_LISTED]]
    if len(problems) > MOST_LISTED:
        shown.append(f"... and {len(problems) - MOST_LISTED} more")
    return "\n\n".join(shown)


def problems_json(problems: Iterable[Problem]) -> list[dict[str, Any]]:
    """Return problems as plain values: message, file, line, column, end, text, expected, hint,
    severity.
    """
    return [
        {
            "message": printable(p.message),
            "file": printable(p.place.file) if p.place else "",
            "line": p.place.line if p.place else 0,
            "column": p.place.column if p.place else 0,
            "end": p.place.end if p.place else 0,
            "text": printable(p.text),
            "expected": printable(p.expected),
            "hint": printable(p.hint),
            "severity": p.severity,
        }
        for p in problems
    ]
