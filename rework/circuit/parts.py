"""Parts: their values, their words and the node at each of their terminals."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Protocol, TypeVar

from rework.circuit.kinds import KINDS, METALWORK, OF_A_WINDING, Form, Kind, Law
from rework.circuit.place import Place
from rework.circuit.switches import SwitchStyle, style_of

#: What is kept beside each terminal: a node, the word that names it, or nothing.
Bound = TypeVar("Bound")


@dataclass(frozen=True, slots=True)
class Value:
    """One value as a part carries it: an SI amount, its dimension, the role a word gave it, the
    text as written.
    """

    dimension: str
    amount: float
    role: str = ""
    text: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Part:
    """One part: name, kind, type number, values, words, settings and the node at each of its
    terminals.

    ``settings`` are words that take an argument, such as ``("on", "R9")`` or ``("class", "Y2")``.
    ``pins`` pairs each bound terminal with its node in canonical order; ``unused`` lists pins said
    to go nowhere. ``windings`` holds the values of each winding by its name. Tube terminals are pin
    numbers (and ``cap``), whatever the file called them. Values, words, settings and unused pins
    stand in an order of their own, so that parts are equal however they were written.
    """

    name: str
    kind: str
    type: str = ""
    values: tuple[Value, ...] = ()
    words: tuple[str, ...] = ()
    settings: tuple[tuple[str, str], ...] = ()
    pins: tuple[tuple[str, str], ...] = ()
    unused: tuple[str, ...] = ()
    windings: tuple[tuple[str, tuple[Value, ...]], ...] = ()
    remark: str = ""
    place: Place | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if len(self.values) > 1:
            object.__setattr__(self, "values", _in_order(self.values, KINDS[self.kind].dimensions))
        if len(self.words) > 1 or len(self.settings) > 1:
            object.__setattr__(self, "words", tuple(sorted(self.words)))
            object.__setattr__(self, "settings", tuple(sorted(self.settings)))
        if len(self.unused) > 1:
            object.__setattr__(
                self,
                "unused",
                tuple(
                    name
                    for name, _ in in_order(
                        self.kind, self.words, [(name, None) for name in self.unused]
                    )
                ),
            )
        if self.windings:
            object.__setattr__(
                self,
                "windings",
                tuple((name, _in_order(values, OF_A_WINDING)) for name, values in self.windings),
            )

    def node(self, terminal: str) -> str | None:
        """Return the node at a terminal, or None where it is bound to nothing."""
        for name, node in self.pins:
            if name == terminal:
                return node
        return None

    def at(self, terminal: str) -> str:
        """Return the node at a terminal that is bound.

        Raises
        ------
        KeyError
            Where the terminal is bound to nothing.
        """
        node = self.node(terminal)
        if node is None:
            raise KeyError(f"{self.name}.{terminal}")
        return node

    def setting(self, word: str) -> str:
        """Return the argument of a setting such as ``on`` or ``mates``, or an empty string."""
        for name, argument in self.settings:
            if name == word:
                return argument
        return ""

    def value(self, dimension: str, *, role: str = "") -> float | None:
        """Return the SI amount of the value of one dimension and role, or None where the part has
        none.
        """
        for value in self.values:
            if value.dimension == dimension and value.role == role:
                return value.amount
        return None

    def rebound(self, moves: dict[str, str]) -> Part:
        """Return the part with its nodes renamed by ``moves``; nodes not named there stay."""
        return replace(
            self, pins=tuple((terminal, moves.get(node, node)) for terminal, node in self.pins)
        )

    @property
    def traits(self) -> Kind:
        """What is true of every part of its kind."""
        return KINDS[self.kind]

    @property
    def is_conductor(self) -> bool:
        """True for what can be cut: traces, wires, shielded cables."""
        return KINDS[self.kind].is_conductor

    @property
    def leads(self) -> tuple[tuple[str, str], ...]:
        """Its pins with their nodes, those of its metal (can, frame, shaft, core) left out."""
        return tuple(pin for pin in self.pins if pin[0] not in METALWORK)

    @property
    def ends(self) -> tuple[str, ...]:
        """The nodes at its leads."""
        return tuple(node for _, node in self.leads)

    @property
    def is_capacitor(self) -> bool:
        """True for capacitors of every sort."""
        return KINDS[self.kind].is_capacitor

    @property
    def is_solid_rectifier(self) -> bool:
        """True for a rectifier that is no tube."""
        return KINDS[self.kind].is_solid_rectifier


def _in_order(values: tuple[Value, ...], dimensions: tuple[str, ...]) -> tuple[Value, ...]:
    """Return values in the order of their dimensions, those of one dimension by what a word says of
    them.
    """
    place = {dimension: number for number, dimension in enumerate(dimensions)}
    return tuple(
        sorted(
            values,
            key=lambda value: (place.get(value.dimension, len(place)), value.dimension, value.role),
        )
    )


class Headed(Protocol):
    """Anything with the head of a part: a ``Part``, or a draft of one while a file is read."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def kind(self) -> str:
        """The name of its kind."""

    @property
    def type(self) -> str:
        """Its type number."""

    @property
    def words(self) -> tuple[str, ...]:
        """Its words."""

    @property
    def unused(self) -> tuple[str, ...]:
        """Terminals said to go nowhere."""


