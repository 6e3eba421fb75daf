"""A table as a value, the same for page, print, text and spreadsheet; and what writes it for the
last two.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from typing import Literal

#: How a column is set: ``name`` bold, ``figure`` to the right and linked to how it was computed,
#: ``text``, a ``blank`` to write in, a box to ``tick``.
Look = Literal["name", "figure", "text", "blank", "tick"]
#: A cell that begins with one of these would be run as a formula by a spreadsheet.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_AMOUNT = re.compile(r"-[0-9]+(\.[0-9]+)? [A-Za-zµ]+")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, how it is set, and the method (``methods.METHODS``) its figures come
    from.
    """

    heading: str
    look: Look = "text"
    how: str = ""


@dataclass(frozen=True, slots=True)
class Table:
    """One table.

    ``key`` names it in files and links. Where it has no rows, ``why`` says the reason in a
    sentence.

    ``row_hows`` names a method for each row, where the figures of a column come from several.
    """

    key: str
    title: str
    lead: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    why: str = ""
    row_hows: tuple[str, ...] = ()


def spreadsheet(table: Table) -> bytes:
    """Return a table as CSV, UTF-8, one heading line; a cell that a spreadsheet would run is kept a
    word by an apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    kept = [number for number, column in enumerate(table.columns) if column.look != "tick"]
    writer.writerow([table.columns[number].heading.lower() for number in kept])
    writer.writerows([_word(row[number]) for number in kept] for row in table.rows)
    return out.getvalue().encode()


def _word(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) and not _AMOUNT.fullmatch(cell) else cell


def markdown(table: Table) -> str:
    """Return a table in Markdown, with a line to write on in every blank cell and a box in every
    one to tick.
    """
    if not table.rows:
        return f"{table.why}\n"
    heads = [column.heading for column in table.columns]
    rows = [
        [_set(column, cell) for column, cell in zip(table.columns, row, strict=True)]
        for row in table.rows
    ]
    lines = [
        heads,
        ["--:" if column.look == "figure" else "---" for column in table.columns],
        *rows,
    ]
    return "".join("| " + " | ".join(line) + " |\n" for line in lines)


def plain_text(text: str) -> str:
    """Return words so that Markdown shows them as they are."""
    escaped = "".join(f"\\{letter}" if letter in "\\`*_{}[]<>#|~&" else letter for letter in text)
    return " ".join(escaped.split())


def _set(column: Column, cell: str) -> str:
    if column.look == "tick":
        return "☐"
    if column.look == "blank" and not cell:
        return "______"
    return f"**{plain_text(cell)}**" if column.look == "name" and cell else plain_text(cell)
