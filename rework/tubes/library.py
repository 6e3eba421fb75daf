"""The tube library: one file a type under ``data/``, read when a type is asked for and not before.

A new tube is one new file there, its lines in ``index.toml`` and the golden sums (a test writes
both), and the sources it cites in ``sources.toml``. The user's own tubes are in the folder that the
environment variable ``REWORK_TUBES`` names, a file each; they add types and replace none.
"""

from __future__ import annotations

import difflib
import os
import tomllib
from collections.abc import Container, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from rework.circuit.place import Place, Problem
from rework.tubes.figure import Source
from rework.tubes.tubefile import read_heater, read_type
from rework.tubes.tubetype import HeaterAlone, TubeType

DATA = Path(__file__).parent / "data"
#: The environment variable that names a folder of tube files of one's own.
OWN = "REWORK_TUBES"


def types() -> tuple[str, ...]:
    """Return the canonical name of every type in the library, sorted."""
    return tuple(sorted(_index()[0]))


def is_known(name: str) -> bool:
    """Return whether a type or alias is in the library; reads the index only."""
    return _called(name, _index()[1]) is not None


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
    """Return the type of that name or alias, capitals, hyphens and blanks or not, or None when the
    library has none.

    Raises ValueError when the type's file is broken; the message names the file and the entry.
    """
    known = _called(name, _index()[1])
    return _load(_index()[1][known]) if known else None


def _called(name: str, table: Container[str]) -> str | None:
    """Return the key of a table that a type is called by: ``50L6-GT``, ``ECC 83``."""
    upper = name.strip().upper()
    plain = upper.replace("-", "").replace(" ", "")
    return next((key for key in (upper, plain) if key in table), None)


def without_basing(name: str) -> HeaterAlone | None:
    """Return what is known of a type, by any of its names, of which the heater is known and the
    basing is not; None for any other type.
    """
    row = None if is_known(name) else _called(name, _heaters())
    return _heaters()[row] if row else None


def types_without_basing() -> tuple[HeaterAlone, ...]:
    """Return every type whose heater is known and whose basing is not, sorted by name."""
    rows = {row.type: row for row in _heaters().values()}
    return tuple(rows[name] for name in sorted(rows) if not is_known(name))


def reread() -> None:
    """Forget the folder of one's own: it is looked into again when a type is next asked for."""
    _private.cache_clear()
    _index.cache_clear()


@cache
def sources() -> Mapping[str, Source]:
    """Return every source the library cites, by its id."""
    table = _read("sources.toml")
    return MappingProxyType({key: Source(id=key, **entry) for key, entry in sorted(table.items())})


def broken() -> tuple[Problem, ...]:
    """Return a caution for every file in the folder of one's own that adds no type, and why."""
    return _private().problems


@cache
def _index() -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Return the file of each canonical type, and the file of each name a type may go by, in
    capitals.
    """
    table = _read("index.toml")
    files = dict(table["type"])
    by_name = {name.upper(): file for name, file in table["alias"].items()}
    by_name |= {name.upper(): file for name, file in files.items()}
    for tube, file in _private().tubes:
        if tube.type.upper() not in by_name:
            files[tube.type] = file
            by_name |= {
                name.upper(): file
                for name in (tube.type, *tube.aliases)
                if name.upper() not in by_name
            }
    return MappingProxyType(files), MappingProxyType(by_name)


@cache
def _heaters() -> Mapping[str, HeaterAlone]:
    """Return the types without a basing by each of their names, in capitals."""
    rows = [read_heater(name, entry) for name, entry in _read("heaters.toml").items()]
    return MappingProxyType(
        {name.upper(): row for row in rows for name in (row.type, *row.aliases)}
    )


@dataclass(frozen=True, slots=True)
class _Private:
    """The folder of one's own: every tube with its file, and what is wrong with the others."""

    tubes: tuple[tuple[TubeType, str], ...] = ()
    problems: tuple[Problem, ...] = ()


@cache
def _private() -> _Private:
    folder = os.environ.get(OWN)
    if not folder:
        return _Private()
    if not Path(folder).is_dir():
        return _Private(problems=(_refused(Path(folder), "there is no such folder"),))
    tubes: list[tuple[TubeType, str]] = []
    problems: list[Problem] = []
    for path in sorted(Path(folder).glob("*.toml")):
        try:
            table = tomllib.loads(path.read_text(encoding="utf-8"))
            tubes.append((read_type(table, path.name), str(path.resolve())))
        except OSError as error:
            problems.append(_refused(path, error.strerror or "it cannot be read"))
        except KeyError as error:
            problems.append(_refused(path, f"the entry {error} is missing"))
        except (ValueError, TypeError, AttributeError) as error:
            problems.append(_refused(path, str(error)))
    return _Private(tuple(tubes), tuple(problems))


def _refused(path: Path, why: str) -> Problem:
    return Problem(
        f"no tube is taken from here: {why}",
        Place(str(path), 1, 1, 2),
        expected=f"a tube file, as the folder named by {OWN} holds",
        hint=f"rework fit-tube {path.name} lists every mistake in it",
        severity="caution",
    )


@cache
def _load(file: str) -> TubeType:
    return read_type(_read(file), file)


def _read(file: str) -> dict[str, Any]:
    with (DATA / file).open("rb") as handle:
        return tomllib.load(handle)
