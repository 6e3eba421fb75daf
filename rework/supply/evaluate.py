"""One supply solved exactly, the amplifier as its load: B+ in every state, hum, and every part of it against its rating.

Nominal, low and high line, idle and full signal, and cold tubes are steady states of the whole circuit; the switch is thrown
from empty capacitors. What is not modelled: the surge that magnetises a core at the switch, leakage of windings, and saturation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, log
from typing import Any

from rework.circuit.circuit import Circuit
from rework.safety.heaters import LIMIT
from rework.solve.assemble import assemble
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.periodic import Steady, mains_steady
from rework.solve.switch_on import heater_rush, rise
from rework.supply.amplifier import Amplifier
from rework.supply.forms import Choice, supply_circuit, supply_text
from rework.supply.ideal import critical_henries
from rework.supply.needs import Needs, hum_at
from rework.supply.preferred import FUSES, rating
from rework.supply.screen import BLEED_SECONDS, BLEED_VOLTS, FIRST_CAPACITOR, HIGH_LINE, printed_ohms
from rework.supply.shelf import CLASSES, Item, Shelf
from rework.tubes import library

LOW_LINE = 0.9
#: The fuse is this many times the current it carries, slow: 1.5 to 2 times (M. Blencowe, valvewizard.co.uk/fuses.html).
FUSE_TIMES = 1.5
#: What a fuse may be asked to let through at the switch, of its melting I2t: half, for the next thousand times (common practice, no source).
FUSE_SHARE = 0.5
#: Watts from a square metre of a transformer for each kelvin over the air around, and the air in a closed cabinet in degrees Celsius (from memory).
COOLING, CABINET = 12.0, 40.0
#: A part over this share of its rating is told of as close to it.
CLOSE = 0.9
#: Periods followed from the switch.
PERIODS = 10


@dataclass(frozen=True, slots=True)
class Mark:
    """One figure against what it may be: at most ``most``, at least ``least``.

    ``kind`` is need; rating; limit (to be kept, but no stress on a part where it is nearly reached); or mind (told, and no failure).
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
        return not (self.most is not None and self.value > self.most * (1 + 1e-9)) and not (self.least is not None and self.value < self.least * (1 - 1e-9))

    @property
    def share(self) -> float:
        """The figure as a share of the end it comes nearest to, over 1 where it is beyond."""
        over = self.value / self.most if self.most else inf if self.most == 0 and self.value > 0 else 0.0
        under = self.least / self.value if self.least and self.value > 0 else inf if self.least else 0.0
        return max(over, under)


@dataclass(frozen=True, slots=True)
class Figures:
    """The supply in numbers, SI: B+ at the umbilical in each state; its ripple; hum at the speaker; the line; heat; discharge."""

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


@dataclass(frozen=True)
class Candidate:
    """One supply, solved: its parts, the text of its circuit, the whole circuit with it, its figures, and each figure against its limit."""

    choice: Choice
    text: str
    circuit: Circuit
    whole: Circuit
    figures: Figures
    marks: tuple[Mark, ...]

    @property
    def unmet(self) -> tuple[Mark, ...]:
        """What is missed, needs first."""
        return tuple(sorted((mark for mark in self.marks if not mark.met and mark.kind != "mind"), key=lambda mark: (mark.kind != "need", -mark.share)))

    @property
    def close(self) -> tuple[Mark, ...]:
        """Ratings that are met with less than a tenth to spare, and what is to be minded."""
        return tuple(mark for mark in self.marks if mark.kind == "rating" and mark.met and mark.share > CLOSE or mark.kind == "mind" and not mark.met)

    def order(self, needs: Needs) -> tuple:
        """Return what candidates are ranked by: needs and ratings missed, by how much; one transformer and full-wave before the rest; B+ in
        steps of 5 %; how many ratings are nearly reached; whether the list prices all of it, and the price in steps of a tenth; hum."""
        miss = sum(min(log(mark.share), 10.0) if mark.share > 0 else 0.0 for mark in self.unmet)
        return (len(self.unmet), round(miss, 3), (self.choice.rectifier == "half-wave") + (self.choice.second is not None),
                int(abs(log(self.figures.bplus / needs.bplus)) / 0.05), len(self.close), self.choice.price is None,
                round(log(max(self.choice.price or 1.0, 1.0)) / 0.1), round(self.figures.hum, 6), self.choice.form, self.choice.transformer.name)


