"""Values that may be two amounts, or that have a letter where a digit belongs: what is asked about
each.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rework.circuit.kinds import Kind, Law
from rework.circuit.parts import Value
from rework.language.quantity import QuantityError, bare_dimension, decimal, read_value, spaced
from rework.language.units import EXAMPLES


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked about a word: the message, what was expected, and what to write instead.

    ``hides`` is whether the words behind it are no more than its rest.
    """

    message: str
    expected: str
    hint: str
    hides: bool = False


#: What asks about a word of a kind, with the words behind it.
Asks = Callable[[Kind, str, Sequence[str]], Question | None]

#: The largest resistor that sets of the time have; an M behind more is the M of thousand that
#: drawings of the time print (both common practice, no source).
_LARGEST_OHMS = 22e6
#: From so many watts a resistor of megohms would need kilovolts across it.
_MEGOHM_WATTS = 5.0
_MILLIONS = re.compile(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*M")
_MILLI = re.compile(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*m")
_KILO = re.compile(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*[kK]")
#: Digits among which a letter stands for one, and what may be their unit.
_LETTERED = re.compile(
    r"(?P<digits>[0-9.OolI]*[OolI][0-9.OolI]*)(?P<unit>[A-Za-zµμ\u03a9\u2126%]*)"
)
_DIGITS = str.maketrans("OolI", "0011")
_POINTED = re.compile(r"([0-9]+)([vVaA])([0-9]+)")
_RATED = re.compile(r"([0-9]+)([kKMR])([0-9]+)(W?)")
_JOINED = re.compile(r"(?P<first>[0-9.]+[a-zA-Zµμ\u03a9\u2126]+)(?P<second>[0-9.]+[a-zA-Z]+)")
#: The colours of the bands of a resistor (IEC 60062, table of colours), as digits.
_BANDS = {
    colour: digit
    for digit, colour in enumerate(
        ["black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white"]
    )
} | {"purple": 7, "gray": 8}
#: Two digits and a power of ten.
_VALUE_BANDS = 3
_TOLERANCE_BANDS = {"gold": "5%", "silver": "10%"}
#: Its letters (IEC 60062) that nothing else on a resistor is written by.
_TOLERANCE_LETTERS = {"J": "5%", "G": "2%"}
_PARTS_OF_A_WATT = {"half": "1/2 W", "quarter": "1/4 W", "eighth": "1/8 W"}


def of_kind(kind: Kind, text: str) -> Value | None:
    """Return the value of a kind that a text is; None where it is none."""
    try:
        value = read_value(text, bare=bare_dimension(text, kind.dimensions))
    except QuantityError:
        return None
    return value if value.dimension in kind.dimensions else None


def old_million(kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    """Ask about an M that may be a thousand, as drawings of the time print it (``500M``)."""
    written = _MILLIONS.fullmatch(text)
    if written is None:
        return None
    rating = of_kind(kind, following[0]) if following else None
    watts = rating.amount if rating is not None and rating.dimension == "power" else 0.0
    if float(written[1]) * 1e6 <= _LARGEST_OHMS and watts < _MEGOHM_WATTS:
        return None
    return Question(
        f"{text} may be {written[1]} thousand ohms, as drawings of the time print it, or"
        f" {written[1]} megohms",
        EXAMPLES["resistance"],
        f"write {written[1]}k or {written[1]} megohm",
        hides=bool(following) and following[0].lower() in ("ohm", "ohms"),
    )


def small_m(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    """Ask about an m on a resistor, which may be milli, or meant as an M."""
    written = _MILLI.fullmatch(text)
    if written is None:
        return None
    return Question(
        f"the m of {text} may be milli, or the M that drawings print for thousand or for million",
        EXAMPLES["resistance"],
        f"write {decimal(float(written[1]), -3)} ohm, {written[1]}k or {written[1]} megohm",
    )


def thousand_picofarads(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    """Ask about a k on a capacitor, a thousand picofarads on European drawings of the time."""
    written = _KILO.fullmatch(text)
    if written is None:
        return None
    return Question(
        f"{text} on a capacitor has no unit; drawings of the time print k for a thousand"
        " picofarads",
        EXAMPLES["capacitance"],
        f"write {decimal(float(written[1]), 3)} pF if it is that",
    )


def letter_for_digit(kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    """Ask about a letter that stands where a digit belongs: ``47O k``, ``1OO ohm``."""
    written = _LETTERED.fullmatch(text)
    if written is None:
        return None
    digits, unit = written["digits"].translate(_DIGITS), written["unit"]
    letter = next(each for each in written["digits"] if each in "OolI")
    said = f"{text} has the letter {letter} where a digit belongs"
    if value := of_kind(kind, f"{digits}{unit}") if unit else None:
        return Question(said, EXAMPLES[value.dimension], f"did you mean {spaced(digits + unit)}?")
    if unit:
        return None
    more = following[0] if following else ""
    if value := of_kind(kind, f"{digits} {more}"):
        meant = spaced(f"{digits}{more}")
        return Question(said, EXAMPLES[value.dimension], f"did you mean {meant}?", hides=True)
    if letter not in "Oo" or not text[:-1].isdigit() or kind.dimensions[:1] != ("resistance",):
        return None
    return Question(
        f"the {letter} behind {text[:-1]} may be ohms or a nought",
        EXAMPLES["resistance"],
        f"write {text[:-1]} ohm or {digits} ohm",
    )


def unit_for_point(kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    """Ask about volts or amperes with their unit for a decimal point: ``6V3``."""
    written = _POINTED.fullmatch(text)
    if written is None:
        return None
    meant = f"{written[1]}.{written[3]} {written[2].upper()}"
    value = of_kind(kind, meant)
    if value is None:
        return None
    return Question(
        f"{text} has its unit in the place of the point",
        EXAMPLES[value.dimension],
        f"did you mean {meant}?",
    )


def watts_behind_a_mark(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    """Ask about ``1k5W``, which is 1.5 k and a W, or 1 k of 5 W."""
    written = _RATED.fullmatch(text)
    if written is None or not (written[4] or [*following, ""][0].lower().startswith("w")):
        return None
    ohms, letter, rest, apart = written.groups()
    return Question(
        f"{text}{'' if apart else ' W'} may be {ohms}{letter} {rest} W, or {ohms}{letter}{rest} of"
        " watts that are left out",
        EXAMPLES["resistance"],
        f"write {ohms}{letter} {rest} W or {ohms}{letter}{rest}",
        hides=not apart,
    )


def joined_values(kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    """Ask about two values without a blank between them: ``150ohm10W``."""
    written = _JOINED.fullmatch(text)
    if written is None or not all(of_kind(kind, part) for part in written.groups()):
        return None
    first, second = map(spaced, written.groups())
    return Question(
        f"{text} is two values without a blank between them",
        "words and values with blanks between them",
        f"did you mean {first} {second}?",
    )


def coloured_bands(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    """Ask about a resistor by the colours of its bands, and work out what they mean."""
    if text.lower() in _TOLERANCE_BANDS:
        return _tolerance(text, _TOLERANCE_BANDS[text.lower()])
    said = [word for each in (text, *following) for word in re.split("[-/]", each.lower())]
    if said[0] not in _BANDS:
        return None
    bands = [_BANDS[word] for word in said[:3] if word in _BANDS]
    if len(bands) < _VALUE_BANDS:
        return Question(
            f"{text} is a colour and no value",
            EXAMPLES["resistance"],
            "write the ohms that the bands of the resistor mean",
            hides=True,
        )
    first, second, power = bands
    tolerance = next((_TOLERANCE_BANDS[word] for word in said[3:4] if word in _TOLERANCE_BANDS), "")
    ohms = (10 * first + second) * 10**power
    multiples = ((10**6, "M"), (10**3, "k"), (1, " ohm"))
    factor, letter = next(each for each in multiples if ohms >= each[0] or each[0] == 1)
    return Question(
        f"{' '.join(said[:3])} are the colours of a resistor's bands",
        EXAMPLES["resistance"],
        f"did you mean {f'{ohms / factor:g}{letter} {tolerance}'.strip()}?",
        hides=True,
    )


def tolerance_letter(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    """Ask about a tolerance by its letter: ``47k J``."""
    return _tolerance(text, _TOLERANCE_LETTERS[text]) if text in _TOLERANCE_LETTERS else None


def _tolerance(text: str, percent: str) -> Question:
    return Question(
        f"{text} on a resistor looks like its tolerance",
        EXAMPLES["fraction"],
        f"write {percent} if it is",
    )


def part_of_a_watt(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    """Ask about watts in words: ``half watt``."""
    watts = _PARTS_OF_A_WATT.get(text.lower())
    if watts is None or not [*following, ""][0].lower().startswith("watt"):
        return None
    return Question(
        f"{text} {following[0]} is no number", EXAMPLES["power"], f"write {watts}", hides=True
    )


def _is_resistive(kind: Kind) -> bool:
    return kind.law in (Law.RESISTANCE, Law.TRACK)


#: What asks about values, and of which kinds.
DOUBTFUL: tuple[tuple[Callable[[Kind], bool], Asks], ...] = (
    (lambda kind: bool(kind.dimensions), letter_for_digit),
    (lambda kind: bool(kind.dimensions) and kind.name != "tube", unit_for_point),
    (_is_resistive, watts_behind_a_mark),
    (_is_resistive, old_million),
    (_is_resistive, small_m),
    (lambda kind: kind.name == "resistor", coloured_bands),
    (lambda kind: kind.name == "resistor", tolerance_letter),
    (lambda kind: "power" in kind.dimensions, part_of_a_watt),
    (lambda kind: kind.law is Law.CAPACITANCE, thousand_picofarads),
    (lambda kind: bool(kind.dimensions), joined_values),
)
