"""The tube library: one file a type under ``data/``, read when a type is asked for and not before.

A new tube is one new file there, its lines in ``index.toml`` and the golden sums (a test writes
both), and the sources it cites in ``sources.toml``. A person's own tubes stand in the folder that
the environment variable ``REWORK_TUBES`` names, a file each; they add types and replace none.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from rework.tubes import elements as names
from rework.tubes.figure import Figure, Source, check_origin, read_figures

DATA = Path(__file__).parent / "data"
#: The environment variable that names a folder of tube files of one's own.
OWN = "REWORK_TUBES"

#: Entries of a row or a table that are words about it and not figures.
_WORDS = frozenset({"use", "unit", "source", "grade", "note"})


@dataclass(frozen=True, slots=True)
class HeaterWay:
    """One way to feed the heater: ``volts`` between the two sets of pins, the pins of a set joined,
    drawing ``amps``.
    """

    between: tuple[frozenset[str], frozenset[str]]
    volts: Figure
    amps: Figure


@dataclass(frozen=True, slots=True)
class HeaterSection:
    """A tapped part of the heater: the volts across it at the heater's own current, nothing else on
    the tap.
    """

    between: tuple[str, str]
    volts: Figure


@dataclass(frozen=True, slots=True)
class Heater:
    """The heater: ``volts`` and ``amps`` of the ordinary way, every way it may be fed, and its
    tapped sections.

    ``warm_up`` is the controlled or quoted warm-up time in seconds, None where none is known.
    """

    volts: Figure
    amps: Figure
    ways: tuple[HeaterWay, ...]
    sections: tuple[HeaterSection, ...]
    directly_heated: bool
    warm_up: Figure | None


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """One printed row: typical operation, a resistance-coupled stage, or the capacitances between
    electrodes.

    ``unit`` is the unit of the bulb it holds for, "" for a bulb with one. ``row["plate_volts"]`` is
    a Figure.
    """

    use: str
    unit: str
    figures: Mapping[str, Figure]
    source: str
    grade: str
    note: str

    def __getitem__(self, name: str) -> Figure:
        return self.figures[name]

    def __contains__(self, name: object) -> bool:
        return name in self.figures

    def __iter__(self) -> Iterator[str]:
        return iter(self.figures)

    def get(self, name: str) -> Figure | None:
        """Return the figure of that name, or None when the row does not print it."""
        return self.figures.get(name)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Points read off a printed curve.

    ``columns`` names what the numbers of a point are, in SI units; ``fixed`` is what stands still
    along the curve; ``tolerance`` is how closely the last column could be read, None where nobody
    said.
    """

    name: str
    columns: tuple[str, ...]
    points: tuple[tuple[float, ...], ...]
    fixed: Mapping[str, Figure]
    tolerance: Figure | None
    source: str
    grade: str
    note: str


@dataclass(frozen=True, slots=True)
class Kin:
    """A type with the same electrodes and curves behind another heater; whether pins move is
    computed, never written.
    """

    type: str
    how: str
    note: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True)
class Lookalike:
    """A type taken for this one by mistake, and what goes wrong."""

    type: str
    why: str
    source: str
    grade: str


