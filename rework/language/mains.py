"""The line that says which mains a set is for."""

from __future__ import annotations

import re
from functools import partial
from itertools import zip_longest

from lark import Token

from rework.circuit.circuit import Mains
from rework.language.head import Report, read_cached
from rework.language.quantity import QuantityError, decimal, meant
from rework.language.syntax import PlainLine

EXPECTED = "mains VOLTS HERTZ, as in mains 117 V 60 Hz, or mains 220 V DC"
#: What says that the mains do not alternate.
_DIRECT = ("DC", "=")
_ALTERNATING = "AC"
#: Volts and hertz without a blank between them.
_JOINED = re.compile(r"([0-9.]+)\s*V([0-9.]+)\s*Hz", re.IGNORECASE)
_MOST_VOLTS, _MOST_HERTZ = 1000.0, 1000.0


def read_mains(shape: PlainLine, report: Report) -> Mains | None:
    """Return the mains that a line states, or None after reporting what is wrong with it."""
    report = partial(report, expected=EXPECTED)
    amounts: dict[str, float] = {}
    for token, following in zip_longest(shape.words, shape.words[1:]):
        if str(token).replace(".", "").upper() in _DIRECT and "frequency" not in amounts:
            amounts["frequency"] = 0.0
            continue
        if str(token).replace(".", "").upper() == _ALTERNATING:
            continue
        try:
            value = read_cached(str(token))
        except QuantityError as error:
            spelled = meant(f"{token} {following or ''}")
            hint = f"did you mean {spelled}?" if spelled else ""
            if joined := _JOINED.fullmatch(token):
                hint = f"write {joined[1]} V {joined[2]} Hz"
            elif "/" in token:
                hint = "write the line that it is on now: volts and hertz, or DC"
            report(token, str(error), hint=hint)
            return None
        if value.dimension not in ("voltage", "frequency"):
            report(token, f"{token} is neither volts nor hertz")
            return None
        if value.dimension in amounts:
            report(token, f"{token} is one too many")
            return None
        amounts[value.dimension] = value.amount
        if value.dimension == "voltage" and str(token).upper().rstrip(".").endswith(
            ("VDC", "V=", "V-", "V.D.C")
        ):
            amounts["frequency"] = 0.0
    if len(amounts) < len(("voltage", "frequency")):
        report(shape.keyword, "the mains need volts and hertz, or DC")
        return None
    mains = Mains(amounts["voltage"], amounts["frequency"])
    if not (0 < mains.volts <= _MOST_VOLTS and mains.hertz <= _MOST_HERTZ):
        _refuse_figures(shape.words[0], report)
        return None
    return mains


def _refuse_figures(token: Token, report: Report) -> None:
    report(
        token,
        "no set is made for such mains",
        expected=f"up to {_MOST_VOLTS:g} V and {_MOST_HERTZ:g} Hz, or DC",
    )


def write_mains(mains: Mains) -> str:
    """Return the line that states the mains."""
    return f"mains {mains_words(mains)}"


def mains_words(mains: Mains) -> str:
    """Return volts and hertz as they are written: ``117 V 60 Hz``, ``220 V DC``."""
    hertz = f"{decimal(mains.hertz)} Hz" if mains.hertz else "DC"
    return f"{decimal(mains.volts)} V {hertz}"
