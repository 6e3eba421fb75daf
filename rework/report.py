"""Problems and tables as text for a terminal and as JSON.

The renderers add nothing to what they are given.
"""

from __future__ import annotations

import codecs
import os
import sys
import unicodedata
from collections.abc import Iterable, Sequence

from rework.circuit.place import Problem

#: More problems than this are counted, not listed.
MOST_LISTED = 200
_LONGEST_LINE = 160
#: What stands for a letter that the terminal has not.
_PLAIN = {
    "µ": "u",
    "μ": "u",
    "Ω": "ohm",
    "…": "...",
    "–": "-",
    "—": "-",
    "−": "-",
    "±": "+-",
    "×": "x",
    "→": "->",
    "²": "2",
    "°": "deg",
    "·": ".",
    "“": "'",
    "”": "'",
    "‘": "'",
    "’": "'",
    "\N{REPLACEMENT CHARACTER}": "?",
}
_STYLES = {"bold": "1", "red": "31;1", "yellow": "33;1", "green": "32;1", "dim": "2"}


def tolerate_any_letter() -> None:
    """Let the terminal's streams write what their encoding has no letter for: as a plain one, else
    as its number, valid in JSON too.
    """
    codecs.register_error("rework", _in_plain_letters)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="rework")


def _in_plain_letters(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    units = (letter.encode("utf-16-be", "surrogatepass").hex() for letter in missing)
    numbers = (
        "".join(rf"\u{code[at : at + 4]}" for at in range(0, len(code), 4)) for code in units
    )
    return (
        "".join(
            _PLAIN.get(letter, number) for letter, number in zip(missing, numbers, strict=True)
        ),
        error.end,
    )


def styled(text: str, style: str, *, stream=None) -> str:
    """Return text in a terminal style, or plain where the stream is no terminal or NO_COLOR is set."""
    stream = stream or sys.stdout
    if os.environ.get("NO_COLOR") or not getattr(stream, "isatty", lambda: False)():
        return text
    return f"\x1b[{_STYLES[style]}m{text}\x1b[0m"


def problem_text(problem: Problem, *, stream=None) -> str:
    """Return one problem: where and what, the line with a caret under the place, what was expected,
    what to write.
    """
    where = f"{printable(str(problem.place))}: " if problem.place else ""
    style = "red" if problem.severity == "error" else "yellow"
    rows = [
        f"{where}{styled(problem.severity, style, stream=stream)}: {printable(problem.message)}"
    ]
    if problem.place and problem.text.strip():
        rows += _pointed(problem)
    if problem.expected:
        rows.append(f"    expected: {printable(problem.expected)}")
    if problem.hint:
        rows.append(f"    remedy:   {printable(problem.hint)}")
    return "\n".join(rows)


def _pointed(problem: Problem) -> list[str]:
    """Return the line and the caret under it, tabs as eight columns and wide letters as two."""
    column, end, text = problem.place.column - 1, problem.place.end - 1, problem.text
    start = max(0, column - _LONGEST_LINE // 2) if len(text) > _LONGEST_LINE else 0
    text, column, end = text[start : start + _LONGEST_LINE], column - start, end - start
    before = printable(text[:column].expandtabs(8))
    marked = printable(text[column:end]) or " "
    shown = printable(text.expandtabs(8))
    return [f"    {shown}", "    " + " " * _width(before) + "^" * max(1, _width(marked))]


def _width(text: str) -> int:
    return sum(
        (
            0
            if unicodedata.combining(letter)
            else 2
            if unicodedata.east_asian_width(letter) in "WF"
            else 1
        )
        for letter in text
    )


def printable(text: str) -> str:
    """Return text of one line without anything that would steer a terminal or break the line."""
    return (
        text
        if text.isprintable()
        else "".join(
            letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in text
        )
    )


def problems_text(problems: Sequence[Problem], *, stream=None) -> str:
    """Return all problems, and how many more there are beyond the first two hundred."""
    shown = [problem_text(problem, stream=stream) for problem in problems[:MOST_LISTED]]
    if len(problems) > MOST_LISTED:
        shown.append(f"... and {len(problems) - MOST_LISTED} more")
    return "\n\n".join(shown)


def problems_json(problems: Iterable[Problem]) -> list[dict]:
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


def table(rows: Sequence[Sequence[str]], *, gap: str = "  ") -> str:
    """Return rows of cells as aligned columns."""
    widths = (
        [
            max(_width(row[column]) for row in rows if column < len(row))
            for column in range(max(map(len, rows)))
        ]
        if rows
        else []
    )
    return "\n".join(
        gap.join(cell + " " * (widths[i] - _width(cell)) for i, cell in enumerate(row)).rstrip()
        for row in rows
    )


def progress(label: str, total: int):
    """Return a bar on stderr with ``update(n)`` and ``close()``, also a context manager; silent
    before two seconds and off a terminal.
    """
    from tqdm import tqdm

    return tqdm(
        total=total,
        desc=label,
        delay=2.0,
        leave=False,
        file=sys.stderr,
        disable=not sys.stderr.isatty(),
        ascii=bool(os.environ.get("NO_COLOR")),
        dynamic_ncols=True,
    )
