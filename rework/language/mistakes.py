"""Syntax mistakes told by what the person meant, not by what the parser wanted.

``MISTAKES`` is a table of (when it applies, message, expected, hint, malformed lines); every malformed line is a test.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from lark import Token
from lark.exceptions import UnexpectedCharacters, UnexpectedInput


@dataclass(frozen=True, slots=True)
class Told:
    """A mistake in words."""

    message: str
    expected: str = ""
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Stumble:
    """Where the parser stopped: the whole statement, what stands there, what came before, what would have been taken."""

    code: str
    rest: str
    before: str
    accepted: frozenset[str]


@dataclass(frozen=True, slots=True)
class Mistake:
    """One recognisable mistake, with lines that show it."""

    applies: Callable[[Stumble], bool]
    message: str
    expected: str
    hint: str
    examples: tuple[str, ...]


def _starts(*texts: str) -> Callable[[Stumble], bool]:
    return lambda at: at.rest.startswith(texts)


MISTAKES = (
    Mistake(lambda at: at.rest.startswith('"') and at.rest.count('"') == 1, "a quotation mark is opened and not closed",
            'text between two "', 'put a second " at the end of the remark',
            ('R1 resistor 1k : A -- B "plate load', 'circuit "as found')),
    Mistake(_starts("–", "—", "−", "→", "->", "=>"), "this is not the sign between two nodes",
            "two plain hyphens, as in A -- B", "write -- between the nodes",
            ("R1 resistor 1k : A – B", "R1 resistor 1k : A — B", "R1 resistor 1k : A → B", "R1 resistor 1k : A => B")),
    Mistake(lambda at: at.rest.startswith("-"), "a single hyphen does not join two nodes",
            "two plain hyphens, as in A -- B", "write -- between the nodes", ("R1 resistor 1k : A - B",)),
    Mistake(_starts("‘", "’", "“", "”", "'"), "this quotation mark is not the plain one", 'text between two "',
            'write the remark between two plain " marks', ("R1 resistor 1k : A -- B “plate load”", "R1 resistor 1k : A -- B 'x'")),
    Mistake(_starts(";"), "a semicolon has no meaning here", "a comma between connections", "write a comma",
            ("V1 tube 12AU6 : 1=A; 2=B",)),
    Mistake(lambda at: at.rest.startswith("?") or at.rest.startswith("{"),
            "variables and parameters belong in a rule, not in a circuit", "a plain name", "write the name itself",
            ("R1 resistor 1k : ? -- B",)),
    Mistake(lambda at: at.rest == "" and ":" not in at.code and "__COLON" in _plain(at.accepted),
            "this line has no colon, so nothing says where the part is connected", "NAME KIND VALUES : CONNECTIONS",
            "write a colon and the nodes, as in R1 resistor 220k : B1 -- V1.plate",
            ("R1 resistor 220k", "V1 tube 12AU6", "R1")),
    Mistake(lambda at: at.rest.startswith("--") and ":" not in at.before,
            "the colon before the connections is missing", "NAME KIND VALUES : CONNECTIONS", "write a colon before the first node",
            ("R1 resistor 220k A -- B",)),
    Mistake(lambda at: at.rest.startswith("=") and ":" not in at.before,
            "the colon before the connections is missing", "NAME KIND VALUES : TERMINAL=NODE, ...", "write a colon before the first terminal",
            ("V1 tube 12AU6 1=A, 2=B", "J1 jack tip=IN")),
    Mistake(lambda at: at.rest == "" and at.before.rstrip().endswith("--"), "the second node is missing",
            "a node after --", "name the node at the other end", ("R1 resistor 1k : A --",)),
    Mistake(lambda at: at.rest == "" and at.before.rstrip().endswith("="), "the node is missing",
            "a node after =", "name the node on this terminal, or write unused and the terminal", ("V1 tube 12AU6 : 1=",)),
    Mistake(lambda at: at.rest == "" and at.before.rstrip().endswith(","), "a comma ends the line and nothing follows",
            "another connection", "take the comma out", ("V1 tube 12AU6 : 1=A,",)),
    Mistake(_starts(","), "a comma stands where a connection should be", "a connection between two commas",
            "take one comma out", ("V1 tube 12AU6 : 1=A,, 2=B", "V1 tube 12AU6 : , 1=A")),
    Mistake(lambda at: at.rest.startswith("=") and "=" in at.before, "a second = stands in one connection",
            "TERMINAL=NODE, with a comma between connections", "put a comma before the second terminal",
            ("V1 tube 12AU6 : 1=A 2=B", "V1 tube 12AU6 : 1==A")),
    Mistake(lambda at: "=" in at.before and bool(re.match(r"[\w.+?]", at.rest)), "two connections run into each other",
            "a comma between connections", "put a comma before this word", ("V1 tube 12AU6 : 1=A B, 2=C",)),
    Mistake(_starts(":"), "a second colon stands in one line", "one colon, before the connections",
            "take this colon out", ("R1 resistor 1k : A : B", "R1 : resistor 1k : A -- B")),
    Mistake(lambda at: at.before.strip() == "" and at.rest[:1].isdigit(), "a name cannot begin with a digit",
            "a name that begins with a letter, such as R12", "put a letter in front", ("12R resistor 1k : A -- B", "1 resistor 1k : A -- B")),
)


def _plain(accepted: Iterable[str]) -> frozenset[str]:
    return frozenset("__COLON" if name == "COLON" else name for name in accepted)


_WORDS = {"WORD": "a name", "NUMBER": "a number", "VALUE": "a value such as 220k or 6.3 V", "TYPE": "a type such as 12AU6",
          "STRING": 'a remark between two "', "CHAIN": "--", "COMMA": "a comma", "COLON": "a colon", "EQUAL": "=",
          "$END": "the end of the line"}


def explain(error: UnexpectedInput, code: str, start: str, keywords: tuple[str, ...]) -> tuple[Token | None, Told]:
    """Return the token to point at and the mistake in words, for a statement that lark could not read."""
    position = _position(error, code)
    accepted = frozenset(getattr(error, "allowed", None) or getattr(error, "accepts", None) or getattr(error, "expected", ()))
    at = Stumble(code, code[position:], code[:position], accepted)
    token = _token(code, position)
    first = code.split(None, 1)[0] if code.split() else ""
    if start == "part" and ":" not in code:
        near = difflib.get_close_matches(first, keywords, 1, 0.75)
        if near:
            return _token(code, code.find(first)), Told(f"{first} is no statement", "a part, or one of " + ", ".join(keywords),
                                                        f"did you mean {near[0]}?")
    strange = _strange_letter(at.rest)
    if strange:
        return token, strange
    for mistake in MISTAKES:
        if mistake.applies(at):
            return token, Told(mistake.message, mistake.expected, mistake.hint)
    wanted = sorted({_WORDS[name] for name in accepted if name in _WORDS})
    seen = re.match(r"\S+", at.rest)
    message = f"{seen.group()} cannot stand here" if seen else "the line ends too soon"
    return token, Told(message, " or ".join(wanted), "")


def _position(error: UnexpectedInput, code: str) -> int:
    if isinstance(error, UnexpectedCharacters):
        return error.pos_in_stream
    token = getattr(error, "token", None)
    if token is None or token.type == "$END" or token.start_pos is None:
        return len(code)
    return token.start_pos


def _token(code: str, position: int) -> Token:
    line = code.count("\n", 0, position) + 1
    column = position - (code.rfind("\n", 0, position) + 1) + 1
    width = len(match.group()) if (match := re.match(r"[\w.+/-]+|.", code[position:])) else 1
    return Token("AT", code[position : position + width], position, line, column, line, column + width)


def _strange_letter(rest: str) -> Told | None:
    """Name a letter that is not plain: Greek and Cyrillic capitals look like ours and are not."""
    letter = rest[:1]
    if not letter or letter.isascii() or not (letter.isalpha() or unicodedata.category(letter) in ("Cf", "Zs", "Nd")):
        return None
    name = unicodedata.name(letter, f"U+{ord(letter):04X}").lower()
    return Told(f"this is {name} (U+{ord(letter):04X}), which names cannot hold", "plain letters A to Z, digits, _ + - /",
                "type the letter again on a plain keyboard layout")
