"""Texts to words with their places, whether or not a statement can be read yet.

The shapes of words are the terminals of the grammar; which part a word plays in a statement follows
from where it is, so that half a line is understood as far as it goes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache

from lark import Lark

from rework.language.job import JOB_KEYWORDS, job_parser
from rework.language.reader import CIRCUIT_KEYWORDS, Line, split
from rework.language.syntax import circuit_parser
from rework.rules.examples import parted
from rework.rules.syntax import STARTS, rule_parser


class FileKind(StrEnum):
    """The kinds of file by their suffix."""

    CIRCUIT = "circuit"
    JOB = "job"
    RULE = "rule"


@dataclass(frozen=True, slots=True)
class Token:
    """One word of a file: its terminal in the grammar, its text, and its place, counted from 0."""

    type: str
    text: str
    line: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement: its words, its remark behind a #, and the first line behind it.

    ``comment`` is a token, or None.
    """

    tokens: tuple[Token, ...]
    comment: Token | None
    line: int
    end: int

    @property
    def keyword(self) -> str:
        """The first word, or an empty text."""
        return self.tokens[0].text if self.tokens else ""


@cache
def _words(kind: FileKind) -> re.Pattern[str]:
    """Return what matches one terminal of a grammar; any other character is one of its own."""
    parsers = {
        FileKind.CIRCUIT: circuit_parser,
        FileKind.JOB: job_parser,
        FileKind.RULE: rule_parser,
    }
    parser: Lark = parsers[kind]()
    terminals = sorted(
        parser.terminals,
        key=lambda terminal: (-terminal.priority, -terminal.pattern.max_width, terminal.name),
    )
    shapes = [f"(?P<{terminal.name}>{terminal.pattern.to_regexp()})" for terminal in terminals]
    return re.compile("|".join([*shapes, r"(?P<STRAY>.)"]))


#: The words that begin a statement of each kind of file.
KEYWORDS = {
    FileKind.CIRCUIT: CIRCUIT_KEYWORDS,
    FileKind.JOB: JOB_KEYWORDS,
    FileKind.RULE: STARTS,
}


def tokens_of(code: str, kind: FileKind, line: int = 0) -> Iterator[Token]:
    """Yield the words of some code, the blanks between them left out."""
    start_of_line, row = 0, line
    for match in _words(kind).finditer(code):
        text, name = match.group(), match.lastgroup or "STRAY"
        if name != "BLANK":
            column = match.start() - start_of_line
            yield Token(name, text, row, column, column + len(text))
        if breaks := text.count("\n"):
            row += breaks
            start_of_line = match.start() + text.rfind("\n") + 1


@lru_cache(maxsize=4096)
def _scanned(code: str, kind: FileKind) -> tuple[Token, ...]:
    return tuple(tokens_of(code, kind))


def statements(text: str, kind: FileKind) -> tuple[Statement, ...]:
    """Return the statements of a file, those without code included; of a rule, what stands before
    its examples.
    """
    if kind is FileKind.RULE:
        text, _ = parted(text)
    starters = () if kind is FileKind.RULE else KEYWORDS[kind]
    return tuple(_statement(line, kind) for line in split(text, starters))


def _statement(line: Line, kind: FileKind) -> Statement:
    first = line.number - 1
    tokens = tuple(
        Token(token.type, token.text, token.line + first, token.start, token.end)
        for token in (_scanned(line.code, kind) if line.code.strip() else ())
    )
    return Statement(tokens, _comment(line), first, first + len(line.lines))


def _comment(line: Line) -> Token | None:
    """Return the remark of a statement of one line, with its place."""
    if not line.comment or len(line.lines) > 1:
        return None
    start = line.lines[0].find(line.comment, len(line.code))
    return Token("COMMENT", line.comment, line.number - 1, start, start + len(line.comment))
