"""What a part usually has in its place: wide enough that every set on hand is within,
narrow enough that most values a decade off are not.

All of it is common practice, no source.
"""

from __future__ import annotations

from typing import NamedTuple

from rework.anatomy.role import Role


class UsualSpan(NamedTuple):
    """The usual values of a part in its place, in SI units, both ends included."""

    dimension: str
    low: float
    high: float

    def holds(self, amount: float) -> bool:
        """Return whether an amount is usual; the ends are, however they were rounded."""
        return self.low * (1 - 1e-9) <= amount <= self.high * (1 + 1e-9)


#: By role; where the kind of stage makes a difference, by role and kind of stage.
_USUAL: dict[tuple[Role, str], tuple[UsualSpan, ...]] = {
    (Role.PLATE_LOAD, ""): (UsualSpan("resistance", 15e3, 1.5e6),),
    (Role.CATHODE_RESISTOR, "amplifier"): (UsualSpan("resistance", 47.0, 33e3),),
    (Role.CATHODE_RESISTOR, "output"): (UsualSpan("resistance", 22.0, 4.7e3),),
    (Role.CATHODE_BYPASS, ""): (UsualSpan("capacitance", 0.47e-6, 1e-3),),
    (Role.GRID_LEAK, "amplifier"): (UsualSpan("resistance", 10e3, 22e6),),
    # the makers allow an output tube some 0.5 to 1 Mohm: above it grid current runs away with it
    (Role.GRID_LEAK, "output"): (UsualSpan("resistance", 47e3, 2.2e6),),
    (Role.GRID_STOPPER, ""): (UsualSpan("resistance", 47.0, 470e3),),
    (Role.SCREEN_DROPPER, "amplifier"): (UsualSpan("resistance", 47e3, 4.7e6),),
    (Role.SCREEN_DROPPER, "output"): (UsualSpan("resistance", 47.0, 100e3),),
    (Role.SCREEN_BYPASS, ""): (UsualSpan("capacitance", 10e-9, 100e-6),),
    (Role.COUPLING, ""): (UsualSpan("capacitance", 1e-9, 0.47e-6),),
    (Role.PLATE_SHUNT, ""): (UsualSpan("capacitance", 10e-12, 47e-9),),
    (Role.VOLUME, ""): (UsualSpan("resistance", 70e3, 5e6),),
    (Role.TONE, ""): (
        UsualSpan("resistance", 4.7e3, 5e6),
        UsualSpan("capacitance", 47e-12, 0.47e-6),
    ),
    (Role.RESERVOIR, ""): (UsualSpan("capacitance", 3e-6, 1e-3),),
    (Role.DOUBLER_CAPACITOR, ""): (UsualSpan("capacitance", 3e-6, 1e-3),),
    (Role.FILTER_CAPACITOR, ""): (UsualSpan("capacitance", 1e-6, 1e-3),),
    (Role.FILTER_RESISTOR, ""): (UsualSpan("resistance", 47.0, 220e3),),
    (Role.FILTER_CHOKE, ""): (UsualSpan("inductance", 0.2, 60.0),),
    (Role.BLEEDER, ""): (UsualSpan("resistance", 3.3e3, 2.2e6),),
    (Role.SURGE, ""): (UsualSpan("resistance", 2.0, 470.0),),
    (Role.BACK_BIAS, ""): (UsualSpan("resistance", 10.0, 4.7e3),),
    (Role.CHASSIS_BYPASS, ""): (UsualSpan("capacitance", 220e-12, 0.47e-6),),
}


def usual_spans(role: Role, stage: str) -> tuple[UsualSpan, ...]:
    """Return what is usual for a part of a role at a kind of stage; nothing where too much is."""
    return _USUAL.get((role, stage)) or _USUAL.get((role, ""), ())
