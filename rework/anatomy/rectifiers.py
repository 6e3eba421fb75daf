"""Rectifiers: what they are, and between which points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from rework.anatomy.units import TubeUnit, tube_of
from rework.anatomy.wiring import Wiring
from rework.circuit.parts import Part

Form = Literal["tube", "diode", "selenium", "bridge"]


@dataclass(frozen=True, slots=True)
class RectifierSection:
    """One rectifier: a bridge, a diode, a stack, or a unit of a rectifier tube.

    ``anodes`` are its points on the alternating side (of a bridge both inputs), ``cathode`` the
    point where B+ comes out, ``minus`` the negative pole of a bridge.
    """

    part: str
    unit: str
    form: Form
    anodes: tuple[str, ...]
    cathode: str | None
    minus: str | None = None


def rectifies(part: Part) -> bool:
    """Return whether a part is a rectifier, or a tube that holds one: a germanium diode is none, it
    detects.
    """
    if part.kind == "tube":
        tube = tube_of(part)
        return tube is not None and tube.has_rectifier_unit
    return part.kind in ("selenium", "bridge") or (
        part.kind == "diode" and "germanium" not in part.words
    )


def is_rectifier_tube(part: Part) -> bool:
    """Return whether a part is a tube that does nothing but rectify."""
    tube = tube_of(part)
    return tube is not None and tube.is_rectifier


def shares_bulb(part: Part) -> bool:
    """Return whether a part is a bulb that holds a rectifier and another tube."""
    tube = tube_of(part)
    return tube is not None and tube.has_rectifier_unit and not tube.is_rectifier


def rectifiers(wiring: Wiring, units: Iterable[TubeUnit]) -> tuple[RectifierSection, ...]:
    """Return every rectifier of the circuit in the order of the file."""
    sections: dict[str, list[TubeUnit]] = {}
    for unit in units:
        if unit.kind == "rectifier":
            sections.setdefault(unit.part, []).append(unit)
    listed: list[RectifierSection] = []
    for part in wiring.circuit.parts:
        if part.kind == "tube":
            listed += [
                RectifierSection(part.name, unit.name, "tube", unit.plates, unit.at("cathode"))
                for unit in sections.get(part.name, ())
            ]
        elif part.kind == "bridge":
            inputs = tuple(
                point for end in ("ac1", "ac2") if (point := wiring.of(part, end)) is not None
            )
            plus, minus = wiring.of(part, "plus"), wiring.of(part, "minus")
            listed.append(RectifierSection(part.name, "", "bridge", inputs, plus, minus))
        elif rectifies(part):
            anode = wiring.of(part, "anode")
            listed.append(
                RectifierSection(
                    part.name,
                    "",
                    "selenium" if part.kind == "selenium" else "diode",
                    (anode,) if anode is not None else (),
                    wiring.of(part, "cathode"),
                )
            )
    return tuple(listed)