class _Solved:
    """The whole circuit with a candidate in it, in every state that is asked about."""

    def __init__(self, amp: Amplifier, whole: Circuit, needs: Needs, starts: dict) -> None:
        self.amp, self.whole, self.needs = amp, whole, needs
        self.network = assemble(whole)
        self.nominal = self._steady(self.network, 1.0, 384, starts.get(self.network.names))
        starts[self.network.names] = self.nominal.x
        near = self.nominal.x[::2]
        self.high = self._steady(self.network, HIGH_LINE, 192, near)
        self.low = self._steady(self.network, LOW_LINE, 192, near)
        self.full = self._steady(self._loaded(needs.full_amps - needs.idle_amps + needs.extra_amps), 1.0, 192, near)
        self.cold_network = assemble(whole, emission=False)
        self.cold = self._steady(self.cold_network, HIGH_LINE, 192, 1.3 * near if len(self.cold_network.names) == len(self.network.names) else None)

    def _steady(self, network: Network, factor: float, instants: int, start: Any) -> Steady:
        if start is not None:
            try:
                return mains_steady(network, factor=factor, instants=instants, start=start)
            except CannotSolve:
                pass
        return mains_steady(network, factor=factor, instants=instants)

    def _loaded(self, amps: float) -> Network:
        """Return the network with what full signal draws more than idle as a resistor from B+ to common."""
        if abs(amps) < 1e-6:
            return self.network
        a, b = (self.network.node_of[self.amp.node(port)] for port in ("bplus", "common"))
        return replace(self.network, branches=(*self.network.branches, Branch("full signal", "r", a, b, self.needs.bplus / amps)))

    def across(self, network: Network, steady: Steady, one: str, other: str):
        return network.volts(steady.x, one) - network.volts(steady.x, other)

    def bplus(self, network: Network, steady: Steady):
        return self.across(network, steady, self.amp.node("bplus"), self.amp.node("common"))

    def own(self, name: str) -> str:
        """Return the supply's part of that name as the whole circuit has it."""
        return f"{self.amp.name}/{name}"

    def resistor(self, name: str) -> tuple[float, float] | None:
        """Return mean-square amps and watts of a resistor of the supply, nominal line, None where there is none."""
        for number, branch in enumerate(self.network.ohmic):
            if branch.name == self.own(name):
                volts = self.nominal.x @ self.network.ohmic_at[number]
                return float((volts**2).mean()) / branch.value**2, float((volts**2).mean()) / branch.value
        return None


def evaluate(choice: Choice, amp: Amplifier, needs: Needs, shelf: Shelf, *, bplus_fuse: bool = False, starts: dict | None = None, title: str = "") -> Candidate:
    """Return a choice solved, its fuses and connector chosen by what they carry. Raises CannotSolve where the circuit has no numbers.

    ``starts`` keeps steady states to begin the next of the same form from.
    """
    title = title or f"{amp.job.title.split(':')[0] or amp.job.circuit_file}, new supply"

    def built(choice: Choice) -> tuple[str, Circuit, Circuit]:
        text = supply_text(choice, needs.mains, amp.ports, bonded=amp.bonded, title=title.replace('"', "'"), bplus=needs.bplus,
                           remarks=(f"written by rework supply for {amp.job.file.rpartition('/')[2] or 'a job'}: {choice.form}", "parts by the names of the stock list"))
        circuit = supply_circuit(text, file=amp.attach.circuit_file)
        return text, circuit, amp.with_supply(circuit)

    _, _, whole = built(choice)
    solved = _Solved(amp, whole, needs, {} if starts is None else starts)
    rush, i2t, overshoot = _switched_on(solved, choice)
    figures = _figures(solved, choice, rush, i2t)
    carried = max(figures.line_amps, _line_amps(solved.network, solved.full))
    choice = replace(choice, fuse=_fuse(shelf, FUSE_TIMES * carried, "slow", 0.0), connector=_connector(shelf, figures.bplus_cold, needs.heater_amps),
                     bplus_fuse=_fuse(shelf, FUSE_TIMES * max(figures.bplus_amps, needs.full_amps), "", figures.bplus_cold) if bplus_fuse else None)
    text, circuit, whole = built(choice)
    return Candidate(choice, text, circuit, whole, figures, tuple(_marks(solved, choice, figures, needs, carried, overshoot)))


