"""The head of a part line, before the colon: its kind, and the values, words and settings that kind
may have.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache, partial

from lark import Token
from lark.exceptions import UnexpectedInput

from rework.circuit.kinds import KINDS, Kind
from rework.circuit.parts import Value
from rework.circuit.switches import style_named
from rework.language.mistakes import a_or_an, nearest
from rework.language.quantity import EXAMPLES, UNITS, QuantityError, meant, read_value
from rework.language.reader import CIRCUIT_KEYWORDS
from rework.language.syntax import PartLine, parse_part

#: Words before a value that say which of a part's values it is.
ROLES = {
    "dcr": "resistance",
    "load": "resistance",
    "at": "fraction",
    "peak": "voltage",
    "cold": "resistance",
    "hot": "resistance",
    "leakage": "inductance",
    "drop": "voltage",
    "to-primary": "capacitance",
    "to-core": "capacitance",
}
#: Settings: words that take another word after them.
SETTINGS = ("on", "mates", "ganged", "class", "type", "in")
#: Safety classes of capacitors on the mains (IEC 60384-14), as ``class`` takes them.
CLASSES = ("X1", "X2", "Y1", "Y2")
#: Kinds whose type number people write without the word ``type``.
_SEMICONDUCTORS = ("diode", "selenium", "bridge")
#: What people also call a kind, for the hint only.
OTHER_NAMES = {
    "valve": "tube",
    "condenser": "capacitor",
    "cap": "capacitor",
    "potentiometer": "pot",
    "control": "pot",
    "inductor": "choke",
    "rectifier": "diode",
    "socket-outlet": "connector",
    "xfmr": "transformer",
    "opt": "output transformer",
    "lead": "wire",
    "cable": "shielded cable",
    "ground": "earth",
    "bulb": "lamp",
    "isolation": "transformer",
    "loudspeaker": "speaker",
    "mic": "microphone",
    "ntc": "thermistor",
}
#: First words of kinds of two words. No part can be called so, nor like a kind: ``output
#: transformer : ...`` would be a part named "output" of another kind.
HALF_KINDS = frozenset(name.split()[0] for name in KINDS if " " in name)

#: Called with the token at fault, the message, and ``expected``, ``hint`` and ``near`` by name.
Report = Callable[..., None]

read_cached = lru_cache(maxsize=8192)(read_value)


def kind_of(line: PartLine, report: Report) -> tuple[Kind | None, tuple[Token, ...], bool]:
    """Return the kind of a part, the rest of its head, and whether that kind is as it stands there.

    A kind that is only misspelled is told and read as it was meant, so that what else is wrong with
    the line is told too.
    """
    head = line.head
    if line.name in KINDS or line.name in HALF_KINDS:
        report(
            line.name,
            "this part has a kind but no name",
            expected="NAME KIND VALUES : CONNECTIONS",
            hint=f"put a name before {line.name}",
        )
        return None, (), False
    if not head:
        report(
            line.name,
            f"{line.name} has no kind",
            expected="NAME KIND VALUES : CONNECTIONS",
            hint="write what it is, such as resistor, tube or wire",
        )
        return None, (), False
    if len(head) > 1 and head[0] in HALF_KINDS and (two := f"{head[0]} {head[1]}") in KINDS:
        return KINDS[two], head[2:], True
    if head[0] in KINDS:
        return KINDS[head[0]], head[1:], True
    word = str(head[0])
    if head[0].type == "STRING":
        report(
            line.name,
            f"{line.name} is no statement",
            expected="a part, or one of " + ", ".join(CIRCUIT_KEYWORDS),
            near=partial(nearest, str(line.name), CIRCUIT_KEYWORDS),
        )
        return None, (), False
    other = OTHER_NAMES.get(word.lower(), "")
    # a word that is said of some kind is no misspelled kind: the kind itself is missing
    said = other or any(word in kind.words for kind in KINDS.values())
    misspelled = "" if said else nearest(word.lower(), (name for name in KINDS if " " not in name))
    report(
        head[0],
        f"there is no kind of part called {word}",
        expected="one of " + ", ".join(sorted(KINDS)),
        near=lambda: other or misspelled,
    )
    return (KINDS[misspelled], head[1:], False) if misspelled else (None, (), False)


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


@dataclass(frozen=True, slots=True)
class Attributes:
    """What the head of a part says behind its kind."""

    values: tuple[Value, ...] = ()
    words: tuple[str, ...] = ()
    settings: tuple[tuple[str, Token], ...] = ()


def attributes(kind: Kind, rest: tuple[Token, ...], report: Report) -> Attributes:
    """Return the values, words and settings of a head.

    A unit that is spelled in another way is told and read as it was meant. After a strange word for
    which nothing near is known nothing more is told: the rest is often no more than its rest ("47
    omh").
    """
    return _Head(kind, rest, report).read()


class _Head:
    """Reads the words of one head, the first unread one taken off ``tokens`` at a time.

    ``lost`` is true once a word was met that cannot be understood.
    """

    def __init__(self, kind: Kind, rest: tuple[Token, ...], report: Report) -> None:
        self.kind, self._report = kind, report
        self.tokens = deque(rest)
        self.values: list[Value] = []
        self.words: list[str] = []
        self.settings: list[tuple[str, Token]] = []
        self.lost = False

    def tell(self, token: Token, message: str, **more: object) -> None:
        if not self.lost:
            self._report(token, message, **more)

    def read(self) -> Attributes:
        last: Token | None = None
        while self.tokens:
            token = self.tokens.popleft()
            self._take(token, last)
            last = token
        return Attributes(tuple(self.values), tuple(self.words), tuple(self.settings))

    def _take(self, token: Token, last: Token | None) -> None:
        kind = self.kind
        if token.type == "VALUE" or _is_marked(token, kind.dimensions):
            self._value(token)
        elif self._is_misspelled(kind.dimensions, token):
            pass
        elif token in SETTINGS and token in kind.settings and kind.name != "tube":
            self._setting(token)
        elif token in UNITS and last is not None and last.type == "VALUE":
            self.tell(
                token,
                f"the unit {token} is apart from its value",
                expected=_wanted(kind.name, kind.dimensions),
                hint=f"write {last}{token}",
            )
        elif token.type == "NUMBER":
            self._value(token)
        elif token in kind.words or (kind.is_switch and style_named(token) is not None):
            self.words.append(str(token))
        elif token in ROLES:
            self._role(token)
        else:
            near = _strange_word(kind, token, self.tell)
            self.lost = self.lost or not near

    def _value(self, token: Token) -> None:
        _add_value(self.kind.name, self.kind.dimensions, token, "", self.values, self.tell)

    def _argument(self, token: Token, what: str, expected: str) -> Token | None:
        """Return the word after a word that needs one, or None after reporting its absence."""
        following = self.tokens.popleft() if self.tokens else None
        if following is not None and following not in SETTINGS and following not in ROLES:
            return following
        self.tell(token, f"the word {token} needs {what} after it", expected=expected)
        self.lost = True
        return None

    def _role(self, token: Token) -> None:
        dimension = ROLES[token]
        following = self._argument(token, "a value", EXAMPLES[dimension])
        if following is None or self._is_misspelled((dimension,), following):
            return
        count = len(self.values)
        _add_value(self.kind.name, (dimension,), following, str(token), self.values, self.tell)
        self.lost = self.lost or (following.type == "WORD" and len(self.values) == count)

    def _setting(self, token: Token) -> None:
        following = self._argument(token, "a name", f"{token} NAME")
        if following is None:
            return
        if any(name == token for name, _ in self.settings):
            self.tell(
                token,
                f"the word {token} is there twice",
                expected="one of each",
                hint="remove one",
            )
        else:
            self.settings.append((str(token), following))

    def _is_misspelled(self, dimensions: tuple[str, ...], token: Token) -> bool:
        written = _with_unit(self.kind, token, self.tokens)
        return _is_misspelled(self.kind.name, dimensions, token, written, self.tell)


def read_lost_head(code: str, report: Report) -> None:
    """Report what is wrong with the head of a part line that can be read as far as ``code`` only.

    Where it can be read to its colon that is the whole head, else a misspelled kind.
    """
    before, colon, _ = code.partition(":")
    first = re.match(r"\s*\S+\s+([A-Za-z]+)(?=\s)", before)
    if first is None or (
        not colon and (first[1] in {*KINDS, *HALF_KINDS} or not nearest(first[1].lower(), KINDS))
    ):
        return
    try:
        line = parse_part(f"{before if colon else first.group()} :")
    except UnexpectedInput:
        return
    kind, rest, _ = kind_of(line, report)
    if kind is not None and colon:
        if kind.name == "tube":
            _, _, rest = tube_type(line, rest, report)
        attributes(kind, rest, report)


def _with_unit(kind: Kind, token: Token, following: deque[Token]) -> str:
    """Return a token; a number with the word behind it, unless that says something about the kind.

    The word is then taken off.
    """
    if token.type != "NUMBER" or not following or following[0].type != "WORD":
        return str(token)
    if following[0] in kind.words or following[0] in kind.settings or following[0] in ROLES:
        return str(token)
    return f"{token} {following.popleft()}"


def _is_misspelled(
    what: str, dimensions: tuple[str, ...], token: Token, written: str, report: Report
) -> bool:
    """Report a value of which the unit is misspelled or unknown; return whether it was one."""
    spelled = meant(written) if token.type in ("NUMBER", "TYPE") else ""
    if not spelled and written == token:
        return False
    message = (
        f"the unit of {written} is spelled in another way"
        if spelled
        else f"{written} has no unit that is known here"
    )
    report(
        token,
        message,
        expected=_wanted(what, dimensions),
        hint=f"did you mean {spelled}?" if spelled else "",
    )
    return True


def _is_marked(token: Token, dimensions: tuple[str, ...]) -> bool:
    """True for a value in IEC 60062 marking that looks like a name: R47 on a resistor, p10 or n47
    on a capacitor.
    """
    letters = "R" if "resistance" in dimensions else "pnu" if "capacitance" in dimensions else ""
    return token[0] in letters and token.type == "WORD" and token[1:].isdigit()


def _strange_word(kind: Kind, token: Token, report: Report) -> bool:
    """Report a word that is not a word for a kind; return whether a near one is known that was
    probably meant.
    """
    known = sorted(kind.words | kind.settings)
    if token.type == "STRING":
        report(
            token,
            "a remark is before the colon",
            expected="the remark at the end of the line",
            hint="move it behind the connections",
        )
        return False
    if "class" in kind.settings and token.upper() in CLASSES:
        near = f"class {token.upper()}"
    elif token.type == "TYPE" and kind.name in _SEMICONDUCTORS:
        near = f"type {token}"
    else:
        near = nearest(str(token), known)
    report(
        token,
        f"{token} is not a word for {a_or_an(kind.name)}",
        near=lambda: near,
        hint='put further words into a remark between two " at the end of the line',
        expected="a value, or one of " + ", ".join(known) if known else "a value",
    )
    return bool(near)


def _add_value(
    what: str,
    dimensions: tuple[str, ...],
    token: Token,
    role: str,
    values: list[Value],
    report: Report,
) -> None:
    wanted = partial(_wanted, what, dimensions)
    try:
        value = read_cached(str(token), bare=dimensions[0] if dimensions else "", role=role)
    except QuantityError as error:
        ohms = token.type == "NUMBER" and dimensions and dimensions[0] == "resistance"
        report(
            token, str(error), expected=wanted(), hint=f"for ohms write {token} ohm" if ohms else ""
        )
        return
    if value.dimension not in dimensions:
        report(
            token,
            f"{token} is {a_or_an(value.dimension.replace('-', ' '))}, which {a_or_an(what)} does"
            " not have",
            expected=wanted(),
        )
    elif values and any(old.dimension == value.dimension and old.role == role for old in values):
        report(
            token,
            f"{token} is a second {value.dimension.replace('-', ' ')} on one {what}",
            expected="one of each",
            hint="remove one",
        )
    else:
        values.append(value)


def _wanted(what: str, dimensions: Iterable[str]) -> str:
    return (
        " or ".join(EXAMPLES[dimension] for dimension in dimensions)
        or f"no value: {a_or_an(what)} takes none"
    )
