"""What rectifiers let through in either half of the cycle, in a network of resistances: ideal
diodes, those on found one by one.

All sources are in phase, so a half of the cycle is one solution with the diodes as they are in it,
and volts RMS are the root of half the squares of the two.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from rework.anatomy.rectifiers import RectifierSection
from rework.anatomy.resistive import Resistance

#: Ohms of a diode that is on, and volts forward from which one is turned on and the wrong way from
#: which it is turned off: rounding is far less.
_ON_OHMS, _FORWARD, _BACK = 1e-3, 0.1, 1e-7


class IdealDiode(NamedTuple):
    """A way for current from one point to another, in the part of that name."""

    anode: str
    cathode: str
    part: str


def ideal_diodes(
    sections: Sequence[RectifierSection], point: Callable[[str], str]
) -> tuple[IdealDiode, ...]:
    """Return the diodes of some rectifiers, between points as ``point`` has them."""
    pairs: dict[tuple[str, str], str] = {}
    for section in sections:
        for anode in section.anodes:
            for first, second in ((anode, section.cathode), (section.minus, anode)):
                if first is not None and second is not None and point(first) != point(second):
                    pairs.setdefault((point(first), point(second)), section.part)
    return tuple(IdealDiode(*ends, part) for ends, part in pairs.items())


def half_cycles(
    solve: Callable[[Sequence[Resistance]], dict[str, float]], diodes: Sequence[IdealDiode]
) -> tuple[dict[str, float], dict[str, float]]:
    """Return the volts RMS that every point would have if the one half of the cycle, then the
    other, lasted; ``solve`` gives the volts with wires in place of the diodes that are on.
    """
    return _half(solve, diodes, 1.0), _half(solve, diodes, -1.0)


def _half(
    solve: Callable[[Sequence[Resistance]], dict[str, float]],
    diodes: Sequence[IdealDiode],
    sign: float,
) -> dict[str, float]:
    on: dict[IdealDiode, None] = {}
    volts = solve(())
    for _ in range(4 * len(diodes)):
        forward = {
            diode: sign * (volts.get(diode.anode, 0.0) - volts.get(diode.cathode, 0.0))
            for diode in diodes
        }
        worst = min(on, key=lambda diode: forward[diode], default=None)
        best = max((d for d in diodes if d not in on), key=lambda d: forward[d], default=None)
        if worst is not None and forward[worst] < -_BACK:
            del on[worst]
        elif best is not None and forward[best] > _FORWARD:
            on[best] = None
        else:
            break
        volts = solve([Resistance(diode.anode, diode.cathode, _ON_OHMS) for diode in on])
    return volts