@dataclass(frozen=True, slots=True, eq=False)
class TubeType:
    """Everything known about one type.

    Two types are equal only when they are the same object of the library.
    """

    type: str
    aliases: tuple[str, ...]
    kind: str
    base: str
    basing: str
    socket_pins: tuple[str, ...]
    elements: tuple[tuple[str, tuple[str, ...]], ...]
    pins_source: str
    pins_grade: str
    heater: Heater
    ratings: Mapping[str, Figure]
    typical: tuple[Row, ...]
    stages: tuple[Row, ...]
    curves: tuple[Curve, ...]
    capacitances: tuple[Row, ...]
    relatives: tuple[Kin, ...]
    lookalikes: tuple[Lookalike, ...]
    notes: tuple[str, ...]

    @property
    def verified(self) -> bool:
        """Whether the basing was seen on a printed sheet."""
        return self.pins_grade == "seen"

    @property
    def is_rectifier(self) -> bool:
        """Whether the whole bulb is a rectifier."""
        return self.kind.endswith("rectifier")

    @property
    def has_rectifier_unit(self) -> bool:
        """Whether the bulb is a rectifier or holds one beside another unit."""
        return self.is_rectifier or "rectifier" in self.units

    @property
    def units(self) -> tuple[str, ...]:
        """The units of a bulb with more than one, sorted; empty for a single tube."""
        found = {names.unit_of_element(name) for _, carried in self.elements for name in carried}
        return tuple(sorted(found - {""}))

    def elements_of(self, pin: str) -> tuple[str, ...]:
        """Return every element on a pin, the first the one it is called by; empty for a pin the
        socket has not.
        """
        return dict(self.elements).get(str(pin), ())

    def element(self, pin: str) -> str:
        """Return what a pin is called by: an element, or "none", "internal" or "absent".

        Raises
        ------
        KeyError
            When the socket has no such pin.
        """
        return dict(self.elements)[str(pin)][0]

    def element_names(self) -> tuple[str, ...]:
        """Return the canonical names of every element the type has, sorted."""
        return tuple(
            sorted({name for _, carried in self.elements for name in carried} - names.UNUSED)
        )

    def pins_of(self, name: str) -> tuple[str, ...]:
        """Return the pins an element is on, in socket order; empty for a name this type has not, or
        that is not one.

        ``name`` is a canonical name or a word the trade uses ("anode", "g2", "k"); ``heater`` alone
        means both ends. In a bulb with several units the unit goes before it ("triode1.grid", "unit
        1.grid", "pentode.g2") and may be left out where only one unit has such an element. An
        element the units share is found under any of them.
        """
        unit, meant, every = names.read_name(name)
        number = names.numbered_unit(unit)
        if number is not None:
            unit = self.units[number - 1] if 0 < number <= len(self.units) else unit
        if unit and unit not in self.units:
            return ()
        found = [pins for element in meant if (pins := self._pins(unit, element))]
        if not found:
            return ()
        wanted = {pin for pins in found for pin in pins} if every else set(found[0])
        return tuple(pin for pin in self.socket_pins if pin in wanted)

    def groups(self) -> tuple[frozenset[str], ...]:
        """Return the sets of pins between which current can flow inside the bulb, sorted.

        The heater with its taps is one group; the electrodes of a unit are one, and units that
        share a cathode are one together; a cathode joined to the heater joins the two. A shield
        with nothing else on its pin stands alone. An internal connection may go anywhere, so its
        pins are in every group: take only the pins that are wired before joining groups that
        overlap.
        """
        heater: set[str] = set()
        units: dict[str, set[str]] = {}
        shields: set[str] = set()
        internal: set[str] = set()
        for pin, carried in self.elements:
            for name in carried:
                unit, _, element = name.rpartition(".")
                if name == "internal":
                    internal.add(pin)
                elif element in names.HEATER or element in names.HEATER_TAPS:
                    heater.add(pin)
                elif element == "shield":
                    shields.add(pin)
                elif name not in names.UNUSED:
                    units.setdefault(unit, set()).add(pin)
        shared = units.get("", set())
        for unit, pins in units.items():
            if unit and not any(
                name == f"{unit}.cathode" for _, carried in self.elements for name in carried
            ):
                pins |= shared
        apart = _merged([heater, *units.values(), shields])
        return tuple(sorted((frozenset(group | internal) for group in apart), key=sorted))

    def _pins(self, unit: str, element: str) -> tuple[str, ...]:
        """Return the pins of one canonical element in one unit ("" where none was said)."""
        holders: dict[str, list[str]] = {}
        for pin, carried in self.elements:
            for name in carried:
                owner, _, bare = name.rpartition(".")
                if bare == element:
                    holders.setdefault(owner, []).append(pin)
        if unit:
            return tuple(
                holders.get(unit) or (holders.get("", ()) if element in names.SHARED else ())
            )
        if "" in holders:
            return tuple(holders[""])
        if not holders and element in self.units:
            return self._pins(element, "plate")
        return tuple(*holders.values()) if len(holders) == 1 else ()


