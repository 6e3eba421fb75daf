"""Which symbols a tube takes: an envelope a unit, and the heater once; by pin and element.

A bulb with several units gives one envelope each; elements the units share are in the first. A
cathode joined to the heater inside the bulb is drawn as a filament in the envelope.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rework.circuit.parts import Part
from rework.tubes import library
from rework.tubes.elements import HEATER, HEATER_TAPS, SHARED, UNUSED, unit_of_element
from rework.tubes.tubetype import TubeType

#: The name under which the heater's symbol goes.
HEATER_UNIT = "heater"


@dataclass(frozen=True, slots=True)
class Unit:
    """One symbol of a tube: its name ("" where the bulb has one unit) and its elements, each with
    the pins it is on; ``ties`` are bound pins that carry nothing.
    """

    name: str
    elements: tuple[tuple[str, tuple[str, ...]], ...]
    ties: tuple[str, ...] = ()

    @property
    def pins(self) -> Mapping[str, tuple[str, ...]]:
        """The pins of each element."""
        return dict(self.elements)

    @property
    def terminals(self) -> tuple[str, ...]:
        """Every pin of the unit, once."""
        named = [pin for _, pins in self.elements for pin in pins]
        return tuple(dict.fromkeys([*named, *self.ties]))


def units(part: Part) -> tuple[Unit, ...]:
    """Return the symbols of a tube; empty where the library does not know the type.

    Pins the file does not bind are left out, but for the elements a symbol cannot do without
    (plate, grids, cathode), which have no pins then.
    """
    tube = library.find(part.type)
    if tube is None:
        return ()
    bound = [terminal for terminal, _ in part.pins]
    unit_pins: dict[str, dict[str, list[str]]] = {name: {} for name in _names(tube)}
    heater: dict[str, list[str]] = {}
    ties: list[str] = []
    first = "" if "" in unit_pins else next(iter(unit_pins))
    filament = _is_filament(tube)
    for pin, carried in tube.elements:
        if all(name in UNUSED for name in carried) and pin in bound:
            ties.append(pin)
        for name in carried:
            owner, _, element = name.rpartition(".")
            if name in UNUSED:
                continue
            if element in (*HEATER, *HEATER_TAPS):
                target = unit_pins.setdefault(first, {}) if filament else heater
            elif not owner and "" not in unit_pins and tube.units:
                target = unit_pins[_home(tuple(unit_pins))]
            else:
                target = unit_pins.setdefault(owner, {})
            pins = target.setdefault(element, [])
            if pin in bound:
                pins.append(pin)
    ties += [pin for pin in bound if pin not in dict(tube.elements)]
    groups = [
        Unit(
            name,
            tuple((element, tuple(pins)) for element, pins in elements.items()),
            tuple(ties) if name == first else (),
        )
        for name, elements in unit_pins.items()
        if elements or (name == first and ties)
    ]
    if any(heater.values()):
        groups.append(
            Unit(HEATER_UNIT, tuple((element, tuple(pins)) for element, pins in heater.items()))
        )
    return tuple(groups)


def _names(tube: TubeType) -> tuple[str, ...]:
    """Return the units of a bulb, "" first where electrodes are named without a unit."""
    bare = any(
        name not in UNUSED and name not in SHARED and not unit_of_element(name)
        for _, carried in tube.elements
        for name in carried
    )
    return ("", *tube.units) if bare or not tube.units else tube.units


def _is_filament(tube: TubeType) -> bool:
    """True where a pin carries both an end of the heater and a cathode."""
    return any(
        {*carried} & {*HEATER} and any(name.rpartition(".")[2] == "cathode" for name in carried)
        for _, carried in tube.elements
    )


def _home(names: tuple[str, ...]) -> str:
    """Return the unit that an element shared by all goes with: the first that is no diode."""
    return next((name for name in names if not name.startswith(("diode", "rectifier"))), names[0])
