"""A table as a value, the same for terminal, page, print, Markdown and spreadsheet.

A room says its results in tables (``solve/words.py``, ``touch/words.py``); the terminal prints them
(``text``), the page gets them as plain values (``values``), papers set them as text (``written``).
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass, replace
from typing import Any, Literal

from rework.report.cells import ShownFigure
from rework.report.figures import number
from rework.report.terminal import Line, columns_wide, printable, styled, wrapped
from rework.report.terminal import table as aligned

#: How a column is set: ``name`` bold, ``figure`` to the right and linked to how it was computed,
#: ``text``, a ``blank`` to write in, a box to ``tick``.
Look = Literal["name", "figure", "text", "blank", "tick"]
#: A cell that begins with one of these would be run as a formula by a spreadsheet.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
#: Tables of more columns than this are set close.
_MANY = 9
_AMOUNT = re.compile(r"-[0-9]+(\.[0-9]+)? [A-Za-zµ]+")


#: What a row is to whoever reads the table: over a limit, good news, or neither.
Mark = Literal["", "bad", "good"]
#: Words, or an amount in the unit of its column; None where there is none.
Cell = str | float | None


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, how it is set, the method (``methods.METHODS``) its figures come
    from, and the unit of its amounts.
    """

    heading: str
    look: Look = "text"
    how: str = ""
    unit: str = ""

    @property
    def title(self) -> str:
        """The heading with its unit."""
        return ", ".join(filter(None, (self.heading, self.unit)))


@dataclass(frozen=True, slots=True)
class Table:
    """One table.

    ``key`` names it in files and links. Where it has no rows, ``why`` says the reason in a
    sentence.

    ``turned``: people read it with a column for each row; a spreadsheet has it as it is.
    ``row_hows`` names a method for each row, where the figures of a column come from several;
    ``parts`` the part each row is about ("" for none), ``marks`` what each row is to the reader.
    """

    key: str
    title: str
    lead: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    why: str = ""
    row_hows: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()
    turned: bool = False

    def __post_init__(self) -> None:
        """Raise ValueError where a row has not one cell a column, or a list by row not one each."""
        lengths = {len(row) for row in self.rows}
        if lengths - {len(self.columns)}:
            raise ValueError(f"{self.key}: {len(self.columns)} columns, rows of {lengths}")
        for by_row in (self.row_hows, self.parts, self.marks):
            if by_row and len(by_row) != len(self.rows):
                raise ValueError(
                    f"{self.key}: {len(self.rows)} rows, {len(by_row)} of {by_row[:2]}"
                )


def cell_text(column: Column, cell: Cell) -> str:
    """Return a cell as people read it: an amount to three figures without its unit."""
    if isinstance(cell, str):
        return str(cell)
    return "–" if cell is None else number(cell, column.unit)


def written(table: Table) -> Table:
    """Return the table as people read it: every amount written out, every unit in its heading."""
    words = replace(
        table,
        columns=tuple(replace(column, heading=column.title, unit="") for column in table.columns),
        rows=tuple(tuple(map(cell_text, table.columns, row)) for row in table.rows),
    )
    return _turned(words) if table.turned else words


def _turned(table: Table) -> Table:
    """Return a written table with its rows as columns; the first cell of a row is its heading."""
    first, *others = table.columns
    headings = [str(row[0]) for row in table.rows]
    return replace(
        table,
        columns=(Column(first.heading, "name"), *map(Column, headings)),
        rows=tuple(
            (column.heading, *(row[at] for row in table.rows))
            for at, column in enumerate(others, 1)
        ),
        row_hows=(),
        parts=(),
        marks=(),
        turned=False,
    )


def values(table: Table) -> dict[str, Any]:
    """Return the table as the page takes it: texts, and for each row its part and mark."""
    plain = written(table)
    shown = [index for index, column in enumerate(plain.columns) if column.look != "tick"]
    return {
        "key": table.key,
        "title": table.title,
        "note": table.lead,
        "why": table.why,
        "columns": [plain.columns[index].heading for index in shown],
        "looks": [plain.columns[index].look for index in shown],
        "rows": [[row[index] for index in shown] for row in plain.rows],
        "parts": list(plain.parts) or [""] * len(plain.rows),
        "marks": list(plain.marks) or [""] * len(plain.rows),
    }


