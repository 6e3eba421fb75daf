"""What the terminals of a part are called: from the words of a file to pin numbers and canonical
names.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from rework.circuit.kinds import KINDS, METALWORK, WINDING_NAMES, Law
from rework.circuit.parts import Headed, switch_style
from rework.language.mistakes import a_or_an, nearest
from rework.language.spellings import METAL, TERMINALS
from rework.tubes.unlisted import element_named

if TYPE_CHECKING:
    from rework.tubes.tubetype import TubeType

_OF_A_WINDING = re.compile(r"[A-Za-z0-9_]+(\.(start|finish|tap\d*|\d+))?")
#: An element with the number of its unit, as in ``plate1`` of a double diode.
_OF_A_UNIT = re.compile(r"(plate|anode|cathode|grid)([1-9])")
#: Units of a bulb by other words.
_UNIT_WORDS = {
    **dict.fromkeys(("pentode", "tetrode", "output", "power"), ("beam", "pentode")),
    **dict.fromkeys(("diode", "rect"), ("rectifier",)),
}
#: A pin by its number, as in ``pin4``.
_PIN = re.compile(r"pin(\d+)")
#: What the two ends of a track are called by people, by the side they lie on or by what is there.
_ENDS_OF_A_TRACK = frozenset(
    ("top", "bottom", "hot", "cold", "high", "low", "left", "right", "end", "input", "ground")
)
#: What stands on a pin that carries no electrode.
_EMPTY = ("none", "absent", "internal")


def tube_of(part: Headed) -> TubeType | None:
    """Return what the tube library knows of a part, or None for another kind of part and for a type
    it has not.

    A tube that is said to be unlisted is taken by pin numbers even where the library has that type.
    """
    if part.kind != "tube" or "unlisted" in part.words:
        return None
    from rework.tubes import library

    return library.find(part.type)


@dataclass(frozen=True, slots=True)
class NoTerminal:
    """Why a word names no terminal: the message, what was expected, a hint, and where to look for
    the name that was meant.
    """

    message: str
    expected: str
    hint: str = ""
    near: Callable[[], str] | None = None


class Terminals:
    """The terminals of one part (a ``Part`` or a draft of one) by every name they have."""

    def __init__(self, part: Headed) -> None:
        self.part, self.kind, self.tube = part, KINDS[part.kind], tube_of(part)
        self._anything = part.kind == "tube" and self.tube is None and "unlisted" not in part.words

    def named(self, text: str) -> tuple[str, ...]:
        """Return the canonical terminals a word names: several where a tube's element is on several
        pins, none if none.

        A tube whose type is not known has every terminal: its type is the mistake, and is reported
        once.
        """
        kind = self.kind
        if (numbered := _PIN.fullmatch(text)) is not None:
            text = numbered.group(1)
        if kind.name == "tube":
            return self._of_a_tube(text)
        if kind.form in ("windings", "cores"):
            return (text,) if text in kind.optional or _OF_A_WINDING.fullmatch(text) else ()
        if text in kind.terminals or text in kind.optional or text in self._of_poles():
            return (text,)
        if (
            text.lower() in METAL
            and (metal := METALWORK.intersection(kind.optional))
            and len(metal) == 1
        ):
            return tuple(metal)
        also = TERMINALS.get(kind.name, {}).get(text.lower(), ())
        if kind.form == "poles":
            return also if set(also) <= set(self._of_poles()) else ()
        return also or (() if kind.terminals else (text,))

    def _of_a_tube(self, text: str) -> tuple[str, ...]:
        number = text.isdigit() or text in ("cap", "can")
        if self._anything or (self.tube is None and number):
            return (text,)
        if self.tube is None:
            element = element_named(text)
            return (element,) if element else ()
        if text == "heater":
            return ()
        if number:
            return (text,) if text in (*self.tube.socket_pins, "can") else ()
        if not self.tube.units:  # a bulb of one unit may have it named: triode.grid of a 12SQ7
            text = text.rpartition(".")[2]
        return (
            tuple(self.tube.pins_of(text))
            or self._of_a_numbered_unit(text)
            or self._of_another_word(text)
        )

    def _of_another_word(self, text: str) -> tuple[str, ...]:
        """Return the pins of an element whose unit goes by another word (``pentode.grid`` of a beam
        tube), or of the only diode of a bulb.
        """
        if self.tube is None:
            return ()
        if text == "diode" and not self.tube.pins_of("diode2"):
            return tuple(self.tube.pins_of("diode1"))
        unit, _, element = text.partition(".")
        meant = [word for word in _UNIT_WORDS.get(unit, ()) if word in self.tube.units]
        return tuple(self.tube.pins_of(f"{meant[0]}.{element}")) if len(meant) == 1 else ()

    def _of_a_numbered_unit(self, text: str) -> tuple[str, ...]:
        """Return the pins of ``plate1`` or ``cathode2`` in a bulb of units that are all alike."""
        numbered, tube = _OF_A_UNIT.fullmatch(text), self.tube
        if tube is None or numbered is None:
            return ()
        alike = {unit.rstrip("0123456789") for unit in tube.units}
        element, number = numbered.groups()
        return tuple(tube.pins_of(f"unit {number}.{element}")) if len(alike) == 1 else ()

    def refusal(self, text: str) -> NoTerminal:
        """Return what to report of a word that names no terminal."""
        choices = self.choices()
        plain = NoTerminal(
            f"{a_or_an(self.kind.name)} has no terminal {text}",
            "one of " + ", ".join(choices) if choices else "a number or a name",
            near=partial(nearest, text, choices),
        )
        if self.kind.name != "tube":
            return replace(plain, hint=self._hint(text))
        type_ = self.part.type
        if self.tube is None:
            return replace(
                plain,
                message=f"{text} is neither a pin nor an element of an unlisted tube",
                expected="a pin number, cap, or an element such as plate, grid or heater1",
            )
        if text == "heater":
            return replace(
                plain,
                message=f"the heater of {self.part.name} has two ends",
                hint="write heater=A -- B with its two nodes, or heater1 and heater2",
                near=None,
            )
        if text.isdigit() or text == "cap":
            return replace(plain, message=f"a {type_} has no {self.words(text)}", near=None)
        units = ", ".join(self.tube.units)
        return replace(
            plain,
            message=f"a {type_} has no element called {text}",
            hint=f"name the unit too: {units}" if units else "",
        )

    def _hint(self, text: str) -> str:
        """Return what to write for a terminal that another part or another drawing has."""
        if self.kind.law is Law.TRACK and text in ("1", "2", "3"):
            return (
                "write wiper for the middle lug, ccw for the lug it is turned down to, and cw for"
                " the other"
            )
        if self.kind.law is Law.TRACK and text.lower() in _ENDS_OF_A_TRACK:
            return (
                "cw is the end that the wiper is at with the knob fully clockwise, in a volume"
                " control the signal's; ccw is the other"
            )
        if self.kind.terminals[:2] == ("anode", "cathode") and text in ("plus", "minus"):
            return "the end of a rectifier that is marked + is its cathode, where B+ comes out"
        return ""

    def choices(self) -> tuple[str, ...]:
        """Return the names that may be written, for a message."""
        if self.tube is not None:
            return (*self.tube.socket_pins, *self.tube.element_names())
        if self.kind.form == "poles":
            return (*self._contacts(), *self.kind.optional)
        if self.kind.form == "windings":
            return WINDING_NAMES
        return self.kind.terminals + self.kind.optional

    def _of_poles(self) -> tuple[str, ...]:
        return self.choices() if self.kind.form == "poles" else ()

    def _contacts(self) -> tuple[str, ...]:
        """The terminals a switch or relay must have connected: a relay's coil, then the poles."""
        poles = (terminal for pole in switch_style(self.part).contacts for terminal in pole)
        return (*self.kind.terminals, *poles)

    def words(self, terminal: str) -> str:
        """Return a terminal as the bench calls it: ``pin 5 (plate)``."""
        if self.tube is not None and terminal in self.tube.socket_pins:
            return f"pin {terminal} ({self.tube.element(terminal)})"
        return f"pin {terminal}" if terminal.isdigit() else terminal

    def missing(self, bound: Collection[str]) -> tuple[str, ...]:
        """Return the terminals that must be bound and are neither among ``bound`` nor said to be
        unused.

        Of an element on several pins one is enough, but both ends of a heater are wanted.
        """
        stated = {*bound, *self.part.unused}
        if self.tube is not None:
            elements = {self.tube.element(pin) for pin in stated if pin in self.tube.socket_pins}
            return tuple(
                pin
                for pin in self.tube.socket_pins
                if pin not in stated
                and (element := self.tube.element(pin)) not in _EMPTY
                and (element not in elements or element.startswith("heater"))
            )
        wanted = self._contacts() if self.kind.form == "poles" else self.kind.terminals
        if self.kind.name == "plug" and "three-pin" in self.part.words:
            wanted = (*wanted, "earth")
        return tuple(terminal for terminal in wanted if terminal not in stated)
