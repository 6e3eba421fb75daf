"""The names of a tube's elements: one vocabulary, and the words the trade uses for each."""

from __future__ import annotations

import re

#: Elements a pin may carry. In a bulb with several units the unit's name and a dot stand before it.
ELEMENTS = frozenset(
    {
        "plate",
        "plate1",
        "plate2",
        "grid",
        "screen",
        "suppressor",
        "signal-grid",
        "cathode",
        "beam-plates",
        "target",
        "diode1",
        "diode2",
        "diode3",
        "heater1",
        "heater2",
        "heater-tap",
        "lamp-tap",
        "shield",
    }
)
#: What a pin is called that carries no element: not connected inside, joined to something unknown
#: inside, not there.
UNUSED = frozenset({"none", "internal", "absent"})
#: Units of a bulb that holds more than one tube.
UNITS = frozenset(
    {
        "triode",
        "triode1",
        "triode2",
        "pentode",
        "heptode",
        "beam",
        "rectifier",
        "diode1",
        "diode2",
        "diode3",
    }
)
#: Elements that units may share; they are then written without a unit.
SHARED = frozenset({"cathode", "heater1", "heater2", "heater-tap", "lamp-tap", "shield"})
HEATER = ("heater1", "heater2")
HEATER_TAPS = ("heater-tap", "lamp-tap")

_SYNONYMS = {
    "anode": ("plate",),
    "p": ("plate",),
    "a": ("plate",),
    "anode1": ("plate1",),
    "p1": ("plate1",),
    "a1": ("plate1",),
    "anode2": ("plate2",),
    "p2": ("plate2",),
    "a2": ("plate2",),
    "g": ("grid",),
    "g1": ("grid",),
    "grid1": ("grid",),
    "control-grid": ("grid",),
    "g2": ("screen",),
    "grid2": ("screen",),
    "screen-grid": ("screen",),
    "g3": ("signal-grid", "suppressor"),
    "grid3": ("signal-grid", "suppressor"),
    "suppressor-grid": ("suppressor",),
    "k": ("cathode",),
    "cath": ("cathode",),
    "beam": ("beam-plates",),
    "beam-plate": ("beam-plates",),
    "d1": ("diode1",),
    "d2": ("diode2",),
    "d3": ("diode3",),
    "h1": ("heater1",),
    "f1": ("heater1",),
    "filament1": ("heater1",),
    "h2": ("heater2",),
    "f2": ("heater2",),
    "filament2": ("heater2",),
    "tap": HEATER_TAPS,
    "centre-tap": ("heater-tap",),
    "center-tap": ("heater-tap",),
    "pilot-tap": ("lamp-tap",),
    "is": ("shield",),
    "shell": ("shield",),
    "internal-shield": ("shield",),
}
_BOTH_ENDS = frozenset({"heater", "heaters", "filament", "filaments", "fil", "h", "f"})
_NUMBERED_UNIT = re.compile(r"(?:unit|section)[ -]?(\d)")


def is_element(name: str) -> bool:
    """Return whether ``name`` is a canonical element name, with or without a unit, or a word for an
    unused pin.
    """
    unit, dot, element = name.rpartition(".")
    return name in UNUSED or (element in ELEMENTS and (not dot or unit in UNITS))


def unit_of_element(name: str) -> str:
    """Return the unit an element name begins with, or "" when it belongs to the whole bulb."""
    return name.rpartition(".")[0]


def read_name(name: str) -> tuple[str, tuple[str, ...], bool]:
    """Return the unit, the canonical elements a person may mean by ``name``, and whether all of
    them are meant.

    ``heater`` means both ends; ``g3`` means the suppressor, or the signal grid where the tube has
    one instead.
    """
    unit, _, word = name.strip().lower().replace("_", "-").replace(" ", "-").rpartition(".")
    if word in _BOTH_ENDS:
        return unit, HEATER, True
    if word in ELEMENTS:
        return unit, (word,), False
    return unit, _SYNONYMS.get(word, ()), False


def numbered_unit(word: str) -> int | None:
    """Return the number in ``unit1`` or ``section 2``, or None for any other word."""
    match = _NUMBERED_UNIT.fullmatch(word)
    return int(match[1]) if match else None
