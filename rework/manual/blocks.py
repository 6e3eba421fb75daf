"""What a page of the manual is made of, and reading it from its file.

The files are a small part of Markdown: headings, paragraphs, lists, fenced examples; and a line
``{{name}}`` for a table that the program itself works from.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of level 1 (the page), 2 or 3."""

    level: int
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text; words between backticks are typed or printed as they stand."""

    text: str


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list, numbered or not."""

    items: tuple[str, ...]
    numbered: bool


@dataclass(frozen=True, slots=True)
class ManualExample:
    """An example to be run or read by the tests: ``console``, ``circuit``, ``job``, ``rule``,
    ``text``; ``file`` is the name it is kept under for the commands that follow.
    """

    language: str
    text: str
    file: str = ""


@dataclass(frozen=True, slots=True)
class Rows:
    """A table: its column headings and its rows."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Insert:
    """The place of a table made by the program."""

    name: str


Block = Heading | Paragraph | Bullets | ManualExample | Rows | Insert

_ITEM = re.compile(r"(?:-|(?P<number>\d+)\.) +")
_INSERT = re.compile(r"\{\{([a-z-]+)\}\}\Z")
_FENCE = "```"


def read_blocks(text: str) -> tuple[Block, ...]:
    """Return the blocks of a page. Raises ValueError where an example has no end."""
    return tuple(_blocks(text.splitlines()))


def _blocks(lines: list[str]) -> Iterator[Block]:
    at = 0
    while at < len(lines):
        line = lines[at]
        if not line.strip():
            at += 1
        elif line.startswith(_FENCE):
            end = lines.index(_FENCE, at + 1)
            language, _, file = line.removeprefix(_FENCE).partition(" file=")
            yield ManualExample(language.strip(), "\n".join(lines[at + 1 : end]), file.strip())
            at = end + 1
        elif line.startswith("#"):
            marks, _, words = line.partition(" ")
            yield Heading(len(marks), words)
            at += 1
        elif insert := _INSERT.match(line):
            yield Insert(insert.group(1))
            at += 1
        else:
            end = _end_of_run(lines, at)
            yield _run(lines[at:end])
            at = end


def _end_of_run(lines: list[str], at: int) -> int:
    """Return where a paragraph or a list ends: at an empty line or an example."""
    while at < len(lines) and lines[at].strip() and not lines[at].startswith(_FENCE):
        at += 1
    return at


def _run(lines: list[str]) -> Paragraph | Bullets:
    first = _ITEM.match(lines[0])
    if first is None:
        return Paragraph(" ".join(line.strip() for line in lines))
    items: list[str] = []
    for line in lines:
        begin = _ITEM.match(line)
        if begin is not None:
            items.append(line[begin.end() :].strip())
        else:
            items[-1] += " " + line.strip()
    return Bullets(tuple(items), first.group("number") is not None)
