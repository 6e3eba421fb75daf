"""The kinds of part there are: one row a kind, in ``kinds.toml``.

A row says what its terminals are called, which values it may have, how current gets through it,
what of it a hand reaches, and by which key the other rooms answer for it: touch and solve for its
``law``, solve for its ``stresses``, draw for its ``symbol``. This room knows none of them.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

#: Winding names: those that begin with ``primary`` are not isolated from one another.
WINDING_NAMES = (
    "primary",
    "secondary",
    "hv",
    "heater",
    "bias",
    "rectifier",
    "speaker",
    "feedback",
    "screen",
)
#: Dimensions of what may be said of one winding, in the order in which it is written.
OF_A_WINDING = (
    "voltage",
    "turns",
    "resistance",
    "current",
    "inductance",
    "power",
    "fraction",
)


class Form(StrEnum):
    """How the connections of a kind are written."""

    TWO = "two"  # A -- B
    PINS = "pins"  # terminal=node
    POLES = "poles"  # one A -- B a pole
    WINDINGS = "windings"  # name = A -- B
    CORES = "cores"  # name = A -- B
    ONE = "one"  # a single node


class Passes(StrEnum):
    """How current gets from terminal to terminal of a kind, for the mains check."""

    CONDUCTOR = "conductor"  # copper that can be cut
    CONDUCTS = "conducts"  # anything else, in either direction
    CAPACITOR = "capacitor"
    POLES = "poles"  # within each pole of a switch
    WINDINGS = "windings"  # within each winding; the primary side is isolated from the other
    TUBE = "tube"  # by its electrodes
    RELAY = "relay"  # within each pole, and through the coil
    SIDES = "sides"  # within each side; between them as far as the stated class isolates
    FILTER = "filter"  # line to line, neutral to neutral, by capacitors to all else
    CONTACTS = "contacts"  # into the mated half only
    NOTHING = "nothing"


class Law(StrEnum):
    """What a kind is to a current: touch makes elements of it, solve puts it in its equations."""

    CONDUCTOR = "conductor"
    POLES = "poles"
    LINK = "link"  # closed until it clears
    BREAK_CONTACT = "break contact"
    MATED_CONTACTS = "mated contacts"
    BLADES = "blades"
    EARTH = "earth"
    RESISTANCE = "resistance"
    THERMISTOR = "thermistor"
    TRACK = "track"
    LAMP = "lamp"
    MOTOR = "motor"
    SIGNAL_SOURCE = "signal source"
    CAPACITANCE = "capacitance"
    COIL = "coil"
    WINDINGS = "windings"
    JUNCTION = "junction"
    TUBE = "tube"
    RELAY = "relay"
    SIDES = "sides"
    VARISTOR = "varistor"
    FILTER = "filter"
    INDICATOR = "indicator"
    HOLDS_VOLTS = "holds volts"
    BATTERY = "battery"
    NOT_COMPUTED = "not computed"
    NOTHING = "nothing"


#: Metal that belongs to a part and is insulated from what is inside it, but not for the mains.
METALWORK = frozenset({"frame", "shaft", "core", "can"})


@dataclass(frozen=True, slots=True)
class Kind:
    """What is true of every part of one kind.

    Attributes
    ----------
    form
        How its connections are written.
    passes
        How current gets through it, for the mains check.
    law
        What it is to a current, for touch currents and operating points.
    terminals, optional
        Terminals that must and that may be bound, in canonical order; empty where the part itself
        names them (a tube, a connector) or where windings do.
    dimensions
        Dimensions of the values it may have; the first is what a bare ``220k`` means.
    words, settings
        Words it may have, and words that take one more word after them.
    polar
        Whether it may not be turned round.
    primary_side
        Whether it may be on the mains without being a hazard in itself.
    touched
        Terminals within reach of a hand, whatever the file says.
    classes
        What the word ``class`` may be followed by: safety classes of capacitors on the mains (IEC
        60384-14), or of insulation (IEC 60664-1).
    sides
        Terminals inside which current passes, one tuple a side of an isolating part; empty where
        the first part of a terminal's name, before the dot, says its side.
    junctions
        The (anode, cathode) pairs of terminals through which it passes current one way only.
    stresses
        Keys of the ratings it can be held to: those of ``tubes`` for a tube; ``watts``, ``volts``,
        ``amps`` (RMS), ``dc_amps`` (mean), ``inverse_volts`` (peak), ``input_volts`` (RMS),
        ``volt_amperes`` otherwise.
    usual
        Dimensions with the least and the most that parts of the kind have, in SI units; beyond them
        a value is reported (own choice, no source).
    symbol
        Key of its symbol in the drawing.
    says, example
        One line about it and one line of a file, for the manual.
    """

    name: str
    form: Form
    passes: Passes
    law: Law = Law.NOTHING
    terminals: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    dimensions: tuple[str, ...] = ()
    words: frozenset[str] = frozenset()
    settings: frozenset[str] = frozenset({"type"})
    polar: bool = False
    primary_side: bool = False
    touched: tuple[str, ...] = ()
    classes: tuple[str, ...] = ()
    sides: tuple[tuple[str, ...], ...] = ()
    junctions: tuple[tuple[str, str], ...] = ()
    stresses: tuple[str, ...] = ()
    usual: tuple[tuple[str, float, float], ...] = ()
    symbol: str = ""
    says: str = ""
    example: str = ""

    @property
    def is_conductor(self) -> bool:
        """True for copper that can be cut: traces, wires, shielded cables."""
        return self.passes is Passes.CONDUCTOR

    @property
    def is_capacitor(self) -> bool:
        """True for what blocks direct current and passes alternating current."""
        return self.passes is Passes.CAPACITOR

    @property
    def is_wound(self) -> bool:
        """True for transformers of every sort: parts that are written winding by winding."""
        return self.form is Form.WINDINGS

    @property
    def is_solid_rectifier(self) -> bool:
        """True for a rectifier that is no tube: it conducts as soon as the line is on."""
        return self.law is Law.JUNCTION

    @property
    def is_overcurrent(self) -> bool:
        """True for what opens by itself when the current is too high."""
        return self.law is Law.LINK

    @property
    def is_switch(self) -> bool:
        """True for contacts that a person or a relay's coil operates."""
        return self.law in (Law.POLES, Law.RELAY)

    @property
    def is_signal_source(self) -> bool:
        """True for what gives the first stage its signal."""
        return self.law is Law.SIGNAL_SOURCE

    @property
    def is_two_ended(self) -> bool:
        """True for parts of two ends that are written ``A -- B``."""
        return self.form is Form.TWO


