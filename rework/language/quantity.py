"""Reading and writing values: number, multiplier, unit, tolerance, fractions and IEC 60062 marking.

The table below is ours (pint would read ``220k`` as 220 Boltzmann constants); a test holds every
row to pint. Amounts are SI floats. Decimal multipliers are read as exponents, so ``.047u`` and
``47n`` are the very same float.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import gcd

from rework.circuit.parts import Value

#: Decimal multipliers as powers of ten. ``K`` is what old drawings print for kilo.
PREFIXES = {
    "p": -12,
    "n": -9,
    "u": -6,
    "µ": -6,
    "μ": -6,
    "m": -3,
    "k": 3,
    "K": 3,
    "M": 6,
    "meg": 6,
    "Meg": 6,
    "G": 9,
}
#: Multipliers that may stand without a unit, by the dimension they then take. Others are refused
#: there: old drawings print ``8 M`` for eight microfarads and ``1 m`` for a megohm, so a guess
#: could be wrong by a factor of a million.
BARE = {
    "resistance": ("k", "K", "M", "meg", "Meg", "R"),
    "capacitance": ("p", "n", "u", "µ", "μ"),
    "inductance": ("m", "u", "µ", "μ"),
}
#: Multipliers that may stand in place of the decimal point (IEC 60062), by dimension. Its L, G and
#: T are left out: 6L6, 6G6 and 6T8 are tubes.
MARKS = {
    "resistance": ("R", "k", "K", "M"),
    "capacitance": ("p", "n", "u", "µ", "μ", "m"),
    "inductance": ("m", "u", "µ", "μ"),
}

#: Unit as written: (dimension, factor to SI, the name pint knows it by).
UNITS: dict[str, tuple[str, float, str]] = {
    "ohm": ("resistance", 1, "ohm"),
    "ohms": ("resistance", 1, "ohm"),
    "Ohm": ("resistance", 1, "ohm"),
    "Ohms": ("resistance", 1, "ohm"),
    "kilohm": ("resistance", 1e3, "kiloohm"),
    "kilohms": ("resistance", 1e3, "kiloohm"),
    "megohm": ("resistance", 1e6, "megaohm"),
    "megohms": ("resistance", 1e6, "megaohm"),
    "megs": ("resistance", 1e6, "megaohm"),
    "Ω": ("resistance", 1, "ohm"),
    "\u2126": ("resistance", 1, "ohm"),
    "F": ("capacitance", 1, "farad"),
    "mfd": ("capacitance", 1e-6, "microfarad"),
    "mmfd": ("capacitance", 1e-12, "picofarad"),
    "mmf": ("capacitance", 1e-12, "picofarad"),
    "MFD": ("capacitance", 1e-6, "microfarad"),
    "MMFD": ("capacitance", 1e-12, "picofarad"),
    "MMF": ("capacitance", 1e-12, "picofarad"),
    **dict.fromkeys(("uuf", "uuF", "uufd", "µµF", "μμF"), ("capacitance", 1e-12, "picofarad")),
    **dict.fromkeys(("microfarad", "microfarads"), ("capacitance", 1e-6, "microfarad")),
    **dict.fromkeys(("picofarad", "picofarads"), ("capacitance", 1e-12, "picofarad")),
    "uf": ("capacitance", 1e-6, "microfarad"),
    "UF": ("capacitance", 1e-6, "microfarad"),
    "nf": ("capacitance", 1e-9, "nanofarad"),
    "pf": ("capacitance", 1e-12, "picofarad"),
    "PF": ("capacitance", 1e-12, "picofarad"),
    "H": ("inductance", 1, "henry"),
    **dict.fromkeys(("henry", "henries", "henrys"), ("inductance", 1, "henry")),
    **dict.fromkeys(("Henry", "Henries", "Henrys"), ("inductance", 1, "henry")),
    "V": ("voltage", 1, "volt"),
    "VAC": ("voltage", 1, "volt"),
    "VDC": ("voltage", 1, "volt"),
    "WV": ("voltage", 1, "volt"),
    "WVDC": ("voltage", 1, "volt"),
    "volt": ("voltage", 1, "volt"),
    "volts": ("voltage", 1, "volt"),
    "A": ("current", 1, "ampere"),
    "amp": ("current", 1, "ampere"),
    "amps": ("current", 1, "ampere"),
    **dict.fromkeys(("ampere", "amperes"), ("current", 1, "ampere")),
    "W": ("power", 1, "watt"),
    "watt": ("power", 1, "watt"),
    "watts": ("power", 1, "watt"),
    "VA": ("apparent-power", 1, "volt_ampere"),
    "Hz": ("frequency", 1, "hertz"),
    **dict.fromkeys(("cycle", "cycles"), ("frequency", 1, "hertz")),
    "cps": ("frequency", 1, "hertz"),
    "%": ("fraction", 1e-2, "percent"),
    "mm": ("length", 1e-3, "millimeter"),
    "cm": ("length", 1e-2, "centimeter"),
    "in": ("length", 0.0254, "inch"),
    "ft": ("length", 0.3048, "foot"),
    "mm2": ("area", 1e-6, "millimeter**2"),
    "mm²": ("area", 1e-6, "millimeter**2"),
    "h": ("time", 3600, "hour"),
    "AWG": ("gauge", 1, ""),
    "turns": ("turns", 1, ""),
    "turn": ("turns", 1, ""),
}
#: Units that take a multiplier in front.
PREFIXED = ("ohm", "ohms", "Ohm", "Ohms", "Ω", "\u2126", "F", "H", "V", "A", "W", "VA", "Hz")
#: What each dimension is called in a message, with an example of how to write it.
EXAMPLES = {
    "resistance": "a resistance such as 220k, 4k7 or 150 ohm",
    "capacitance": "a capacitance such as 0.05 uF, 10n or 2n2",
    "inductance": "an inductance such as 8 H",
    "voltage": "a voltage such as 150 V",
    "current": "a current such as 1 A or 80 mA",
    "power": "a power such as 1/2 W",
    "apparent-power": "a rating such as 60 VA",
    "frequency": "a frequency such as 60 Hz",
    "fraction": "a tolerance such as 10%",
    "length": "a length such as 200 mm",
    "area": "a section such as 0.75 mm2",
    "time": "hours such as 3 h",
    "gauge": "a gauge such as 18 AWG",
    "turns": "turns such as 2400 turns",
}

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
_MARKED = re.compile(r"(?P<whole>[0-9]*)(?P<letter>[RkKMpnumµμ])(?P<rest>[0-9]*)\Z")
#: Longer numbers than this are no values, and reading them would only cost time.
_MOST_DIGITS = 40
#: Unit or multiplier as written: (dimension or "" for a bare multiplier, power of ten, factor).
_SHAPES: dict[str, tuple[str, int, float]] = {
    prefix: ("", power, 1) for prefix, power in {**PREFIXES, "R": 0}.items()
}
for _unit, (_dimension, _factor, _) in UNITS.items():
    _SHAPES[_unit] = (_dimension, 0, _factor)
    if _unit in PREFIXED:
        for _prefix, _power in PREFIXES.items():
            if _prefix not in ("K", "meg", "Meg"):
                _SHAPES[_prefix + _unit] = (_dimension, _power, _factor)
_DOUBTFUL = {
    "mF": "millifarad or, as old drawings print it, microfarad",
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
    marked = _MARKED.match(text)
    if marked and marked["rest"]:
        return _read_marked(text, marked, bare, role)
    number = _NUMBER.match(text)
    if number is None:
        raise QuantityError(f"{text} is not a value")
    unit = text[number.end() :].strip()
    if unit not in _SHAPES:
        raise QuantityError(
            f"{text} has no unit that is known here" if unit else f"{text} has no unit"
        )
    if unit in _DOUBTFUL:
        raise QuantityError(f"{text} could be {_DOUBTFUL[unit]}; write it in uF, nF or pF")
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
        example = (
            f", as in {text} {_SYMBOLS[bare]}" if bare in _SYMBOLS and multiplier != "R" else ""
        )
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
    p10.
    """
    letter = marked["letter"]
    dimension = "resistance" if letter == "R" else _bare_dimension(text, letter, bare, MARKS)
    power = 0 if letter == "R" else PREFIXES[letter]
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
    number = _NUMBER.match(text)
    if number is None or _MARKED.match(text):
        return text
    unit = text[number.end() :].strip()
    joined = unit == "%" or unit in PREFIXES
    return f"{number.group()}{unit}" if joined else f"{number.group()} {unit}"


#: How people spell units that the files spell otherwise; multipliers may stand before them.
_SPELLED = {
    "hy": "H",
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


_SYMBOLS = {
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
        if prefix + _SYMBOLS[value.dimension] not in _DOUBTFUL
    ]
    fits = [(prefix, power) for prefix, power in multipliers if abs(value.amount) >= 10.0**power]
    prefix, power = ("", 0) if value.amount == 0 else fits[0] if fits else multipliers[-1]
    return f"{decimal(value.amount, -power)} {prefix}{_SYMBOLS[value.dimension]}"


def decimal(amount: float, power: int = 0) -> str:
    """Return an amount times a power of ten as plain digits that read back as the same float."""
    from decimal import Decimal

    shown = format(Decimal(repr(float(amount))).scaleb(power), "f")
    return shown.rstrip("0").rstrip(".") if "." in shown else shown