def text(table: Table) -> str:
    """Return the table for a terminal: title, lead, aligned columns no wider than the terminal."""
    plain = written(table)
    at_all = [at for at, column in enumerate(plain.columns) if column.look not in ("tick", "blank")]
    shown = [plain.columns[at] for at in at_all]
    lines: list[Line] = [[column.heading for column in shown]]
    for index, row in enumerate(plain.rows):
        cells = [printable(str(row[at])) for at in at_all]
        bad = bool(plain.marks) and plain.marks[index] == "bad"
        lines.append(
            [styled(cell, "red") if bad and not at else cell for at, cell in enumerate(cells)]
        )
    out = [styled(printable(table.title), "bold")] if table.title else []
    out += [wrapped(table.lead)] if table.lead else []
    if not table.rows:
        return "\n".join([*out, wrapped(table.why or "None.", indent="  ")])
    right = frozenset(at for at, column in enumerate(shown) if column.look == "figure")
    gap = " " if len(shown) > _MANY else "  "
    return "\n".join([*out, aligned(lines, gap=gap, width=columns_wide(), right=right)])


def spreadsheet(table: Table) -> bytes:
    """Return a table as CSV, UTF-8, one heading line, one number a cell in the unit of its heading:
    a band has two columns. A cell that a spreadsheet would run is kept a word by an apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    columns = [
        spread
        for index, column in enumerate(table.columns)
        if column.look != "tick"
        for spread in _spread(column, [row[index] for row in table.rows])
    ]
    writer.writerow([heading for heading, _ in columns])
    writer.writerows(zip(*(cells for _, cells in columns), strict=True))
    return out.getvalue().encode()


def _spread(column: Column, cells: list[Cell]) -> list[tuple[str, list[str | float]]]:
    """Return a column as those of a spreadsheet: one for each unit and role of its figures; words
    among them are in the first.
    """
    kinds = list(
        dict.fromkeys(
            (amount.role, amount.unit)
            for cell in cells
            if isinstance(cell, ShownFigure)
            for amount in cell.amounts
        )
    )
    if not kinds:
        return [(_heading(column.heading, column.unit), list(map(_plain_cell, cells)))]
    return [
        (
            _heading(" ".join(filter(None, (column.heading, role))), unit),
            [_amount(cell, role, unit, first=not number) for cell in cells],
        )
        for number, (role, unit) in enumerate(kinds)
    ]


def _heading(heading: str, unit: str) -> str:
    """Return a heading in small letters, its unit as it is written."""
    words, comma, tail = heading.rpartition(", ")
    lowered = words.lower() + comma + tail if comma else heading.lower()
    return ", ".join(filter(None, (lowered, unit)))


def _amount(cell: Cell, role: str, unit: str, *, first: bool) -> str | float:
    if not isinstance(cell, ShownFigure):
        return _plain_cell(cell) if first else ""
    amounts = (amount.value for amount in cell.amounts if amount[1:] == (unit, role))
    return next((float(f"{value:.6g}") for value in amounts), "")


def _plain_cell(cell: Cell) -> str | float:
    """Return a cell for a spreadsheet: an amount as it was computed, to six figures."""
    if cell is None:
        return ""
    return _word(cell) if isinstance(cell, str) else float(f"{cell:.6g}")


def _word(cell: str) -> str:
    return f"'{cell}" if cell.startswith(_FORMULA) and not _AMOUNT.fullmatch(cell) else cell


def markdown(table: Table) -> str:
    """Return a table in Markdown, with a line to write on in every blank cell and a box in every
    one to tick.
    """
    if not table.rows:
        return f"{table.why}\n"
    heads = [column.title for column in table.columns]
    rows = [
        [
            _set(column, cell_text(column, cell))
            for column, cell in zip(table.columns, row, strict=True)
        ]
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
