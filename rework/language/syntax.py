"""The shapes of statements as lark reads them, before any name has a meaning.

Words are lark tokens: strings that know their line (counted within the statement), column and end
column.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from zlib import crc32

from lark import Lark, Token, Transformer

from rework.language.kept import kept_file


@dataclass(frozen=True, slots=True)
class Connection:
    """One entry after the colon: the words before ``=``, then the chain of nodes.

    ``3=H1`` has head (3,) and chain (H1,); ``A -- B`` has no head and chain (A, B); ``unused 1 2``
    and a lone node have words and no chain; ``heater 6.3 V = H1 -- HC -- H2`` has a head of two
    words and a chain of three nodes.
    """

    head: tuple[Token, ...]
    chain: tuple[Token, ...]
    equals: bool


@dataclass(frozen=True, slots=True)
class _Ratio:
    """The words between two colons."""

    words: tuple[Token, ...]


@dataclass(frozen=True, slots=True)
class PartLine:
    """One part as written: name, the words and values after it, the connections, and the quoted
    remark.

    ``ratio`` has the words between two colons, as in ``output transformer 2.5k : 4``.
    """

    name: Token
    head: tuple[Token, ...]
    connections: tuple[Connection, ...]
    remark: Token | None
    ratio: tuple[Token, ...] = ()


@dataclass(frozen=True, slots=True)
class ListLine:
    """``touchable A, B``, ``port bplus = B1``, ``open N``, ``join A B``: the word and its nodes."""

    keyword: Token
    connections: tuple[Connection, ...]


@dataclass(frozen=True, slots=True)
class PlainLine:
    """A keyword and the words, values and strings after it: ``mains 117 V 60 Hz``, ``circuit
    "title"``.
    """

    keyword: Token
    words: tuple[Token, ...]


@dataclass(frozen=True, slots=True)
class AttachLine:
    """``attach "supply.circuit" as SUPPLY : bplus=B1``."""

    keyword: Token
    file: Token
    filler: Token
    name: Token
    connections: tuple[Connection, ...]


@dataclass(slots=True)
class _Chain:
    """The nodes behind ``=`` or between ``--``, while a connection is put together."""

    nodes: tuple[Token, ...]
    equals: bool


class _CircuitShapes(Transformer[Token, object]):
    """Turns what lark matched into the values above while parsing, so that no tree is ever built.

    Every method is called for the grammar rule of its name, with what the rule matched.
    """

    def connections(self, children: list[Connection]) -> tuple[Connection, ...]:
        return tuple(children)

    def equals(self, children: list[Token]) -> _Chain:
        return _Chain((children[0],), True)

    def link(self, children: list[Token]) -> _Chain:
        return _Chain((children[1],), False)

    def connection(self, children: list[Token | _Chain]) -> Connection:
        words = tuple(child for child in children if isinstance(child, Token))
        chains = [child for child in children if isinstance(child, _Chain)]
        chain = tuple(node for chain in chains for node in chain.nodes)
        if not chains:
            return Connection(words, (), False)
        if chains[0].equals:
            return Connection(words, chain, True)
        return Connection(words[:-1], (words[-1], *chain), False)

    def ratio(self, children: list[Token]) -> _Ratio:
        return _Ratio(tuple(children))

    def part(self, children: list[Token | _Ratio | tuple[Connection, ...]]) -> PartLine:
        words = [child for child in children if isinstance(child, Token)]
        remark = words.pop() if isinstance(children[-1], Token) and _is_text(words[-1]) else None
        connections = next((child for child in children if isinstance(child, tuple)), ())
        ratio = next((child.words for child in children if isinstance(child, _Ratio)), ())
        return PartLine(words[0], tuple(words[1:]), connections, remark, ratio)

    def nodes(self, children: tuple[Token, tuple[Connection, ...]]) -> ListLine:
        return ListLine(children[0], children[1])

    def plain(self, children: Sequence[Token]) -> PlainLine:
        return PlainLine(children[0], tuple(children[1:]))

    titled = plain

    def attach(self, children: list[Token | tuple[Connection, ...]]) -> AttachLine:
        words = [child for child in children if isinstance(child, Token)]
        ports = next((child for child in children if isinstance(child, tuple)), ())
        return AttachLine(words[0], words[1], words[2], words[3], ports)


def _is_text(token: Token) -> bool:
    return token.type == "STRING"


@dataclass(frozen=True, slots=True)
class Span:
    """Where a word is within its statement: row, first column and end column, all from 1."""

    row: int
    column: int
    end: int


def span(token: Token) -> Span:
    """Return where a token is; one that a parser did not place is at the statement's start."""
    column = token.column or 1
    return Span(token.line or 1, column, token.end_column or column + 1)


def one_list(connections: tuple[Connection, ...]) -> Connection:
    """Return the nodes of a ``join`` line as one entry: ``join A B`` equals ``join A, B``."""
    if len(connections) == 1 or any(connection.chain for connection in connections):
        return next((connection for connection in connections if connection.chain), connections[0])
    return Connection(
        tuple(token for connection in connections for token in connection.head), (), False
    )


def grammar_folder() -> Path:
    """Return the folder of the .lark files: inside the installed package, or beside it in a
    checkout.
    """
    inside = Path(__file__).parent.parent / "grammar"
    return inside if inside.is_dir() else Path(__file__).parent.parent.parent / "grammar"


def parser_of(name: str, starts: Sequence[str], transformer: Transformer[Token, Any]) -> Lark:
    """Return the parser of a grammar of ours, with the rules its statements begin at.

    Its tables are kept in the user's cache folder, for to build them takes ten times as long as to
    read them.
    """
    text = (grammar_folder() / f"{name}.lark").read_text(encoding="utf-8")
    tables = kept_file(f"{name}-{crc32(text.encode()):08x}.tables")
    return Lark(
        text,
        parser="lalr",
        start=list(starts),
        maybe_placeholders=False,
        transformer=transformer,
        import_paths=[str(grammar_folder())],
        cache=str(tables) if tables else False,
    )


@cache
def circuit_parser() -> Lark:
    """Return the parser of circuit statements; it is built once, on first use."""
    starts = ("part", "nodes", "titled", "plain", "attach")
    return parser_of("circuit", starts, _CircuitShapes())


def parse_part(code: str) -> PartLine:
    """Return the shape of a part line.

    Raises
    ------
    lark.exceptions.UnexpectedInput
        Where it is none.
    """
    shape: object = circuit_parser().parse(code, start="part")
    if not isinstance(shape, PartLine):
        raise TypeError(f"{code!r} was read as {type(shape).__name__}")
    return shape
