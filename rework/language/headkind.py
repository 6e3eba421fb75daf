"""The kind of a part: the words of a head that name it, and what is meant where none does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from lark import Token

from rework.circuit.kinds import KINDS, Kind
from rework.language.head import Report, read_cached
from rework.language.mistakes import nearest
from rework.language.nouns import noun_in, type_alone
from rework.language.quantity import QuantityError
from rework.language.reader import CIRCUIT_KEYWORDS
from rework.language.spellings import OFTEN_MEANT, regulator
from rework.language.syntax import PartLine

#: First words of kinds of two words. No part can be called so, nor like a kind: ``output
#: transformer : ...`` would be a part named "output" of another kind.
HALF_KINDS = frozenset(name.split()[0] for name in KINDS if " " in name)


def kind_of(line: PartLine, report: Report) -> tuple[Kind | None, tuple[Token, ...], bool]:
    """Return the kind of a part, the rest of its head, and whether that kind is as it is written.

    A kind that is only misspelled is reported and read as it was meant, so that what else is wrong
    with the line is reported too (``Doubt`` where that does not fit).
    """
    head = line.head
    if _has_no_kind(line, report):
        return None, (), False
    noun = noun_in(tuple(map(str, head)))
    if noun is not None and noun.end > 1 and str(line.name).isalpha() and head[0].isdigit():
        report(
            line.name,
            f"the name {line.name} {head[0]} has a blank in it",
            expected="NAME KIND VALUES : CONNECTIONS",
            hint=f"write {line.name}{head[0]}",
        )
        return None, (), False
    if noun is not None:
        words = tuple(Token.new_borrow_pos("WORD", word, head[0]) for word in noun.said)
        return KINDS[noun.kind], (*words, *(head[at] for at in noun.kept), *head[noun.end :]), True
    for count in (1, 2):  # V1 50C5, V1 ECC 83
        typed = Token.new_borrow_pos(head[0].type, "".join(map(str, head[:count])), head[0])
        if len(head) >= count and (known := _known_type(typed)) is not None:
            return KINDS[known.kind], (*known.said(typed), *head[count:]), True
    word = str(head[0])
    if head[0].type == "STRING":
        report(
            line.name,
            f"{line.name} is no statement",
            expected="a part, or one of " + ", ".join(CIRCUIT_KEYWORDS),
            near=partial(nearest, str(line.name), CIRCUIT_KEYWORDS),
        )
        return None, (), False
    if (missing := _kind_by_value(head[0])) is not None:
        report(
            head[0],
            f"{line.name} has values and no kind",
            expected="NAME KIND VALUES : CONNECTIONS",
            hint=f"write {line.name} {missing.name} {' '.join(map(str, head))}",
        )
        return missing, head, False
    both = " ".join(map(str, head[:2])).lower()
    other = OFTEN_MEANT.get(both) or OFTEN_MEANT.get(word.lower(), "")
    # a word that is said of some kind is no misspelled kind: the kind itself is missing
    said = other or " or ".join(name for name, kind in KINDS.items() if word in kind.words)
    misspelled = "" if said else nearest(word.lower(), (name for name in KINDS if " " not in name))
    report(
        head[0],
        f"there is no kind of part called {word}",
        expected="a kind that rework kinds lists",
        near=lambda: said or misspelled,
    )
    return (KINDS[misspelled], head[1:], False) if misspelled else (None, (), False)


def _has_no_kind(line: PartLine, report: Report) -> bool:
    """Report a line with a kind and no name, or a name and nothing behind it; return whether it is
    one.
    """
    if line.name in KINDS or line.name in HALF_KINDS:
        report(
            line.name,
            "this part has a kind but no name",
            expected="NAME KIND VALUES : CONNECTIONS",
            hint=f"put a name before {line.name}",
        )
        return True
    if not line.head:
        report(
            line.name,
            f"{line.name} has no kind",
            expected="NAME KIND VALUES : CONNECTIONS",
            hint="write what it is, such as resistor, tube or wire",
        )
    return not line.head


@dataclass(frozen=True, slots=True)
class _TypeAlone:
    """The kind of a part of which a line names the type alone, and the words behind that kind."""

    kind: str
    words: tuple[str, ...]

    def said(self, token: Token) -> Iterator[Token]:
        """Yield the words as if they were written at ``token``; the type is that token."""
        for word in self.words:
            yield token if word == token else Token.new_borrow_pos("WORD", word, token)


def _known_type(token: Token) -> _TypeAlone | None:
    """Return what a line means that names the type of a part and not what it is, as in ``V1 50C5``;
    None where the type does not tell.
    """
    if typed := type_alone(token):
        kind, *words = typed.split()
        return _TypeAlone(kind, tuple(words))
    if regulator(token) is not None:
        return _TypeAlone("gas regulator", (str(token),))
    if token.type not in ("TYPE", "WORD"):
        return None
    from rework.tubes import library

    known = library.is_known(token) or library.without_basing(token) is not None
    return _TypeAlone("tube", (str(token),)) if known else None


#: What a part is, most likely, of which only a value is said, by its dimension.
_BY_VALUE = {"resistance": "resistor", "capacitance": "capacitor", "inductance": "choke"}


def _kind_by_value(token: Token) -> Kind | None:
    """Return the kind that a value at the beginning of a head is of, most likely; None for any
    other word.
    """
    if token.type == "NUMBER" and float(token) < 1:
        return KINDS["capacitor"]  # .047
    if token.type != "VALUE":
        return None
    for dimension, kind in _BY_VALUE.items():
        try:
            if read_cached(str(token), bare=dimension).dimension == dimension:
                return KINDS[kind]
        except QuantityError:
            continue
    return None