def _rms(wave) -> float:
    return float((wave**2).mean() ** 0.5)


def _line_amps(network: Network, steady: Steady) -> float:
    return _rms(steady.x[:, network.rows["line"]])


def _switched_on(solved: _Solved, choice: Choice) -> tuple[float, float, Any]:
    """Return the RMS amps of cold heaters, I2t through the fuse over the first periods on a high line, and the rise itself."""
    rush = HIGH_LINE * heater_rush(solved.whole)
    rising = rise(solved.whole, factor=HIGH_LINE, periods=PERIODS)
    line = rising.x[:, rising.network.rows["line"]]
    pace = float(rising.seconds[1] - rising.seconds[0])
    return rush, float((line**2).sum()) * pace + rush**2 * float(rising.seconds[-1]), rising


def _rectified(solved: _Solved, steady: Steady) -> list[tuple[str, Any, Any]]:
    """Return name, amps and volts of every rectifier section of the supply over a period."""
    network, row, found = solved.network, 0, []
    volts = steady.x @ network.reads.T
    for device in network.ordered:
        if not solved.amp.own(device.name):
            found.append((device.name, steady.currents[:, row], volts[:, row]))
        row += device.law.controls
    return found


def _figures(solved: _Solved, choice: Choice, rush: float, i2t: float) -> Figures:
    import numpy as np

    amp, needs, network, steady = solved.amp, solved.needs, solved.network, solved.nominal
    bplus, heater = solved.bplus(network, steady), solved.across(network, steady, amp.node("heater1"), amp.node("heater2"))
    sections, inverse = _rectified(solved, steady), _rectified(solved, solved.high)
    amps = max((one for _, one, _ in sections), key=lambda one: float(one.mean()))
    windings = _windings(solved, choice)
    copper = sum(mean_square * ohms for _, mean_square, ohms, _ in windings)
    transformer = choice.transformer
    kelvin = None
    if transformer.size and transformer.no_load is not None and choice.second is None:
        w, d, h = transformer.size
        kelvin = (copper + transformer.no_load) / (COOLING * 2 * (w * d + w * h + d * h))
    choke = solved.own("L1")
    flow = steady.x[:, network.rows[choke]] if choke in network.rows else None
    flow = flow if flow is None or flow.mean() > 0 else -flow
    drawn = _delivered(solved)
    hum, _ = hum_at(solved.whole, dict(needs.stops), start=steady.x) if needs.full_volts else (0.0, None)
    heat = float((heater**2).mean()) * needs.heater_amps / needs.heater_volts if needs.heater_volts else 0.0
    out = float(bplus.mean()) * drawn
    elsewhere = sum(float(((steady.x @ network.ohmic_at[number]) ** 2).mean()) / branch.value for number, branch in enumerate(network.ohmic)
                    if (part := solved.whole.by_name.get(branch.name)) is not None and part.kind == "motor")
    iron = sum(item.no_load or 0.0 for item in (transformer, choice.second) if item)
    bleeder = solved.resistor("R1")
    return Figures(
        float(bplus.mean()), float(solved.bplus(network, solved.low).mean()), float(solved.bplus(network, solved.high).mean()), float(solved.bplus(network, solved.full).mean()),
        float(np.max(solved.bplus(solved.cold_network, solved.cold))), drawn, float(bplus.std()), hum, _rms(heater),
        float(sum(one.mean() for _, one, _ in sections)) / (2 if choice.rectifier == "bridge" else 1), _rms(amps), float(max(one.max() for _, one, _ in sections)),
        float(-min(volts.min() for _, _, volts in inverse)), None if flow is None else float(flow.mean()), None if flow is None else float(flow.min()),
        critical_henries(float(bplus.mean()) / max(float(flow.mean()), 1e-6), needs.mains.hertz) if flow is not None and choice.filter == "L-C" else None,
        sum(power for *_, power in windings if power), copper, kelvin, _line_amps(network, steady), steady.watts_in, rush, i2t, steady.watts_in - out - heat - elsewhere + iron, out + heat,
        bleeder[1] if bleeder else 0.0, _seconds(solved, choice))


