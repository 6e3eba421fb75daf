"""The head of a part line, before the colon: the values, words and settings that its kind may
have.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache, partial

from lark import Token

from rework.circuit import taps
from rework.circuit.kinds import Kind, Law
from rework.circuit.parts import Value
from rework.circuit.switches import style_named
from rework.language.leading_words import ROLES, SETTINGS, roles_of
from rework.language.mistakes import a_or_an
from rework.language.nouns import is_type, kind_named, says_nothing, word_of_kind
from rework.language.quantity import (
    QuantityError,
    bare_dimension,
    is_value,
    mark_is_of,
    meant,
    read_value,
)
from rework.language.questions import coded, is_marked, question, strange_word
from rework.language.spellings import CENTRE_TAPPED, DRAWN_AT, LAMPS
from rework.language.units import EXAMPLES, UNITS

#: Words behind a number that count the poles or the positions of a switch.
_COUNTED = {"pole": "poles", "position": "throws", "way": "throws", "throw": "throws"}
#: What says where a tap of a winding is, and one of a track.
_OF_A_TAP = ("voltage", "turns", "fraction")
_OF_A_TRACK = ("resistance", "fraction")
#: Called with the token at fault, the message, and ``expected``, ``hint`` and ``near`` by name.
Report = Callable[..., None]

read_cached = lru_cache(maxsize=8192)(read_value)


@dataclass(frozen=True, slots=True)
class Attributes:
    """What the head of a part says behind its kind, and whether nothing in it was a mistake."""

    values: tuple[Value, ...] = ()
    words: tuple[str, ...] = ()
    settings: tuple[tuple[str, Token], ...] = ()
    is_whole: bool = True


def attributes(kind: Kind, rest: tuple[Token, ...], report: Report) -> Attributes:
    """Return the values, words and settings of a head.

    A unit that is spelled in another way is reported and read as it was meant. After a strange word
    for which nothing near is known nothing more is reported: the rest is often no more than its
    rest ("47 omh").
    """
    return _Head(kind, rest, report).read()


def _without_inches(rest: tuple[Token, ...]) -> Iterator[Token]:
    """Yield the words of a head in which ``80 in throw1`` is no length of eighty inches."""
    for token in rest:
        number, _, unit = token.partition(" ")
        if token.type == "VALUE" and unit.strip() == "in":
            yield Token.new_borrow_pos("NUMBER", number, token)
            yield Token.new_borrow_pos("WORD", "in", token)
        else:
            yield token


class _Head:
    """Reads the words of one head, the first unread one taken off ``tokens`` at a time.

    ``lost`` is true once a word was met that cannot be understood.
    """

    def __init__(self, kind: Kind, rest: tuple[Token, ...], report: Report) -> None:
        self.kind, self._report = kind, report
        self.unread_value = False
        self.last: Token | None = None
        self.tokens = deque(_without_inches(rest) if "in" in kind.settings else rest)
        self.values: list[Value] = []
        self.words: list[str] = []
        self.settings: list[tuple[str, Token]] = []
        self.lost, self.whole = False, True
        self.counts: dict[str, tuple[int, Token]] = {}

    def tell(self, token: Token, message: str, **more: object) -> None:
        self.whole = False
        if not self.lost:
            self._report(token, message, **more)

    def read(self) -> Attributes:
        while self.tokens:
            token = self.tokens.popleft()
            if not (self.kind.is_switch and self._counted(token)):
                self._take(token)
            self.last = token
        self._style()
        return Attributes(
            tuple(self.values), tuple(map(str, self.words)), tuple(self.settings), self.whole
        )

    def _take(self, token: Token) -> None:
        kind, last = self.kind, self.last
        if self._asked(token) or self._told_alone(token):
            pass
        elif kind.name == "winding" and token.lower() in CENTRE_TAPPED:
            self._tap_at(Token.new_borrow_pos("VALUE", "50%", token))
        elif kind.is_switch and self._drawn(token):
            pass
        elif token.type == "VALUE" or is_marked(token, kind.dimensions):
            self._value(token)
        elif self._is_misspelled(kind.dimensions, token) or self._with_argument(token):
            pass
        elif token in UNITS and last is not None and last.type == "VALUE":
            self.tell(
                token,
                f"the unit {token} is apart from its value",
                expected=_wanted(kind.name, kind.dimensions),
                hint=f"write {last}{token}" if last[-1:].isdigit() or last[-1:] in "kKM" else "",
            )
            self.lost = True
        elif token.type == "NUMBER":
            self._value(token)
        elif (word := self._word(token)) is not None:
            if word not in self.words:
                self.words.append(str(word))
        elif is_type(token, kind) and all(name != "type" for name, _ in self.settings):
            self.settings.append(("type", token))
        elif says_nothing(token, kind):
            pass  # the number of a lamp is read by the caller
        else:
            # behind a value that could not be read, a strange word is often the rest of it
            self.lost = self.lost or self.unread_value
            near = strange_word(kind, token, self.tell)
            self.lost = self.lost or not near

    def _asked(self, token: Token) -> bool:
        """Ask about a word that may mean two things; return whether it is one."""
        asked = question(self.kind, str(token), tuple(map(str, self.tokens)))
        if asked is not None:
            self.tell(token, asked.message, expected=asked.expected, hint=asked.hint)
            self.lost = self.lost or asked.hides
        return asked is not None

    def _told_alone(self, token: Token) -> bool:
        """Take the class of a capacitor or the number of a lamp without the word before it; return
        whether it is one.
        """
        if "class" in self.kind.settings and token.upper() in self.kind.classes:
            class_ = Token.new_borrow_pos("WORD", token.upper(), token)
            self.settings.append(("class", class_))
            return True
        is_number = self.kind.law is Law.LAMP and token in LAMPS
        if is_number:
            self.settings.append(("type", token))
        return is_number

    def _counted(self, token: Token) -> bool:
        """Take a number of poles or positions of a switch, as in ``2 pole 3 position``; return
        whether it is one.
        """
        text, joined, word = str(token).partition("-")
        if not joined:
            word = str(self.tokens[0]) if self.tokens else ""
        what = _COUNTED.get(word.lower().removesuffix("s"))
        if not text.isdigit() or what is None:
            return False
        if not joined:
            self.tokens.popleft()
        self.counts[what] = int(text), token
        return True

    def _style(self) -> None:
        """Put the style of a switch among its words whose poles and positions are counted."""
        if not self.counts:
            return
        poles = self.counts.get("poles", (1, None))[0]
        throws, token = self.counts.get("throws", (0, self.counts[next(iter(self.counts))][1]))
        style = f"{'S' if poles == 1 else poles}P{throws}T"
        if throws > 2 and style_named(style) is not None:
            self.words.append(style)
            return
        letter = {1: "S", 2: "D"}.get(poles, poles)
        self.tell(
            token,
            "the poles and the positions do not say which switch this is",
            expected="poles and throws, as in SPST, DPDT or 2P3T",
            hint=f"write {letter}PST where it is OFF or ON, or {letter}PDT where each pole has two"
            " throws"
            if throws in (0, 2)
            else "",
        )

    def _with_argument(self, token: Token) -> bool:
        """Take a word that needs another one behind it; return whether it is one."""
        kind = self.kind
        if token in SETTINGS and token in kind.settings and kind.name != "tube":
            self._setting(token)
        elif token == taps.ROLE and (kind.name == "winding" or kind.law is Law.MOTOR):
            self._tap(token, _OF_A_TAP)
        elif token in (taps.ROLE, "tapped") and kind.law is Law.TRACK:
            if self.tokens and self.tokens[0] == "at":
                self.tokens.popleft()
            self._tap(token, _OF_A_TRACK)
        elif token in roles_of(kind):
            self._role(token)
        else:
            return False
        return True

    def _word(self, token: Token) -> str | None:
        """Return the word of this kind that a token is, with the one behind it where the two are
        one (``wire wound``); None where it is none.
        """
        if self.tokens and (both := word_of_kind(f"{token}-{self.tokens[0]}", self.kind)):
            self.tokens.popleft()
            return both
        return word_of_kind(token, self.kind)

    def _value(self, token: Token) -> None:
        """Take a value; a unit that is apart from its multiplier belongs to it (``1k ohm``), and a
        bare number on a capacitor is read by the custom of the trade.
        """
        following = self.tokens[0] if self.tokens else None
        if following in UNITS and mark_is_of(token, UNITS[following][0]):
            self.tokens.popleft()  # in 2k2 ohm the letter has said it
        elif token.type == "VALUE" and following in UNITS and following not in self.kind.settings:
            whole = f"{token}{following}".replace("KO", "kO").replace("Ko", "ko")
            if is_value(whole) and read_cached(whole).dimension in self.kind.dimensions:
                self.tokens.popleft()
                token = Token.new_borrow_pos("VALUE", whole, token)
        elif token.type == "NUMBER" and self.kind.law is Law.CAPACITANCE:
            microfarads = self._microfarads(token)
            if microfarads is None:
                return
            token = microfarads
        count = len(self.values)
        _add_value(self.kind.name, self.kind.dimensions, token, "", self.values, self.tell)
        self.unread_value = len(self.values) == count

    def _microfarads(self, token: Token) -> Token | None:
        """Return a bare number on a capacitor in microfarads, or None after asking what it means.

        By custom a number under one, and any number on an electrolytic, is in microfarads; another
        may be in picofarads as well (common practice, no source).
        """
        if any(value.dimension == "capacitance" for value in self.values):
            self.tell(
                token,
                f"{token} has no unit, and the capacitance is stated already",
                expected="a voltage such as 150 V",
                hint=f"write {token} V",
            )
            return None
        if self.kind.polar or float(token) < 1:
            return Token.new_borrow_pos("VALUE", f"{token} uF", token)
        readings = f"{token} pF or {token} uF"
        if code := coded(str(token)):
            readings = f"{token} pF, {token} uF or, by its code of three digits, {code}"
        self.tell(
            token,
            f"{token} on a capacitor may be {readings}",
            expected=EXAMPLES["capacitance"],
            hint=f"write {readings}",
        )
        return None

    def _argument(self, token: Token, what: str, expected: str) -> Token | None:
        """Return the word after a word that needs one, or None after reporting its absence."""
        following = self.tokens.popleft() if self.tokens else None
        if following is not None and following not in SETTINGS and following not in ROLES:
            return following
        hint = f"write {token} {last}" if (last := self.last) and last.type == "VALUE" else ""
        self.tell(token, f"the word {token} needs {what} after it", expected=expected, hint=hint)
        self.lost = True
        return None

    def _role(self, token: Token) -> None:
        dimension = ROLES[token]
        following = self._argument(token, "a value", EXAMPLES[dimension])
        if following is None or self._is_misspelled((dimension,), following):
            return
        count = len(self.values)
        # The only ohms of a choke are those of its wire, with the word or without.
        role = "" if self.kind.law is Law.COIL and token == "dcr" else str(token)
        _add_value(self.kind.name, (dimension,), following, role, self.values, self.tell)
        self.lost = self.lost or (following.type == "WORD" and len(self.values) == count)

    def _tap(self, token: Token, dimensions: tuple[str, ...]) -> None:
        """Take where a tap is; the next one written is the next one in the chain of a winding."""
        following = self._argument(token, "a value", _wanted("tap", dimensions))
        if following is not None and not self._is_misspelled(dimensions, following):
            self._tap_at(following, dimensions)

    def _tap_at(self, following: Token, dimensions: tuple[str, ...] = _OF_A_TAP) -> None:
        number = sum(value.role.startswith(taps.ROLE) for value in self.values) + 1
        _add_value("tap", dimensions, following, taps.role(number), self.values, self.tell)

    def _drawn(self, token: Token) -> bool:
        """Take the position that a switch is drawn in where it is not said by ``in``: open, closed,
        normally closed, at 2; return whether it is one.
        """
        following = str(self.tokens[0]) if self.tokens else ""
        position = DRAWN_AT.get(token.lower()) or DRAWN_AT.get(f"{token} {following}".lower(), "")
        if token == "in" and following in ("position", "pos") and len(self.tokens) > 1:
            token, following = self.tokens.popleft(), str(self.tokens[0])
        if token.lower() in ("at", "position", "pos") and following.isdigit():
            position = f"throw{following}"
        if not position:
            return False
        if token.lower() not in DRAWN_AT:
            self.tokens.popleft()
        self.settings.append(("in", Token.new_borrow_pos("WORD", position, token)))
        return True

    def _setting(self, token: Token) -> None:
        if token == "ganged" and len(self.tokens) > 1 and self.tokens[0] in ("with", "to"):
            self.tokens.popleft()
        following = self._argument(token, "a name", f"{token} NAME")
        if following is None:
            return
        if self.tokens and kind_named((str(following), str(self.tokens[0])))[2] > 1:
            both = f"{following} {self.tokens.popleft()}"
            self.tell(
                following,
                f"{both} is no name of a part",
                expected=f"{token} NAME",
                hint=f"write the name that the {both} has in this file, as in {token} R9",
            )
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
        value = read_cached(str(token), bare=bare_dimension(str(token), dimensions), role=role)
    except QuantityError as error:
        ohms = token.type == "NUMBER" and dimensions and dimensions[0] == "resistance"
        report(
            token, str(error), expected=wanted(), hint=f"for ohms write {token} ohm" if ohms else ""
        )
        return
    if value.dimension == "time" and "inductance" in dimensions:
        value = replace(value, dimension="inductance", amount=value.amount / 3600, text="")
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
