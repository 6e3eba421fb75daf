"""A tube file of one's own, read with every mistake in it reported at once."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Collection, Iterator, Mapping
from typing import Any

from rework.circuit.place import Problem
from rework.language.files import Refusal, read_bytes
from rework.tubes.figure import GRADES, unit_of
from rework.tubes.tubefile import read_type
from rework.tubes.tubetype import TubeType

#: The tables of a tube file, and those that must be there.
TABLES = (
    "type",
    "aliases",
    "kind",
    "notes",
    "base",
    "pins",
    "heater",
    "ratings",
    "typical",
    "stage",
    "curve",
    "capacitance",
    "relative",
    "lookalike",
)
NEEDED = {
    "type": 'type = "6C4"',
    "kind": 'kind = "triode"',
    "base": '[base] with socket = "miniature 7-pin", source and grade',
    "pins": '[pins] with a line a pin, such as 1 = "plate"',
    "heater": "[heater] with volts, amps, source, grade and a [[heater.way]]",
}
#: Names of figures in a row, and in what range a receiving tube has them (SI units).
FIGURES = {
    "plate_volts": (1, 5e3),
    "screen_volts": (1, 2e3),
    "supply_volts": (1, 5e3),
    "grid_volts": (-500, 50),
    "plate_amps": (1e-6, 5),
    "screen_amps": (1e-7, 1),
    "grid_volts_for_10_microamps": (-500, 0),
    "gm_siemens": (1e-6, 0.2),
    "rp_ohms": (50, 1e8),
    "mu": (0.5, 500),
    "mu_screen": (0.5, 500),
    "cathode_ohms": (0, 1e6),
    "load_ohms": (10, 1e6),
    "plate_load_ohms": (100, 1e8),
    "next_grid_ohms": (100, 1e9),
    "watts": (1e-3, 500),
    "distortion": (1e-5, 1),
    "drive_rms_volts": (1e-3, 500),
    "plate_amps_full_signal": (1e-6, 5),
    "screen_amps_full_signal": (1e-7, 1),
    "gain": (0.01, 1e4),
    "grid_leak_ohms": (100, 1e9),
    "output_rms_volts": (1e-3, 1e3),
    "output_peak_volts": (1e-3, 1e3),
    "distortion_second": (0, 1),
    "distortion_third": (0, 1),
    "cathode_amps": (1e-6, 5),
    "plate_rms_volts": (1, 5e3),
    "first_capacitor_farads": (1e-8, 1e-2),
    "supply_ohms": (0, 1e5),
    "dc_amps": (1e-4, 5),
    "dc_volts": (1, 5e3),
    "choke_henries": (0.1, 200),
    "peak_amps": (1e-3, 50),
    "grid_plate_farads": (1e-16, 1e-9),
    "input_farads": (1e-14, 1e-9),
    "output_farads": (1e-14, 1e-9),
}
WORDS = ("use", "unit", "source", "grade", "note")
#: More rows than any sheet prints.
MOST_ROWS = 100


def read_tube_file(path: str) -> TubeType:
    """Return the type that a file of one's own describes, written as those in rework/tubes/data.

    Raises Refusal with every mistake found.
    """
    try:
        table = tomllib.loads(read_bytes(path).decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise Refusal(
            Problem(f"{path} is no text file", expected="a file such as those in rework/tubes/data")
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise Refusal(
            Problem(
                f"{path} is not TOML: {error}", expected="a file such as those in rework/tubes/data"
            )
        ) from error
    problems = list(_mistakes(table, path))
    if problems:
        raise Refusal(*problems)
    try:
        return read_type(table, path)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise Refusal(
            Problem(
                f"{path} does not describe a tube: {error}",
                expected="a file such as those in rework/tubes/data",
            )
        ) from error


def _mistakes(table: Mapping[str, Any], path: str) -> Iterator[Problem]:
    for name in NEEDED:
        if name not in table:
            yield Problem(f"{path} has no {name}", hint=f"write {NEEDED[name]}")
    for name in table:
        if name not in TABLES:
            yield Problem(f"{name} is not a word of a tube file", hint=_meant(name, TABLES))
    for kind in ("typical", "stage", "capacitance"):
        rows = table.get(kind, [])
        if not isinstance(rows, list) or not all(isinstance(row, Mapping) for row in rows):
            yield Problem(
                f"{kind} is not a list of rows",
                hint=f"begin each with [[{kind}]], in two pairs of brackets",
            )
            continue
        if len(rows) > MOST_ROWS:
            yield Problem(
                f"{path} has {len(rows):,} rows of {kind}; no sheet prints more than {MOST_ROWS}",
                hint="keep those of the sheet itself",
            )
            continue
        for number, row in enumerate(rows, 1):
            yield from _row_mistakes(row, f"{kind} {number}")


def _row_mistakes(row: Mapping[str, Any], where: str) -> Iterator[Problem]:
    if not row.get("source"):
        yield Problem(
            f"{where} has no source",
            hint='write who printed it, such as source = "data sheet, maker, date, page"',
        )
    if row.get("grade") not in GRADES:
        yield Problem(
            f"{where} has {'the grade ' + repr(row['grade']) if 'grade' in row else 'no grade'}",
            expected="one of " + ", ".join(GRADES),
        )
    for name, value in row.items():
        if name in WORDS:
            continue
        plain = value.get("value") if isinstance(value, Mapping) else value
        if name not in FIGURES:
            yield Problem(f"{where}: {name} is no figure of a row", hint=_meant(name, FIGURES))
        elif isinstance(plain, bool) or not isinstance(plain, int | float):
            yield Problem(
                f"{where}: {name} is {plain!r}, not a number",
                hint=f"write it in {unit_of(name)} without the unit",
            )
        elif not FIGURES[name][0] <= plain <= FIGURES[name][1]:
            low, high = FIGURES[name]
            unit = unit_of(name).replace("1", "")
            yield Problem(
                f"{where}: {name} is {plain:g} {unit}".rstrip(),
                expected=f"{low:g} to {high:g} {unit}".rstrip(),
                hint="figures are in volts, amps, siemens, ohms, farads: 29 mA is 0.029",
            )


def _meant(name: str, known: Collection[str]) -> str:
    near = difflib.get_close_matches(name, list(known), 1, 0.6)
    return f"did you mean {near[0]}?" if near else "one of " + ", ".join(known)
