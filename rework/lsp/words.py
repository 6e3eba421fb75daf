"""The words of a file with the part each plays: names, terminals, kinds, values, statements."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from rework.circuit.kinds import KINDS, Form, Kind
from rework.language.leading_words import ROLES, SETTINGS
from rework.language.nouns import NO_NOUN, kind_named, noun_in
from rework.lsp.scan import KEYWORDS, FileKind, Statement, Token, statements, tokens_of
from rework.rules.syntax import STARTS
from rework.rules.verbs import MEANS


class WordRole(StrEnum):
    """What a word is in its statement."""

    KEYWORD = "keyword"
    PART = "part"
    NODE = "node"
    TERMINAL = "terminal"
    WINDING = "winding"
    KIND = "kind"
    TYPE = "type"
    VALUE = "value"
    WORD = "word"  # said of a part: carbon, slow, three-pin
    PORT = "port"
    FILE = "file"
    TEXT = "text"
    REMARK = "remark"
    RULE = "rule"
    PARAMETER = "parameter"
    ARGUMENT = "argument"  # what a job hands a rule, or where a reading was taken
    VARIABLE = "variable"
    CONDITION = "condition"


@dataclass(frozen=True, slots=True)
class ScannedWord:
    """One word: its role, text and place (lines and columns from 0, ``end`` one past it).

    ``of`` is what it belongs to: the part of a terminal, the rule of a parameter, the file of a
    port. ``defines`` marks the word that defines a name, ``struck`` one behind a #.
    """

    role: WordRole
    text: str
    line: int
    start: int
    end: int
    of: str = ""
    defines: bool = False
    struck: bool = False


def words_of(text: str, kind: FileKind) -> tuple[ScannedWord, ...]:
    """Return the words of a file in its order."""
    return tuple(word for statement in statements(text, kind) for word in words_in(statement, kind))


def words_in(statement: Statement, kind: FileKind) -> Iterator[ScannedWord]:
    """Yield the words of one statement."""
    if statement.tokens:
        yield from _READERS[kind](statement.tokens)
    if statement.comment is not None:
        yield from _in_remark(statement.comment, kind)


def word_at(words: Iterable[ScannedWord], line: int, column: int) -> ScannedWord | None:
    """Return the word that a place is in or right behind; the one it is in, where there are two."""
    near = [word for word in words if word.line == line and word.start <= column <= word.end]
    inside = [word for word in near if column < word.end]
    return next(iter(inside or near), None)


def _word(token: Token, role: WordRole, *, of: str = "", defines: bool = False) -> ScannedWord:
    return ScannedWord(role, token.text, token.line, token.start, token.end, of, defines)


#: A part or a join that is kept behind a #, as ``rework new`` writes what is usual.
_KEPT = re.compile(r"#\s*(?=[A-Za-z][\w+/-]*\s+[a-z][^:]*:\s*\S|join\s+\S)")


def _in_remark(comment: Token, kind: FileKind) -> Iterator[ScannedWord]:
    """Yield the remark; of a part line behind a #, its words."""
    match = _KEPT.match(comment.text) if kind is FileKind.CIRCUIT else None
    if match is None:
        yield _word(comment, WordRole.REMARK)
        return
    shift = comment.start + match.end()
    tokens = [
        replace(token, line=comment.line, start=token.start + shift, end=token.end + shift)
        for token in tokens_of(comment.text[match.end() :], kind)
    ]
    named = kind_named(tuple(token.text for token in tokens[1:3]))[0]
    if not named and tokens[0].text != "join":
        yield _word(comment, WordRole.REMARK)
        return
    for word in _circuit(tuple(tokens)):
        yield replace(word, struck=True, defines=False)


# a circuit


def _circuit(tokens: tuple[Token, ...]) -> Iterator[ScannedWord]:
    first, rest = tokens[0], tokens[1:]
    match first.text:
        case "circuit" | "mains":
            yield _word(first, WordRole.KEYWORD)
            yield from map(_value_or_text, rest)
        case "attach":
            yield from _attach(tokens, WordRole.NODE)
        case "port":
            yield _word(first, WordRole.KEYWORD)
            for head, tail in _connections(rest):
                yield from (_word(token, WordRole.PORT, defines=True) for token in head)
                yield from _nodes(tail)
        case word if word in KEYWORDS[FileKind.CIRCUIT]:
            yield _word(first, WordRole.KEYWORD)
            yield from _nodes(token for token in rest if token.type not in _SIGNS)
        case _:
            yield from _part(tokens)


#: Terminals of the grammar that are signs.
_SIGNS = frozenset(
    {"COMMA", "EQUAL", "COLON", "CHAIN", "ALTERNATIVE", "STRAY", "LPAR", "RPAR", "MINUS"}
)