def _delivered(solved: _Solved) -> float:
    """Return the mean amps that leave by the umbilical at idle: what the rectifier gives less bleeder and dividers."""
    network, steady, drawn = solved.network, solved.nominal, 0.0
    at = network.node_of[solved.amp.node("bplus")]
    for number, branch in enumerate(network.ohmic):
        if at in (branch.a, branch.b) and solved.amp.own(branch.name):
            drawn += float((steady.x @ network.ohmic_at[number]).mean()) / branch.value * (1 if branch.a == at else -1)
    for name, row in network.rows.items():
        if not name.endswith(".core") and solved.amp.own(name) and name != "line" and not name.startswith("line.") and network.fixed_g[at, row]:
            drawn += float(steady.x[:, row].mean()) * network.fixed_g[at, row]
    row = 0
    for device in network.ordered:
        for start in device.from_:
            if start == at and solved.amp.own(device.name):
                drawn += float(steady.currents[:, row].mean())
            row += 1
    return drawn


def _windings(solved: _Solved, choice: Choice) -> list[tuple[str, float, float, float]]:
    """Return row, mean-square amps, ohms, and volt-amperes (of secondaries of T1 alone, unloaded volts) of every winding in use."""
    network, found = solved.network, []
    for name, row in network.rows.items():
        part, _, winding = name.partition(".")
        if part not in (solved.own("T1"), solved.own("T2")) or winding == "core":
            continue
        square = float((solved.nominal.x[:, row] ** 2).mean())
        item = choice.transformer if part == solved.own("T1") else choice.second
        values = {name: values for name, values in solved.whole.by_name[part].windings}[winding.split(".")[0]]
        halves = 2 if winding.endswith((".1", ".2")) else 1
        volts = next(value.amount for value in values if value.dimension == "voltage") / halves
        power = volts * square**0.5 if item is choice.transformer and not winding.startswith("primary") else 0.0
        found.append((name, square, -network.fixed_g[row, row], power))
    return found


def _fuse(shelf: Shelf, amps: float, word: str, volts: float) -> Item:
    """Return the least fuse of the list for some amps, else the one to order."""
    fits = [item for item in shelf.of("fuse") if item.amps >= amps and item.insulation in (word, word or item.insulation) and item.volts >= volts]
    if fits:
        return min(fits, key=lambda item: (item.amps, item.price or 0.0, item.name))
    return Item("fuse", "not on the list", volts=250.0 if volts <= 250 else 500.0, amps=rating(amps, FUSES) or FUSES[-1], insulation=word or "slow")


def _connector(shelf: Shelf, volts: float, amps: float) -> Item:
    fits = [item for item in shelf.of("connector") if item.volts >= volts and item.amps >= amps]
    if fits:
        return min(fits, key=lambda item: (item.price if item.price is not None else 1e9, item.volts, item.name))
    return Item("connector", "not on the list", volts=rating(volts, (250.0, 450.0, 600.0, 1000.0)) or 1000.0, amps=rating(amps, (5.0, 8.0, 10.0, 15.0)) or 15.0)


