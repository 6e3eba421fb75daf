"""Figures for the cells of a table: read as ``figures`` writes them, with their numbers kept for a
spreadsheet.
"""

from __future__ import annotations

from math import isfinite
from typing import NamedTuple

from rework.report import figures


class Amount(NamedTuple):
    """One number of a figure, in its unit; ``role`` says which where there are several."""

    value: float
    unit: str
    role: str = ""


class ShownFigure(str):
    """A figure as people read it, which keeps its numbers for a spreadsheet."""

    amounts: tuple[Amount, ...]

    def __new__(cls, text: str, *amounts: Amount) -> ShownFigure:
        """Return the words with their amounts."""
        figure = super().__new__(cls, text)
        figure.amounts = amounts
        return figure

    def after(self, words: str) -> ShownFigure:
        """Return the figure with words before it."""
        return ShownFigure(words + self, *self.amounts)


def shown(value: float | None, unit: str) -> ShownFigure:
    """Return an SI amount with its unit and multiplier."""
    known = value is not None and isfinite(value)
    amounts = (Amount(value, unit),) if value is not None and known else ()
    return ShownFigure(figures.shown(value, unit), *amounts)


def volts(value: float | None) -> ShownFigure:
    """Return direct volts as a bench meter shows them."""
    amounts = (Amount(value, "V"),) if value is not None else ()
    return ShownFigure(figures.volts(value), *amounts)


def band(low: float, high: float, unit: str = "V") -> ShownFigure:
    """Return a band with its two ends; nothing where it has no width that a meter would show."""
    text = figures.band(low, high, unit)
    ends = (Amount(low, unit, "from"), Amount(high, unit, "to")) if text else ()
    return ShownFigure(text, *ends)


def share(value: float) -> ShownFigure:
    """Return a ratio as whole per cent."""
    return ShownFigure(figures.share(value), Amount(100 * value, "%"))
