"""Tubes as the units that work in them: each section of a bulb with the points of its elements."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from rework.anatomy.wiring import Wiring
from rework.circuit.parts import Part
from rework.tubes import library, unlisted
from rework.tubes.elements import HEATER, HEATER_TAPS, UNUSED
from rework.tubes.tubetype import TubeType

UnitKind = Literal["triode", "pentode", "converter", "diode", "rectifier"]
#: Kinds of unit that amplify.
AMPLIFIES = frozenset({"triode", "pentode", "converter"})
_NOT_OF_A_UNIT = frozenset({*HEATER, *HEATER_TAPS, *UNUSED, "shield"})


@dataclass(frozen=True, slots=True)
class TubeUnit:
    """One unit of a bulb: the part, the unit's name in the library ("" for a bulb with one), its
    kind, and for each wired element its pins and its point.

    ``elements`` are triples (element, pins, point) with bare names: plate, grid, screen, cathode,
    suppressor, beam-plates, signal-grid, target. A full-wave rectifier has ``plate1`` and
    ``plate2``.
    """

    part: str
    name: str
    kind: UnitKind
    elements: tuple[tuple[str, tuple[str, ...], str], ...]

    @property
    def label(self) -> str:
        """``V1``, or ``V1 triode2`` in a bulb with several units."""
        return f"{self.part} {self.name}" if self.name else self.part

    def at(self, element: str) -> str | None:
        """Return the point of an element, or None where it is bound to nothing."""
        return next((point for name, _, point in self.elements if name == element), None)

    def pins(self, element: str) -> tuple[str, ...]:
        """Return the wired pins of an element."""
        return next((pins for name, pins, _ in self.elements if name == element), ())

    @property
    def plates(self) -> tuple[str, ...]:
        """The points of all plates, in the order of the socket."""
        return tuple(point for name, _, point in self.elements if name.startswith("plate"))

    @property
    def amplifies(self) -> bool:
        """Whether the unit has a grid that controls a plate current."""
        return self.kind in AMPLIFIES


def tube_of(part: Part) -> TubeType | None:
    """Return what the library knows of a tube part, or the netlist states of an unlisted one; None
    for other parts and unknown types.
    """
    if part.kind != "tube":
        return None
    return unlisted.stated(part) if "unlisted" in part.words else library.find(part.type)


def element_at(part: Part, terminal: str) -> str:
    """Return the bare element on a pin of a tube, such as ``plate`` for ``triode1.plate``; ""
    where it is not known.
    """
    tube = tube_of(part)
    if tube is None or terminal not in tube.socket_pins:
        return ""
    return tube.element(terminal).rpartition(".")[2].rstrip("0123456789")


def units_of(part: Part, wiring: Wiring) -> tuple[TubeUnit, ...]:
    """Return the units of a tube with at least one element wired, in the order of the library's
    names; none of a type that is not known.

    Diode plates that share the cathode of another unit (12AV6) are units of kind ``diode``.
    """
    tube = tube_of(part)
    return () if tube is None else tuple(_units(part, tube, wiring))


def _units(part: Part, tube: TubeType, wiring: Wiring) -> Iterator[TubeUnit]:
    carried: dict[str, dict[str, list[str]]] = {}
    for pin, names in tube.elements:
        for name in names:
            unit, _, element = name.rpartition(".")
            if element in _NOT_OF_A_UNIT:
                continue
            if element.startswith("diode"):
                carried.setdefault(element, {})["plate"] = [pin]
            else:
                carried.setdefault(unit, {}).setdefault(element, []).append(pin)
    shared = carried.get("", {})
    if tube.heater.directly_heated and "cathode" not in shared:
        shared = {**shared, "cathode": [pin for pin, names in tube.elements if "heater1" in names]}
    if not any("plate" in element for element in carried.get("", {})):
        carried.pop("", None)
    for name in sorted(carried):
        pins = dict(carried[name])
        if "cathode" not in pins and "cathode" in shared:
            pins["cathode"] = shared["cathode"]
        wired = tuple(_wired(part, pins, wiring))
        if wired:
            yield TubeUnit(part.name, name, _kind(tube, name, pins), wired)


def _wired(
    part: Part, pins: dict[str, list[str]], wiring: Wiring
) -> Iterator[tuple[str, tuple[str, ...], str]]:
    for element, on in pins.items():
        bound = tuple(pin for pin in on if part.node(pin) is not None)
        point = wiring.of(part, bound[0]) if bound else None
        if point is not None:
            yield element, bound, point


def _kind(tube: TubeType, name: str, pins: dict[str, list[str]]) -> UnitKind:
    if tube.is_rectifier or name == "rectifier":
        return "rectifier"
    if "signal-grid" in pins:
        return "converter"
    if "grid" not in pins:
        return "diode"
    return "pentode" if "screen" in pins else "triode"
