"""Lists as CSV for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import astuple

from rework.papers.lists import Lists

#: A cell that begins with one of these would be run as a formula by a spreadsheet.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def tables(lists: Lists) -> dict[str, bytes]:
    """Return the CSV files of a job by name, UTF-8, one heading line each."""
    heading = ("name", "part", "reason", "remark")
    return {"parts-to-fit.csv": _csv(heading, map(astuple, lists.fit)), "parts-removed.csv": _csv(heading, map(astuple, lists.removed)),
            "parts-kept.csv": _csv(heading, map(astuple, lists.kept)),
            "wires.csv": _csv(("name", "colour", "gauge", "make", "from", "to"), map(astuple, lists.wires))}


def _csv(heading: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heading)
    writer.writerows([f"'{cell}" if cell.startswith(_FORMULA) else cell for cell in row] for row in rows)
    return out.getvalue().encode()
