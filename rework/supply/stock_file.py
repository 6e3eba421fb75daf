"""The stock list a command goes by: which file that is, read with every mistake in it reported."""

from __future__ import annotations

import os
from pathlib import Path

from rework.circuit.place import Problem
from rework.language.files import Refusal, read_bytes
from rework.supply.stock import Shelf
from rework.supply.stock_reader import read_shelf

#: The list that is looked for beside a file that names no other, and in the folder above.
SHELF = "shelf.csv"


def stock_list(named: str | None, prices: str, folder: Path) -> tuple[Shelf | None, str]:
    """Return the stock list and its file: the one named, that of a job's prices, else the one
    beside the file or in the folder above.

    None and "" where none was named and none is there. Raises Refusal with every mistake in it,
    or where the one named is not there.
    """
    asked = Path(named) if named else folder / prices if prices else None
    tried = [asked] if asked else [folder / SHELF, Path(os.path.normpath(folder / ".." / SHELF))]
    path = next((path for path in tried if path.exists()), asked)
    if path is None:
        return None, ""
    if not path.exists():
        raise Refusal(
            no_list(str(path))
            if named
            else no_list(str(path), "correct the line prices of the job")
        )
    shelf, problems = read_shelf(read_bytes(path), file=str(path))
    if shelf is None:
        raise Refusal(*problems)
    return shelf, str(path)


def no_list(path: str, remedy: str = "name one with --shelf") -> Problem:
    """Return the problem of a stock list that is not there."""
    return Problem(
        f"there is no stock list {path}",
        expected="a CSV file of what is on the shelf",
        hint=f"{remedy}, or begin one with: rework new shelf.csv",
    )
