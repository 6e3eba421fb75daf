"""Every figure of a solved supply against what it may be: needs, ratings, limits of the sheets, and
what is to be minded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from typing import Any

from rework.circuit.graph import contracted
from rework.safety.heaters import LIMIT
from rework.solve.chart import HIGH_LINE
from rework.solve.periodic import flow
from rework.supply.forms import Choice, fed_volts, source_ohms
from rework.supply.needs import Needs
from rework.supply.screen import BLEED_SECONDS
from rework.supply.shelf import CLASSES
from rework.supply.sources import FIRST_CAPACITOR, printed_ohms
from rework.supply.states import States, rms, windings_of
from rework.tubes import library

#: What a fuse may be asked to let through at the switch, of its melting I2t: half, for the next
#: thousand times (common practice, no source).
FUSE_SHARE = 0.5
#: The air in a closed cabinet in degrees Celsius (from memory).
CABINET = 40.0


@dataclass(frozen=True, slots=True)
class Mark:
    """One figure against what it may be: at most ``most``, at least ``least``.

    ``kind`` is need; rating; limit (to be kept, but no stress on a part where it is nearly
    reached); or mind (told, and no failure).
    """

    what: str
    value: float
    unit: str
    most: float | None = None
    least: float | None = None
    kind: str = "rating"

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
    solved: States, choice: Choice, figures: Figures, needs: Needs, carried: float, rising: Any
) -> Iterator[Mark]:
    """Yield every figure against its limit; ``carried`` is the most amps through the mains fuse,
    ``rising`` the rise from the switch.
    """
    yield Mark("B+ at idle, nominal line", figures.bplus, "V", needs.high, needs.low, "need")
    yield Mark("hum at the speaker", figures.hum, "V", needs.hum, None, "need")
    yield Mark(
        "heater volts",
        figures.heater,
        "V",
        needs.heater_volts * (1 + LIMIT),
        needs.heater_volts * (1 - LIMIT),
        "need",
    )
    yield from _valve_marks(solved, choice, figures)
    yield from _capacitor_marks(solved, choice, rising)
    if figures.choke_mean is not None:
        yield Mark("choke current", figures.choke_mean, "A", choice.choke.amps)
        if choice.filter == "L-C":
            yield Mark(
                "least inductance of the choke",
                choice.choke.value,
                "H",
                None,
                figures.choke_critical,
                "limit",
            )
    windings = windings_of(solved, choice)
    for item, part in ((choice.transformer, "T1"), (choice.second, "T2")):
        for winding in item.windings if item else ():
            name = winding.name if part == "T1" else {"primary": "hv"}.get(winding.name, "primary")
            amps = [
                square**0.5
                for row, square, *_ in windings
                if row.startswith(f"{solved.own(part)}.{name}")
            ]
            most = winding.amps or item.va / winding.volts
            if amps:
                yield Mark(f"current of the {winding.name} winding of {part}", max(amps), "A", most)
    yield Mark("load of T1", figures.volt_amps, "VA", choice.transformer.va)
    if figures.rise_kelvin is not None and choice.transformer.insulation:
        yield Mark(
            f"T1 in a cabinet at {CABINET:.0f} degrees, class {choice.transformer.insulation}",
            CABINET + figures.rise_kelvin,
            "degC",
            CLASSES[choice.transformer.insulation],
        )
    yield Mark("line current through F1", carried, "A", choice.fuse.amps)
    yield from _switch_marks(solved, carried)
    if choice.surge is not None and choice.surge.kind == "thermistor":
        yield Mark("line current through TH1", carried, "A", choice.surge.amps)
    if choice.fuse.i2t:
        yield Mark(
            "I2t through F1 at the switch",
            figures.rush_i2t,
            "A2s",
            FUSE_SHARE * choice.fuse.i2t,
            None,
            "mind",
        )
    for name, item, what in (
        ("R1", choice.bleeder, "bleeder R1"),
        ("R8", choice.series, "series resistor R8"),
        ("R9", choice.surge, "surge resistor R9"),
    ):
        worked = solved.resistor(name)
        if worked and item is not None:
            yield Mark(f"watts of the {what}", worked[1], "W", item.watts)
    if choice.bleeder and choice.bleeder.volts:
        yield Mark(
            "volts on the bleeder, tubes cold, high line",
            figures.bplus_cold,
            "V",
            choice.bleeder.volts,
        )
    yield Mark("time to 60 V, umbilical pulled", figures.seconds, "s", BLEED_SECONDS, None, "mind")
    yield Mark(
        "volts on the umbilical, tubes cold, high line",
        figures.bplus_cold,
        "V",
        choice.connector.volts,
    )
    yield Mark("heater current of the umbilical", needs.heater_amps, "A", choice.connector.amps)


def _switch_marks(solved: States, carried: float) -> Iterator[Mark]:
    """Yield volts and amps of every switch that the line goes through on its way to the primary,
    the amplifier's own too.
    """
    points = contracted(solved.whole)
    line = {points[node] for name in ("L2", "L3") if (node := solved.own(name)) in points}
    for part in solved.whole.parts:
        if part.kind == "switch" and line & {points[node] for _, node in part.pins}:
            for dimension, value, unit in (
                ("voltage", solved.needs.mains.volts, "V"),
                ("current", carried, "A"),
            ):
                if rated := part.value(dimension):
                    yield Mark(
                        f"line {'volts' if unit == 'V' else 'current'} of the switch"
                        f" {part.name.rpartition('/')[2]}",
                        value,
                        unit,
                        rated,
                        None,
                        "limit" if unit == "V" else "rating",
                    )


def _valve_marks(solved: States, choice: Choice, figures: Figures) -> Iterator[Mark]:
    if choice.rectifier != "tube":
        each = 2 if choice.rectifier in ("bridge", "silicon") else 1
        yield Mark(
            f"inverse volts of {choice.valve.name}, high line",
            figures.rectifier_inverse,
            "V",
            choice.valve.volts,
        )
        yield Mark(
            f"mean current of {choice.valve.name}",
            figures.rectifier_mean / (each if choice.rectifier == "silicon" else 1),
            "A",
            choice.valve.amps,
        )
        if choice.valve.surge:
            yield Mark(
                f"first charge through {choice.valve.name}, no more than",
                _first_charge(solved, choice),
                "A",
                choice.valve.surge,
            )
        return
    tube = library.find(choice.valve.name)
    for name, value, what, unit in (
        ("dc_amps", figures.rectifier_mean, "DC", "A"),
        ("peak_amps", figures.rectifier_peak, "peak current", "A"),
        ("inverse_volts", figures.rectifier_inverse, "inverse volts, high line,", "V"),
    ):
        if name in tube.ratings:
            yield Mark(f"{what} of {tube.type}", value, unit, tube.ratings[name].value)
    fed = fed_volts(choice, solved.needs.mains.volts)
    most = (
        tube.ratings.get("plate_rms_volts_choke_input") if choice.filter == "L-C" else None
    ) or tube.ratings.get("plate_rms_volts")
    if most:
        yield Mark(f"volts RMS to each plate of {tube.type}", fed, "V", most.value)
    if choice.c1 is not None:
        figure = tube.ratings.get("first_capacitor_farads")
        yield Mark(
            f"first capacitor of {tube.type}",
            choice.c1.value,
            "F",
            figure.value if figure else FIRST_CAPACITOR,
            None,
            "limit",
        )
        if least := printed_ohms(tube, fed):
            ohms = source_ohms(choice.transformer, choice.hv(), halves=True) + (
                choice.surge.value if choice.surge and choice.surge.kind == "resistor" else 0.0
            )
            yield Mark(
                f"ohms before each plate of {tube.type}", ohms, "ohm", None, 0.98 * least, "limit"
            )
    if choice.rectifier_winding == choice.heater_winding and "heater_cathode_volts" in tube.ratings:
        yield Mark(
            f"heater to cathode of {tube.type}, tubes cold, high line",
            figures.bplus_cold,
            "V",
            tube.ratings["heater_cathode_volts"].value,
        )


def _first_charge(solved: States, choice: Choice) -> float:
    """Return the most the first charge can be: the peak of the high line through the ohms of the
    source alone.
    """
    ohms = source_ohms(
        choice.transformer,
        choice.hv(),
        halves=choice.rectifier == "silicon",
        second=choice.second,
        low=choice.heater_winding,
    )
    ohms += choice.surge.value if choice.surge and choice.surge.kind == "resistor" else 0.0
    return (
        2**0.5 * HIGH_LINE * fed_volts(choice, solved.needs.mains.volts) / ohms
        if choice.c1 is not None
        else 0.0
    )


def _capacitor_marks(solved: States, choice: Choice, rising: Any) -> Iterator[Mark]:
    """Yield volts of every capacitor of the whole circuit in its worst state, and ripple current of
    the supply's own.
    """
    import numpy as np

    for part in solved.whole.parts:
        if part.kind not in ("capacitor", "electrolytic"):
            continue
        ends = part.pins[0][1], part.pins[-1][1]
        worst = max(
            float(np.abs(solved.across(network, steady, *ends)).max())
            for network, steady in (
                (solved.network, solved.high),
                (solved.cold_network, solved.cold),
            )
        )
        worst = max(worst, rising.peak(*ends))
        rated, own = part.value("voltage"), not solved.amp.own(part.name)
        name = part.name.rpartition("/")[2] + (" of the supply" if own else "")
        if rated and worst > 20:
            yield Mark(f"volts on {name}, worst state", worst, "V", rated)
        item = (
            {"C1": choice.c1 or choice.c2, "C2": choice.c2}.get(part.name.rpartition("/")[2])
            if own
            else None
        )
        if item is not None and item.ripple:
            wave = solved.across(solved.network, solved.nominal, *ends)
            yield Mark(
                f"ripple current of {name}",
                rms(flow(wave, solved.nominal.period)) * part.value("capacitance"),
                "A",
                item.ripple,
            )
