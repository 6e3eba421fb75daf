"""Reading and writing values: number, multiplier, unit, tolerance, fractions and IEC 60062 marking.

The table below is ours (pint would read ``220k`` as 220 Boltzmann constants); a test holds every row to pint.
Amounts are SI floats. Decimal multipliers are read as exponents, so ``.047u`` and ``47n`` are the very same float.
"""

from __future__ import annotations

import re

from rework.circuit.parts import Value

#: Decimal multipliers as powers of ten. ``K`` is what old drawings print for kilo.
PREFIXES = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "k": 3, "K": 3, "M": 6, "meg": 6, "Meg": 6, "G": 9}

#: Unit as written: (dimension, power of ten or None, plain factor, the name pint knows it by).
UNITS: dict[str, tuple[str, float, str]] = {
    "ohm": ("resistance", 1, "ohm"), "ohms": ("resistance", 1, "ohm"),
    "Ω": ("resistance", 1, "ohm"), "\u2126": ("resistance", 1, "ohm"),
    "F": ("capacitance", 1, "farad"), "mfd": ("capacitance", 1e-6, "microfarad"),
    "mmfd": ("capacitance", 1e-12, "picofarad"), "mmf": ("capacitance", 1e-12, "picofarad"),
    "H": ("inductance", 1, "henry"),
    "V": ("voltage", 1, "volt"), "VAC": ("voltage", 1, "volt"), "VDC": ("voltage", 1, "volt"),
    "volt": ("voltage", 1, "volt"), "volts": ("voltage", 1, "volt"),
    "A": ("current", 1, "ampere"), "amp": ("current", 1, "ampere"), "amps": ("current", 1, "ampere"),
    "W": ("power", 1, "watt"), "watt": ("power", 1, "watt"), "watts": ("power", 1, "watt"),
    "VA": ("apparent-power", 1, "volt_ampere"),
    "Hz": ("frequency", 1, "hertz"),
    "%": ("fraction", 1e-2, "percent"),
    "mm": ("length", 1e-3, "millimeter"), "cm": ("length", 1e-2, "centimeter"),
    "in": ("length", 0.0254, "inch"), "ft": ("length", 0.3048, "foot"),
    "mm2": ("area", 1e-6, "millimeter**2"), "mm²": ("area", 1e-6, "millimeter**2"),
    "h": ("time", 3600, "hour"),
    "AWG": ("gauge", 1, ""),
}
#: Units that take a multiplier in front.
PREFIXED = ("ohm", "ohms", "Ω", "\u2126", "F", "H", "V", "A", "W", "VA", "Hz")
#: What each dimension is called in a message, with an example of how to write it.
EXAMPLES = {
    "resistance": "a resistance such as 220k, 4k7 or 150 ohm", "capacitance": "a capacitance such as 0.05 uF, 10n or 2n2",
    "inductance": "an inductance such as 8 H", "voltage": "a voltage such as 150 V", "current": "a current such as 1 A or 80 mA",
    "power": "a power such as 1/2 W", "apparent-power": "a rating such as 60 VA", "frequency": "a frequency such as 60 Hz",
    "fraction": "a tolerance such as 10%", "length": "a length such as 200 mm", "area": "a section such as 0.75 mm2",
    "time": "hours such as 3 h", "gauge": "a gauge such as 18 AWG",
}

_NUMBER = re.compile(r"(?:±|\+-)?(?P<half>\d+)-0-(?P<other>\d+)|(?:±|\+-)?(?P<top>\d+)/(?P<bottom>\d+)|(?:±|\+-)?(?P<plain>\d+\.?\d*|\.\d+)")
_MARKED = re.compile(r"(\d+)([RkKMpnumµμ])(\d+)\Z")
_LEADING_R = re.compile(r"R(\d+)\Z")
_SHAPES: dict[str, tuple[str, int, float]] = {}
for _unit, (_dimension, _factor, _) in UNITS.items():
    _SHAPES[_unit] = (_dimension, 0, _factor)
    if _unit in PREFIXED:
        for _prefix, _power in PREFIXES.items():
            if len(_prefix) == 1 and _prefix != "K":
                _SHAPES[_prefix + _unit] = (_dimension, _power, _factor)
for _prefix, _power in PREFIXES.items():
    _SHAPES.setdefault(_prefix, ("", _power, 1))


class QuantityError(ValueError):
    """A value that cannot be read; the message says what was expected."""


