"""Where the parser stopped, what is there, and what a recognisable mistake is."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from rework.language.quantity import meant


@dataclass(frozen=True, slots=True)
class Explanation:
    """A mistake in words; ``whole`` where nothing else need be said of its line."""

    message: str
    expected: str = ""
    hint: str = ""
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Stumble:
    """Where the parser stopped: the whole statement, what is there, what came before, what
    would have been taken.

    ``start`` is the shape of statement that the parser was looking for.
    """

    code: str
    rest: str
    before: str
    accepted: frozenset[str]
    start: str


@dataclass(frozen=True, slots=True)
class Mistake:
    """One recognisable mistake, with lines that show it; ``whole`` where it explains the line."""

    applies: Callable[[Stumble], bool]
    message: str | Callable[[Stumble], str]
    expected: str
    hint: str | Callable[[Stumble], str]
    examples: tuple[str, ...]
    whole: bool = False

    def told(self, at: Stumble) -> Explanation:
        """Return the mistake in words."""
        message, hint = (
            words if isinstance(words, str) else words(at) for words in (self.message, self.hint)
        )
        return Explanation(message, self.expected, hint, self.whole)


#: The shapes of statement of a circuit file; what is said of variables is true of these only.
CIRCUIT = ("part", "nodes", "titled", "plain", "attach")


def starts(*texts: str) -> Callable[[Stumble], bool]:
    """Return what is true where the parser stopped at one of these texts."""
    return lambda at: at.rest.startswith(texts)


#: A number, a fraction or a can's several values, and the letters behind that may be a unit.
_AMOUNT = re.compile(
    r"(?P<number>[0-9]*\.?[0-9]+(?:/[0-9]+)?)(?P<more>(?:\+[0-9.]+)*)[ \t]*(?P<unit>[^\W\d_]+)?"
)


@dataclass(frozen=True, slots=True)
class _Amount:
    """A number in a statement: as written, the number, more numbers behind a plus, and the unit."""

    text: str
    number: str
    more: str
    unit: str


_NO_AMOUNT = _Amount("", "", "", "")


def amount(at: Stumble) -> _Amount:
    """Return the number at which the parser stopped, or in the middle of which, with the unit
    behind it.
    """
    if at.start != "part" or ":" in at.before:
        return _NO_AMOUNT
    inside = re.search(r"[0-9.]+$", at.before) if at.rest.startswith(("+", "/")) else None
    match = _AMOUNT.match((inside.group() if inside else "") + at.rest)
    if match is None:
        return _NO_AMOUNT
    return _Amount(match.group(), match["number"], match["more"], match["unit"] or "")


def spelled(at: Stumble) -> str:
    """Return the value at which the parser stopped with its unit as the files spell it, or an empty
    string.
    """
    value = amount(at)
    return meant(f"{value.number} {value.unit}") if value.unit and not value.more else ""


def whole(at: Stumble) -> str:
    """Return a number with a decimal comma, the comma in it and what follows."""
    number = re.match(r"[0-9]+,[0-9]*[^\W\d_]*", at.rest)
    return number.group() if number else ""


def point_written(number: str) -> str:
    """Return what to write for a number with a comma, which before three digits may be one of
    thousands.
    """
    whole, _, rest = number.partition(",")
    digits = rest.rstrip("".join(filter(str.isalpha, rest)))
    point = f"{whole}.{rest}"
    return (
        f"write {whole}{rest} or {point}" if len(digits) == 3 and whole != "0" else f"write {point}"
    )


def unhyphened(at: Stumble) -> str:
    """Return the word at which the parser stopped without its hyphens."""
    before = re.search(r"[A-Za-z0-9]*$", at.before)
    after = re.match(r"-[A-Za-z0-9-]*", at.rest)
    return (before.group() if before else "") + (after.group().replace("-", "") if after else "")


def two_pins(at: Stumble) -> str:
    """Return what to write for two pins before one ``=`` (``4+5=H1``), or an empty string."""
    first = re.search(r"[:,]\s*([0-9]+)\s*$", at.before)
    second = re.match(r"[+&/]\s*([0-9]+)\s*=\s*(\S+?)\s*(?:,|$)", at.rest)
    if at.start != "part" or first is None or second is None:
        return ""
    return f"write {first[1]}={second[2]}, {second[1]}={second[2]}"


#: A capacitance and its volts, joined as they are printed on the part.
_SLASHED = re.compile(
    r"([0-9]*\.?[0-9]+)\s*(u|µ|μ|uF|µF|MFD|mfd)?/\s*([0-9]{2,4})(?:\s*V)?(?![\w/])"
)
_CAPACITOR = re.compile(r"\b(capacitor|electrolytic|condenser|cap|elco|lytic)\b", re.IGNORECASE)
#: The volts of a winding at its start, its taps and its finish, in one.
_TAPPED = re.compile(r"\b0((?:-[0-9]+){2,})\s*V")


def slashed(at: Stumble) -> str:
    """Return what is meant by a capacitance and volts with a slash between them (``.1/400``), or an
    empty string; a capacitance is printed first, and is the smaller number.
    """
    start = len(at.before) - len(at.before.rstrip("0123456789."))
    match = _SLASHED.match(at.code, len(at.before) - start)
    if at.start != "part" or match is None or not _CAPACITOR.search(at.before):
        return ""
    return capacitance_and_volts(match.group())


def capacitance_and_volts(text: str) -> str:
    """Return what ``50u/350V`` means, or an empty string."""
    match = _SLASHED.fullmatch(text)
    if match is None:
        return ""
    number, unit, volts = match.groups()
    if not unit and float(number) >= 1 and float(number) >= float(volts):
        return ""
    return f"{number} uF {volts} V"


def tapped(at: Stumble) -> str:
    """Return how a winding of volts such as ``0-110-220 V`` is written, or an empty string."""
    at_end = at.before.rfind(" ") + 1
    match = _TAPPED.match(at.code, at_end)
    if match is None or at.start != "part":
        return ""
    *inner, last = match[1].strip("-").split("-")
    return " ".join((f"{last} V", *(f"tap {volts} V" for volts in inner)))


#: What is said of two sections of one can on one line.
EACH_SECTION = "give each section of a can a line of its own"


def is_before_colon(at: Stumble) -> bool:
    """Return whether the parser stopped in the head of a part, with its colon still to come."""
    return at.start == "part" and ":" not in at.before and ":" in at.rest


def joined_by_hyphen(at: Stumble) -> str:
    """Return what to write for two numbers with a hyphen between them, by the kind of the part: of
    a capacitor they are two sections, or a capacitance and volts, of anything else one too many.
    """
    first = re.search(r"[0-9.]+$", at.before)
    second = re.match(r"-([0-9.]+)\s*([A-Za-z]*)", at.rest)
    if first is None or second is None:
        return EACH_SECTION
    number, other, unit = first.group(), second[1], second[2]
    if not _CAPACITOR.search(at.before):
        return f"write {number} {unit} or {other} {unit}".rstrip()
    is_small = float(number) < 1 <= float(other.strip("."))
    return f"did you mean {number} uF {other} V?" if is_small else EACH_SECTION


def no_unit(at: Stumble) -> str:
    """Return what to write for two numbers with a slash and no unit (``25/25`` on a capacitor)."""
    first, _, second = amount(at).number.partition("/")
    if not _CAPACITOR.search(at.before):
        return "write the unit behind the number"
    return f"write {first} uF {second} V, or a line for each section of a can"


#: Several loads of a winding.
SEVERAL_LOADS = re.compile(r"[0-9.]+(?:/[0-9.]+)+\s")
#: The number of a pin behind the colon or a comma.
PIN_BEFORE = re.compile(r"[:,]\s*[0-9]+\s*$")
#: A plug by the number of its blades.
PRONGS = re.compile(r"\bplug\s+(?:\S+\s+)*[23]$")
#: A switch by the number of its poles or positions.
POLES = re.compile(r"\bswitch\s+(?:\S+\s+)*[0-9]$")
#: A winding with its nodes, behind which something is said of it.
TAP_BEHIND = re.compile(r"= *[^=,]+--[^=,]*$")
