"""A tube exchanged for another type: every element carried to the pin where the new type has it."""

from __future__ import annotations

from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.edits import ExchangeTube
from rework.circuit.parts import Part
from rework.tubes.relatives import pin_moves
from rework.tubes.tubetype import TubeType

#: What a pin says of itself that carries no element.
_EMPTY = ("none", "absent", "internal")


class NoSuchElement(Exception):
    """The new type lacks an element that something is connected to; says what to do."""


@dataclass(frozen=True, slots=True)
class Carried:
    """The edit, pairs of nodes that the old tube joined inside, and what to take care of."""

    edit: ExchangeTube
    joined: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


@dataclass(slots=True)
class _Pins:
    """The pins of the new type as they fill up."""

    part: Part
    old: TubeType
    new: TubeType
    circuit: Circuit
    placed: dict[str, str] = field(default_factory=dict)
    joined: list[tuple[str, str]] = field(default_factory=list)
    ties: list[tuple[str, str]] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)

    def carry(self) -> None:
        """Bring every element to its pin, then what was on pins without one."""
        for pin, node in self.part.pins:
            element = self.old.element(pin) if pin in self.old.socket_pins else "none"
            if element in _EMPTY:
                self.ties.append((pin, node))
            else:
                self._element(pin, node, element)
        for pin, node in self.ties:
            self._tie(pin, node)

    def _element(self, pin: str, node: str, element: str) -> None:
        pins = self.new.pins_of(element)
        if not pins and len(self.circuit.at[node]) > 1:
            raise NoSuchElement(
                f"{self.new.type} has no {element}, and pin {pin} of {self.part.name} has one with"
                f" {node} on it. Take what is on that pin off first, or choose another type"
            )
        free = [wanted for wanted in pins if wanted not in self.placed]
        before = self.old.pins_of(element)
        index = before.index(pin) if pin in before else 0
        if free:
            same = index < len(pins) and pins[index] in free
            self.placed[pins[index] if same else free[0]] = node
        elif pins and self.placed[pins[0]] != node:
            self.joined.append((self.placed[pins[0]], node))

    def _tie(self, pin: str, node: str) -> None:
        same_socket = self.old.base == self.new.base and pin in self.new.socket_pins
        carried = self.new.element(pin) if same_socket else ""
        if carried in ("none", "absent") and pin not in self.placed:
            self.placed[pin] = node
        elif len(self.circuit.at[node]) > 1:
            name = self.new.type
            what = f"{carried} in {name}" if carried else f"not on the socket of {name}"
            self.cautions.append(
                f"Pin {pin} of {self.part.name} was a tie point for {node}; it is {what}. Move that"
                " joint to a tag strip."
            )

    def listed(self) -> tuple[str, ...]:
        """Return the pins that the exchanged part says are on nothing."""
        elements = {self.new.element(pin) for pin in self.placed}
        spare = [pin for pin in self.new.socket_pins if pin not in self.placed]
        unused = [pin for pin in spare if self._stands_alone(pin, elements)]
        said = [pin for pin in spare if pin in self.part.unused]
        return tuple(
            pin
            for pin in spare
            if pin in unused or (pin in said and self.new.element(pin) != "absent")
        )

    def _stands_alone(self, pin: str, elements: set[str]) -> bool:
        """Return whether a pin has an element that no other pin has; a heater pin always has."""
        element = self.new.element(pin)
        return element not in _EMPTY and (element not in elements or element.startswith("heater"))


def carried(circuit: Circuit, part: Part, old: TubeType, new: TubeType) -> Carried:
    """Return the exchange of a tube for another type on a circuit.

    Raises NoSuchElement where something is connected to an element that the new type lacks.
    """
    pins = _Pins(part, old, new, circuit)
    pins.carry()
    moves = pin_moves(old, new)
    for element in moves.added:
        pins.cautions.append(
            f"{new.type} has a {element} on pin {', '.join(new.pins_of(element))}, which"
            f" {old.type} has not: wire it by the tube manual."
        )
    order = {pin: index for index, pin in enumerate(new.socket_pins)}
    placed = sorted(pins.placed.items(), key=lambda pair: order.get(pair[0], len(order)))
    edit = ExchangeTube(
        part.name,
        new.type,
        tuple(placed),
        pins.listed(),
        tuple((move.element, move.old, move.new) for move in moves.moves),
    )
    return Carried(edit, tuple(pins.joined), tuple(pins.cautions))
