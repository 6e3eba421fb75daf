"""Reading and writing values: number, multiplier, unit, tolerance, fractions and IEC 60062 marking.

The units are in ``units``. Amounts are SI floats. Decimal multipliers are read as exponents, so
``.047u`` and ``47n`` are the very same float.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import gcd

from rework.circuit.parts import Value
from rework.language.units import BARE, MARKS, PREFIXED, PREFIXES, UNITS

_SIGN = r"(?:(?:±|\+-|\+/-)[ \t]*)?"
#: A point before three digits of which the last two are zeros may be one of thousands.
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}\.[0-9]00\Z")
#: What is never written as a fraction of its unit, as 1/2 W and 3/4 A are.
_NEVER_FRACTIONS = ("capacitance", "inductance")
#: Of these a fraction has a one over its line: ``4/8 ohm`` and ``115/230 V`` are two values.
_RARELY_FRACTIONS = ("resistance", "voltage")
_NUMBER = re.compile(
    rf"{_SIGN}(?P<half>[0-9]+)-0-(?P<other>[0-9]+)|{_SIGN}(?P<top>[0-9]+)/(?P<bottom>[0-9]+)"
    rf"|{_SIGN}(?P<plain>[0-9]+\.?[0-9]*|\.[0-9]+)"
)
_MARKED = re.compile(
    r"(?P<whole>[0-9]*)(?P<letter>[RkKMpnumµμ\u03a9\u2126])(?P<rest>[0-9]*)"
    r"(?P<ohm>[ \t]*(?:[oO]hms?|[\u03a9\u2126]))?\Z"
)
#: Volts with the sign of their current behind them, which could be taken for another sign.
_CURRENTS = {"V~": "VAC", "V=": "VDC", "V-": "VDC"}
#: A decimal comma; before three digits it may be one of thousands.
_COMMA = re.compile(r"\A([^0-9]*(?:0(?=,[0-9])|[0-9]+(?=,[0-9]{1,2}(?![0-9])))),")
#: Longer numbers than this are no values, and reading them would only cost time.
_MOST_DIGITS = 40
#: Unit or multiplier as written: (dimension or "" for a bare multiplier, power of ten, factor).
_SHAPES: dict[str, tuple[str, int, float]] = {
    prefix: ("", power, 1) for prefix, power in {**PREFIXES, "R": 0}.items()
}
for _name, (_dimension, _factor, _) in UNITS.items():
    _SHAPES[_name] = (_dimension, 0, _factor)
    if _name in PREFIXED:
        for _prefix, _power in PREFIXES.items():
            if _prefix not in ("K", "meg", "Meg"):
                _SHAPES[_prefix + _name] = (_dimension, _power, _factor)
_DOUBTFUL = {
    "mF": "millifarad or, as old drawings print it, microfarad",
    "mf": "microfarad, as old drawings print it, or millifarad",
    "MF": "microfarad, as old drawings print it, or megafarad",
    "GF": "no capacitor that there is",
}


class QuantityError(ValueError):
    """A value that cannot be read; the message says what was expected."""


def read_value(text: str, *, bare: str = "", role: str = "") -> Value:
    """Return the value that ``text`` states, in SI.

    ``bare`` is the dimension that a multiplier without a unit takes (``220k`` on a resistor).
    Raises QuantityError for anything else than number and unit, for a bare multiplier where it
    could mean several things or none, for units that old drawings use in another sense, and for a
    winding written with unequal halves.
    """
    if len(text) > _MOST_DIGITS:
        raise QuantityError(f"{text[:12]}... is {len(text)} characters long, which is no value")
    text = _COMMA.sub(r"\1.", text)
    marked = _MARKED.match(text)
    if marked and marked["rest"]:
        return _read_marked(text, marked, bare, role)
    number = _NUMBER.match(text)
    if number is None:
        raise QuantityError(f"{text} is not a value")
    unit = _unit(text, number)
    if unit in _DOUBTFUL:
        raise QuantityError(f"{text} could be {_DOUBTFUL[unit]}; write it in uF, nF or pF")
    unit = _CURRENTS.get(unit, unit)
    if unit != text[number.end() :].strip():
        text = spaced(f"{number.group()} {unit}")
    dimension, power, factor = _SHAPES[unit]
    if number["top"] and _is_several(number, dimension):
        raise QuantityError(
            f"{text} is no fraction; two values need two lines, as each section of a can does"
        )
    if number["plain"] and _THOUSANDS.match(number["plain"]):
        plain, more = float(number["plain"]), text[number.end() :].strip()
        raise QuantityError(
            f"{text} may be {plain:g} {more} or {1000 * plain:g} {more}, with a point between"
            " thousands; write the one that is meant"
        )
    if not dimension:
        dimension = _bare_dimension(text, unit, bare, BARE)
    return Value(dimension, _amount(number, power, factor, text), role, text)


def is_value(text: str) -> bool:
    """Return whether a text is a value with its unit."""
    try:
        read_value(text)
    except QuantityError:
        return False
    return True


def _unit(text: str, number: re.Match[str]) -> str:
    """Return the unit behind a number as the tables spell it: ``k Ω`` is kΩ, ``Mfd.`` is mfd.

    Raises QuantityError where there is none, and where its letters may be several (``MOHM``).
    """
    written = text[number.end() :].strip()
    joined = "".join(written.split())
    for unit in (written, joined, joined.rstrip(".")):
        if unit in _SHAPES or unit in _DOUBTFUL:
            return unit
    readings = tuple(_BY_LETTERS.get(joined.replace(".", "").casefold(), {}).values())
    if not readings:
        raise QuantityError(
            f"{text} has no unit that is known here" if written else f"{text} has no unit"
        )
    if len(readings) > 1:
        both = " or ".join(f"{number.group()} {unit}" for unit in sorted(readings))
        raise QuantityError(f"{text} may be {both}; write the one that is meant")
    return readings[0]


def bare_dimension(text: str, dimensions: Sequence[str]) -> str:
    """Return which of the dimensions of a part ``text`` has where it names no unit: the first that
    its multiplier may stand for (``2n2`` on a line filter is a capacitance, though volts come
    first), else the first; "" for none.
    """
    letters = "".join(filter(str.isalpha, text))
    fitting = (
        dimension
        for dimension in dimensions
        if letters in (*BARE.get(dimension, ()), *MARKS.get(dimension, ()))
    )
    return next(fitting, next(iter(dimensions), ""))


def _bare_dimension(
    text: str, multiplier: str, bare: str, allowed: dict[str, tuple[str, ...]]
) -> str:
    if multiplier not in allowed.get(bare, ()):
        example = f", as in {text} {UNIT_OF[bare]}" if bare in UNIT_OF and multiplier != "R" else ""
        raise QuantityError(
            f"{text} has no unit, and {multiplier} alone does not say what it means here; write the"
            f" unit{example}"
        )
    return bare


def _is_several(number: re.Match[str], dimension: str) -> bool:
    """Return whether what is written as a fraction are two values: of one can, of two taps."""
    top, bottom = int(number["top"]), int(number["bottom"])
    if dimension in _NEVER_FRACTIONS:
        return True
    several = top > bottom or gcd(top, bottom) > 1
    return bottom > 0 and (several or (dimension in _RARELY_FRACTIONS and top > 1))


def _amount(number: re.Match[str], power: int, factor: float, text: str) -> float:
    if number["half"]:
        if number["half"] != number["other"]:
            raise QuantityError(f"{text} has two unequal halves; write the two windings apart")
        return _times(str(2 * int(number["half"])), power, factor)
    if number["top"]:
        if int(number["bottom"]) == 0:
            raise QuantityError(f"{text} divides by nothing")
        return int(number["top"]) / int(number["bottom"]) * float(f"1e{power}") * factor
    return _times(number["plain"], power, factor)


def _times(plain: str, power: int, factor: float) -> float:
    """Multiply so that a decimal factor (a percent, a microfarad) gives the float nearest to what
    was written.
    """
    if factor != 1:
        mantissa, _, exponent = f"{factor:e}".partition("e")
        if float(mantissa) != 1:
            return float(f"{plain}e{power}") * factor
        power += int(exponent)
    return float(f"{plain}e{power}")


def _read_marked(text: str, marked: re.Match[str], bare: str, role: str) -> Value:
    """Read IEC 60062 marking, where the multiplier stands for the decimal point: 4k7, 2n2, R47,
    p10; the ohm behind one (2k2 ohm) says nothing more.
    """
    letter = marked["letter"]
    if marked["ohm"]:
        bare, text = "resistance", text[: marked.start("ohm")]
    is_unit = letter not in PREFIXES
    dimension = "resistance" if is_unit else _bare_dimension(text, letter, bare, MARKS)
    power = 0 if is_unit else PREFIXES[letter]
    return Value(dimension, float(f"{marked['whole'] or 0}.{marked['rest']}e{power}"), role, text)


def mark_is_of(text: str, dimension: str) -> bool:
    """Return whether a text is IEC 60062 marking of a dimension: 4k7 of a resistance, 2n2 of a
    capacitance.
    """
    marked = _MARKED.match(text)
    if marked is None or not (marked["rest"] and marked["whole"]):
        return False
    letters = {"resistance": "RkKM", "capacitance": "pnumµμ"}
    return marked["letter"] in letters.get(dimension, "")


def spaced(text: str) -> str:
    """Return a value as ``tidy`` prints it: one blank between number and unit, none before a bare
    multiplier or %.
    """
    text = _COMMA.sub(r"\1.", text)
    number = _NUMBER.match(text)
    marked = _MARKED.match(text)
    if number is None or (marked is not None and not _ends_in_ohm(marked)):
        return text
    unit = text[number.end() :].strip()
    joined = unit == "%" or unit in PREFIXES
    return f"{number.group()}{unit}" if joined else f"{number.group()} {unit}"


def _ends_in_ohm(marked: re.Match[str]) -> bool:
    """Return whether what looks like IEC 60062 marking is a number with ohms behind it: 220Ω."""
    return not marked["rest"] and (marked["ohm"] is not None or not marked["letter"].isascii())


#: How people spell units that the files spell otherwise; multipliers may stand before them.
_SPELLED = {
    "hy": "H",
    "hys": "H",
    "millihenry": "mH",
    "farad": "F",
    "hertz": "Hz",
    "milliamp": "mA",
    "milliamps": "mA",
    "meg": "Mohm",
    "percent": "%",
}


def meant(text: str) -> str:
    """Return a value whose unit is spelled in another way as the files spell it (``50 uF`` for
    ``50uf``), or an empty string.

    Nothing is returned where the letters could mean several units: ``MOHM`` may be milliohms or
    megohms.
    """
    number = _NUMBER.match(text)
    if number is None:
        return ""
    unit = text[number.end() :].strip()
    if not unit or unit in _SHAPES:
        return ""
    readings = _BY_LETTERS.get(unit.casefold(), {})
    return spaced(f"{number.group()} {next(iter(readings.values()))}") if len(readings) == 1 else ""


def begun(text: str, dimensions: Sequence[str] = ()) -> str:
    """Return the longest beginning of a text that is a value, of one of these dimensions where any
    are given: ``470k`` of ``470kk``; a number and a stray ``o`` are ohms. Empty where there is
    none.
    """
    if not text[:2].strip("+-.")[:1].isdigit():
        return ""
    candidates = [text[:end] for end in range(len(text) - 1, 0, -1) if text[end - 1].isalpha()]
    if text[-1] in "oO" and text[:-1].replace(".", "", 1).isdigit():
        candidates.insert(0, f"{text[:-1]} ohm")
    for candidate in (
        spelling for text in candidates for spelling in (text, meant(text)) if spelling
    ):
        try:
            value = read_value(candidate, bare=bare_dimension(candidate, dimensions))
        except QuantityError:
            continue
        if not dimensions or value.dimension in dimensions:
            return spaced(candidate)
    return ""


def _size(unit: str) -> tuple[str, str]:
    """Return the dimension of a unit and how much of it one is, the same for ``uF`` and ``mfd``."""
    dimension, power, factor = _SHAPES[unit]
    return dimension, f"{factor * 10.0**power:.9g}"


def _by_letters() -> dict[str, dict[tuple[str, str], str]]:
    """Return the units by their letters without regard to case; of amperes, volts and farads there
    are no megas or gigas in a set.
    """
    by_letters: dict[str, dict[tuple[str, str], str]] = {}
    for unit, (dimension, power, _) in _SHAPES.items():
        if (
            dimension
            and unit not in _DOUBTFUL
            and (power <= 3 or dimension in ("resistance", "frequency"))
        ):
            by_letters.setdefault(unit.casefold(), {}).setdefault(_size(unit), unit)
    for spelled, unit in _SPELLED.items():
        by_letters.setdefault(spelled, {})[_size(unit)] = unit
    return by_letters


#: The unit of an SI amount, by its dimension.
UNIT_OF = {
    "resistance": "ohm",
    "capacitance": "F",
    "inductance": "H",
    "voltage": "V",
    "current": "A",
    "power": "W",
    "apparent-power": "VA",
    "frequency": "Hz",
}
#: Units that take no multiplier, with the power of ten from SI.
_PLAIN = {
    "fraction": ("%", 2),
    "area": (" mm2", 6),
    "length": (" mm", 3),
    "gauge": (" AWG", 0),
    "turns": (" turns", 0),
}
_BY_LETTERS = _by_letters()


def write_value(value: Value) -> str:
    """Return the text of a value: as it was written, or with the multiplier that leaves one to
    three digits.

    Reading what is written here gives the very same amount.
    """
    if value.text:
        return spaced(value.text)
    if value.dimension == "time":
        return f"{value.amount / 3600:.12g} h"
    if value.dimension in _PLAIN:
        symbol, power = _PLAIN[value.dimension]
        return decimal(value.amount, power) + symbol
    multipliers = [
        (prefix, power)
        for prefix, power in (
            ("M", 6),
            ("k", 3),
            ("", 0),
            ("m", -3),
            ("u", -6),
            ("n", -9),
            ("p", -12),
        )
        if prefix + UNIT_OF[value.dimension] not in _DOUBTFUL
    ]
    fits = [(prefix, power) for prefix, power in multipliers if abs(value.amount) >= 10.0**power]
    prefix, power = ("", 0) if value.amount == 0 else fits[0] if fits else multipliers[-1]
    return f"{decimal(value.amount, -power)} {prefix}{UNIT_OF[value.dimension]}"


def decimal(amount: float, power: int = 0) -> str:
    """Return an amount times a power of ten as plain digits that read back as the same float."""
    from decimal import Decimal

    shown = format(Decimal(repr(float(amount))).scaleb(power), "f")
    return shown.rstrip("0").rstrip(".") if "." in shown else shown
