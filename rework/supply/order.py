"""What to order where the list has nothing: a transformer worked out backwards from the needs, and
the filter that goes with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from rework.circuit.leads import FILAMENTS, POWER
from rework.solve.chart import HIGH_LINE
from rework.solve.devices import SILICON
from rework.solve.fit import fitted
from rework.supply.ideal import after_filter, capacitor_input, net
from rework.supply.needs import Needs
from rework.supply.preferred import E6, FUSES, VOLT_AMPS, VOLTS, at_least, at_most, rating
from rework.supply.screen import bleeder_ohms
from rework.supply.sources import Wishes, printed_ohms
from rework.tubes import library

#: Regulation a small transformer is ordered with: its volts fall by so much of their unloaded value
#: at rated current (from memory).
REGULATION = 0.10
#: Windings are ordered for this much more than they carry, and a choke (common practice, no
#: source).
RESERVE = 1.25
#: The filter it is worked out with: first capacitor, henries, and ohms of the choke.
FIRST, HENRIES, CHOKE_OHMS = 47e-6, 5.0, 150.0
#: Class of insulation asked for: 130 degrees leaves room for a closed cabinet (common practice, no
#: source).
INSULATION = "B"
#: The tube that a transformer for a tube is ordered for: its sheet was seen.
TUBE = "EZ80"
#: The colours of the leads to order, by winding.
COLOURS = {winding: f"{ends}, {ends}" for winding, (ends, _) in POWER.items()} | {
    "hv tap": POWER["hv"][1],
    "heater": f"{FILAMENTS[0]}, {FILAMENTS[0]}",
    "heater tap": f"{FILAMENTS[0]}/yellow",
}
COLOUR_CAUTION = (
    "green/yellow is a heater's middle tap in this code and the protective earth in the line cord:"
    " mark it at once, and prove every winding with a meter; Europe has no common code"
)


@dataclass(frozen=True, slots=True)
class Ordered:
    """One winding to order: volts RMS unloaded over the whole winding, amps RMS, whether tapped,
    and its lead colours.
    """

    name: str
    volts: float
    amps: float
    tapped: bool
    colours: str


@dataclass(frozen=True, slots=True)
class Order:
    """A transformer to order and what goes with it, SI.

    ``bplus`` is what ideal rectifiers give with it at idle.
    """

    rectifier: str
    va: float
    windings: tuple[Ordered, ...]
    regulation: float
    insulation: str
    capacitor_farads: float
    capacitor_volts: float
    choke_henries: float
    choke_amps: float
    choke_ohms: float
    inverse_volts: float
    bleeder_ohms: float
    fuse_amps: float
    bplus: float
    hum: float


def order(needs: Needs, wishes: Wishes | None = None) -> Order:
    """Return the specification to order by: a bridge on one winding, or, where the user allows
    none, two rectifiers on a tapped one: silicon, or a tube.

    The tube is the EZ80, the one whose maker's sheet was seen; the ohms its sheet wants are part of
    what is ordered.

    The volts are found by halving between bounds so that the ideal rectifier, fed through the
    resistance that the regulation allows, gives the B+ wanted at idle behind the choke.
    """
    import numpy as np

    wishes = wishes or Wishes()
    halves = "bridge" not in wishes.rectifiers
    tube = library.find(TUBE) if wishes.rectifiers == ("tube",) else None
    drop = 0.0 if tube else SILICON.offset * (1 if halves else 2)
    perveance = fitted(TUBE).law.perveance if tube else 0.0
    net(2)

    def given(rms: float) -> tuple[float, float, float]:
        amps = float(needs.amps_at(needs.bplus))
        carried = 1.8 * amps
        for _ in range(
            6
        ):  # the ohms that the regulation allows hang on the current they let through
            ohms = max(
                REGULATION * rms / max(carried, 1e-6), printed_ohms(tube, rms) if tube else 0.0
            )
            one = np.array([1.0])
            fed = capacitor_input(
                (sqrt(2) * rms - drop) * one,
                ohms * one,
                perveance * one,
                FIRST * one,
                0 * one,
                needs.mains.hertz,
                lambda volts: needs.amps_at(np.maximum(volts - amps * CHOKE_OHMS, 1.0)),
                2,
            )
            carried = RESERVE * float(fed.rms[0]) * (1.0 if halves else sqrt(2))
        return float(fed.volts[0] - fed.amps[0] * CHOKE_OHMS), carried, float(fed.ripple[0])

    low, high = 0.4 * needs.bplus, 1.6 * needs.bplus
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if given(middle)[0] < needs.bplus else (low, middle)
    rms = float(np.ceil(high))
    bplus, carried, ripple = given(rms)
    whole = 2 * rms if halves else rms
    hv = Ordered(
        "hv",
        whole,
        float(np.ceil(200 * carried) / 200),
        halves,
        COLOURS["hv"] + (f", tap {COLOURS['hv tap']}" if halves else ""),
    )
    heater = Ordered(
        "heater",
        needs.heater_volts * 1.05,
        float(np.ceil(2 * RESERVE * needs.heater_amps) / 2),
        True,
        f"{COLOURS['heater']}, tap {COLOURS['heater tap']}",
    )
    primary = Ordered("primary", needs.mains.volts, 0.0, False, COLOURS["primary"])
    own = (
        Ordered(
            "rectifier",
            tube.heater.volts.value * 1.05,
            float(np.ceil(10 * RESERVE * tube.heater.amps.value) / 10),
            False,
            COLOURS["rectifier"],
        )
        if tube
        else None
    )
    load = (
        whole * carried
        + (own.volts * own.amps if own else 0.0)
        + needs.heater_volts * RESERVE * needs.heater_amps
    )
    opened = sqrt(2) * rms * HIGH_LINE
    hum = (
        float(after_filter(ripple, 2 * needs.mains.hertz, HENRIES, CHOKE_OHMS, FIRST))
        * needs.hum_of_ripple[1]
    )
    amps = max(needs.idle_amps, needs.full_amps)
    kind = (
        f"an {TUBE} on a tapped winding"
        if tube
        else "two diodes on a tapped winding"
        if halves
        else "a bridge"
    )
    return Order(
        kind,
        rating(load, VOLT_AMPS) or load,
        (primary, hv, heater, *((own,) if own else ())),
        REGULATION,
        INSULATION,
        at_least(FIRST, E6),
        rating(opened, VOLTS) or opened,
        HENRIES,
        float(np.ceil(200 * RESERVE * amps) / 200),
        CHOKE_OHMS,
        opened * (2 if halves else 1) * 1.5,
        at_most(float(bleeder_ohms(2 * FIRST, opened))),
        rating(1.5 * load / needs.mains.volts, FUSES) or FUSES[-1],
        bplus,
        hum,
    )
