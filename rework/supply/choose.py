"""Which parts of the list make up a supply that went through the sieve: capacitors, bleeder,
resistors, the balance of the heaters.

What is on the list is taken before what has to be ordered.
"""

from __future__ import annotations

from math import log

from rework.circuit.preferred import BLEEDER_VOLTS, WATTS, at_most, rating
from rework.supply.filters import bleeder_ohms
from rework.supply.forms import BALANCE_OHMS, Choice
from rework.supply.fusing import line_fuse
from rework.supply.needs import Needs
from rework.supply.screen import Rough
from rework.supply.sources import Wishes
from rework.supply.stock import Shelf, StockCapacitor, StockPot, StockResistor, StockThermistor

#: RMS over DC of the current out of a full-wave rectifier into a capacitor, at most: root 2 times
#: the 1.3 of a plate (computed, soft feed).
CATHODE_RMS = 1.8
#: Resistors in the way of B+ are ordered for no less (common practice, no source: they are
#: wirewound).
LEAST_WATTS = 2.0


def capacitor_for(shelf: Shelf, farads: float, volts: float) -> StockCapacitor | None:
    """Return the cheapest electrolytic of some farads that stands some volts, None where the list
    has none.
    """
    fits = [
        item for item in shelf.of(StockCapacitor) if item.farads == farads and item.volts >= volts
    ]
    return min(fits, key=lambda item: (item.cost, item.volts, item.name), default=None)


def bleeder_for(shelf: Shelf, farads: float, volts: float) -> StockResistor:
    """Return the bleeder: of the list the largest that is quick enough and stands twice its watts
    and the volts, else the one to order.
    """
    most = float(bleeder_ohms(farads, volts))
    fits = [
        item
        for item in shelf.of(StockResistor)
        if 0.1 * most <= item.ohms <= most
        and item.watts >= 2 * volts**2 / item.ohms
        and (item.volts or 0.0) >= volts
    ]
    if fits:
        return max(fits, key=lambda item: (item.ohms, -item.cost, item.name))
    ohms = at_most(most)
    watts = rating(2 * volts**2 / ohms, WATTS) or WATTS[-1]
    return StockResistor(ohms=ohms, watts=watts, volts=rating(volts, BLEEDER_VOLTS))


def choice_of(rough: Rough, shelf: Shelf, wishes: Wishes, needs: Needs) -> Choice:
    """Return the parts of a pair that went through the sieve; the connector, and the fuse for what
    the line really carries, come with the exact solution.
    """
    source, behind = rough.source, rough.behind
    volts = source.open_volts
    first = capacitor_for(shelf, behind.farads, volts) if behind.farads else None
    last = capacitor_for(shelf, rough.c2, volts) if rough.c2 else None
    farads = sum(item.farads for item in (first, last) if item)
    amps = max(needs.idle_amps, needs.full_amps)
    balance = _balance(rough, wishes)
    surge, soft_start = None, None
    line_va = source.transformer.va + (source.filament.va if source.filament else 0.0)
    primary = line_va / needs.mains.volts
    if source.added_ohms and behind.filter != "L-C":
        watts = source.added_ohms * (CATHODE_RMS * amps) ** 2
        surge = _resistor(shelf, source.added_ohms, watts)
    elif wishes.soft_start:
        soft_start = _thermistor(shelf, primary)
    return Choice(
        transformer=source.transformer,
        winding=source.winding,
        heater_winding=source.heater_winding,
        rectifier=source.rectifier,
        valve=source.valve,
        filter=behind.filter,
        c1=first,
        c2=last,
        choke=behind.choke,
        series=_resistor(shelf, rough.series, rough.series * amps**2) if rough.series else None,
        second=source.second,
        filament=source.filament,
        rectifier_winding=source.rectifier_winding,
        balance=balance,
        surge=surge,
        soft_start=soft_start,
        fuse=line_fuse(shelf, primary, primary, needs.mains.volts),
        bleeder=bleeder_for(shelf, farads, volts),
        pot=_pot(shelf) if balance == "pot" else None,
    )


def _balance(rough: Rough, wishes: Wishes) -> str:
    """Return how the heaters are balanced; two transformers back to back use no tap."""
    source = rough.source
    tapped = source.heater.tapped and source.second is None
    balance = wishes.balance or ("tap" if tapped else "resistors")
    return "resistors" if balance == "tap" and source.second is not None else balance


def _thermistor(shelf: Shelf, amps: float) -> StockThermistor:
    """Return the thermistor with most cold ohms that carries some amps, else the one to order."""
    fits = [item for item in shelf.of(StockThermistor) if item.amps >= amps]
    order = StockThermistor(
        cold_ohms=10.0, hot_ohms=0.5, amps=rating(amps, (1.0, 2.0, 4.0)) or amps
    )
    return max(fits, key=lambda item: (item.cold_ohms, item.name), default=order)


def _pot(shelf: Shelf) -> StockPot:
    """Return the hum balance: 100 to 500 ohm and a watt or more (common practice, no source)."""
    fits = [
        item
        for item in shelf.of(StockPot)
        if BALANCE_OHMS <= item.ohms <= 5 * BALANCE_OHMS and item.watts >= 1
    ]
    order = StockPot(ohms=BALANCE_OHMS, watts=2.0)
    return min(fits, key=lambda item: (item.cost, item.ohms, item.name), default=order)


def _resistor(shelf: Shelf, ohms: float, watts: float) -> StockResistor:
    """Return a resistor of the list of some ohms with twice the watts, else the one to order."""
    ohms = float(f"{ohms:.3g}")
    fits = [
        item
        for item in shelf.of(StockResistor)
        if abs(log(item.ohms / ohms)) < 1e-6 and item.watts >= 2 * watts
    ]
    watts_made = rating(max(2 * watts, LEAST_WATTS), WATTS) or WATTS[-1]
    order = StockResistor(ohms=ohms, watts=watts_made)
    return min(fits, key=lambda item: (item.watts, item.cost, item.name), default=order)
