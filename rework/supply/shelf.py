"""The stock list: what is on the shelf or in the shop, from a plain CSV file.

All mistakes of a file are told at once.

One line a part, ``kind`` and what that kind wants; a remark begins with ``#``. A number alone takes
the unit of its column, ``450 V`` or ``47 uF`` says its own. The windings of a transformer stand in
one cell, joined by ``+``, each its name, volts, amps and ohms over its whole length, in any order:
``primary 117 V 9 ohm + hv 240-0-240 V 60 mA 420 ohm + heater 6.3 V 2.5 A 0.08 ohm tap``. Nothing is
filled in: a winding whose ohms nobody measured cannot be computed with, and is an error.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

from rework.circuit.kinds import WINDING_NAMES
from rework.circuit.place import Place, Problem
from rework.language.mistakes import nearest
from rework.language.quantity import EXAMPLES, QuantityError, read_value
from rework.language.reader import decode
from rework.tubes import library

#: Columns with the dimension of their numbers and the unit a bare number takes there; "" takes a
#: plain number or text.
COLUMNS = {
    "kind": ("", ""),
    "name": ("", ""),
    "value": ("", ""),
    "volts": ("voltage", "V"),
    "amps": ("current", "A"),
    "ohms": ("resistance", "ohm"),
    "watts": ("power", "W"),
    "va": ("apparent-power", "VA"),
    "windings": ("", ""),
    "screen": ("", ""),
    "class": ("", ""),
    "size": ("", ""),
    "ripple": ("current", "A"),
    "surge": ("current", "A"),
    "i2t": ("", ""),
    "no-load": ("power", "W"),
    "price": ("", ""),
    "note": ("", ""),
}
#: What each kind must say, what it may, and the dimension of its ``value``.
WANTED = {
    "transformer": ("name va windings", "screen class size no-load", ""),
    "choke": ("name value amps ohms", "size", "inductance"),
    "electrolytic": ("value volts", "name ripple size", "capacitance"),
    "tube": ("name", "", ""),
    "diode": ("name volts amps", "surge", ""),
    "bridge": ("name volts amps", "surge", ""),
    "fuse": ("amps volts class", "name i2t", ""),
    "resistor": ("value watts", "name volts", "resistance"),
    "pot": ("value watts", "name", "resistance"),
    "thermistor": ("value ohms amps", "name", "resistance"),
    "connector": ("volts amps", "name", ""),
    "switch": ("volts amps", "name", ""),
}
#: Highest temperature in degrees Celsius that each class of insulation stands for life: IEC 60085
#: (from memory; the standard was not seen).
CLASSES = {"A": 105.0, "E": 120.0, "B": 130.0, "F": 155.0, "H": 180.0}
MOST_LINES = 100_000


@dataclass(frozen=True, slots=True)
class Winding:
    """A winding: volts RMS over its whole length at rated load, amps (None: not said), ohms, and
    whether its middle is brought out.
    """

    name: str
    volts: float
    amps: float | None
    ohms: float
    tapped: bool


@dataclass(frozen=True, slots=True)
class Item:
    """One line of the list, SI throughout; None where the line says nothing.

    ``value`` is farads, henries or ohms by its kind.

    ``ohms`` of a thermistor are those it has hot, ``value`` those cold; ``insulation`` is a thermal
    class or the word of a fuse (slow, fast); ``size`` is in metres; ``no_load`` is the watts a
    transformer takes with nothing connected.
    """

    kind: str
    name: str
    value: float | None = None
    volts: float | None = None
    amps: float | None = None
    ohms: float | None = None
    watts: float | None = None
    va: float | None = None
    windings: tuple[Winding, ...] = ()
    screen: bool = False
    insulation: str = ""
    size: tuple[float, ...] = ()
    ripple: float | None = None
    surge: float | None = None
    i2t: float | None = None
    no_load: float | None = None
    price: float | None = None
    note: str = ""
    place: Place | None = field(default=None, compare=False)

    def winding(self, stem: str) -> Winding | None:
        """Return the first winding whose name begins with ``stem``."""
        return next((one for one in self.windings if one.name.startswith(stem)), None)


@dataclass(frozen=True)
class Shelf:
    """Everything on the list, in the order of the file."""

    items: tuple[Item, ...]
    file: str = ""

    @cached_property
    def by_kind(self) -> dict[str, tuple[Item, ...]]:
        """Items by kind, every kind present. Read only."""
        return {kind: tuple(item for item in self.items if item.kind == kind) for kind in WANTED}

    def of(self, kind: str) -> tuple[Item, ...]:
        """Return the items of one kind, in the order of the file."""
        return self.by_kind[kind]


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
    def __init__(self, file: str) -> None:
        self.file, self.problems, self.mark = file, [], ","
        self.columns: list[str] = []
        self.line, self.number, self.at = "", 0, {}

    def fault(self, column: str | int, message: str, *, expected: str = "", hint: str = "") -> None:
        """Note a mistake at a named column of the line, or at a character of it."""
        start, end = (
            self.at.get(column, (1, 2)) if isinstance(column, str) else (column, column + 1)
        )
        self.problems.append(
            Problem(message, Place(self.file, self.number, start, end), self.line, expected, hint)
        )

    def items(self, text: str) -> Iterator[Item]:
        for self.number, self.line in enumerate(text.split("\n"), 1):
            if not self.line.strip() or self.line.lstrip().startswith("#"):
                continue
            if self.number > MOST_LINES:
                self.fault(
                    1,
                    f"more than {MOST_LINES:,} lines are no stock list",
                    expected="one line a part",
                )
                return
            if self.columns:
                item = self._item()
                if item is not None:
                    yield item
            elif not self._header():
                return

    def _header(self) -> bool:
        self.mark = max(",;\t", key=self.line.count)
        found = [(text.lower(), start, end) for text, start, end in cells(self.line, self.mark)]
        good = True
        for number, (name, start, end) in enumerate(found):
            self.at = {name: (start, end)}
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
                good = False
            elif name in [other for other, _, _ in found[:number]]:
                self.fault(name, f"the column {name} is there twice", expected="each column once")
                good = False
        self.columns = [name for name, _, _ in found]
        for name in ("kind", "name"):
            if name not in self.columns:
                self.at = {}
                self.fault(
                    1,
                    f"the first line has no column {name}",
                    expected="the names of the columns, such as kind,name,value,volts,amps,price",
                )
                good = False
        return good

    def _item(self) -> Item | None:
        row = list(cells(self.line, self.mark))
        self.at = {
            name: (start, end) for name, (_, start, end) in zip(self.columns, row, strict=False)
        }
        before = len(self.problems)
        if len(row) > len(self.columns):
            self.fault(
                row[len(self.columns)][1],
                f"this line has {len(row)} cells, the first line names {len(self.columns)}",
                expected=f"at most {len(self.columns)} cells",
                hint=f'put a text that holds {self.mark!r} in quotes, as in "a{self.mark} b"',
            )
            return None
        told = {name: text for name, (text, _, _) in zip(self.columns, row, strict=False) if text}
        kind = told.get("kind", "").lower()
        if kind not in WANTED:
            near = nearest(kind, WANTED)
            self.fault(
                "kind",
                f"{kind or 'nothing'} is no kind of part for a supply",
                expected="one of " + ", ".join(WANTED),
                hint=f"did you mean {near}?" if near else "",
            )
            return None
        must, may, dimension = WANTED[kind]
        for name in must.split():
            if name not in told:
                self.fault(
                    name, f"this {kind} does not say its {name}", expected=self._example(kind, name)
                )
        known = {*must.split(), *may.split(), "kind", "price", "note", "name"}
        for name in sorted(told.keys() - known):
            self.fault(
                name,
                f"a {kind} has no {name}",
                expected="an empty cell here; a "
                + kind
                + " says "
                + ", ".join(must.split() + may.split()),
            )
        read = {
            name: self._number(kind, name, text, dimension)
            for name, text in told.items()
            if name in known
        }
        if len(self.problems) > before:
            return None
        return Item(
            kind,
            told.get("name", ""),
            *(read.get(name) for name in ("value", "volts", "amps", "ohms", "watts", "va")),
            read.get("windings") or (),
            bool(read.get("screen")),
            read.get("class") or "",
            read.get("size") or (),
            *(read.get(name) for name in ("ripple", "surge", "i2t", "no-load", "price")),
            told.get("note", ""),
            Place(self.file, self.number, 1, 2),
        )

    def _example(self, kind: str, name: str) -> str:
        dimension = WANTED[kind][2] if name == "value" else COLUMNS[name][0]
        return {
            "windings": "windings such as primary 117 V 9 ohm + heater 6.3 V 2 A 0.1 ohm",
            "class": "slow or fast" if kind == "fuse" else "a class of insulation",
            "name": "a name",
        }.get(name, EXAMPLES.get(dimension, f"its {name}"))

    def _number(self, kind: str, name: str, text: str, dimension: str):
        """Return what a cell says, as the column and kind want it; a mistake is noted."""
        match name:
            case "kind" | "note":
                return text
            case "name":
                if kind == "tube" and (
                    (tube := library.find(text)) is None or not tube.is_rectifier
                ):
                    near = library.nearest(text, 1)
                    self.fault(
                        name,
                        f"{text} is not a rectifier of the tube library",
                        expected="a rectifier that rework tubes lists",
                        hint=f"did you mean {near[0]}?" if near and near[0] != text else "",
                    )
                return text
            case "windings":
                return self._windings(text)
            case "screen":
                if text.lower() not in ("yes", "no"):
                    self.fault(name, f"screen is {text}", expected="yes or no")
                return text.lower() == "yes"
            case "class":
                good = ("slow", "fast") if kind == "fuse" else tuple(CLASSES)
                word = text.lower() if kind == "fuse" else text.upper()
                if word not in good:
                    self.fault(
                        name,
                        f"{text} is no"
                        f" {'kind of fuse' if kind == 'fuse' else 'class of insulation'}",
                        expected="one of " + ", ".join(good),
                    )
                return word
            case "size":
                return self._size(text)
            case "i2t" | "price":
                return self._plain(name, text)
        wanted = dimension if name == "value" else COLUMNS[name][0]
        return self._amount(name, text, wanted, "" if name == "value" else COLUMNS[name][1])

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

    def _amount(
        self, column: str, text: str, dimension: str, unit: str, at: int | None = None
    ) -> float | None:
        bare = re.fullmatch(r"\d*\.?\d+", text)
        try:
            value = read_value(f"{text} {unit}" if bare and unit else text, bare=dimension)
            if value.dimension != dimension:
                raise QuantityError(f"{text} is no {dimension.replace('-', ' ')}")
            if not 1e-15 < value.amount < 1e9:
                raise QuantityError(f"{text} is nothing a part can have")
            return value.amount
        except QuantityError as error:
            self.fault(column if at is None else at, str(error), expected=EXAMPLES[dimension])
            return None

    def _size(self, text: str) -> tuple[float, ...]:
        found = re.fullmatch(
            r"(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)\s*(mm|cm|in)",
            text.lower(),
        )
        if found is None:
            self.fault(
                "size",
                f"{text} is no size",
                expected="width x depth x height with its unit, such as 80 x 66 x 70 mm",
            )
            return ()
        return tuple(
            float(found[n]) * {"mm": 1e-3, "cm": 1e-2, "in": 0.0254}[found[4]] for n in (1, 2, 3)
        )

    def _windings(self, text: str) -> tuple[Winding, ...]:
        made: list[Winding] = []
        offset = self.at["windings"][0]
        for piece in re.finditer(r"[^+]+", text):
            at = offset + piece.start() + len(piece[0]) - len(piece[0].lstrip())
            winding = self._winding(piece[0].split(), at)
            if winding and winding.name in [one.name for one in made]:
                self.fault(
                    at,
                    f"two windings are called {winding.name}",
                    expected="a name of its own for each, such as heater and heater2",
                )
            if winding:
                made.append(winding)
        primaries = [one for one in made if one.name.startswith("primary")]
        if made and len(primaries) != 1:
            self.fault(
                "windings",
                (
                    "no winding is called primary"
                    if not primaries
                    else "more than one winding is called primary"
                ),
                expected="one primary: give the taps in use, a line for each line voltage",
            )
        return tuple(made)

    def _winding(self, words: list[str], at: int) -> Winding | None:
        name = words[0].lower() if words else ""
        if (
            not name.startswith(WINDING_NAMES)
            or name.startswith("screen")
            or not re.fullmatch(r"[a-z]+\d*", name)
        ):
            self.fault(
                at,
                f"{name or 'nothing'} is no name of a winding",
                expected=(
                    "a name such as primary, hv, heater, rectifier or secondary, then its volts,"
                    " amps and ohms"
                ),
            )
            return None
        tapped, found = False, {}
        rest = " ".join(words[1:])
        for piece in re.finditer(r"(tap)\b|([\d./-]+)\s*([A-Za-z\u2126\u03a9]+)|(\S+)", rest):
            if piece[1]:
                tapped = True
                continue
            halves = re.fullmatch(r"([\d.]+)-0-([\d.]+)", piece[2] or "")
            tapped = tapped or halves is not None
            try:
                if piece[4] or (halves and halves[1] != halves[2]):
                    raise QuantityError(f"{piece[0]} is nothing a winding says")
                value = read_value(f"{halves[1] if halves else piece[2]} {piece[3]}")
                if (
                    value.dimension not in ("voltage", "current", "resistance")
                    or value.dimension in found
                ):
                    raise QuantityError(f"{piece[0]} is one value too many in the {name} winding")
                found[value.dimension] = value.amount * (2 if halves else 1)
            except QuantityError as error:
                self.fault(
                    at,
                    str(error),
                    expected="volts, amps and ohms, such as hv 240-0-240 V 60 mA 420 ohm",
                )
                return None
        lost = [
            word
            for word, dimension in (
                ("volts", "voltage"),
                ("ohms", "resistance"),
                ("amps", "current"),
            )
            if dimension not in found and not (word == "amps" and name.startswith("primary"))
        ]
        if lost or not all(found.values()):
            self.fault(
                at,
                f"the {name} winding does not say its {' and '.join(lost) or 'values'}",
                expected="volts, amps and ohms of every winding; the primary needs no amps",
                hint=(
                    "measure the ohms with a meter: without them nothing can be computed"
                    if "ohms" in lost
                    else ""
                ),
            )
            return None
        return Winding(name, found["voltage"], found.get("current"), found["resistance"], tapped)
