"""What a part usually has in its place: wide enough that every set on hand is within,
narrow enough that most values a decade off are not.

All of it is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from rework.anatomy.role import Role


class Span(NamedTuple):
    """The usual values of a part in its place, in SI units, both ends included."""

    dimension: str
    low: float
    high: float

    def holds(self, amount: float) -> bool:
        """Return whether an amount is usual; the ends are, however they were rounded."""
        return self.low * (1 - 1e-9) <= amount <= self.high * (1 + 1e-9)


#: By role; where the kind of stage makes a difference, by role and kind of stage.
_USUAL: dict[tuple[Role, str], tuple[Span, ...]] = {
    (Role.PLATE_LOAD, ""): (Span("resistance", 15e3, 1.5e6),),
    (Role.CATHODE_RESISTOR, "amplifier"): (Span("resistance", 47.0, 33e3),),
    (Role.CATHODE_RESISTOR, "output"): (Span("resistance", 22.0, 4.7e3),),
    (Role.CATHODE_BYPASS, ""): (Span("capacitance", 0.47e-6, 1e-3),),
    (Role.GRID_LEAK, "amplifier"): (Span("resistance", 10e3, 22e6),),
    # the makers allow an output tube some 0.5 to 1 Mohm: above it grid current runs away with it
    (Role.GRID_LEAK, "output"): (Span("resistance", 47e3, 2.2e6),),
    (Role.GRID_STOPPER, ""): (Span("resistance", 47.0, 470e3),),
    (Role.SCREEN_DROPPER, "amplifier"): (Span("resistance", 47e3, 4.7e6),),
    (Role.SCREEN_DROPPER, "output"): (Span("resistance", 47.0, 100e3),),
    (Role.SCREEN_BYPASS, ""): (Span("capacitance", 10e-9, 100e-6),),
    (Role.COUPLING, ""): (Span("capacitance", 1e-9, 1e-6),),
    (Role.PLATE_SHUNT, ""): (Span("capacitance", 10e-12, 47e-9),),
    (Role.VOLUME, ""): (Span("resistance", 70e3, 5e6),),
    (Role.TONE, ""): (Span("resistance", 4.7e3, 5e6), Span("capacitance", 47e-12, 0.47e-6)),
    (Role.RESERVOIR, ""): (Span("capacitance", 3e-6, 1e-3),),
    (Role.DOUBLER_CAPACITOR, ""): (Span("capacitance", 3e-6, 1e-3),),
    (Role.FILTER_CAPACITOR, ""): (Span("capacitance", 1e-6, 1e-3),),
    (Role.FILTER_RESISTOR, ""): (Span("resistance", 47.0, 220e3),),
    (Role.FILTER_CHOKE, ""): (Span("inductance", 0.2, 60.0),),
    (Role.BLEEDER, ""): (Span("resistance", 3.3e3, 2.2e6),),
    (Role.SURGE, ""): (Span("resistance", 2.0, 470.0),),
    (Role.BACK_BIAS, ""): (Span("resistance", 10.0, 4.7e3),),
    (Role.CHASSIS_BYPASS, ""): (Span("capacitance", 220e-12, 0.47e-6),),
}


def usual_spans(role: Role, stage: str) -> tuple[Span, ...]:
    """Return what is usual for a part of a role at a kind of stage; nothing where too much is."""
    return _USUAL.get((role, stage)) or _USUAL.get((role, ""), ())
