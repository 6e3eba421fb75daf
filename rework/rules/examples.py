"""The ``example`` sections at the end of a rule file."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from rework.circuit.place import Place
from rework.language.reader import Line, Problems
from rework.rules.rule import Example

_BEGINS = re.compile(r"\s*example(\s|$)")


def parted(text: str) -> tuple[str, int]:
    """Return the text before the first ``example`` line, and the number of lines in it."""
    lines = text.split("\n")
    for index, line in enumerate(lines):
        if _BEGINS.match(line):
            return "\n".join(lines[:index]), index
    return text, len(lines)


@dataclass
class _Open:
    """An example while its lines are read."""

    line: Line
    arguments: tuple[tuple[str, str], ...]
    parts: dict[str, list[str]] = field(default_factory=dict)
    refusal: str | None = None
    into: list[str] | None = None

    def is_whole(self) -> bool:
        outcomes = [self.refusal is not None, "after" in self.parts, "nothing" in self.parts]
        return "before" in self.parts and sum(outcomes) == 1

    def closed(self, file: str) -> Example:
        after = "\n".join(self.parts["after"]) + "\n" if "after" in self.parts else None
        before = "\n".join(self.parts["before"]) + "\n"
        return Example(
            self.arguments, before, after, self.refusal, Place(file, self.line.number, 1, 8)
        )


def read_examples(text: str, start: int, problems: Problems) -> Iterator[Example]:
    """Yield the examples from line ``start`` on.

    Each has its arguments, then ``before`` and one of ``after``, ``refuses "..."`` and ``nothing``;
    mistakes are reported.
    """
    example: _Open | None = None
    for number, raw in enumerate(text.split("\n")[start:], start + 1):
        line = Line(number, (raw,), raw, "")
        bare = raw.strip()
        if _BEGINS.match(raw):
            yield from _close(example, problems)
            example = _Open(line, _arguments(bare))
        elif not bare or bare.startswith("#"):
            if example is not None and example.into is not None and not bare:
                example.into.append(bare)
        elif example is not None:
            _take(example, line, bare, problems)
    yield from _close(example, problems)


def _arguments(line: str) -> tuple[tuple[str, str], ...]:
    words = line.split(None, 1)
    pairs = (pair.partition("=") for pair in (words[1].split(",") if len(words) > 1 else ()))
    return tuple((name.strip(), value.strip()) for name, _, value in pairs)


def _take(example: _Open, line: Line, bare: str, problems: Problems) -> None:
    if bare in ("before", "after", "nothing"):
        example.into = example.parts.setdefault(bare, [])
    elif refused := re.fullmatch(r'refuses\s+"([^"]*)"', bare):
        example.refusal = refused[1]
    elif example.into is not None:
        example.into.append(bare)
    else:
        problems.add(line, None, "this is ahead of the word before", expected="before")


def _close(example: _Open | None, problems: Problems) -> Iterator[Example]:
    if example is None:
        return
    if example.is_whole():
        yield example.closed(problems.file)
    else:
        problems.add(
            example.line,
            None,
            "this example is not whole",
            expected='before, and one of after, refuses "..." and nothing',
        )