def _part(tokens: tuple[Token, ...]) -> Iterator[ScannedWord]:
    name, rest = tokens[0], tokens[1:]
    colon = next((i for i, token in enumerate(rest) if token.type == "COLON"), len(rest))
    yield _word(name, WordRole.PART, defines=True)
    head = rest[:colon]
    noun = noun_in(tuple(token.text for token in head)) or NO_NOUN
    kind = KINDS.get(noun.kind)
    yield from (_word(token, WordRole.KIND) for token in head[: noun.end])
    yield from _head(head[noun.end :], kind)
    for before, after in _connections(rest[colon + 1 :]):
        yield from _connection(before, after, kind, name.text)


def _head(tokens: Sequence[Token], kind: Kind | None) -> Iterator[ScannedWord]:
    """Yield the words between kind and colon."""
    before = ""
    for token in tokens:
        if token.type == "STRING":
            role = WordRole.TYPE if before == "type" else WordRole.TEXT
            yield _word(token, role)
        elif before in ("on", "mates", "ganged"):
            yield _word(token, WordRole.PART)
        elif (before == "type" or (kind is not None and kind.name == "tube" and not before)) and (
            token.text != "unlisted"
        ):
            yield _word(token, WordRole.TYPE)
        elif token.text in SETTINGS or token.text in ROLES:
            yield _word(token, WordRole.KEYWORD)
        elif token.type in ("VALUE", "NUMBER"):
            yield _word(token, WordRole.VALUE)
        elif token.type not in _SIGNS:
            yield _word(token, WordRole.TYPE if before == "unlisted" else WordRole.WORD)
        before = token.text if token.text in (*SETTINGS, "unlisted") else "-"
        if token.text == "unlisted" and kind is not None and kind.name != "tube":
            before = "-"


def _connections(
    tokens: Sequence[Token],
) -> Iterator[tuple[tuple[Token, ...], tuple[Token, ...]]]:
    """Yield what is before and after ``=`` of each connection, all after where there is none."""
    current: list[Token] = []
    for token in (*tokens, None):
        if token is not None and token.type != "COMMA":
            current.append(token)
            continue
        equal = next((i for i, token in enumerate(current) if token.type == "EQUAL"), None)
        if equal is None:
            yield (), tuple(current)
        else:
            yield tuple(current[:equal]), tuple(current[equal + 1 :])
        current = []


def _connection(
    before: tuple[Token, ...], after: tuple[Token, ...], kind: Kind | None, part: str
) -> Iterator[ScannedWord]:
    wound = kind is not None and kind.form in (Form.WINDINGS, Form.CORES)
    if not before and after and after[0].text == "unused":
        yield _word(after[0], WordRole.KEYWORD)
        yield from (_word(token, WordRole.TERMINAL, of=part) for token in _single(after[1:]))
        return
    if not before and wound and not any(token.type == "CHAIN" for token in after):
        before, after = after, ()
    for index, token in enumerate(before):
        if index == 0:
            role = WordRole.WINDING if wound else WordRole.TERMINAL
            yield _word(token, role, of=part)
        elif token.type in ("VALUE", "NUMBER"):
            yield _word(token, WordRole.VALUE)
        elif token.type not in _SIGNS:
            yield _word(token, WordRole.KEYWORD if token.text in ROLES else WordRole.WORD)
    yield from _nodes(after)


def _single(tokens: Iterable[Token]) -> Iterator[Token]:
    """Yield the pins of ``unused 1 2 A``, of which the last two look like a value."""
    for token in tokens:
        for match in re.finditer(r"\S+", token.text):
            start = token.start + match.start()
            yield replace(token, text=match.group(), start=start, end=start + len(match.group()))


def _nodes(tokens: Iterable[Token]) -> Iterator[ScannedWord]:
    """Yield nodes; ``PART.terminal`` is two words."""
    for token in tokens:
        if token.type == "STRING":
            yield _word(token, WordRole.TEXT)
        elif token.type not in _SIGNS:
            yield from named_place(_word(token, WordRole.NODE))


def named_place(word: ScannedWord) -> tuple[ScannedWord, ...]:
    """Return a word that names a node as it is; ``PART.terminal`` as part and terminal."""
    part, dot, terminal = word.text.partition(".")
    if not dot:
        return (word,)
    middle = word.start + len(part)
    return (
        replace(word, role=WordRole.PART, text=part, end=middle),
        replace(word, role=WordRole.TERMINAL, text=terminal, start=middle + 1, of=part),
    )


def _value_or_text(token: Token) -> ScannedWord:
    return _word(token, WordRole.TEXT if token.type == "STRING" else WordRole.VALUE)


