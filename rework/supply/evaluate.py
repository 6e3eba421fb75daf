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
from typing import Any

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.solve.chart import HIGH_LINE
from rework.solve.network import CannotSolve
from rework.solve.switch_on import heater_rush, rise
from rework.supply.amplifier import Amplifier
from rework.supply.forms import Choice, supply_circuit, supply_text
from rework.supply.ideal import critical_henries
from rework.supply.marks import FUSE_SHARE, Figures, Mark, marks_of
from rework.supply.needs import Needs, hum_at
from rework.supply.preferred import FUSES, rating
from rework.supply.screen import BLEED_VOLTS
from rework.supply.shelf import Item, Shelf
from rework.supply.states import (
    States,
    delivered,
    line_amps,
    rectified,
    rms,
    states_of,
    windings_of,
)

#: The fuse is this many times the current it carries, slow: 1.5 to 2 times (M. Blencowe,
#: valvewizard.co.uk/fuses.html).
FUSE_TIMES, FUSE_MOST = 1.5, 2.0
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

    def order(self, needs: Needs) -> tuple:
        """Return what candidates are ranked by: needs and ratings missed, by how much; one
        transformer and full-wave before the rest; B+ in steps of 5 %; how many ratings are nearly
        reached; whether the list prices all of it, and the price in steps of a tenth; hum.
        """
        miss = sum(min(log(mark.share), 10.0) if mark.share > 0 else 0.0 for mark in self.unmet)
        return (
            len(self.unmet),
            round(miss, 3),
            (self.choice.rectifier == "half-wave") + (self.choice.second is not None),
            int(abs(log(self.figures.bplus / needs.bplus)) / 0.05),
            len(self.close),
            self.choice.price is None,
            round(log(max(self.choice.price or 1.0, 1.0)) / 0.1),
            round(self.figures.hum, 6),
            self.choice.form,
            self.choice.transformer.name,
        )


def evaluate(
    choice: Choice, amp: Amplifier, needs: Needs, shelf: Shelf, *, bplus_fuse: bool = False
) -> Candidate:
    """Return a choice solved, its fuses and connector chosen by what they carry.

    Raises CannotSolve where the circuit has no numbers.
    """
    found = evaluated((choice,), amp, needs, shelf, bplus_fuse=bplus_fuse)[0]
    if isinstance(found, CannotSolve):
        raise found
    return found


