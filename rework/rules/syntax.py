"""The shapes of a rule file's statements as lark reads them, before any name has a meaning."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, cast

from lark import Lark, Token, Transformer

from rework.language.syntax import parser_of
from rework.rules.rule import Term

if TYPE_CHECKING:
    from collections.abc import Sequence

#: The keywords of a rule file, with the start rule of the grammar that reads each.
STARTS = {
    "rule": "headline",
    "says": "titled",
    "why": "titled",
    "sure": "titled",
    "limits": "titled",
    "with": "parameters",
    "for": "passes",
    "find": "passes",
    "once": "passes",
    "unless": "bare",
    "where": "where",
    "need": "need",
    "then": "bare",
    "caution": "titled",
}


@dataclass(frozen=True, slots=True)
class Words:
    """A statement that is a row of words: a keyword and its text, an edit, a condition."""

    tokens: tuple[Token, ...]


@dataclass(frozen=True, slots=True)
class ParameterLine:
    """``with common = COMMON, gauge``: each name with the words of its default (None: none)."""

    pairs: tuple[tuple[Token, tuple[Token, ...] | None], ...]


@dataclass(frozen=True, slots=True)
class EndShape:
    """One connection of a pattern: the terminals before ``=`` (none: by position), the nodes."""

    terminals: tuple[Token, ...]
    nodes: tuple[Token, ...]


@dataclass(frozen=True, slots=True)
class PatternLine:
    """A part of a pattern: name, kinds and attributes in a row, then its connections."""

    head: tuple[Token, ...]
    ends: tuple[EndShape, ...]


@dataclass(frozen=True, slots=True)
class Denied:
    """``not`` and the condition after it."""

    member: ConditionShape


@dataclass(frozen=True, slots=True)
class Joined:
    """Conditions joined by ``and`` or by ``or``."""

    word: str
    members: tuple[ConditionShape, ...]


@dataclass(frozen=True, slots=True)
class ConditionLine:
    """``where CONDITION``, or ``need CONDITION else "reason"``."""

    condition: ConditionShape
    otherwise: Token | None


ConditionShape = Words | Denied | Joined
Statement = Words | ParameterLine | PatternLine | ConditionLine
_Child = Token | Statement | ConditionShape | EndShape | tuple[EndShape, ...] | tuple[Token, ...]


def _tokens(children: Sequence[_Child]) -> tuple[Token, ...]:
    return tuple(child for child in children if isinstance(child, Token))


def _conditions(children: Sequence[_Child]) -> tuple[ConditionShape, ...]:
    return tuple(child for child in children if isinstance(child, Words | Denied | Joined))


class _Shapes(Transformer[Token, _Child]):
    """Turns what lark matched into the values above while parsing, so that no tree is built."""

    def titled(self, children: list[_Child]) -> Words:
        return Words(_tokens(children))

    headline = passes = bare = action = phrase = titled

    def parameter(self, children: list[_Child]) -> tuple[Token, ...]:
        return _tokens(children)

    def parameters(self, children: list[_Child]) -> ParameterLine:
        pairs = [child for child in children if isinstance(child, tuple)]
        words = [_tokens(pair) for pair in pairs]
        return ParameterLine(tuple((name, tuple(value) or None) for name, *value in words))

    def pattern(self, children: list[_Child]) -> PatternLine:
        ends = [child for child in children if isinstance(child, tuple)]
        end_shapes = tuple(end for group in ends for end in group if isinstance(end, EndShape))
        return PatternLine(_tokens(children), end_shapes)

    def ends(self, children: list[_Child]) -> tuple[EndShape, ...]:
        return tuple(child for child in children if isinstance(child, EndShape))

    def named(self, children: list[_Child]) -> EndShape:
        terminals = [child for child in children if isinstance(child, tuple)]
        return EndShape(_tokens(terminals[0]), _tokens(children))

    def chained(self, children: list[_Child]) -> EndShape:
        nodes = tuple(token for token in _tokens(children) if token.type != "CHAIN")
        return EndShape((), nodes)

    def choice(self, children: list[_Child]) -> tuple[Token, ...]:
        return tuple(token for token in _tokens(children) if token.type != "ALTERNATIVE")

    def denied(self, children: list[_Child]) -> Denied:
        return Denied(_conditions(children)[0])

    def all_of(self, children: list[_Child]) -> ConditionShape:
        members = _conditions(children)
        return members[0] if len(members) == 1 else Joined("and", members)

    def any_of(self, children: list[_Child]) -> ConditionShape:
        members = _conditions(children)
        return members[0] if len(members) == 1 else Joined("or", members)

    def where(self, children: list[_Child]) -> ConditionLine:
        return ConditionLine(_conditions(children)[0], None)

    def need(self, children: list[_Child]) -> ConditionLine:
        return ConditionLine(_conditions(children)[0], _tokens(children)[-1])


@cache
def rule_parser() -> Lark:
    """Return the parser of rule statements; it is built once, on first use."""
    return parser_of("rule", [*sorted(set(STARTS.values())), "pattern", "action"], _Shapes())


def parse_statement(code: str, start: str) -> Statement:
    """Return the shape of one statement, read by one start rule of the grammar.

    Raises ``lark.exceptions.UnexpectedInput`` where it does not fit.
    """
    # lark types a parse as a tree, whatever its transformer makes of it
    return cast("Statement", rule_parser().parse(code, start=start))


def term_of(token: Token) -> Term:
    """Return what one token of a pattern, a condition or an action stands for."""
    text = str(token)
    if token.type == "VARIABLE":
        name, _, pin = text[1:].partition(".")
        return Term("variable", name, pin)
    if token.type == "PARAMETER":
        name, _, pin = text[1:].partition("}")
        return Term("parameter", name, pin.lstrip("."))
    return Term("word", text)