def _attach(tokens: tuple[Token, ...], role: WordRole) -> Iterator[ScannedWord]:
    """Yield the words of ``attach "FILE" as NAME : PORT=NODE``, the nodes in a role."""
    yield _word(tokens[0], WordRole.KEYWORD)
    colon = next((i for i, token in enumerate(tokens) if token.type == "COLON"), len(tokens))
    file = ""
    for token in tokens[1:colon]:
        if token.type == "STRING":
            file = token.text.strip('"')
            yield _word(token, WordRole.FILE)
        elif token.text == "as":
            yield _word(token, WordRole.KEYWORD)
        else:
            yield _word(token, WordRole.PORT, of="")
    for before, after in _connections(tokens[colon + 1 :]):
        yield from (_word(token, WordRole.PORT, of=file) for token in before)
        if role is WordRole.NODE:
            yield from _nodes(after)
        else:
            yield from (_word(token, role) for token in after if token.type not in _SIGNS)


# a job


def _job(tokens: tuple[Token, ...]) -> Iterator[ScannedWord]:
    first, rest = tokens[0], tokens[1:]
    if first.text == "attach":
        yield from _attach(tokens, WordRole.ARGUMENT)
        return
    yield _word(first, WordRole.KEYWORD)
    match first.text:
        case "apply":
            yield from _apply(rest)
        case "circuit" | "prices":
            yield from (_word(token, WordRole.FILE) for token in rest if token.type == "STRING")
        case "reading":
            yield from (_word(token, WordRole.ARGUMENT) for token in rest[:1])
            yield from (_value_or_text(token) for token in rest[1:] if token.type not in _SIGNS)
        case _:
            yield from (_value_or_text(token) for token in rest if token.type not in _SIGNS)


def _apply(tokens: Sequence[Token]) -> Iterator[ScannedWord]:
    rule = tokens[0].text if tokens else ""
    yield from (_word(token, WordRole.RULE) for token in tokens[:1])
    for before, after in _connections(tokens[2:]):
        yield from (_word(token, WordRole.PARAMETER, of=rule) for token in before)
        for token in after:
            if token.type == "STRING":
                yield _word(token, WordRole.TEXT)
            elif token.type in ("VALUE", "NUMBER"):
                yield _word(token, WordRole.VALUE)
            elif token.type not in _SIGNS:
                yield _word(token, WordRole.ARGUMENT, of=before[0].text if before else "")


# a rule


def _rule(tokens: tuple[Token, ...]) -> Iterator[ScannedWord]:
    first, rest = tokens[0], tokens[1:]
    keyword = first.text if first.type in ("WORD", "NOT", "ELSE") else ""
    if keyword in STARTS or keyword in MEANS:
        yield _word(first, WordRole.KEYWORD)
        if keyword in ("for", "find"):
            yield from (_word(token, WordRole.KEYWORD) for token in rest[:1])
            rest = rest[1:]
        elif keyword == "rule":
            yield from (_word(token, WordRole.RULE, defines=True) for token in rest[:1])
            return
        elif keyword == "with":
            yield from _with(rest)
            return
    else:
        rest = tokens
    plain = WordRole.CONDITION if keyword in ("where", "need") else WordRole.WORD
    yield from _terms(rest, plain)


def _with(tokens: Sequence[Token]) -> Iterator[ScannedWord]:
    for before, after in _connections(tokens):
        if before:
            yield from (_word(token, WordRole.PARAMETER, defines=True) for token in before)
            yield from (_word(token, WordRole.WORD) for token in after if token.type not in _SIGNS)
        else:
            yield from (_word(token, WordRole.PARAMETER, defines=True) for token in after)


def _terms(tokens: Sequence[Token], plain: WordRole) -> Iterator[ScannedWord]:
    """Yield the words of a pattern, a condition or an edit."""
    index = 0
    while index < len(tokens):
        token = tokens[index]
        name, _, count = kind_named(tuple(token.text for token in tokens[index : index + 2]))
        if name and token.type == "WORD" and plain is WordRole.WORD:
            yield from (_word(token, WordRole.KIND) for token in tokens[index : index + count])
            index += count
            continue
        index += 1
        role = {
            "VARIABLE": WordRole.VARIABLE,
            "PARAMETER": WordRole.PARAMETER,
            "VALUE": WordRole.VALUE,
            "NUMBER": WordRole.VALUE,
            "STRING": WordRole.TEXT,
            "AND": WordRole.KEYWORD,
            "OR": WordRole.KEYWORD,
            "NOT": WordRole.KEYWORD,
            "ELSE": WordRole.KEYWORD,
        }.get(token.type, plain)
        if token.type not in _SIGNS:
            yield _word(token, role)


_READERS = {FileKind.CIRCUIT: _circuit, FileKind.JOB: _job, FileKind.RULE: _rule}
