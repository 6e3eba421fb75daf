"""Figures as a bench reads them: three digits, the multiplier a meter would show, never a negative
nothing.
"""

from __future__ import annotations

from math import floor, isfinite, log10

#: What stands where a sum could not be done.
NOT_COMPUTED = "not computed"
_PREFIX = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


def shown(value: float | None, unit: str, digits: int = 3) -> str:
    """Return an SI amount with its unit and multiplier, as ``241 V``, ``-7.52 V`` or ``22 kohm``; a
    dash for None.
    """
    if value is None or not isfinite(value):
        return "–"
    if value == 0:
        return f"0 {unit}"
    rounded = float(f"{abs(value):.{digits}g}")
    power = min(max(3 * floor(log10(rounded) / 3), -12), 9)
    text = f"{rounded / 10**power:.{digits}g}"
    return f"{'-' if value < 0 else ''}{float(text):g} {_PREFIX[power]}{unit}"


def number(value: float, unit: str = "", digits: int = 3) -> str:
    """Return an amount without its unit: volts as a bench meter shows them, else to ``digits``
    figures; thousands apart, never with an exponent.
    """
    if not isfinite(value):
        return "–"
    if unit == "V":
        return volts(value).removesuffix(" V")
    if value == 0:
        return "0"
    rounded = float(f"{value:.{digits}g}")
    places = max(0, digits - 1 - floor(log10(abs(rounded))))
    text = f"{rounded:,.{min(places, 12)}f}"
    return text.rstrip("0").rstrip(".") if places else text


def volts(value: float | None) -> str:
    """Return direct volts as a bench meter shows them: whole above 100, tenths above 10, hundredths
    below.
    """
    if value is None:
        return "–"
    places = 0 if abs(value) >= 99.5 else 1 if abs(value) >= 9.95 else 2
    return f"{round(value, places) + 0.0:.{places}f} V"


def band(low: float, high: float) -> str:
    """Return a band of volts; nothing where it has no width a meter would show."""
    return "" if abs(high - low) < 0.005 else f"{volts(low).removesuffix(' V')} to {volts(high)}"


def share(value: float) -> str:
    """Return a ratio as whole per cent."""
    return f"{value:.0%}"


def counted(number: int, word: str) -> str:
    """Return a number with its word, in the plural where there are more or none."""
    return f"{number} {word}" + ("" if number == 1 else "s")
