"""Every figure of a solved supply against what it may be: needs, ratings, limits of the sheets, and
what is to be minded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

import numpy as np

from rework.anatomy.heaters import HEATER_LIMIT
from rework.circuit.graph import contracted
from rework.solve.cold import HIGH_LINE
from rework.solve.periodic import flow
from rework.solve.stress import tube_rating
from rework.solve.switch_on import Rise
from rework.supply.amplifier import NODES
from rework.supply.bench import capacitors
from rework.supply.filters import BLEED_SECONDS
from rework.supply.forms import Choice, choice_ohms, fed_volts
from rework.supply.fusing import FUSE_SHARE
from rework.supply.needs import Needs
from rework.supply.sources import FIRST_CAPACITOR, printed_ohms
from rework.supply.states import SupplyStates, rms, windings_of
from rework.supply.stock import CLASSES, StockSilicon
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: The air in a closed cabinet in degrees Celsius (from memory).
CABINET = 40.0


@dataclass(frozen=True, slots=True)
class Mark:
    """One figure against what it may be: at most ``most``, at least ``least``.

    ``key`` says which figure it is (its words are in ``supply.mark_names``), ``part`` of which
    part, ``of`` the winding, the class or the rectifier. ``kind`` is need; rating; limit (to be
    kept, but no stress on a part where it is nearly reached); or mind (a caution, no failure).
    """

    key: str
    value: float
    unit: str
    most: float | None = None
    least: float | None = None
    kind: str = "rating"
    part: str = ""
    of: str = ""

    @property
    def met(self) -> bool:
        """Whether the figure is within both ends."""
        return not (self.most is not None and self.value > self.most * (1 + 1e-9)) and not (
            self.least is not None and self.value < self.least * (1 - 1e-9)
        )

    @property
    def share(self) -> float:
        """The figure as a share of the end it comes nearest to, over 1 where it is beyond."""
        over = (
            self.value / self.most
            if self.most
            else inf
            if self.most == 0 and self.value > 0
            else 0.0
        )
        under = (
            self.least / self.value if self.least and self.value > 0 else inf if self.least else 0.0
        )
        return max(over, under)


@dataclass(frozen=True, slots=True)
class Figures:
    """The supply in numbers, SI: B+ at the umbilical in each state; its ripple; hum at the speaker;
    the line; heat; discharge.
    """

    bplus: float
    bplus_low: float
    bplus_high: float
    bplus_full: float
    bplus_cold: float
    bplus_amps: float
    ripple: float
    hum: float
    heater: float
    rectifier_mean: float
    rectifier_rms: float
    rectifier_peak: float
    rectifier_inverse: float
    choke_mean: float | None
    choke_least: float | None
    choke_critical: float | None
    volt_amps: float
    copper_watts: float
    rise_kelvin: float | None
    line_amps: float
    line_watts: float
    rush_amps: float
    rush_i2t: float
    supply_watts: float
    amplifier_watts: float
    bleeder_watts: float
    seconds: float


def marks_of(
    solved: SupplyStates,
    choice: Choice,
    figures: Figures,
    needs: Needs,
    carried: float,
    rising: Rise,
) -> Iterator[Mark]:
    """Yield every figure against its limit; ``carried`` is the most amps through the mains fuse,
    ``rising`` the rise from the switch.
    """
    yield Mark("bplus", figures.bplus, "V", needs.high, needs.low, "need")
    yield Mark("hum", figures.hum, "V", needs.hum, None, "need")
    least, most = needs.heater_volts * (1 - HEATER_LIMIT), needs.heater_volts * (1 + HEATER_LIMIT)
    yield Mark("heater_volts", figures.heater, "V", most, least, "need")
    yield from _valve_marks(solved, choice, figures)
    yield from _capacitor_marks(solved, choice, rising)
    yield from _choke_marks(choice, figures)
    yield from _iron_marks(solved, choice, figures)
    yield from _line_marks(solved, choice, figures, carried)
    yield from _resistor_marks(solved, choice, figures)
    yield Mark("discharge_seconds", figures.seconds, "s", BLEED_SECONDS, None, "mind")
    connector = choice.connector
    if connector is not None:
        yield Mark("umbilical_volts", figures.bplus_cold, "V", connector.volts)
        yield Mark("umbilical_amps", needs.heater_amps, "A", connector.amps)


def _choke_marks(choice: Choice, figures: Figures) -> Iterator[Mark]:
    choke = choice.choke
    if choke is None or figures.choke_mean is None:
        return
    yield Mark("choke_amps", figures.choke_mean, "A", choke.amps)
    if choice.filter == "L-C":
        critical = figures.choke_critical
        yield Mark("choke_henries", choke.henries, "H", None, critical, "limit")


def _iron_marks(solved: SupplyStates, choice: Choice, figures: Figures) -> Iterator[Mark]:
    """Yield the current of every winding, the load and the warmth of the transformers."""
    wound = windings_of(solved, choice)
    for iron in choice.iron():
        for winding in iron.item.windings:
            amps = [
                each.mean_square**0.5
                for each in wound
                if each.part == iron.part and each.winding == iron.name_of(winding)
            ]
            most = winding.amps or iron.item.va / winding.volts
            if amps:
                yield Mark("winding_amps", max(amps), "A", most, part=iron.part, of=winding.name)
        if not iron.reversed:
            load = sum(each.volt_amps for each in wound if each.part == iron.part)
            yield Mark("transformer_va", load, "VA", iron.item.va, part=iron.part)
    insulation = choice.transformer.insulation
    if figures.rise_kelvin is not None and insulation:
        warm, most = CABINET + figures.rise_kelvin, CLASSES[insulation]
        yield Mark("transformer_degrees", warm, "degC", most, part="T1", of=insulation)


def _line_marks(
    solved: SupplyStates, choice: Choice, figures: Figures, carried: float
) -> Iterator[Mark]:
    """Yield what the line current goes through: fuse, switches, a thermistor."""
    fuse, soft = choice.fuse, choice.soft_start
    yield Mark("fuse_amps", carried, "A", fuse.amps, part="F1")
    yield from _switch_marks(solved, carried)
    if soft is not None:
        yield Mark("thermistor_amps", carried, "A", soft.amps, part="TH1")
    if fuse.i2t:
        most = FUSE_SHARE * fuse.i2t
        yield Mark("fuse_i2t", figures.rush_i2t, "A2s", most, kind="mind", part="F1")


def _resistor_marks(solved: SupplyStates, choice: Choice, figures: Figures) -> Iterator[Mark]:
    for name, item, key in (
        ("R1", choice.bleeder, "bleeder_watts"),
        ("R8", choice.series, "series_watts"),
        ("R9", choice.surge, "surge_watts"),
    ):
        worked = solved.resistor(name)
        if worked and item is not None:
            yield Mark(key, worked[1], "W", item.watts, part=name)
    bleeder = choice.bleeder
    if bleeder is not None and bleeder.volts:
        yield Mark("bleeder_volts", figures.bplus_cold, "V", bleeder.volts)


def _switch_marks(solved: SupplyStates, carried: float) -> Iterator[Mark]:
    """Yield volts and amps of every switch that the line goes through on its way to the primary,
    the amplifier's own too.
    """
    points = contracted(solved.whole)
    nodes = (solved.own(NODES["switch1"]), solved.own(NODES["switch2"]))
    line = {points[node] for node in nodes if node in points}
    for part in solved.whole.parts:
        if part.kind != "switch" or not line & {points[node] for _, node in part.pins}:
            continue
        name = part.name.rpartition("/")[2]
        if volts := part.value("voltage"):
            at = solved.needs.mains.volts
            yield Mark("switch_volts", at, "V", volts, kind="limit", part=name)
        if amps := part.value("current"):
            yield Mark("switch_amps", carried, "A", amps, part=name)


def _valve_marks(solved: SupplyStates, choice: Choice, figures: Figures) -> Iterator[Mark]:
    valve = choice.valve
    if isinstance(valve, StockSilicon):
        yield from _silicon_marks(solved, choice, valve, figures)
        return
    tube = library.find(valve.name)
    if tube is None:
        return
    for key, value, unit in (
        ("dc_amps", figures.rectifier_mean, "A"),
        ("peak_amps", figures.rectifier_peak, "A"),
        ("inverse_volts", figures.rectifier_inverse, "V"),
    ):
        if (most := tube_rating(tube, key)) is not None:
            yield Mark(f"rectifier_{key}", value, unit, most, of=tube.type)
    yield from _feed_marks(solved, choice, tube)
    most = tube_rating(tube, "heater_cathode_volts")
    if choice.rectifier_winding == choice.heater_winding and most is not None:
        key = "rectifier_heater_cathode_volts"
        yield Mark(key, figures.bplus_cold, "V", most, of=tube.type)


def _silicon_marks(
    solved: SupplyStates, choice: Choice, valve: StockSilicon, figures: Figures
) -> Iterator[Mark]:
    name = valve.name
    most = figures.rectifier_inverse
    yield Mark("silicon_inverse_volts", most, "V", valve.volts, of=name)
    mean = figures.rectifier_mean / (2 if choice.rectifier == "silicon" else 1)
    yield Mark("silicon_mean_amps", mean, "A", valve.amps, of=name)
    if valve.surge:
        amps = _first_charge(solved, choice)
        yield Mark("silicon_surge_amps", amps, "A", valve.surge, of=name)


def _feed_marks(solved: SupplyStates, choice: Choice, tube: TubeType) -> Iterator[Mark]:
    """Yield what a rectifier tube's sheet prints for its feed: volts, first capacitor, ohms."""
    fed = fed_volts(choice, solved.needs.mains.volts)
    choked = tube.ratings.get("plate_rms_volts_choke_input") if choice.filter == "L-C" else None
    most = choked or tube.ratings.get("plate_rms_volts")
    if most:
        yield Mark("rectifier_plate_volts", fed, "V", most.value, of=tube.type)
    if choice.c1 is None:
        return
    figure = tube.ratings.get("first_capacitor_farads")
    largest = figure.value if figure else FIRST_CAPACITOR
    key = "rectifier_first_capacitor"
    yield Mark(key, choice.c1.farads, "F", largest, kind="limit", of=tube.type)
    if least := printed_ohms(tube, fed):
        key, ohms = "rectifier_plate_ohms", choice_ohms(choice)
        yield Mark(key, ohms, "ohm", None, 0.98 * least, "limit", of=tube.type)