def _seconds(solved: _Solved, choice: Choice) -> float:
    """Return the seconds to 60 V with the umbilical pulled, from the most the capacitors can hold, by the bleeder alone."""
    from rework.safety.current.stored import seconds_to

    farads = [item.value for item in (choice.c1, choice.c2) if item is not None]
    held = float(abs(solved.bplus(solved.cold_network, solved.cold)).max())
    if choice.bleeder is None or not farads:
        return inf
    between = (choice.choke.ohms if choice.choke else 0.0) + (choice.series.value if choice.series else 0.0)
    own = choice.bleeder.value
    ohms = [[own + between, own], [own, own]] if len(farads) == 2 else [[own]]
    return max(seconds_to([held] * len(farads), farads, ohms, BLEED_VOLTS))


def _marks(solved: _Solved, choice: Choice, figures: Figures, needs: Needs, carried: float, rising: Any):
    """Yield every figure against its limit."""
    yield Mark("B+ at idle, nominal line", figures.bplus, "V", needs.high, needs.low, "need")
    yield Mark("hum at the speaker", figures.hum, "V", needs.hum, None, "need")
    yield Mark("heater volts", figures.heater, "V", needs.heater_volts * (1 + LIMIT), needs.heater_volts * (1 - LIMIT), "need")
    yield from _valve_marks(solved, choice, figures)
    yield from _capacitor_marks(solved, choice, rising)
    if figures.choke_mean is not None:
        yield Mark("choke current", figures.choke_mean, "A", choice.choke.amps)
        if choice.filter == "L-C":
            yield Mark("least inductance of the choke", choice.choke.value, "H", None, figures.choke_critical, "limit")
    windings = _windings(solved, choice)
    for item, part in ((choice.transformer, "T1"), (choice.second, "T2")):
        for winding in item.windings if item else ():
            name = winding.name if part == "T1" else {"primary": "hv"}.get(winding.name, "primary")
            amps = [square**0.5 for row, square, *_ in windings if row.startswith(f"{solved.own(part)}.{name}")]
            most = winding.amps or item.va / winding.volts
            if amps:
                yield Mark(f"current of the {winding.name} winding of {part}", max(amps), "A", most)
    yield Mark("load of T1", figures.volt_amps, "VA", choice.transformer.va)
    if figures.rise_kelvin is not None and choice.transformer.insulation:
        yield Mark(f"T1 in a cabinet at {CABINET:.0f} degrees, class {choice.transformer.insulation}", CABINET + figures.rise_kelvin, "degC", CLASSES[choice.transformer.insulation])
    yield Mark("line current through F1", carried, "A", choice.fuse.amps)
    if choice.fuse.i2t:
        yield Mark("I2t through F1 at the switch", figures.rush_i2t, "A2s", FUSE_SHARE * choice.fuse.i2t, None, "mind")
    for name, item, what in (("R1", choice.bleeder, "bleeder R1"), ("R8", choice.series, "series resistor R8"), ("R9", choice.surge, "surge resistor R9")):
        worked = solved.resistor(name)
        if worked and item is not None:
            yield Mark(f"watts of the {what}", worked[1], "W", item.watts)
    if choice.bleeder and choice.bleeder.volts:
        yield Mark("volts on the bleeder, tubes cold, high line", figures.bplus_cold, "V", choice.bleeder.volts)
    yield Mark("time to 60 V, umbilical pulled", figures.seconds, "s", BLEED_SECONDS, None, "mind")
    yield Mark("volts on the umbilical, tubes cold, high line", figures.bplus_cold, "V", choice.connector.volts)
    yield Mark("heater current of the umbilical", needs.heater_amps, "A", choice.connector.amps)


