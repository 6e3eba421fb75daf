"""A parsed tube file to its type; what is not as it should be is named with its place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rework.tubes import elements as names
from rework.tubes.figure import check_origin, read_figures
from rework.tubes.tubetype import (
    Curve,
    Heater,
    HeaterAlone,
    HeaterSection,
    HeaterWay,
    Kin,
    Lookalike,
    PrintedRow,
    TubeType,
)

#: Entries of a row or a table that are words about it and not figures.
_WORDS = frozenset({"use", "unit", "source", "grade", "note"})


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
        relatives=tuple(_kin(row, f"{where}, relative") for row in table.get("relative", ())),
        lookalikes=tuple(
            _lookalike(row, f"{where}, lookalike") for row in table.get("lookalike", ())
        ),
        notes=tuple(table.get("notes", ())),
    )


def read_heater(name: str, table: Mapping[str, Any]) -> HeaterAlone:
    """Return a type whose basing is not known from its entry.

    Raises ValueError when its heater has no source or grade; the message names the type.
    """
    figures = read_figures(
        table, {key: table[key] for key in ("volts", "amps")}, f"heater of {name}"
    )
    return HeaterAlone(
        name,
        tuple(table.get("aliases", ())),
        table["kind"],
        table["base"],
        figures["volts"],
        figures["amps"],
    )


def _kin(row: Mapping[str, str], where: str) -> Kin:
    check_origin(row.get("source", ""), row.get("grade", ""), f"{where} {row.get('type')}")
    return Kin(row["type"], row["how"], row.get("note", ""), row["source"], row["grade"])


def _lookalike(row: Mapping[str, str], where: str) -> Lookalike:
    check_origin(row.get("source", ""), row.get("grade", ""), f"{where} {row.get('type')}")
    return Lookalike(row["type"], row["why"], row["source"], row["grade"])


def _row(row: Mapping[str, Any], where: str) -> PrintedRow:
    check_origin(row.get("source", ""), row.get("grade", ""), where)
    figures = read_figures(
        row, {name: value for name, value in row.items() if name not in _WORDS}, where
    )
    return PrintedRow(
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
        first, second = (frozenset(side) for side in row["between"])
        if not first or not second or first & second or (first | second) - ends:
            raise ValueError(
                f"{where}: a way runs between pins {row['between']}, which are not all heater pins."
            )
        ways.append(HeaterWay((first, second), way["volts"], way["amps"]))
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
