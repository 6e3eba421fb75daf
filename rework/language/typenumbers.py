"""Type numbers of tubes and other parts, as the head of a part line states them."""

from __future__ import annotations

from lark import Token

from rework.language.head import Report
from rework.language.syntax import PartLine


def tube_type(
    line: PartLine, rest: tuple[Token, ...], report: Report
) -> tuple[str, bool, tuple[Token, ...]]:
    """Return the type number of a tube, whether it is said to be unlisted, and the rest of the
    head; an empty type after reporting.
    """
    from rework.tubes import library

    unlisted = bool(rest) and rest[0] == "unlisted"
    if unlisted:
        rest = rest[1:]
    if len(rest) > 1 and rest[0] == "type":
        rest = rest[1:]
    if not rest:
        report(
            line.head[0],
            f"{line.name} is a tube without a type",
            expected="a type such as 12AU6",
            hint="write the type after the word tube",
        )
        return "", False, ()
    if rest[0] == "tube":
        report(
            rest[0],
            "the word tube is there twice",
            expected="a type such as 12AU6",
            hint="remove one",
        )
        return "", False, ()
    if (
        not unlisted
        and len(rest) > 1
        and rest[0].type == "NUMBER"
        and rest[1].type == "WORD"
        and library.find(type_ := f"{rest[0]}{rest[1]}")
    ):
        report(
            rest[0],
            "a tube's type is one word",
            expected="a type such as 12AU6",
            hint=f"write {type_}",
        )
        return type_, False, rest[2:]
    return word_of(rest[0]), unlisted, rest[1:]


def word_of(token: Token) -> str:
    """Return a type number: ``10V`` and ``10 V`` are one, and quotation marks are no part of it."""
    return str(token)[1:-1] if token.type == "STRING" else "".join(token.split())
