"""One supply solved exactly, the amplifier as its load: B+ in every state, hum, and every part of
it against its rating.

Nominal, low and high line, idle and full signal, and cold tubes are steady states of the whole
circuit; the switch is thrown from empty capacitors. What is not modelled: the surge that magnetises
a core at the switch, leakage of windings, and saturation.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf, log

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.circuit.preferred import rating
from rework.solve.cold import HIGH_LINE
from rework.solve.network import CannotSolve
from rework.solve.switch_on import Rise, heater_rush, rise
from rework.supply.amplifier import Amplifier
from rework.supply.filters import BLEED_VOLTS, Floats
from rework.supply.forms import Choice
from rework.supply.fusing import bplus_fuse, line_fuse
from rework.supply.ideal import critical_henries
from rework.supply.marks import Figures, Mark, marks_of
from rework.supply.needs import Needs
from rework.supply.states import (
    SupplyStates,
    delivered,
    line_amps,
    rectified,
    rms,
    states_of,
    windings_of,
)
from rework.supply.stiff import hum_at
from rework.supply.stock import Shelf, StockConnector, StockSwitch
from rework.supply.supply_text import supply_circuit, supply_text
from rework.touch.discharge import seconds_to

#: Watts from a square metre of a transformer for each kelvin over the air around (from memory).
COOLING = 12.0
#: A part over this share of its rating is told of as close to it.
CLOSE = 0.9
#: Periods followed from the switch.
PERIODS = 10


@dataclass(frozen=True)
class Candidate:
    """One supply, solved: its parts, the text of its circuit, the whole circuit with it, its
    figures, and each figure against its limit.
    """

    choice: Choice
    text: str
    circuit: Circuit
    whole: Circuit
    figures: Figures
    marks: tuple[Mark, ...]

    @property
    def unmet(self) -> tuple[Mark, ...]:
        """What is missed, needs first."""
        return tuple(
            sorted(
                (mark for mark in self.marks if not mark.met and mark.kind != "mind"),
                key=lambda mark: (mark.kind != "need", -mark.share),
            )
        )

    @property
    def close(self) -> tuple[Mark, ...]:
        """Ratings that are met with less than a tenth to spare, and what is to be minded."""
        return tuple(
            mark
            for mark in self.marks
            if (mark.kind == "rating" and mark.met and mark.share > CLOSE)
            or (mark.kind == "mind" and not mark.met)
        )

    def order(self, needs: Needs) -> tuple[float | str | bool, ...]:
        """Return what candidates are ranked by: needs and ratings missed, by how much; one
        transformer and full-wave before the rest; B+ in steps of 5 %; how many ratings are nearly
        reached; how many parts are to order; whether the list prices all of it, and the price in
        steps of a tenth; hum.
        """
        miss = sum(min(log(mark.share), 10.0) if mark.share > 0 else 0.0 for mark in self.unmet)
        return (
            len(self.unmet),
            round(miss, 3),
            (self.choice.rectifier == "half-wave") + (len(list(self.choice.iron())) - 1),
            int(abs(log(self.figures.bplus / needs.bplus)) / 0.05),
            len(self.close),
            self.choice.to_order,
            self.choice.price is None,
            round(log(max(self.choice.price or 1.0, 1.0)) / 0.1),
            round(self.figures.hum, 6),
            self.choice.form,
            self.choice.transformer.name,
        )


def evaluate(
    choice: Choice, amp: Amplifier, needs: Needs, shelf: Shelf, *, fused: bool = False
) -> Candidate:
    """Return a choice solved, its fuses and connector chosen by what they carry.

    Raises CannotSolve where the circuit has no numbers.
    """
    result = evaluated((choice,), amp, needs, shelf, fused=fused)[0]
    if isinstance(result, CannotSolve):
        raise result
    return result


def evaluated(
    choices: Sequence[Choice],
    amp: Amplifier,
    needs: Needs,
    shelf: Shelf,
    *,
    fused: bool = False,
    step: Callable[[int], None] | None = None,
) -> tuple[Candidate | CannotSolve, ...]:
    """Return every choice solved, or why it could not be; their steady states are solved together.

    ``step`` gets candidates done.
    """
    wholes: dict[int, Circuit] = {}
    results: dict[int, Candidate | CannotSolve] = {}
    for number, choice in enumerate(choices):
        try:
            wholes[number] = _built(choice, amp, needs)[2]
        except ValueError as error:
            results[number] = CannotSolve(Problem(str(error)))
    pairs = [(choices[number], whole) for number, whole in wholes.items()]
    for number, solved in zip(wholes, states_of(amp, pairs, needs), strict=True):
        try:
            results[number] = (
                solved
                if isinstance(solved, CannotSolve)
                else _candidate(choices[number], solved, amp, needs, shelf, fused)
            )
        except CannotSolve as error:
            results[number] = error
        if step:
            step(1)
    return tuple(results[number] for number in range(len(choices)))


def _built(choice: Choice, amp: Amplifier, needs: Needs) -> tuple[str, Circuit, Circuit]:
    """Return the text of a supply, its circuit, and the whole circuit with it."""
    title = f"{amp.job.title.split(':')[0] or amp.job.circuit_file}, new supply".replace('"', "'")
    text = supply_text(
        choice,
        needs.mains,
        amp.ports,
        bonded=amp.bonded,
        title=title,
        bplus=needs.bplus,
        remarks=(
            (
                f"written by rework supply for {amp.job.file.rpartition('/')[2] or 'a job'}:"
                f" {choice.form}"
            ),
            "parts by the names of the stock list",
        ),
    )
    circuit = supply_circuit(text, file=amp.attach.circuit_file)
    return text, circuit, amp.with_supply(circuit)


def _candidate(
    choice: Choice, solved: SupplyStates, amp: Amplifier, needs: Needs, shelf: Shelf, fused: bool
) -> Candidate:
    rush, i2t, overshoot = _switched_on(solved)
    figures = _figures(solved, choice, rush, i2t)
    carried = max(figures.line_amps, line_amps(solved.network, solved.full))
    volts = needs.mains.volts
    choice = replace(
        choice,
        fuse=line_fuse(
            shelf, carried, inf if "motor1" in amp.ports else choice.line_va / volts, volts, i2t
        ),
        connector=_connector(shelf, figures.bplus_cold, needs.heater_amps),
        bplus_fuse=(
            bplus_fuse(shelf, max(figures.bplus_amps, needs.full_amps), figures.bplus_cold)
            if fused
            else None
        ),
        switch=None if "switch1" in amp.ports else _switch(shelf, volts, carried),
    )
    text, circuit, whole = _built(choice, amp, needs)
    return Candidate(
        choice,
        text,
        circuit,
        whole,
        figures,
        tuple(marks_of(solved, choice, figures, needs, carried, overshoot)),
    )


def _switched_on(solved: SupplyStates) -> tuple[float, float, Rise]:
    """Return the RMS amps of cold heaters, I2t through the fuse over the first periods on a high
    line, and the rise itself.
    """
    rush = HIGH_LINE * heater_rush(solved.whole)
    rising = rise(solved.whole, factor=HIGH_LINE, periods=PERIODS)
    line = rising.x[:, rising.network.rows["line"]]
    dt = float(rising.seconds[1] - rising.seconds[0])
    return rush, float((line**2).sum()) * dt + rush**2 * float(rising.seconds[-1]), rising


def _figures(solved: SupplyStates, choice: Choice, rush: float, i2t: float) -> Figures:
    amp, needs, network, steady = solved.amp, solved.needs, solved.network, solved.nominal
    bplus = solved.bplus(network, steady)
    heater = solved.across(network, steady, amp.node("heater1"), amp.node("heater2"))
    sections, inverse = rectified(solved, steady), rectified(solved, solved.high)
    wound = windings_of(solved, choice)
    copper = sum(each.watts for each in wound)
    choke = solved.own("L1")
    through = steady.x[:, network.rows[choke]] if choke in network.rows else None
    through = through if through is None or through.mean() > 0 else -through
    drawn = delivered(solved)
    hum = hum_at(solved.whole, dict(needs.stops), start=steady.x)[0] if needs.full_volts else 0.0
    heat = 0.0
    if needs.heater_volts:
        heat = float((heater**2).mean()) * needs.heater_amps / needs.heater_volts
    out = float(bplus.mean()) * drawn
    iron = sum(each.item.no_load or 0.0 for each in choice.iron())
    bleeder = solved.resistor("R1")
    mean = sum(float(each.amps.mean()) for each in sections)
    return Figures(
        bplus=float(bplus.mean()),
        bplus_low=float(solved.bplus(network, solved.low).mean()),
        bplus_high=float(solved.bplus(network, solved.high).mean()),
        bplus_full=float(solved.bplus(network, solved.full).mean()),
        bplus_cold=float(np.max(solved.bplus(solved.cold_network, solved.cold))),
        bplus_amps=drawn,
        ripple=float(bplus.std()),
        hum=hum,
        heater=rms(heater),
        rectifier_mean=mean / (2 if choice.rectifier == "bridge" else 1),
        rectifier_rms=rms(max(sections, key=lambda each: float(each.amps.mean())).amps),
        rectifier_peak=float(max(section.amps.max() for section in sections)),
        rectifier_inverse=float(-min(section.volts.min() for section in inverse)),
        choke_mean=None if through is None else float(through.mean()),
        choke_least=None if through is None else float(through.min()),
        choke_critical=_critical(choice, needs, bplus, through),
        volt_amps=sum(each.volt_amps for each in wound if each.part == "T1"),
        copper_watts=copper,
        rise_kelvin=_rise_kelvin(choice, copper),
        line_amps=line_amps(network, steady),
        line_watts=steady.watts_in,
        rush_amps=rush,
        rush_i2t=i2t,
        supply_watts=steady.watts_in - out - heat - _motor_watts(solved) + iron,
        amplifier_watts=out + heat,
        bleeder_watts=bleeder[1] if bleeder else 0.0,
        seconds=_seconds(solved, choice),
    )


def _critical(choice: Choice, needs: Needs, bplus: Floats, through: Floats | None) -> float | None:
    """Return the least henries of a choke input at its current; None for another filter."""
    if through is None or choice.filter != "L-C":
        return None
    ohms = float(bplus.mean()) / max(float(through.mean()), 1e-6)
    return float(critical_henries(ohms, needs.mains.hertz))


def _rise_kelvin(choice: Choice, copper: float) -> float | None:
    """Return how far the transformer warms above the air around it; None where its size or its
    watts unloaded are not known, or two share the heat.
    """
    transformer = choice.transformer
    alone = len(list(choice.iron())) == 1
    if not transformer.size or transformer.no_load is None or not alone:
        return None
    w, d, h = transformer.size
    return (copper + transformer.no_load) / (COOLING * 2 * (w * d + w * h + d * h))


def _motor_watts(solved: SupplyStates) -> float:
    """Return the watts that motors take from the line."""
    network, x = solved.network, solved.nominal.x
    return sum(
        coil.ohms * float((x[:, network.rows[coil.row]] ** 2).mean())
        for coil in network.coils
        if solved.whole.by_name[coil.name].kind == "motor"
    )


def _connector(shelf: Shelf, volts: float, amps: float) -> StockConnector:
    fits = [item for item in shelf.of(StockConnector) if item.volts >= volts and item.amps >= amps]
    order = StockConnector(
        volts=rating(volts, (250.0, 450.0, 600.0, 1000.0)) or 1000.0,
        amps=rating(amps, (5.0, 8.0, 10.0, 15.0)) or 15.0,
    )
    return min(fits, key=lambda item: (item.cost, item.volts, item.name), default=order)


def _switch(shelf: Shelf, volts: float, amps: float) -> StockSwitch:
    least = max(1.0, 3 * amps)
    fits = [item for item in shelf.of(StockSwitch) if item.volts >= volts and item.amps >= least]
    order = StockSwitch(volts=125.0 if volts <= 125 else 250.0, amps=3.0)
    return min(fits, key=lambda item: (item.cost, item.name), default=order)


def _seconds(solved: SupplyStates, choice: Choice) -> float:
    """Return the seconds to 60 V with the umbilical pulled, from the most the capacitors can hold,
    by the bleeder alone.
    """
    farads = [item.farads for item in choice.capacitors]
    held = float(abs(solved.bplus(solved.cold_network, solved.cold)).max())
    if choice.bleeder is None or not farads:
        return inf
    ohms = choice.bleeder.ohms
    matrix = [[ohms + choice.path_ohms, ohms], [ohms, ohms]] if len(farads) == 2 else [[ohms]]
    return max(seconds_to([held] * len(farads), farads, matrix, BLEED_VOLTS))
