"""The shapes of a rule file's statements as lark reads them, before any name has a meaning."""

from __future__ import annotations

from functools import cache

from lark import Lark, Token, Transformer

from rework.language.syntax import grammar_folder
from rework.rules.rule import Term

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


class _Shapes(Transformer):
    """Turns what lark matched into tuples and rule values while parsing."""

    def titled(self, children):
        return tuple(children)

    headline = passes = bare = parameters = titled

    def parameter(self, children):
        return children[0], (children[1:] or None)

    def pattern(self, children):
        ends = children.pop() if type(children[-1]) is list else []
        return tuple(children), ends

    def ends(self, children):
        return list(children)

    def named(self, children):
        return children[0], children[1:]

    def chained(self, children):
        return (), [child for child in children if child.type != "CHAIN"]

    def choice(self, children):
        return tuple(child for child in children if child.type != "ALTERNATIVE")

    def phrase(self, children):
        return tuple(children)

    def denied(self, children):
        return "not", children[1]

    def all_of(self, children):
        return "and", [child for child in children if not isinstance(child, Token)]

    def any_of(self, children):
        return "or", [child for child in children if not isinstance(child, Token)]

    def where(self, children):
        return tuple(children)

    def need(self, children):
        return children[0], children[1], children[3]

    def action(self, children):
        return tuple(children)


@cache
def rule_parser() -> Lark:
    """Return the parser of rule statements; it is built once, on first use."""
    text = (grammar_folder() / "rule.lark").read_text(encoding="utf-8")
    return Lark(
        text,
        parser="lalr",
        start=[*sorted(set(STARTS.values())), "pattern", "action"],
        maybe_placeholders=False,
        transformer=_Shapes(),
        import_paths=[str(grammar_folder())],
    )


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
