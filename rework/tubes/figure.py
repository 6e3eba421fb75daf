"""A figure with its source: a number, its SI unit, where it was printed and how far it can be
trusted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

#: How a figure was come by, the most trusted first. Ranking between two sources follows this order.
GRADES = ("seen", "republished", "derived", "common practice", "memory", "estimated")

#: What a person is told about each grade.
TRUST = MappingProxyType(
    {
        "seen": "verified",
        "republished": "second-hand, original not seen",
        "derived": "derived",
        "common practice": "common practice, no source",
        "memory": "from memory",
        "estimated": "estimated from kin, no sheet seen",
    }
)

_UNITS = {
    "volts": "V",
    "amps": "A",
    "watts": "W",
    "ohms": "ohm",
    "siemens": "S",
    "farads": "F",
    "seconds": "s",
    "henries": "H",
    "mu": "1",
    "gain": "1",
    "distortion": "1",
    "efficiency": "1",
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One number as it was printed.

    ``value`` is in SI units (``unit`` is "V", "A", "W", "ohm", "S", "F", "s", "H", or "1" for a
    bare ratio). ``source`` is an id of ``data/sources.toml``; ``grade`` is one of :data:`GRADES`.

    Raises
    ------
    ValueError
        When the source is blank or the grade is not a known one.
    """

    value: float
    unit: str
    source: str
    grade: str
    note: str = ""

    def __post_init__(self) -> None:
        check_origin(self.source, self.grade, f"The figure {self.value} {self.unit}")

    @property
    def verified(self) -> bool:
        """Whether the printed sheet itself was seen."""
        return self.grade == "seen"

    @property
    def trust(self) -> str:
        """The words a person is shown beside the figure."""
        return TRUST[self.grade]


@dataclass(frozen=True, slots=True)
class Source:
    """One published source, named once and cited by its ``id``."""

    id: str
    title: str
    who: str = ""
    date: str = ""
    page: str = ""
    address: str = ""
    obtained: str = ""


def check_origin(source: str, grade: str, what: str) -> None:
    """Raise ``ValueError``, naming ``what``, unless ``source`` is given and ``grade`` is one of
    :data:`GRADES`.
    """
    if not source.strip():
        raise ValueError(f"{what} has no source: write the id of an entry of sources.toml.")
    if grade not in GRADES:
        raise ValueError(f"{what} has the grade {grade!r}: write one of {', '.join(GRADES)}.")


def unit_of(name: str) -> str:
    """Return the SI unit that a figure's name carries, such as "V" for ``plate_volts``.

    Raises
    ------
    ValueError
        When no word of the name is a unit.
    """
    for word in name.rpartition(".")[2].split("_"):
        if word in _UNITS:
            return _UNITS[word]
    raise ValueError(
        f"The name {name!r} carries no unit: put volts, amps, watts, ohms, siemens or the like"
        " in it."
    )


def read_figures(
    table: Mapping[str, Any], names: Mapping[str, Any], where: str
) -> Mapping[str, Figure]:
    """Return the figures of a TOML table by name.

    ``names`` are the entries that are figures: a number, or a table ``{value, source, grade,
    note}`` whose source and grade stand instead of those of ``table``. ``where`` names the place in
    error messages.

    Raises
    ------
    ValueError
        When an entry has neither a source of its own nor one of its table, or is not a number.
    """
    figures = {}
    for name, entry in names.items():
        row = entry if isinstance(entry, Mapping) else {"value": entry}
        value = row.get("value")
        if not isinstance(value, int | float) or isinstance(value, bool):
            raise ValueError(f"{where}: {name} is {value!r}, not a number.")
        source, grade = (
            row.get("source", table.get("source", "")),
            row.get("grade", table.get("grade", "")),
        )
        check_origin(source, grade, f"{where}: {name}")
        figures[name] = Figure(float(value), unit_of(name), source, grade, row.get("note", ""))
    return MappingProxyType(figures)
