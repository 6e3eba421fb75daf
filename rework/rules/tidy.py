"""A circuit, job or rule file put in order: blanks, indentation, columns. No word of it changes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from rework.circuit.place import Problem, errors
from rework.language.job import read_job
from rework.language.reader import GOES_ON, cut_comment, split
from rework.language.writer import tidy
from rework.rules.reader import read_rule
from rework.rules.syntax import STARTS

#: Words of a rule that stand under its name, and those that stand under an example.
_CLAUSES = frozenset(STARTS) - {"rule"} | {"example"}
_OUTCOMES = ("before", "after", "refuses", "nothing")
#: After these a pattern or an edit stands on each line.
_OPENS = ("find", "for", "once", "unless", "then")
_STEP = 2
#: Marks with their blanks, outside quotation marks.
_SPACED = (
    (re.compile(r"\s+"), " "),
    (re.compile(r" ?, ?"), ", "),
    (re.compile(r" ?-- ?"), " -- "),
    (re.compile(r" ?: ?"), " : "),
    (re.compile(r" ?= ?"), "="),
)


def tidied(text: str, file: str) -> tuple[str | None, tuple[Problem, ...]]:
    """Return the text of a file in order, or None and the problems that prevent it.

    What kind of file it is, its name says: ``.job``, ``.rule``, else a circuit. Comments, the order
    of lines and the way each value is written stay. Doing it twice changes nothing.
    """
    if file.endswith(".job"):
        problems = read_job(text.encode(), file=file)[1]
        return None if errors(problems) else _tidy_job(text), problems
    if file.endswith(".rule"):
        problems = read_rule(text.encode(), file=file)[1]
        return None if errors(problems) else _tidy_rule(text), problems
    return tidy(text, file)


def _tidy_job(text: str) -> str:
    """Return a job with even spacing; comments beside the steps of a block are in one column."""
    rows: list[tuple[str, str]] = []
    for line in split(text):
        first, *rest = line.lines
        rows.append(_row(first, ""))
        rows += [_row(more, " " * 2 * _STEP) for more in rest]
    out: list[str] = []
    for has_code, run in groupby(rows, lambda row: bool(row[0])):
        block = list(run)
        out += _beside(block) if has_code else [comment for _, comment in block]
    return _joined(out)


def _row(line: str, indent: str) -> tuple[str, str]:
    code, comment = cut_comment(line)
    spaced = _spaced(code)
    return (indent + spaced if spaced else ""), comment.strip()


def _beside(rows: list[tuple[str, str]]) -> list[str]:
    """Return lines with their comments in one column, right of the longest line that has one."""
    column = max((len(code) for code, comment in rows if comment), default=0)
    return [f"{code:<{column}}  {comment}" if comment else code for code, comment in rows]


def _tidy_rule(text: str) -> str:
    """Return a rule with each statement under what it belongs to and its patterns in columns."""
    out: list[str] = []
    patterns: list[str] = []
    circuit: list[str] = []
    in_patterns = in_circuit = False

    def close() -> None:
        out.extend(" " * 2 * _STEP + row for row in _columns(patterns))
        out.extend(" " * 3 * _STEP + row for row in _circuit(circuit))
        patterns.clear()
        circuit.clear()

    for line in text.split("\n"):
        code, comment = cut_comment(line)
        word = code.split(None, 1)[0] if code.strip() else ""
        if in_circuit and word not in (*_OUTCOMES, "example", "rule"):
            circuit.append(line.strip())
            continue
        if in_patterns and word and word not in _CLAUSES and word not in ("and", "or", "else"):
            patterns.append(line.strip())
            continue
        close()
        depth = 0 if word in ("rule", "") else _depth(word)
        spaced = _clause(code)
        out.append(" " * depth + "  ".join(filter(None, (spaced, comment.strip()))))
        in_circuit = word in ("before", "after")
        in_patterns = word in _OPENS or (in_patterns and word in ("", "and", "or", "else"))
    close()
    return _joined(out)


def _depth(word: str) -> int:
    """Return how far a statement is indented."""
    return _STEP if word in _CLAUSES else 2 * _STEP


def _clause(code: str) -> str:
    """Return a statement of a rule; its parameters have blanks round ``=``, its text a column."""
    word, _, rest = code.strip().partition(" ")
    spaced = _spaced(code)
    if word == "with":
        return re.sub(r"=", " = ", spaced)
    return f"why  {_spaced(rest)}" if word == "why" else spaced


def _columns(rows: Iterable[str]) -> Iterator[str]:
    """Yield patterns and edits; patterns that follow one another are in columns."""
    split_rows = [_PatternRow.of(row) for row in rows]
    goes_on = False
    for is_pattern, run in groupby(split_rows, lambda row: row.is_pattern):
        block = list(run)
        names, heads = (
            max((len(getattr(row, field)) for row in block), default=0)
            for field in ("name", "head")
        )
        for row in block:
            code = (
                f"{row.name:<{names}}  {row.head:<{heads}} : {row.ends}" if is_pattern else row.code
            )
            yield " " * 2 * _STEP * goes_on + "  ".join(filter(None, (code, row.comment)))
            goes_on = row.code.endswith(GOES_ON)


@dataclass(frozen=True, slots=True)
class _PatternRow:
    """A pattern or an edit with its comment; of a pattern its columns."""

    code: str
    comment: str
    name: str = ""
    head: str = ""
    ends: str = ""

    @classmethod
    def of(cls, row: str) -> _PatternRow:
        code, comment = cut_comment(row)
        spaced, comment = _spaced(code), comment.strip()
        before, colon, after = spaced.partition(" : ")
        ends = ", ".join(
            end.replace("=", " = ") if "--" in end else end for end in after.split(", ")
        )
        name, _, head = before.partition(" ")
        if not colon or not name.startswith(("?", "{")) or ends.endswith(GOES_ON):
            return cls(f"{before}{colon}{ends}", comment)
        return cls(spaced, comment, name, head, ends)

    @property
    def is_pattern(self) -> bool:
        return bool(self.ends)


def _circuit(rows: list[str]) -> list[str]:
    """Return the lines of a circuit in an example, in order as those of a file; as they are where
    they cannot be read by themselves.
    """
    written, _ = tidy("\n".join(rows) + "\n", "example")
    return rows if written is None else written.splitlines()


def _spaced(code: str) -> str:
    """Return code with even blanks; what is between quotation marks stays."""
    pieces = re.split(r'("[^"]*")', code.strip())
    for place in range(0, len(pieces), 2):
        for mark, even in _SPACED:
            pieces[place] = mark.sub(even, pieces[place])
    return "".join(pieces).strip()


def _joined(rows: list[str]) -> str:
    """Return lines as a text: no blank lines at its ends, never two together."""
    rows = [row.rstrip() for row in rows]
    while rows and not rows[0]:
        rows.pop(0)
    while rows and not rows[-1]:
        rows.pop()
    return "".join(f"{row}\n" for index, row in enumerate(rows) if row or rows[index - 1])
