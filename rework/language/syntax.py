"""The shapes of statements as lark reads them, before any name has a meaning.

Words are lark tokens: strings that know their line (counted within the statement), column and end
column.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from lark import Lark, Token, Transformer


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
class PartLine:
    """One part as written: name, the words and values after it, the connections, and the quoted
    remark.
    """

    name: Token
    head: tuple[Token, ...]
    connections: tuple[Connection, ...]
    remark: Token | None


@dataclass(frozen=True, slots=True)
class ListLine:
    """``touchable A, B``, ``port bplus = B1``, ``open N``, ``join A B``: a keyword and connections."""

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


class CircuitShapes(Transformer):
    """Turns what lark matched into the values above while parsing, so that no tree is ever built."""

    def connections(self, children):
        return tuple(children)

    def equals(self, children):
        return (children[0],)

    def link(self, children):
        return [children[1]]

    def connection(self, children):
        words = [child for child in children if type(child) is Token]
        if len(words) == len(children):
            return Connection(tuple(words), (), False)
        chain = [child[0] for child in children[len(words) :]]
        if type(children[len(words)]) is tuple:
            return Connection(tuple(words), tuple(chain), True)
        return Connection(tuple(words[:-1]), (words[-1], *chain), False)

    def part(self, children):
        remark = (
            children.pop()
            if isinstance(children[-1], Token) and children[-1].type == "STRING"
            else None
        )
        connections = children.pop() if len(children) > 1 and type(children[-1]) is tuple else ()
        return PartLine(children[0], tuple(children[1:]), connections, remark)

    def list(self, children):
        return ListLine(children[0], children[1])

    def plain(self, children):
        return PlainLine(children[0], tuple(children[1:]))

    titled = plain

    def attach(self, children):
        return AttachLine(
            children[0],
            children[1],
            children[2],
            children[3],
            children[4] if len(children) > 4 else (),
        )


def grammar_folder() -> Path:
    """Return the folder of the .lark files: inside the installed package, or beside it in a
    checkout.
    """
    inside = Path(__file__).parent.parent / "grammar"
    return inside if inside.is_dir() else Path(__file__).parent.parent.parent / "grammar"


@cache
def circuit_parser() -> Lark:
    """Return the parser of circuit statements; it is built once, on first use."""
    text = (grammar_folder() / "circuit.lark").read_text(encoding="utf-8")
    return Lark(
        text,
        parser="lalr",
        start=["part", "list", "titled", "plain", "attach"],
        maybe_placeholders=False,
        transformer=CircuitShapes(),
        import_paths=[str(grammar_folder())],
    )
