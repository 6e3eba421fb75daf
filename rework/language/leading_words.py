"""Words of a head that need a value or another word behind them, and the kinds that have them."""

from __future__ import annotations

from rework.circuit.kinds import Kind

#: Words before a value that say which of a part's values it is.
ROLES = {
    "dcr": "resistance",
    "load": "resistance",
    "at": "fraction",
    "peak": "voltage",
    "cold": "resistance",
    "hot": "resistance",
    "leakage": "inductance",
    "drop": "voltage",
    "to-primary": "capacitance",
    "to-core": "capacitance",
    "heater": "voltage",
}
#: Settings: words that take another word after them.
SETTINGS = ("on", "mates", "ganged", "class", "type", "in")
_RECTIFIERS = ("diode", "selenium", "bridge")
#: The kinds of which each of them is said; where none is named, of windings alone.
_ROLE_KINDS: dict[str, tuple[str, ...]] = {
    "dcr": ("choke", "motor", "speaker", "headphones", "winding"),
    "at": ("pot",),
    "peak": _RECTIFIERS,
    "cold": ("thermistor", "lamp"),
    "hot": ("thermistor", "lamp"),
    "drop": ("tube", *_RECTIFIERS),
    "heater": ("tube",),
}


def roles_of(kind: Kind) -> tuple[str, ...]:
    """Return the words that may stand before a value of a kind."""
    return tuple(role for role in ROLES if kind.name in _ROLE_KINDS.get(role, ("winding",)))
