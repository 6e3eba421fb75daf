"""The size of a conductor."""

from __future__ import annotations

import math

from rework.circuit.parts import Part


def section(wire: Part) -> float | None:
    """Return the copper section of a wire in square metres, or None where it states none.

    AWG: diameter 0.127 mm x 92^((36 - n) / 39) (ASTM B258).
    """
    area, gauge = wire.value("area"), wire.value("gauge")
    if area is not None:
        return area
    if gauge is None:
        return None
    diameter = 0.127e-3 * math.pow(92, (36 - gauge) / 39)
    return math.pi / 4 * diameter**2
