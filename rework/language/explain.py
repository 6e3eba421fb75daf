"""Where a statement cannot be read, what a person most likely meant there."""

from __future__ import annotations

import re
import unicodedata

from lark import Token
from lark.exceptions import UnexpectedCharacters, UnexpectedInput

from rework.language.job_mistakes import JOB_MISTAKES
from rework.language.mistakes import MISTAKES, nearest
from rework.language.quantity import begun
from rework.language.stumble import Explanation, Stumble

_WORDS = {
    "WORD": "a name",
    "NUMBER": "a number",
    "VALUE": "a value such as 220k or 6.3 V",
    "TYPE": "a type such as 12AU6",
    "STRING": 'a remark between two "',
    "CHAIN": "--",
    "COMMA": "a comma",
    "COLON": "a colon",
    "EQUAL": "=",
    "$END": "the end of the line",
}


def explain(
    error: UnexpectedInput, code: str, start: str, keywords: tuple[str, ...]
) -> tuple[Token | None, Explanation]:
    """Return the token to point at and the mistake in words, for a statement that lark could not
    read.
    """
    position = _position(error, code)
    names = ("allowed", "accepts", "expected")
    accepted: frozenset[str] = frozenset(
        next((given for name in names if (given := getattr(error, name, None))), ())
    )
    at = Stumble(code, code[position:], code[:position], accepted, start)
    token = _token(code, position)
    first = code.split(None, 1)[0] if code.split() else ""
    if start == "part" and ":" not in code and (near := nearest(first, keywords)):
        return _token(code, code.find(first)), Explanation(
            f"{first} is no statement",
            "a part, or one of " + ", ".join(keywords),
            f"did you mean {near}?",
        )
    strange = _strange_letter(at.rest)
    if strange:
        return token, strange
    for mistake in (*MISTAKES, *JOB_MISTAKES):
        if mistake.applies(at):
            return _token(code, position - _digits_before(at)), mistake.told(at)
    wanted = sorted({_WORDS[name] for name in accepted if name in _WORDS})
    seen = re.match(r"\S+", at.rest)
    message = f"{seen.group()} is not expected here" if seen else "the line ends too soon"
    near = begun(seen.group()) if seen else ""
    return token, Explanation(message, " or ".join(wanted), f"did you mean {near}?" if near else "")


def _position(error: UnexpectedInput, code: str) -> int:
    if isinstance(error, UnexpectedCharacters):
        position = getattr(error, "pos_in_stream", None)  # the library types it as None
        return position if isinstance(position, int) else len(code)
    token = getattr(error, "token", None)
    if not isinstance(token, Token) or token.type == "$END" or token.start_pos is None:
        return len(code)
    return token.start_pos


def _digits_before(at: Stumble) -> int:
    """Return how many characters before the place belong to one word of numbers (20-20)."""
    number = re.search(r"[0-9.]+$", at.before)
    joined = at.start == "part" and ":" not in at.before and re.match(r"[-+/][0-9.]", at.rest)
    return len(number.group()) if joined and number else 0


def _token(code: str, position: int) -> Token:
    line = code.count("\n", 0, position) + 1
    column = position - (code.rfind("\n", 0, position) + 1) + 1
    width = len(match.group()) if (match := re.match(r"[\w.+/-]+|.", code[position:])) else 1
    return Token(
        "AT", code[position : position + width], position, line, column, line, column + width
    )


def _strange_letter(rest: str) -> Explanation | None:
    """Name a letter that is not plain: Greek and Cyrillic capitals look like ours and are not."""
    letter = rest[:1]
    if (
        not letter
        or letter.isascii()
        or not (letter.isalpha() or unicodedata.category(letter) in ("Cf", "Zs", "Nd"))
    ):
        return None
    name = unicodedata.name(letter, f"U+{ord(letter):04X}").lower()
    return Explanation(
        f"this is {name} (U+{ord(letter):04X}), which names cannot hold",
        "plain letters A to Z, digits, _ + - /",
        "type the letter again on a plain keyboard layout",
    )