def _first_charge(solved: SupplyStates, choice: Choice) -> float:
    """Return the most the first charge can be: the peak of the high line through the ohms of the
    source alone.
    """
    peak = 2**0.5 * HIGH_LINE * fed_volts(choice, solved.needs.mains.volts)
    return peak / choice_ohms(choice) if choice.c1 is not None else 0.0


def _capacitor_marks(solved: SupplyStates, choice: Choice, rising: Rise) -> Iterator[Mark]:
    """Yield volts of every capacitor of the whole circuit in its worst state, and ripple current of
    the supply's own.
    """
    for part, start, end in capacitors(solved.whole):
        warm = np.abs(solved.across(solved.network, solved.high, start, end)).max()
        cold = np.abs(solved.across(solved.cold_network, solved.cold, start, end)).max()
        worst = max(float(warm), float(cold), rising.peak(start, end))
        rated, ours = part.value("voltage"), solved.amp.own(part.name)
        name = part.name.rpartition("/")[2]
        if rated and worst > 20:
            key = "capacitor_volts" if ours else "supply_capacitor_volts"
            yield Mark(key, worst, "V", rated, part=name)
        items = {"C1": choice.c1 or choice.c2, "C2": choice.c2}
        item = None if ours else items.get(name)
        if item is not None and item.ripple:
            wave = solved.across(solved.network, solved.nominal, start, end)
            amps = rms(flow(wave, solved.nominal.period)) * item.farads
            yield Mark("supply_capacitor_amps", amps, "A", item.ripple, part=name)