def _pairs(text: str) -> tuple[tuple[str, str], ...]:
    """Return the (anode, cathode) pairs of ``ac1>plus minus>ac1``."""
    halves = [pair.partition(">") for pair in text.split()]
    return tuple((anode, cathode) for anode, _, cathode in halves)


def _ranges(text: str) -> tuple[tuple[str, float, float], ...]:
    """Return the (dimension, least, most) of ``current 0.02..30, voltage 5..1e3``."""
    halves = [entry.split() for entry in text.split(",") if entry.strip()]
    return tuple(
        (dimension, *map(float, limits.split("..")))  # type: ignore[misc]  # two numbers
        for dimension, limits in halves
    )


def _kind(name: str, row: dict[str, Any]) -> Kind:
    def words(column: str, default: str = "") -> tuple[str, ...]:
        return tuple(str(row.get(column, default)).split())

    return Kind(
        name,
        Form(row["form"]),
        Passes(row["passes"]),
        Law(row["law"]),
        words("terminals"),
        words("optional"),
        words("values"),
        frozenset(words("words")),
        frozenset(words("settings", "type")),
        bool(row.get("polar", False)),
        bool(row.get("primary_side", False)),
        words("touched"),
        words("classes"),
        tuple(tuple(side.split()) for side in str(row.get("sides", "")).split("/") if side),
        _pairs(str(row.get("junctions", ""))),
        words("stresses"),
        _ranges(str(row.get("usual", ""))),
        str(row.get("symbol", name)),
        str(row["says"]),
        str(row["example"]),
    )


def _table() -> dict[str, Kind]:
    text = Path(__file__).with_name("kinds.toml").read_text(encoding="utf-8")
    return {name: _kind(name, row) for name, row in tomllib.loads(text).items()}


#: Every kind by its name, in the order of the table.
KINDS: dict[str, Kind] = _table()