def types() -> tuple[str, ...]:
    """Return the canonical name of every type in the library, sorted."""
    return tuple(sorted(_index()[0]))


def is_known(name: str) -> bool:
    """Return whether a type or alias is in the library; reads the index only."""
    return name.strip().upper() in _index()[1]


def nearest(name: str, count: int = 3) -> tuple[str, ...]:
    """Return the names in the library that look most like ``name``, best first, no type under two
    of its names.
    """
    by_name = _index()[1]
    close = difflib.get_close_matches(
        name.strip().upper(), sorted(by_name), n=3 * count, cutoff=0.5
    )
    first = {by_name[match]: match for match in reversed(close)}
    return tuple(match for match in close if first[by_name[match]] == match)[:count]


def find(name: str) -> TubeType | None:
    """Return the type of that name or alias, capitals or not, or None when the library has none.

    Raises ValueError when the type's file is broken; the message names the file and the entry.
    """
    file = _index()[1].get(name.strip().upper())
    return _load(file) if file else None


@cache
def sources() -> Mapping[str, Source]:
    """Return every source the library cites, by its id."""
    table = _read("sources.toml")
    return MappingProxyType({key: Source(id=key, **entry) for key, entry in sorted(table.items())})


@cache
def _index() -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Return the file of each canonical type, and the file of each name a type may go by, in
    capitals.
    """
    table = _read("index.toml")
    files = dict(table["type"])
    by_name = {name.upper(): file for name, file in table["alias"].items()}
    by_name |= {name.upper(): file for name, file in files.items()}
    for type_, aliases, file in _own():
        if type_.upper() not in by_name:
            files[type_] = file
            by_name |= {
                name.upper(): file for name in (type_, *aliases) if name.upper() not in by_name
            }
    return MappingProxyType(files), MappingProxyType(by_name)


def _own() -> Iterator[tuple[str, tuple[str, ...], str]]:
    """Yield type, aliases and file of every tube in the folder of one's own.

    A file that does not read adds none: fit-tube says why.
    """
    folder = os.environ.get(OWN)
    for path in sorted(Path(folder).glob("*.toml")) if folder else ():
        try:
            tube = read_type(tomllib.loads(path.read_text(encoding="utf-8")), path.name)
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            continue
        yield tube.type, tube.aliases, str(path.resolve())


@cache
def _load(file: str) -> TubeType:
    return read_type(_read(file), file)


def _read(file: str) -> dict[str, Any]:
    with (DATA / file).open("rb") as handle:
        return tomllib.load(handle)


def read_type(table: Mapping[str, Any], where: str) -> TubeType:
    """Return the type that a parsed file describes.

    Raises
    ------
    ValueError
        When a figure, a row, the basing or a relative has no source or grade, a pin carries an
        unknown element, or a
        heater way uses a pin that is no heater pin. ``where`` names the file in the message.
    """
    base = table["base"]
    check_origin(base.get("source", ""), base.get("grade", ""), f"{where}: the basing")
    carried = tuple(
        (pin, (on,) if isinstance(on, str) else tuple(on)) for pin, on in table["pins"].items()
    )
    for pin, on in carried:
        for name in on:
            if not names.is_element(name):
                raise ValueError(f"{where}: pin {pin} carries {name!r}, which is no element name.")
    ratings = table.get("ratings", {})
    return TubeType(
        type=table["type"],
        aliases=tuple(table.get("aliases", ())),
        kind=table["kind"],
        base=base["socket"],
        basing=base.get("code", ""),
        socket_pins=tuple(pin for pin, _ in carried),
        elements=carried,
        pins_source=base["source"],
        pins_grade=base["grade"],
        heater=_heater(table["heater"], dict(carried), where),
        ratings=read_figures(
            ratings, {k: v for k, v in ratings.items() if k not in _WORDS}, f"{where}, ratings"
        ),
        typical=tuple(
            _row(row, f"{where}, typical {n}") for n, row in enumerate(table.get("typical", ()), 1)
        ),
        stages=tuple(
            _row(row, f"{where}, stage {n}") for n, row in enumerate(table.get("stage", ()), 1)
        ),
        curves=tuple(
            _curve(row, f"{where}, curve {n}") for n, row in enumerate(table.get("curve", ()), 1)
        ),
        capacitances=tuple(
            _row(row, f"{where}, capacitance {n}")
            for n, row in enumerate(table.get("capacitance", ()), 1)
        ),
        relatives=tuple(
            _cited(Kin, row, f"{where}, relative") for row in table.get("relative", ())
        ),
        lookalikes=tuple(
            _cited(Lookalike, row, f"{where}, lookalike") for row in table.get("lookalike", ())
        ),
        notes=tuple(table.get("notes", ())),
    )


def _cited(shape: type, row: Mapping[str, str], where: str) -> Any:
    check_origin(row.get("source", ""), row.get("grade", ""), f"{where} {row.get('type')}")
    return shape(**({"note": ""} if shape is Kin else {}) | row)


def _row(row: Mapping[str, Any], where: str) -> Row:
    check_origin(row.get("source", ""), row.get("grade", ""), where)
    figures = read_figures(
        row, {name: value for name, value in row.items() if name not in _WORDS}, where
    )
    return Row(
        row.get("use", ""),
        row.get("unit", ""),
        figures,
        row["source"],
        row["grade"],
        row.get("note", ""),
    )


def _curve(row: Mapping[str, Any], where: str) -> Curve:
    check_origin(row.get("source", ""), row.get("grade", ""), where)
    fixed = read_figures(row, row.get("fixed", {}), where)
    last = row["columns"][-1]
    tolerance = (
        read_figures(row, {last: row["tolerance"]}, where)[last] if "tolerance" in row else None
    )
    points = tuple(tuple(float(number) for number in point) for point in row["points"])
    return Curve(
        row["name"],
        tuple(row["columns"]),
        points,
        fixed,
        tolerance,
        row["source"],
        row["grade"],
        row.get("note", ""),
    )


def _heater(table: Mapping[str, Any], pins: Mapping[str, tuple[str, ...]], where: str) -> Heater:
    where = f"{where}, heater"
    figures = read_figures(
        table,
        {name: table[name] for name in ("volts", "amps", "warm_up_seconds") if name in table},
        where,
    )
    ends = {pin for pin, on in pins.items() if {*on} & {*names.HEATER, *names.HEATER_TAPS}}
    ways = []
    for row in table["way"]:
        way = read_figures(table | row, {name: row[name] for name in ("volts", "amps")}, where)
        one, other = (frozenset(side) for side in row["between"])
        if not one or not other or one & other or (one | other) - ends:
            raise ValueError(
                f"{where}: a way runs between pins {row['between']}, which are not all heater pins."
            )
        ways.append(HeaterWay((one, other), way["volts"], way["amps"]))
    sections = tuple(
        HeaterSection(
            (row["between"][0], row["between"][1]),
            read_figures(table | row, {"volts": row["volts"]}, where)["volts"],
        )
        for row in table.get("section", ())
    )
    return Heater(
        figures["volts"],
        figures["amps"],
        tuple(ways),
        sections,
        table.get("directly_heated", False),
        figures.get("warm_up_seconds"),
    )


def _merged(groups: list[set[str]]) -> list[set[str]]:
    """Return the groups with those that share a pin made one; empty ones dropped."""
    apart: list[set[str]] = []
    for group in groups:
        touching = [other for other in apart if other & group]
        apart = [other for other in apart if not other & group]
        joined = set(group).union(*touching)
        if joined:
            apart.append(joined)
    return apart
