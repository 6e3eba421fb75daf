"""The stock list read: what is on the shelf or in the shop, from a plain CSV file.

All mistakes of a file are reported at once.

One line a part, ``kind`` and what that kind wants; a remark begins with ``#``. A number alone takes
the unit of its column, ``450 V`` or ``47 uF`` says its own. The windings of a transformer are in
one cell, joined by ``+``, each its name, volts, amps and ohms over its whole length, in any order:
``primary 117 V 9 ohm + hv 240-0-240 V 60 mA 420 ohm + heater 6.3 V 2.5 A 0.08 ohm tap``. Nothing is
filled in: a winding whose ohms were not measured cannot be computed with, and is an error.

The kinds in ``WANTED`` are designed with. Any other kind of part that a job may need, and the
``SUNDRIES``, may stand on the list with a name and a price.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from rework.circuit.kinds import KINDS
from rework.circuit.place import Place, Problem
from rework.language.mistakes import nearest
from rework.language.quantity import QuantityError, read_value
from rework.language.reader import decode
from rework.language.units import EXAMPLES
from rework.supply.stock import CLASSES, Shelf, StockItem
from rework.supply.stock_rows import COLUMNS, SUNDRIES, WANTED, Said, StockRow, item_of, wanted_of
from rework.supply.windings import read_windings
from rework.tubes import library

MOST_LINES = 100_000


def read_shelf(data: bytes, *, file: str) -> tuple[Shelf | None, tuple[Problem, ...]]:
    """Return the stock list in the bytes of a CSV file, or every problem of it: line, column, what
    was expected.
    """
    text, problems = decode(data, file)
    if text is None:
        return None, problems
    reading = _Reading(file)
    items = tuple(reading.items(text))
    if not reading.problems and not items:
        reading.problems.append(
            Problem(
                f"{file} lists no parts",
                Place(file, 1, 1, 2),
                text.split("\n", 1)[0],
                expected="a line of column names, then one line a part",
                hint="begin one with: rework new shelf.csv",
            )
        )
    return (None, tuple(reading.problems)) if reading.problems else (Shelf(items, file), ())


def cells(line: str, mark: str) -> Iterator[tuple[str, int, int]]:
    """Yield each cell of one line with the column it starts in and the one past its end; a quoted
    cell may hold the mark (RFC 4180).
    """
    at, closed = 0, re.compile(rf'\s*"((?:[^"]|"")*)"\s*(?={re.escape(mark)}|$)')
    while True:
        quoted = closed.match(line, at)
        if quoted:
            yield quoted[1].replace('""', '"'), quoted.start(1) + 1, quoted.end(1) + 1
            at = quoted.end()
        else:
            end = line.find(mark, at)
            end = len(line) if end < 0 else end
            raw = line[at:end]
            start = at + len(raw) - len(raw.lstrip())
            yield raw.strip(), start + 1, max(start + len(raw.strip()), start + 1) + 1
            at = end
        if at >= len(line):
            return
        at += 1


class _Reading:
    """The list as it is read line by line: its columns, the line in hand, every mistake."""

    def __init__(self, file: str) -> None:
        self.file, self.mark = file, ","
        self.problems: list[Problem] = []
        self.columns: list[str] = []
        self.line, self.number = "", 0
        self.at: dict[str, tuple[int, int]] = {}

    def fault(self, column: str | int, message: str, *, expected: str = "", hint: str = "") -> None:
        """Note a mistake at a named column of the line, or at a character of it."""
        start, end = (
            self.at.get(column, (1, 2)) if isinstance(column, str) else (column, column + 1)
        )
        place = Place(self.file, self.number, start, end)
        self.problems.append(Problem(message, place, self.line, expected, hint))

    def items(self, text: str) -> Iterator[StockItem]:
        """Yield the item of every line that has no mistake."""
        for self.number, self.line in enumerate(text.split("\n"), 1):
            if not self.line.strip() or self.line.lstrip().startswith("#"):
                continue
            if self.number > MOST_LINES:
                self.fault(
                    1,
                    f"a stock list has at most {MOST_LINES:,} lines",
                    expected="one line a part",
                )
                return
            if not self.columns:
                if not self._header():
                    return
            elif (item := self._line()) is not None:
                yield item

    def _header(self) -> bool:
        """Read the names of the columns; return whether they are good."""
        self.mark = max(",;\t", key=self.line.count)
        before = len(self.problems)
        self.at = {}
        for text, start, end in cells(self.line, self.mark):
            name = text.lower()
            twice = name in self.at
            self.at[name] = (start, end)
            if name not in COLUMNS:
                near = nearest(name, COLUMNS)
                self.fault(
                    name,
                    f"there is no column {name!r}" if name else "a column has no name",
                    expected="one of " + ", ".join(COLUMNS),
                    hint=(
                        f"did you mean {near}?"
                        if near
                        else "take the column out, or write its text under note"
                    ),
                )
            elif twice:
                self.fault(name, f"the column {name} is there twice", expected="each column once")
            self.columns.append(name)
        for name in ("kind", "name"):
            if name not in self.columns:
                self.fault(
                    1,
                    f"the first line has no column {name}",
                    expected="the names of the columns, such as kind,name,value,volts,amps,price",
                )
        return len(self.problems) == before

    def _line(self) -> StockItem | None:
        """Return the item of the line in hand, or None after noting its mistakes."""
        row = list(cells(self.line, self.mark))
        self.at = {
            name: (start, end) for name, (_, start, end) in zip(self.columns, row, strict=False)
        }
        if len(row) > len(self.columns):
            self.fault(
                row[len(self.columns)][1],
                f"this line has {len(row)} cells, the first line names {len(self.columns)}",
                expected=f"at most {len(self.columns)} cells",
                hint=f'put a text that holds {self.mark!r} in quotes, as in "a{self.mark} b"',
            )
            return None
        stated = {name: text for name, (text, _, _) in zip(self.columns, row, strict=False) if text}
        kind = stated.get("kind", "").lower()
        wanted = wanted_of(kind)
        if wanted is None:
            near = nearest(kind, (*WANTED, *KINDS, *SUNDRIES))
            self.fault(
                "kind",
                f"{kind or 'nothing'} is not a kind of part",
                expected="one of " + ", ".join((*WANTED, *SUNDRIES)) + ", or any kind of part",
                hint=f"did you mean {near}?" if near else "",
            )
            return None
        before = len(self.problems)
        self._columns_of(kind, wanted, stated)
        filled = self._filled(kind, wanted, stated)
        return item_of(kind, filled) if len(self.problems) == before else None

    def _columns_of(self, kind: str, wanted: tuple[str, str, str], stated: dict[str, str]) -> None:
        """Note what the kind must say and this line does not, and what it cannot say."""
        must, may, _ = wanted
        for name in must.split():
            if name not in stated:
                self.fault(
                    name, f"this {kind} does not say its {name}", expected=_example(kind, name)
                )
        known = {*must.split(), *may.split(), "kind", "price", "note", "name"}
        for name in sorted(stated.keys() - known):
            self.fault(
                name,
                f"a {kind} has no {name}",
                expected=f"an empty cell here; a {kind} says "
                + ", ".join((must + " " + may).split()),
            )

    def _filled(self, kind: str, wanted: tuple[str, str, str], stated: dict[str, str]) -> StockRow:
        """Return the cells read, each as the column and the kind want it."""
        must, may, dimension = wanted
        said = Said(
            name=stated.get("name", "") if kind in WANTED else stated.get("name", kind),
            price=self._plain("price", stated["price"]) if "price" in stated else None,
            note=stated.get("note", ""),
            place=Place(self.file, self.number, 1, 2),
        )
        if kind == "tube" and "name" in stated:
            self._tube(stated["name"])
        row = StockRow(said)
        for name in (*must.split(), *may.split()):
            if name not in stated:
                continue
            text = stated[name]
            if name == "windings":
                row.windings = read_windings(text, self._wound)
            elif name == "size":
                row.size = self._size(text)
            elif name in ("screen", "class"):
                row.words[name] = self._word(kind, name, text)
            elif name != "name":
                amount = (
                    self._plain(name, text)
                    if name == "i2t"
                    else self._amount(name, text, dimension if name == "value" else "")
                )
                if amount is not None:
                    row.numbers[name] = amount
        return row

    def _wound(self, at: int | None, message: str, expected: str, hint: str) -> None:
        """Note a mistake in the windings, at a character of their cell or at the cell."""
        where = "windings" if at is None else self.at["windings"][0] + at
        self.fault(where, message, expected=expected, hint=hint)

    def _tube(self, text: str) -> None:
        if not library.is_known(text):
            near = library.nearest(text, 1)
            self.fault(
                "name",
                f"{text} is not in the tube library",
                expected="a type that rework tubes lists",
                hint=f"did you mean {near[0]}?" if near and near[0] != text else "",
            )

    def _word(self, kind: str, name: str, text: str) -> str:
        if name == "screen":
            if text.lower() not in ("yes", "no"):
                self.fault(name, f"screen is {text}", expected="yes or no")
            return text.lower()
        good = ("slow", "fast") if kind == "fuse" else tuple(CLASSES)
        word = text.lower() if kind == "fuse" else text.upper()
        if word not in good:
            what = "kind of fuse" if kind == "fuse" else "class of insulation"
            self.fault(name, f"{text} is no {what}", expected="one of " + ", ".join(good))
        return word

    def _plain(self, name: str, text: str) -> float | None:
        if not re.fullmatch(r"\d{1,9}(\.\d{1,6})?", text):
            self.fault(
                name,
                f"{text} is no {name}",
                expected=(
                    "a plain number such as 12.50"
                    if name == "price"
                    else "ampere-squared seconds as a plain number, such as 1.5"
                ),
            )
            return None
        return float(text)

    def _amount(self, column: str, text: str, value_of: str) -> float | None:
        """Return a number of the dimension of its column, or of ``value_of``, in SI."""
        dimension, unit = (value_of, "") if value_of else COLUMNS[column]
        bare = re.fullmatch(r"\d*\.?\d+", text)
        try:
            value = read_value(f"{text} {unit}" if bare and unit else text, bare=dimension)
            if value.dimension != dimension:
                raise QuantityError(f"{text} is no {dimension.replace('-', ' ')}")
            if not 1e-15 < value.amount < 1e9:
                raise QuantityError(f"no part has {text}")
            return value.amount
        except QuantityError as error:
            self.fault(column, str(error), expected=EXAMPLES[dimension])
            return None

    def _size(self, text: str) -> tuple[float, ...]:
        sides = re.fullmatch(
            r"(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)\s*(mm|cm|in)",
            text.lower(),
        )
        if sides is None:
            self.fault(
                "size",
                f"{text} is no size",
                expected="width x depth x height with its unit, such as 80 x 66 x 70 mm",
            )
            return ()
        unit = {"mm": 1e-3, "cm": 1e-2, "in": 0.0254}[sides[4]]
        return tuple(float(sides[n]) * unit for n in (1, 2, 3))


def _example(kind: str, name: str) -> str:
    """Return an example of what a column of a kind says."""
    wanted = wanted_of(kind)
    dimension = wanted[2] if name == "value" and wanted else COLUMNS[name][0]
    return {
        "windings": "windings such as primary 117 V 9 ohm + heater 6.3 V 2 A 0.1 ohm",
        "class": "slow or fast" if kind == "fuse" else "a class of insulation",
        "name": "a name",
    }.get(name, EXAMPLES.get(dimension, f"its {name}"))