def switch_style(part: Headed) -> SwitchStyle:
    """Return how many poles and throws a switch has, or the contacts of a relay."""
    return style_of(part.words)


def drawn_position(part: Part) -> str:
    """Return the position a switch is drawn in: the one the file states, or the last one (ON).

    A relay of which nothing is stated is drawn at rest, in its first position.
    """
    positions = switch_style(part).positions
    stated = part.setting("in")
    plain = positions[0] if part.traits.law is Law.RELAY else positions[-1]
    return stated if stated in positions else plain


def chain_terminals(name: str, count: int, *, form: Form = Form.WINDINGS) -> tuple[str, ...]:
    """Return the terminals of a winding or core written as a chain of ``count`` nodes.

    A winding has ``start``, taps and ``finish``; a single node (a screen) is the bare name; a core
    has ends 1 and 2.
    """
    if count == 1:
        return (name,)
    if form == "cores":
        return tuple(f"{name}.{end}" for end in range(1, count + 1))
    if count == 3:
        return (f"{name}.start", f"{name}.tap", f"{name}.finish")
    taps = tuple(f"{name}.tap{number}" for number in range(1, count - 1))
    return (f"{name}.start", *taps, f"{name}.finish")


def in_order(
    kind: str, words: tuple[str, ...], pins: Iterable[tuple[str, Bound]]
) -> list[tuple[str, Bound]]:
    """Return pins in canonical order: as the kind lists its terminals, else pin 2 before pin 10 and
    the top cap last.

    Windings and cores stay in the order in which they were written, the core of a transformer
    first.
    """
    row = KINDS[kind]
    if row.form == "poles":
        poles = [terminal for pole in style_of(words).contacts for terminal in pole]
        names = [*row.terminals, *poles, *row.optional]
    else:
        names = [*row.terminals, *row.optional]
    order = {name: index for index, name in enumerate(names)}
    if order and (row.terminals or row.form is not Form.PINS):
        return sorted(pins, key=lambda pin: order.get(pin[0], len(order)))
    if row.form == "pins":
        return sorted(
            pins, key=lambda pin: (0, int(pin[0]), "") if pin[0].isdigit() else (1, 0, pin[0])
        )
    return list(pins)


def strands(part: Part) -> tuple[tuple[str, ...], ...]:
    """Return the terminals of each winding, core or pole that are bound, as runs in the order of
    the chain.
    """
    runs: dict[str, list[str]] = {}
    for terminal, _ in part.pins:
        runs.setdefault(terminal.split(".")[0] if "." in terminal else terminal, []).append(
            terminal
        )
    return tuple(tuple(run) for run in runs.values())