def read_value(text: str, *, bare: str = "", role: str = "") -> Value:
    """Return the value that ``text`` states, in SI.

    ``bare`` is the dimension that a multiplier without a unit takes (``220k`` on a resistor). Raises QuantityError for
    anything else than number and unit, for a bare multiplier where there is no such dimension, and for a winding
    written with unequal halves.
    """
    marked = _MARKED.match(text) or _LEADING_R.match(text)
    if marked:
        return _read_marked(text, marked.groups(), bare, role)
    number = _NUMBER.match(text)
    if number is None:
        raise QuantityError(f"{text} is not a value")
    unit = text[number.end():].strip()
    if unit not in _SHAPES:
        raise QuantityError(f"{text} has no unit that is known here" if unit else f"{text} has no unit")
    dimension, power, factor = _SHAPES[unit]
    dimension = dimension or bare
    if not dimension:
        raise QuantityError(f"{text} has a multiplier but no unit, and nothing here says which unit it means")
    return Value(dimension, _amount(number, power, factor, text), role, text)


def _amount(number: re.Match[str], power: int, factor: float, text: str) -> float:
    if number["half"]:
        if number["half"] != number["other"]:
            raise QuantityError(f"{text} has two unequal halves; write the two windings apart")
        return 2 * float(f"{number['half']}e{power}") * factor
    if number["top"]:
        if int(number["bottom"]) == 0:
            raise QuantityError(f"{text} divides by nothing")
        return int(number["top"]) / int(number["bottom"]) * float(f"1e{power}") * factor
    amount = float(f"{number['plain']}e{power}") if power else float(number["plain"])
    return amount if factor == 1 else _times(number["plain"], power, factor)


def _times(plain: str, power: int, factor: float) -> float:
    """Multiply so that a decimal factor (a percent, a microfarad) gives the float nearest to what was written."""
    mantissa, _, exponent = f"{factor:e}".partition("e")
    if float(mantissa) == 1:
        return float(f"{plain}e{power + int(exponent)}")
    return float(f"{plain}e{power}") * factor


def _read_marked(text: str, groups: tuple[str, ...], bare: str, role: str) -> Value:
    """Read IEC 60062 marking, where the multiplier stands for the decimal point: 4k7, 2n2, R47."""
    whole, letter, rest = groups if len(groups) == 3 else ("0", "R", groups[0])
    dimension = "resistance" if letter == "R" else bare
    if dimension == "capacitance" and letter in "kKM" or dimension == "resistance" and letter in "pnuµμ":
        raise QuantityError(f"{text} is no {dimension}")
    if not dimension:
        raise QuantityError(f"{text} has a multiplier but no unit, and nothing here says which unit it means")
    return Value(dimension, float(f"{whole}.{rest}e{PREFIXES.get(letter, 0)}"), role, text)


def spaced(text: str) -> str:
    """Return a value as ``tidy`` prints it: one blank between number and unit, none before a bare multiplier or %."""
    number = _NUMBER.match(text)
    if number is None or _MARKED.match(text):
        return text
    unit = text[number.end():].strip()
    joined = unit == "%" or unit in PREFIXES
    return f"{number.group()}{unit}" if joined else f"{number.group()} {unit}"


_SYMBOLS = {"resistance": "ohm", "capacitance": "F", "inductance": "H", "voltage": "V", "current": "A", "power": "W",
            "apparent-power": "VA", "frequency": "Hz"}


def write_value(value: Value) -> str:
    """Return the text of a value: as it was written, or with the multiplier that leaves one to three digits."""
    if value.text:
        return spaced(value.text)
    if value.dimension == "fraction":
        return f"{value.amount * 100:.6g}%"
    if value.dimension == "gauge":
        return f"{value.amount:g} AWG"
    if value.dimension == "area":
        return f"{value.amount * 1e6:.6g} mm2"
    if value.dimension == "length":
        return f"{value.amount * 1e3:.6g} mm"
    if value.dimension == "time":
        return f"{value.amount / 3600:.6g} h"
    for prefix, power in (("M", 6), ("k", 3), ("", 0), ("m", -3), ("u", -6), ("n", -9), ("p", -12)):
        if abs(value.amount) >= 10.0**power * 0.9999999 or prefix == "p":
            number = f"{value.amount / 10.0**power:.9g}"
            return f"{number} {prefix}{_SYMBOLS[value.dimension]}"
    raise AssertionError("every amount has a multiplier")