def _valve_marks(solved: _Solved, choice: Choice, figures: Figures):
    if choice.rectifier != "tube":
        each = 2 if choice.rectifier in ("bridge", "silicon") else 1
        yield Mark(f"inverse volts of {choice.valve.name}, high line", figures.rectifier_inverse, "V", choice.valve.volts)
        yield Mark(f"mean current of {choice.valve.name}", figures.rectifier_mean / (each if choice.rectifier == "silicon" else 1), "A", choice.valve.amps)
        if choice.valve.surge:
            yield Mark(f"first charge through {choice.valve.name}, no more than", _first_charge(solved, choice), "A", choice.valve.surge)
        return
    tube = library.find(choice.valve.name)
    for name, value, what, unit in (("dc_amps", figures.rectifier_mean, "DC", "A"), ("peak_amps", figures.rectifier_peak, "peak current", "A"),
                                    ("inverse_volts", figures.rectifier_inverse, "inverse volts, high line,", "V")):
        if name in tube.ratings:
            yield Mark(f"{what} of {tube.type}", value, unit, tube.ratings[name].value)
    rms = choice.hv().volts / 2 * solved.needs.mains.volts / choice.transformer.winding("primary").volts
    most = (tube.ratings.get("plate_rms_volts_choke_input") if choice.filter == "L-C" else None) or tube.ratings.get("plate_rms_volts")
    if most:
        yield Mark(f"volts RMS to each plate of {tube.type}", rms, "V", most.value)
    if choice.c1 is not None:
        figure = tube.ratings.get("first_capacitor_farads")
        yield Mark(f"first capacitor of {tube.type}", choice.c1.value, "F", figure.value if figure else FIRST_CAPACITOR, None, "limit")
        from rework.supply.forms import source_ohms

        ohms = source_ohms(choice.transformer, choice.hv(), halves=True) + (choice.surge.value if choice.surge and choice.surge.kind == "resistor" else 0.0)
        if least := printed_ohms(tube, rms):
            yield Mark(f"ohms before each plate of {tube.type}", ohms, "ohm", None, 0.98 * least, "limit")
    if choice.rectifier_winding == choice.heater_winding and "heater_cathode_volts" in tube.ratings:
        yield Mark(f"heater to cathode of {tube.type}, tubes cold, high line", figures.bplus_cold, "V", tube.ratings["heater_cathode_volts"].value)


def _first_charge(solved: _Solved, choice: Choice) -> float:
    """Return the most the first charge can be: the peak of the high line through the ohms of the source alone."""
    from rework.supply.forms import source_ohms

    halves = choice.rectifier == "silicon"
    winding = choice.hv()
    ohms = source_ohms(choice.transformer, winding, halves=halves, second=choice.second, low=choice.heater_winding)
    ohms += choice.surge.value if choice.surge and choice.surge.kind == "resistor" else 0.0
    volts = 2**0.5 * HIGH_LINE * winding.volts * (0.5 if halves else 1.0)
    return volts / ohms if choice.c1 is not None else 0.0


def _capacitor_marks(solved: _Solved, choice: Choice, rising: Any):
    """Yield volts of every capacitor of the whole circuit in its worst state, and ripple current of the supply's own."""
    import numpy as np

    pace = solved.nominal.period / len(solved.nominal.x)
    for part in solved.whole.parts:
        if part.kind not in ("capacitor", "electrolytic"):
            continue
        ends = part.pins[0][1], part.pins[-1][1]
        worst = max(float(np.abs(solved.across(network, steady, *ends)).max()) for network, steady in
                    ((solved.network, solved.high), (solved.cold_network, solved.cold)))
        worst = max(worst, rising.peak(*ends))
        rated, own = part.value("voltage"), not solved.amp.own(part.name)
        name = part.name.rpartition("/")[2] + (" of the supply" if own else "")
        if rated and worst > 20:
            yield Mark(f"volts on {name}, worst state", worst, "V", rated)
        item = {"C1": choice.c1 or choice.c2, "C2": choice.c2}.get(part.name.rpartition("/")[2]) if own else None
        if item is not None and item.ripple:
            wave = solved.across(solved.network, solved.nominal, *ends)
            slope = (1.5 * wave - 2 * np.roll(wave, 1) + 0.5 * np.roll(wave, 2)) / pace
            yield Mark(f"ripple current of {name}", _rms(slope) * part.value("capacitance"), "A", item.ripple)
