"""The kind that the head of a part names: its noun, also with words before it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from rework.circuit.kinds import KINDS, Kind, Law
from rework.circuit.switches import style_named
from rework.language.spellings import DUTIES, KIND_NAMES, SILENT, WORDS

#: Names of kinds of two words, which may also be written with a hyphen.
_HYPHENED = frozenset(name for name in (*KINDS, *KIND_NAMES) if " " in name)
#: How many words of a head may stand before its kind.
_BEFORE = 6
_TYPE = re.compile(r"[A-Za-z]{1,4}-?\d+[A-Za-z0-9-]*|\d[A-Za-z]+\d[A-Za-z0-9-]*")
#: Kinds whose type people write without the word ``type``.
TYPED = frozenset(
    (
        "diode",
        "selenium",
        "bridge",
        "zener diode",
        "transistor",
        "optocoupler",
        "thermistor",
        "gas regulator",
        "relay",
        "varistor",
    )
)


@dataclass(frozen=True, slots=True)
class Noun:
    """The kind that the words of a head name, the words its name says of the part, and which of the
    words are its name.

    ``kept`` are the words before the name that say something of the part, by their places; the
    others are duties (``coupling capacitor``).
    """

    kind: str
    said: tuple[str, ...]
    end: int
    kept: tuple[int, ...] = ()


#: Words that name no kind; the first of them stands where one should.
NO_NOUN = Noun("", (), 1)


def noun_in(words: tuple[str, ...]) -> Noun | None:
    """Return the kind that a head names and where, or None where it names none.

    The name may have words before it as in ``paper capacitor`` and ``1 A fuse``, and be said twice
    as in ``bleeder resistor``.
    """
    for start in range(min(len(words), _BEFORE)):
        name, said, count = kind_named(words[start : start + 2])
        if not name or not all(_is_said(word, KINDS[name]) for word in words[:start]):
            continue
        end = start + count
        other = _later(words, start, end, name)
        if other is not None:
            return other
        while end < len(words) and name != "tube":
            again, more, count = kind_named(words[end : end + 2])
            if again != name:
                break
            said, end = (*said, *more), end + count
        if name == "capacitor" and "electrolytic" in map(str.lower, words[end:]):
            name = "electrolytic"
        kept = tuple(
            at
            for at in range(start)
            if words[at].lower() not in DUTIES or word_of_kind(words[at], KINDS[name]) is not None
        )
        return Noun(name, said, end, kept)
    return None


def _later(words: tuple[str, ...], start: int, end: int, name: str) -> Noun | None:
    """Return the kind behind a word that is the name of one too (``mic transformer``), if any."""
    behind = words[end : end + 2]
    duties = all(word.lower() in DUTIES for word in words[start:end])
    if not behind or not duties or word_of_kind(behind[0], KINDS[name]) is not None:
        return None
    later = noun_in(behind)
    if later is None or later.kind == name:
        return None
    return Noun(later.kind, later.said, end + later.end)


def _is_said(word: str, kind: Kind) -> bool:
    """True for a word before the name of a kind that may be said of it: a value, a type, a duty."""
    return (
        word.lower() in DUTIES
        or word_of_kind(word, kind) is not None
        or word[0] in "#.0123456789"
        or word.upper() in kind.classes
        or ((kind.name in TYPED or kind.name == "tube") and _TYPE.fullmatch(word) is not None)
    )


def word_of_kind(text: str, kind: Kind) -> str | None:
    """Return the word of a kind that a text is, or is another spelling of; else None."""
    if kind.is_switch and style_named(text.upper()) is not None:
        return text.upper()
    lower = text.lower().rstrip(".")
    for word in (text, WORDS.get(lower, ""), lower, text.upper()):
        if word in kind.words:
            return word
    return None


def type_alone(text: str) -> str:
    """Return the kind of a part that is named by its type only, as in ``D1 1N4007``, with its type
    as it is written behind the kind; an empty string where the type is not of a form that tells.
    """
    if text.startswith("#") and text[1:].isdigit():
        return f"lamp {text}"
    for form, kind in (
        (r"1N\d+", "diode"),
        (r"BY\d+", "diode"),
        (r"2N\d+", "transistor"),
        (r"NE-?\d+", "lamp neon type"),
    ):
        if re.fullmatch(form, text.upper()):
            return f"{kind} {text}"
    return ""


def is_type(text: str, kind: Kind) -> bool:
    """True for a type number that is on a kind without the word ``type``."""
    neon = kind.name == "lamp" and type_alone(text).startswith("lamp neon")
    return neon or (kind.name in TYPED and _TYPE.fullmatch(text) is not None)


def says_nothing(text: str, kind: Kind) -> bool:
    """Return whether a word says nothing beside what it stands with; the number of a lamp is read
    by the caller.
    """
    word = text.lower()
    of_kind = {Law.LAMP: ("no.", "nr.", "no"), Law.CAPACITANCE: ("dc", "d.c.")}
    return (
        word in SILENT
        or word in DUTIES
        or word in of_kind.get(kind.law, ())
        or (text.startswith("#") and kind.law is Law.LAMP)
    )


def kind_named(words: tuple[str, ...]) -> tuple[str, tuple[str, ...], int]:
    """Return the kind that the first words of a head name, the words the name says of the part, and
    how many words it takes; an empty kind where they name none.
    """
    for count in (2, 1):
        name = " ".join(words[:count]).rstrip(".")
        if len(words) < count:
            continue
        if count == 1 and name.lower().replace("-", " ") in _HYPHENED:
            name = name.lower().replace("-", " ")
        if name in KINDS:
            return name, (), count
        for spelled in (name, name.lower(), name.upper()):
            if spelled in KIND_NAMES:
                kind, said = KIND_NAMES[spelled]
                return kind, said, count
            if spelled in KINDS:
                return spelled, (), count
    return "", (), 0
