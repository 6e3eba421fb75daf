"""Figures as a bench reads them: three digits, the multiplier a meter would show, never a negative
nothing.
"""

from __future__ import annotations

from math import ceil, floor, isfinite, log10

#: What stands where a sum could not be done.
NOT_COMPUTED = "not computed"
#: The share of its width to which the ends of a band are known.
WIDTH_KNOWN = 0.01
#: Less than this of any unit is the rounding of a sum that is nothing.
_NOTHING = 1e-15
_PREFIX = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


def shown(value: float | None, unit: str, digits: int = 3) -> str:
    """Return an SI amount with its unit and multiplier, as ``241 V``, ``-7.52 V`` or ``22 kohm``; a
    dash for None.
    """
    if value is None or not isfinite(value):
        return "–"
    if abs(value) < _NOTHING:
        return f"0 {unit}"
    rounded = float(f"{abs(value):.{digits}g}")
    power = _power(rounded)
    text = f"{rounded / 10**power:.{digits}g}"
    return f"{'-' if value < 0 else ''}{float(text):g} {_PREFIX[power]}{unit}"


def _power(value: float) -> int:
    """Return the power of ten of the multiplier that leaves one to three digits."""
    return min(max(3 * floor(log10(value) / 3), -12), 9)


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


def band(low: float, high: float, unit: str = "V") -> str:
    """Return a band with the digits that a thousand draws support; nothing where it has no width
    that a meter would show. Volts and what has no unit have no multiplier, all else has one for
    both ends.

    The ends of such a band are themselves known to 1 to 2 % of its width (the standard error of a
    5th percentile over 1,000 draws), so the last digit is never less than a hundredth of it.
    """
    width = abs(high - low)
    if not isfinite(width) or width < (0.005 if unit == "V" else 1e-15):
        return ""
    if unit == "V":
        return f"{' to '.join(band_ends(low, high, most_places=2))} V"
    power = _power(max(abs(low), abs(high))) if unit else 0
    ends = " to ".join(band_ends(low / 10**power, high / 10**power))
    return f"{ends} {_PREFIX[power]}{unit}".rstrip()


def band_ends(low: float, high: float, *, most_places: int = 15) -> tuple[str, str]:
    """Return both ends of a band as plain figures, with the digits that sampling supports and no
    more than ``most_places`` behind the point.
    """
    places = min(-ceil(log10(abs(high - low) * WIDTH_KNOWN) - 1e-9), most_places)

    def text(value: float) -> str:
        if max(abs(low), abs(high)) < 1e-3 and value:
            return f"{value:.{max(1, floor(log10(abs(value))) + 1 + places)}g}"
        return f"{round(value, places) + 0.0:,.{max(places, 0)}f}"

    return text(low), text(high)


def share(value: float) -> str:
    """Return a ratio as whole per cent."""
    return f"{value:.0%}"


def counted(number: int, word: str) -> str:
    """Return a number with its word, in the plural where there are more or none."""
    return f"{number} {word}" + ("" if number == 1 else "s")
