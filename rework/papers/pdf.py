"""The papers as a book to print, A4 or US Letter: set by typst, which has its own engine, in Source
Sans from its package.

Everything of the netlist reaches the template as data and is set as text; nothing of it is ever
markup there.
"""

from __future__ import annotations

import json
import re
from dataclasses import asdict, replace
from functools import cache
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING

from rework.draw.paper import size
from rework.papers.drawings import Drawing, Sheet
from rework.papers.lists import REASON
from rework.papers.whole import Papers
from rework.report.table import Table

if TYPE_CHECKING:
    from typst import Fonts

#: Data for the template: words, numbers, and lists and mappings of them, by name.
Data = dict[str, object]
#: The family in the package font-source-sans-pro, in which the drawings are set too: narrower than
#: the type they were measured in.
FONT = "Source Sans Pro"
#: Points of a paper, upright: (width, height).
_PAPER = {
    "a4": (595.3, 841.9),
    "us-letter": (612.0, 792.0),
    "a3": (841.9, 1190.6),
    "us-tabloid": (792.0, 1224.0),
}
#: The names that typst has for a sheet and for the one twice its size.
_NAMES = {"a4": ("a4", "a3"), "letter": ("us-letter", "us-tabloid")}
#: Points that a page with a drawing gives to its margins, and to margins, heading and caption; the
#: template has the same.
_BESIDE, _ABOVE = 76.0, 110.0
#: Size of a part's name in a drawing, and the least it is printed in to be worked from, points.
_NAME, LEAST_TYPE = 13.0, 8.0
#: Points down the page that a socket takes where two are side by side, and a row of the ohms and
#: volts under them.
_SOCKET, _ROW = 172.0, 12.5
#: A word longer than this gets places to break.
_LONGEST_WORD = 18
_PAPER_COLOUR = "#fdfcf8"


class CannotPrint(RuntimeError):
    """No PDF could be made; the message says what to do."""


def book(papers: Papers, *, sheet: Sheet, plot: str = "", full: bool = False) -> bytes:
    """Return the PDF of the bench set, the same bytes for the same papers; ``full`` adds every
    table.

    Raises CannotPrint where it cannot be set.
    """
    return _set(_data(papers, sheet, plot, full=full))


@cache
def _fonts() -> Fonts:
    import font_source_sans_pro
    import typst

    return typst.Fonts(
        include_system_fonts=False,
        font_paths=[str(Path(font_source_sans_pro.__file__).parent / "files")],
    )


def _set(data: Data) -> bytes:
    try:
        import typst
    except ImportError as error:
        raise CannotPrint(
            "the printer typst is missing; install it with: pip install typst font-source-sans-pro"
        ) from error
    template = (Path(__file__).parent / "templates" / "papers.typ").read_bytes()
    try:
        return typst.compile(
            template,
            font_paths=_fonts(),
            ignore_system_fonts=True,
            timestamp=0,
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
        )
    except (RuntimeError, ImportError) as error:
        raise CannotPrint(f"the papers could not be printed: {error}") from error


def _data(papers: Papers, sheet: Sheet, plot: str, *, full: bool) -> Data:
    data = _soft_words({key: value for key, value in asdict(papers).items() if key != "sheets"})
    numbers = {
        method_text.method.key: number for number, method_text in enumerate(papers.methods, 1)
    }
    return {
        **data,
        "paper": _NAMES[sheet][0],
        "sockets": _sockets(papers, sheet),
        "plain_title": papers.cover.title,
        "numbers": numbers,
        "plot": _printed(plot) if plot else "",
        "full": full,
        "full-fit": _soft_words(asdict(_without(papers.fit, REASON))),
        "sheets": [_sheet(drawing, sheet) for drawing in papers.sheets],
    }


def type_on(svg: str, paper: str) -> float:
    """Return the size in points of the names of parts where a drawing fills a page of a paper."""
    wide, high = size(svg)
    lying = sorted(_PAPER[paper], reverse=wide > high)
    return _NAME * min((lying[0] - _BESIDE) / wide, (lying[1] - _ABOVE) / high)


def paper_for(svg: str, sheet: Sheet) -> str:
    """Return the paper a drawing is set on: the sheet of the papers, or the one twice its size
    where the type would be too small to work from.
    """
    usual, large = _NAMES[sheet]
    return usual if not svg or type_on(svg, usual) >= LEAST_TYPE else large


def _sockets(papers: Papers, sheet: Sheet) -> Data:
    """Return the paper of the sheet of sockets, ohms and volts, and how many sockets are side by
    side: two on the usual paper where all fits on it, else three on the one twice its size.
    """
    usual, large = _NAMES[sheet]
    count = sum(len(drawing.views) for drawing in papers.sheets)
    rows = len(papers.pins.rows) + len(papers.flags) + len(papers.readings.rows)
    high = ceil(count / 2) * _SOCKET + rows * _ROW + _ABOVE
    fits = high < _PAPER[usual][1]
    return {"paper": usual if fits else large, "across": 2 if fits else 3}


def _sheet(drawing: Drawing, sheet: Sheet) -> Data:
    """Return a drawing ready to set, with its size in points."""
    wide, high = size(drawing.svg)
    return {
        "paper": paper_for(drawing.svg, sheet),
        "title": drawing.title,
        "caption": drawing.caption,
        "views": [{"word": view.word, "svg": _printed(view.svg)} for view in drawing.views],
        "svg": _printed(drawing.svg) if drawing.svg else "",
        "wide": wide > high,
        "width": wide,
        "height": high,
    }


def _printed(svg: str) -> str:
    """Return a drawing in the type of the page, on white."""
    plain = re.sub(
        r'font-family="[^"]*"', f'font-family="{FONT}"', svg.replace(_PAPER_COLOUR, "#ffffff")
    )
    return re.sub(r"font-family: *[^;\"]*", f"font-family: '{FONT}'", plain)


def _without(table: Table, heading: str) -> Table:
    """Return a table without the column of that heading."""
    kept = [place for place, column in enumerate(table.columns) if column.heading != heading]
    return replace(
        table,
        columns=tuple(table.columns[place] for place in kept),
        rows=tuple(tuple(row[place] for place in kept) for row in table.rows),
    )


def _soft(value: object) -> object:
    """Return data with places to break put into every very long word."""
    if isinstance(value, dict):
        return _soft_words(value)
    if isinstance(value, list | tuple):
        return [_soft(member) for member in value]
    if isinstance(value, str):
        return re.sub(rf"\S{{{_LONGEST_WORD},}}", _broken, value)
    return value


def _soft_words(data: Data) -> Data:
    keys = ("key", "how", "hows", "row_hows")
    return {key: value if key in keys else _soft(value) for key, value in data.items()}


def _broken(word: re.Match[str]) -> str:
    """Return a long word with a place to break after each mark and after twelve letters."""
    return re.sub(r"([/_.+,-])|(.{12})(?=.)", lambda piece: piece[0] + "\u200b", word[0])
