"""What to order where the list has nothing: a transformer computed backwards from the needs, and
the filter that goes with it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray

from rework.circuit.leads import FILAMENTS, POWER
from rework.circuit.preferred import E6, FUSES, VOLT_AMPS, VOLTS, at_least, at_most, rating
from rework.solve.cold import HIGH_LINE
from rework.solve.devices import SILICON
from rework.solve.fit import fitted
from rework.supply.filters import bleeder_ohms
from rework.supply.ideal import after_filter, capacitor_input
from rework.supply.needs import Needs
from rework.supply.sources import Wishes, printed_ohms
from rework.tubes import library
from rework.tubes.tubetype import TubeType

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


@dataclass(frozen=True)
class _OrderFeed:
    """The feed that an order is computed for: how many halves of a winding, what drops in it."""

    needs: Needs
    halves: bool
    tube: TubeType | None

    @property
    def drop(self) -> float:
        """Volts lost in silicon at a time."""
        return 0.0 if self.tube else SILICON.offset * (1 if self.halves else 2)

    def given(self, rms: float) -> tuple[float, float, float]:
        """Return B+ behind the choke, amps of the winding with its reserve, and ripple of the first
        capacitor, where each half of the winding has ``rms`` volts.
        """
        perveance = np.array([fitted(TUBE).law.perveance if self.tube else 0.0])
        amps = float(self.needs.amps_at(self.needs.bplus))
        least = printed_ohms(self.tube, rms) if self.tube else 0.0
        carried = 1.8 * amps

        def load(volts: NDArray[np.float64]) -> NDArray[np.float64]:
            return self.needs.amps_at(np.maximum(volts - amps * CHOKE_OHMS, 1.0))

        for _ in range(6):  # the ohms that the regulation allows hang on the current they pass
            ohms = max(REGULATION * rms / max(carried, 1e-6), least)
            fed = capacitor_input(
                np.array([sqrt(2) * rms - self.drop]),
                np.array([ohms]),
                perveance,
                np.array([FIRST]),
                np.zeros(1),
                self.needs.mains.hertz,
                load,
                2,
            )
            carried = RESERVE * float(fed.rms[0]) * (1.0 if self.halves else sqrt(2))
        return float(fed.volts[0] - fed.amps[0] * CHOKE_OHMS), carried, float(fed.ripple[0])

    def rms(self) -> float:
        """Return the whole volts that each half must have for the B+ wanted, by halving."""
        low, high = 0.4 * self.needs.bplus, 1.6 * self.needs.bplus
        for _ in range(30):
            middle = 0.5 * (low + high)
            enough = self.given(middle)[0] >= self.needs.bplus
            low, high = (low, middle) if enough else (middle, high)
        return float(ceil(high))

    @property
    def kind(self) -> str:
        """The rectifier in words."""
        if self.tube:
            return f"an {TUBE} on a tapped winding"
        return "two diodes on a tapped winding" if self.halves else "a bridge"


def order(needs: Needs, wishes: Wishes | None = None) -> Order:
    """Return the specification to order by: a bridge on one winding, or, where the user allows
    none, two rectifiers on a tapped one: silicon, or a tube.

    The tube is the EZ80, the one whose maker's sheet was seen; the ohms its sheet wants are part of
    what is ordered.

    The volts are found by halving between bounds so that the ideal rectifier, fed through the
    resistance that the regulation allows, gives the B+ wanted at idle behind the choke.
    """
    wishes = wishes or Wishes()
    halves = "bridge" not in wishes.rectifiers
    tube = library.find(TUBE) if wishes.rectifiers == ("tube",) else None
    trial = _OrderFeed(needs, halves, tube)
    rms = trial.rms()
    bplus, carried, ripple = trial.given(rms)
    whole = 2 * rms if halves else rms
    windings = _windings(needs, tube, whole, carried, halves)
    heaters = needs.heater_volts * RESERVE * needs.heater_amps
    rectifier = sum(each.volts * each.amps for each in windings if each.name == "rectifier")
    load = whole * carried + rectifier + heaters
    peak = sqrt(2) * rms * HIGH_LINE
    rest = float(after_filter(ripple, 2 * needs.mains.hertz, HENRIES, CHOKE_OHMS, FIRST))
    amps = max(needs.idle_amps, needs.full_amps)
    return Order(
        rectifier=trial.kind,
        va=rating(load, VOLT_AMPS) or load,
        windings=windings,
        regulation=REGULATION,
        insulation=INSULATION,
        capacitor_farads=at_least(FIRST, E6),
        capacitor_volts=rating(peak, VOLTS) or peak,
        choke_henries=HENRIES,
        choke_amps=ceil(200 * RESERVE * amps) / 200,
        choke_ohms=CHOKE_OHMS,
        inverse_volts=peak * (2 if halves else 1) * 1.5,
        bleeder_ohms=at_most(float(bleeder_ohms(2 * FIRST, peak))),
        fuse_amps=rating(1.5 * load / needs.mains.volts, FUSES) or FUSES[-1],
        bplus=bplus,
        hum=rest * needs.hum_of_ripple[1],
    )


def _windings(
    needs: Needs, tube: TubeType | None, volts: float, amps: float, halves: bool
) -> tuple[Ordered, ...]:
    """Return the windings to order: the one for B+ with its volts and amps, the heaters', and one
    for a rectifier tube.
    """
    tap = f", tap {COLOURS['hv tap']}" if halves else ""
    heater_amps = ceil(2 * RESERVE * needs.heater_amps) / 2
    colours = f"{COLOURS['heater']}, tap {COLOURS['heater tap']}"
    windings = [
        Ordered("primary", needs.mains.volts, 0.0, False, COLOURS["primary"]),
        Ordered("hv", volts, ceil(200 * amps) / 200, halves, COLOURS["hv"] + tap),
        Ordered("heater", needs.heater_volts * 1.05, heater_amps, True, colours),
    ]
    if tube:
        own_volts, own_amps = tube.heater.volts.value * 1.05, tube.heater.amps.value
        own_amps = ceil(10 * RESERVE * own_amps) / 10
        windings.append(Ordered("rectifier", own_volts, own_amps, False, COLOURS["rectifier"]))
    return tuple(windings)