def evaluated(
    choices: Sequence[Choice],
    amp: Amplifier,
    needs: Needs,
    shelf: Shelf,
    *,
    bplus_fuse: bool = False,
    step: Callable[[int], None] | None = None,
) -> tuple[Candidate | CannotSolve, ...]:
    """Return every choice solved, or why it could not be; their steady states are solved together.

    ``step`` gets candidates done.
    """
    built: list[tuple[Choice, Circuit] | CannotSolve] = []
    for choice in choices:
        try:
            built.append((choice, _built(choice, amp, needs)[2]))
        except ValueError as error:
            built.append(CannotSolve(Problem(str(error))))
    good = [number for number, one in enumerate(built) if not isinstance(one, CannotSolve)]
    states = dict(zip(good, states_of(amp, [built[number] for number in good], needs), strict=True))
    found: list[Candidate | CannotSolve] = []
    for number, choice in enumerate(choices):
        solved = states.get(number, built[number])
        try:
            found.append(
                solved
                if isinstance(solved, CannotSolve)
                else _candidate(choice, solved, amp, needs, shelf, bplus_fuse)
            )
        except CannotSolve as error:
            found.append(error)
        if step:
            step(1)
    return tuple(found)


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
    choice: Choice, solved: States, amp: Amplifier, needs: Needs, shelf: Shelf, bplus_fuse: bool
) -> Candidate:
    rush, i2t, overshoot = _switched_on(solved)
    figures = _figures(solved, choice, rush, i2t)
    carried = max(figures.line_amps, line_amps(solved.network, solved.full))
    choice = replace(
        choice,
        fuse=_fuse(shelf, carried, "slow", 0.0, i2t),
        connector=_connector(shelf, figures.bplus_cold, needs.heater_amps),
        bplus_fuse=(
            _fuse(shelf, max(figures.bplus_amps, needs.full_amps), "", figures.bplus_cold, 0.0)
            if bplus_fuse
            else None
        ),
        switch=None if "switch1" in amp.ports else _switch(shelf, needs.mains.volts, carried),
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


def _switched_on(solved: States) -> tuple[float, float, Any]:
    """Return the RMS amps of cold heaters, I2t through the fuse over the first periods on a high
    line, and the rise itself.
    """
    rush = HIGH_LINE * heater_rush(solved.whole)
    rising = rise(solved.whole, factor=HIGH_LINE, periods=PERIODS)
    line = rising.x[:, rising.network.rows["line"]]
    pace = float(rising.seconds[1] - rising.seconds[0])
    return rush, float((line**2).sum()) * pace + rush**2 * float(rising.seconds[-1]), rising


def _figures(solved: States, choice: Choice, rush: float, i2t: float) -> Figures:
    import numpy as np

    amp, needs, network, steady = solved.amp, solved.needs, solved.network, solved.nominal
    bplus, heater = (
        solved.bplus(network, steady),
        solved.across(network, steady, amp.node("heater1"), amp.node("heater2")),
    )
    sections, inverse = rectified(solved, steady), rectified(solved, solved.high)
    amps = max((one for _, one, _ in sections), key=lambda one: float(one.mean()))
    windings = windings_of(solved, choice)
    copper = sum(mean_square * ohms for _, mean_square, ohms, _ in windings)
    transformer = choice.transformer
    kelvin = None
    if transformer.size and transformer.no_load is not None and choice.second is None:
        w, d, h = transformer.size
        kelvin = (copper + transformer.no_load) / (COOLING * 2 * (w * d + w * h + d * h))
    choke = solved.own("L1")
    flow = steady.x[:, network.rows[choke]] if choke in network.rows else None
    flow = flow if flow is None or flow.mean() > 0 else -flow
    drawn = delivered(solved)
    hum, _ = (
        hum_at(solved.whole, dict(needs.stops), start=steady.x) if needs.full_volts else (0.0, None)
    )
    heat = (
        float((heater**2).mean()) * needs.heater_amps / needs.heater_volts
        if needs.heater_volts
        else 0.0
    )
    out = float(bplus.mean()) * drawn
    elsewhere = sum(
        float(((steady.x @ network.ohmic_at[number]) ** 2).mean()) / branch.value
        for number, branch in enumerate(network.ohmic)
        if (part := solved.whole.by_name.get(branch.name)) is not None and part.kind == "motor"
    )
    iron = sum(item.no_load or 0.0 for item in (transformer, choice.second) if item)
    bleeder = solved.resistor("R1")
    return Figures(
        float(bplus.mean()),
        float(solved.bplus(network, solved.low).mean()),
        float(solved.bplus(network, solved.high).mean()),
        float(solved.bplus(network, solved.full).mean()),
        float(np.max(solved.bplus(solved.cold_network, solved.cold))),
        drawn,
        float(bplus.std()),
        hum,
        rms(heater),
        float(sum(one.mean() for _, one, _ in sections))
        / (2 if choice.rectifier == "bridge" else 1),
        rms(amps),
        float(max(one.max() for _, one, _ in sections)),
        float(-min(volts.min() for _, _, volts in inverse)),
        None if flow is None else float(flow.mean()),
        None if flow is None else float(flow.min()),
        (
            critical_henries(float(bplus.mean()) / max(float(flow.mean()), 1e-6), needs.mains.hertz)
            if flow is not None and choice.filter == "L-C"
            else None
        ),
        sum(power for *_, power in windings if power),
        copper,
        kelvin,
        line_amps(network, steady),
        steady.watts_in,
        rush,
        i2t,
        steady.watts_in - out - heat - elsewhere + iron,
        out + heat,
        bleeder[1] if bleeder else 0.0,
        _seconds(solved, choice),
    )


def _fuse(shelf: Shelf, carried: float, word: str, volts: float, i2t: float) -> Item:
    """Return the least fuse of the list for what it carries: within twice that one that stands the
    switch, if there is one; else the one to order.
    """
    least = FUSE_TIMES * carried
    fits = [
        item
        for item in shelf.of("fuse")
        if item.amps >= least
        and item.insulation in (word, word or item.insulation)
        and item.volts >= volts
    ]
    if fits:
        stands = [
            item
            for item in fits
            if item.amps <= FUSE_MOST * carried and item.i2t and FUSE_SHARE * item.i2t >= i2t
        ]
        return min(stands or fits, key=lambda item: (item.amps, item.price or 0.0, item.name))
    return Item(
        "fuse",
        "not on the list",
        volts=250.0 if volts <= 250 else 500.0,
        amps=rating(least, FUSES) or FUSES[-1],
        insulation=word or "slow",
    )


def _connector(shelf: Shelf, volts: float, amps: float) -> Item:
    fits = [item for item in shelf.of("connector") if item.volts >= volts and item.amps >= amps]
    if fits:
        return min(
            fits,
            key=lambda item: (item.price if item.price is not None else 1e9, item.volts, item.name),
        )
    return Item(
        "connector",
        "not on the list",
        volts=rating(volts, (250.0, 450.0, 600.0, 1000.0)) or 1000.0,
        amps=rating(amps, (5.0, 8.0, 10.0, 15.0)) or 15.0,
    )


def _switch(shelf: Shelf, volts: float, amps: float) -> Item:
    fits = [
        item
        for item in shelf.of("switch")
        if item.volts >= volts and item.amps >= max(1.0, 3 * amps)
    ]
    return min(
        fits,
        key=lambda item: (item.price or 0.0, item.name),
        default=Item("switch", "not on the list", volts=125.0 if volts <= 125 else 250.0, amps=3.0),
    )


def _seconds(solved: States, choice: Choice) -> float:
    """Return the seconds to 60 V with the umbilical pulled, from the most the capacitors can hold,
    by the bleeder alone.
    """
    from rework.touch.stored import seconds_to

    farads = [item.value for item in (choice.c1, choice.c2) if item is not None]
    held = float(abs(solved.bplus(solved.cold_network, solved.cold)).max())
    if choice.bleeder is None or not farads:
        return inf
    between = (choice.choke.ohms if choice.choke else 0.0) + (
        choice.series.value if choice.series else 0.0
    )
    own = choice.bleeder.value
    ohms = [[own + between, own], [own, own]] if len(farads) == 2 else [[own]]
    return max(seconds_to([held] * len(farads), farads, ohms, BLEED_VOLTS))
