"""Which parts of the list make up a supply that went through the sieve: capacitors, bleeder,
resistors, the balance of the heaters.
"""

from __future__ import annotations

from math import log

from rework.supply.forms import BALANCE_OHMS, Choice
from rework.supply.needs import Needs
from rework.supply.preferred import WATTS, at_most, rating
from rework.supply.screen import Rough, bleeder_ohms
from rework.supply.shelf import Item, Shelf
from rework.supply.sources import Wishes

#: RMS over DC of the current out of a full-wave rectifier into a capacitor, at most: root 2 times
#: the 1.3 of a plate (computed, soft feed).
CATHODE_RMS = 1.8

#: Resistors in the way of B+ are ordered for no less (common practice, no source: they are
#: wirewound).
LEAST_WATTS = 2.0


def capacitor_for(shelf: Shelf, farads: float, volts: float) -> Item | None:
    """Return the cheapest electrolytic of some farads that stands some volts, None where the list
    has none.
    """
    fits = [
        item for item in shelf.of("electrolytic") if item.value == farads and item.volts >= volts
    ]
    return min(
        fits,
        key=lambda item: (item.price if item.price is not None else 1e9, item.volts, item.name),
        default=None,
    )


def bleeder_for(shelf: Shelf, farads: float, volts: float) -> Item:
    """Return the bleeder: of the list the largest that is quick enough and stands twice its watts
    and the volts, else the one to order.
    """
    most = float(bleeder_ohms(farads, volts))
    fits = [
        item
        for item in shelf.of("resistor")
        if 0.1 * most <= item.value <= most
        and item.watts >= 2 * volts**2 / item.value
        and (item.volts or 0.0) >= volts
    ]
    if fits:
        return max(fits, key=lambda item: (item.value, -(item.price or 0.0), item.name))
    ohms = at_most(most)
    return Item(
        "resistor",
        "not on the list",
        ohms,
        rating(volts, (350.0, 500.0, 750.0, 1000.0)),
        watts=rating(2 * volts**2 / ohms, WATTS) or WATTS[-1],
    )


def choice_of(rough: Rough, shelf: Shelf, wishes: Wishes, needs: Needs) -> Choice:
    """Return the parts of a pair that went through the sieve; fuse and connector come with the
    exact solution.
    """
    source, behind = rough.source, rough.behind
    opened = source.open_volts
    first = capacitor_for(shelf, behind.farads, opened) if behind.farads else None
    last = capacitor_for(shelf, rough.c2, opened) if rough.c2 else None
    farads = sum(item.value for item in (first, last) if item)
    series = _series(shelf, rough, needs) if rough.series else None
    heater = source.transformer.winding(source.heater_winding)
    balance = wishes.balance or ("tap" if heater.tapped and source.second is None else "resistors")
    if source.second is not None and balance == "tap":
        balance = "resistors"
    surge = None
    if source.added_ohms and behind.filter != "L-C":
        watts = source.added_ohms * (CATHODE_RMS * max(needs.idle_amps, needs.full_amps)) ** 2
        surge = _resistor(shelf, source.added_ohms, watts)
    elif wishes.soft_start:
        surge = _thermistor(shelf, source.transformer.va / needs.mains.volts)
    return Choice(
        source.transformer,
        source.winding,
        source.heater_winding,
        source.rectifier,
        source.valve,
        behind.filter,
        first,
        last,
        behind.choke,
        series,
        source.second,
        source.rectifier_winding,
        balance,
        surge,
        bleeder=bleeder_for(shelf, farads, opened),
        pot=_pot(shelf) if balance == "pot" else None,
    )


def _thermistor(shelf: Shelf, amps: float) -> Item:
    """Return the thermistor with most cold ohms that carries some amps, else the one to order."""
    fits = [item for item in shelf.of("thermistor") if item.amps >= amps]
    return max(
        fits,
        key=lambda item: (item.value, item.name),
        default=Item(
            "thermistor",
            "not on the list",
            10.0,
            ohms=0.5,
            amps=rating(amps, (1.0, 2.0, 4.0)) or amps,
        ),
    )


def _pot(shelf: Shelf) -> Item:
    """Return the hum balance: 100 to 500 ohm and a watt or more (common practice, no source)."""
    fits = [
        item
        for item in shelf.of("pot")
        if BALANCE_OHMS <= item.value <= 5 * BALANCE_OHMS and item.watts >= 1
    ]
    return min(
        fits,
        key=lambda item: (item.price or 0.0, item.value, item.name),
        default=Item("pot", "not on the list", BALANCE_OHMS, watts=2.0),
    )


def _series(shelf: Shelf, rough: Rough, needs: Needs) -> Item:
    return _resistor(
        shelf,
        float(f"{rough.series:.3g}"),
        rough.series * max(needs.idle_amps, needs.full_amps) ** 2,
    )


def _resistor(shelf: Shelf, ohms: float, watts: float) -> Item:
    """Return a resistor of the list of some ohms with twice the watts, else the one to order."""
    fits = [
        item
        for item in shelf.of("resistor")
        if abs(log(item.value / ohms)) < 1e-6 and item.watts >= 2 * watts
    ]
    if fits:
        return min(fits, key=lambda item: (item.watts, item.price or 0.0, item.name))
    return Item(
        "resistor",
        "not on the list",
        ohms,
        watts=rating(max(2 * watts, LEAST_WATTS), WATTS) or WATTS[-1],
    )
