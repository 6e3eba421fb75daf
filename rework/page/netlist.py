"""The files of a job as the page shows them beside the drawing: every line with the parts and nodes
it names, and what is wrong with it in its place.

A file has ``name``, ``seen`` (a hash of its bytes) and ``lines``; a line ``number``, ``parts`` (by
full name), ``step`` (of the job, 0 for none), ``tokens`` and ``problems``. A token is a text, what
it is (``part``, ``node``, ``rule``, ``note`` or nothing) and its full name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.page.board import Plain
from rework.papers.record import digest
from rework.rules.run import JobRun

#: A comment, words in quotes, a value or type number (as in grammar/tokens.lark, by its first
#: digit), a name, or what lies between.
_TOKEN = re.compile(
    r'#.*|"[^"\n]*"?|[0-9.][\w./+]*|[A-Za-z_][\w+./]*(?:-(?!-)[\w+./]+)*#?|[^\w"#.]+|.'
)
#: Longer files are shown as far as this.
MOST_LINES = 5000


@dataclass(frozen=True)
class _Names:
    """What the words of one file may name; ``prefix`` is what its circuit was attached as."""

    prefix: str
    circuits: tuple[Circuit, ...]
    rules: frozenset[str]

    def of(self, word: str, *, pin: bool) -> tuple[str, str]:
        """Return what a word is and its full name; ``pin`` where a node is meant before a part."""
        whole = f"{self.prefix}/{word}" if self.prefix else word
        kinds = ["part", "node"]
        for kind in reversed(kinds) if pin else kinds:
            if any(whole in (c.by_name if kind == "part" else c.at) for c in self.circuits):
                return kind, whole
        name, _, terminal = whole.partition(".")
        for circuit in self.circuits:
            part = circuit.part(name)
            if part is not None and terminal:
                node = part.node(terminal)
                return ("node", node) if node else ("part", name)
        return ("rule", word) if word in self.rules else ("", "")


def netlist(files: Sequence[Path], run: JobRun | None, problems: Sequence[Problem]) -> list[Plain]:
    """Return the files of a job; ``run`` is the last one that came to its end, which says what the
    lines name.
    """
    unique = dict.fromkeys(file.resolve() for file in files)
    by_line = _by_line(problems)
    return [_file(path, run, by_line) for path in unique if path.is_file()]


def _by_line(problems: Sequence[Problem]) -> Mapping[tuple[Path, int], list[Problem]]:
    by_line: dict[tuple[Path, int], list[Problem]] = {}
    for problem in problems:
        if problem.place is not None:
            at = Path(problem.place.file).resolve(), problem.place.line
            by_line.setdefault(at, []).append(problem)
    return by_line


def _file(
    path: Path, run: JobRun | None, problems: Mapping[tuple[Path, int], list[Problem]]
) -> Plain:
    data = path.read_bytes()
    text = data.decode("utf-8", errors="replace").split("\n")[:MOST_LINES]
    parts, steps = _on_lines(path, run)
    names = _names(path, run)
    lines: list[Plain] = []
    here: list[str] = []
    for number, line in enumerate(text, 1):
        if number in parts or not line.startswith((" ", "\t")):
            here = parts.get(number, [])
        lines.append(
            {
                "number": number,
                "parts": here,
                "step": steps.get(number, 0),
                "tokens": _tokens(line, names),
                "problems": [_shown(problem) for problem in problems.get((path, number), ())],
            }
        )
    return {"name": path.name, "seen": digest(data), "lines": lines}


def _names(path: Path, run: JobRun | None) -> _Names:
    if run is None:
        return _Names("", (), frozenset())
    circuits = (run.after, run.before)
    prefix = next(
        (
            part.name.rpartition("/")[0]
            for circuit in reversed(circuits)
            for part in circuit.parts
            if part.place and Path(part.place.file).resolve() == path
        ),
        "",
    )
    rules = frozenset(getattr(taken.step, "rule", "") for taken in run.taken)
    return _Names(prefix, circuits, rules)


def _on_lines(path: Path, run: JobRun | None) -> tuple[dict[int, list[str]], dict[int, int]]:
    """Return the parts and the step of the job that each line of a file states."""
    parts: dict[int, list[str]] = {}
    steps: dict[int, int] = {}
    if run is None:
        return parts, steps
    for circuit in (run.before, run.after):
        for part in circuit.parts:
            if part.place and Path(part.place.file).resolve() == path:
                on = parts.setdefault(part.place.line, [])
                if part.name not in on:
                    on.append(part.name)
    for number, taken in enumerate(run.taken, 1):
        if Path(taken.step.place.file).resolve() == path:
            steps[taken.step.place.line] = number
    return parts, steps


def _tokens(line: str, names: _Names) -> list[list[str]]:
    tokens: list[list[str]] = []
    after_colon = False
    for match in _TOKEN.finditer(line.rstrip("\r")):
        text = match[0]
        if text.startswith(("#", '"')):
            tokens.append([text, "note", ""])
        elif text[0].isalpha() or text[0] == "_":
            kind, name = names.of(text, pin=after_colon)
            tokens.append([text, kind, name])
        else:
            after_colon = after_colon or ":" in text
            tokens.append([text, "", ""])
    return tokens


def _shown(problem: Problem) -> Plain:
    place = problem.place
    before = problem.text[: place.column - 1] if place else ""
    blank = "".join(letter if letter == "\t" else " " for letter in before)
    return {
        "severity": problem.severity,
        "caret": blank + "^" * max(1, (place.end - place.column) if place else 1),
        "message": problem.message,
        "expected": problem.expected,
        "remedy": problem.hint,
    }
