"""Quantities as people read them."""

from __future__ import annotations

from functools import cache
from typing import Any

#: The units numbers are shown in; pint's own table of all the world's units takes longer to read
#: than a circuit to solve.
_UNITS = (
    "pico- = 1e-12 = p-",
    "nano- = 1e-9 = n-",
    "micro- = 1e-6 = µ-",
    "milli- = 1e-3 = m-",
    "kilo- = 1e3 = k-",
    "mega- = 1e6 = M-",
    "giga- = 1e9 = G-",
    "meter = [length] = m",
    "kilogram = [mass] = kg",
    "second = [time] = s",
    "ampere = [current] = A",
    "watt = kilogram * meter ** 2 / second ** 3 = W",
    "volt = watt / ampere = V",
    "ohm = volt / ampere = Ω",
    "siemens = 1 / ohm = S",
    "farad = ampere * second / volt = F",
    "henry = volt * second / ampere = H",
    "hertz = 1 / second = Hz",
)


@cache
def _registry() -> Any:
    import pint

    registry = pint.UnitRegistry(None)
    registry.load_definitions(list(_UNITS))
    return registry


def shown(value: float, unit: str, digits: int = 3) -> str:
    """Return a quantity with the multiplier a technician would write, as pint picks it: volts,
    amps, watts, ohms, farads, henries, hertz, seconds.
    """
    if value == 0:
        return f"0 {unit}"
    quantity = _registry().Quantity(value, unit).to_compact()
    return f"{quantity.magnitude:.{digits}g} {quantity.units:~P}"


@cache
def factor(unit: str, wanted: str) -> float:
    """Return how many of the ``wanted`` unit one ``unit`` is, as pint has it: 1000 for A and mA."""
    return float(_registry().Quantity(1.0, unit).m_as(wanted))
