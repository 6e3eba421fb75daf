"""The voltage chart: every pin and node with its band, currents, dissipation and volts against rating, the supply, and what is over."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.assemble import assemble
from rework.solve.bias import Averaged, Bias, Spread, bias, matters_most, spread
from rework.solve.devices import Rectifier
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import Steady, mains_steady
from rework.solve.switch_on import Rise, heater_rush, rise
from rework.tubes import library

#: A resistor above this share of its watts is told of (common practice, no source: twice the watts).
RESISTOR_SHARE = 0.6
#: The line in the worst case against nominal.
HIGH_LINE = 1.1


@dataclass(frozen=True, slots=True)
class NodeRow:
    """A node: DC volts against common and against the chassis, the 5 to 95 % band of the former, and its RMS ripple."""

    node: str
    volts: float
    low: float
    high: float
    chassis_volts: float | None
    ripple: float


@dataclass(frozen=True, slots=True)
class PinRow:
    """A tube pin: what is on it, and DC volts against common with their band; ``ac_volts`` is RMS against common."""

    part: str
    type: str
    pin: str
    element: str
    node: str
    volts: float
    low: float
    high: float
    ac_volts: float


@dataclass(frozen=True, slots=True)
class TubeRow:
    """A tube unit: DC volts to its cathode, amps, watts, each with its rating (None where none is known)."""

    part: str
    type: str
    unit: str
    plate_volts: float
    screen_volts: float | None
    grid_volts: float
    plate_amps: float
    screen_amps: float | None
    plate_watts: float
    plate_watts_high: float
    screen_watts: float | None
    plate_watts_rating: float | None
    screen_watts_rating: float | None
    plate_volts_rating: float | None
    screen_volts_rating: float | None
    hangs_on: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class PartRow:
    """A resistor: RMS amps, watts and its rating. ``rating`` is None where the file gives none."""

    part: str
    amps: float
    watts: float
    rating: float | None


@dataclass(frozen=True, slots=True)
class CapacitorRow:
    """A capacitor: peak volts in use, peak on the high line with cold tubes (the overshoot behind a choke too), rating, RMS ripple amps."""

    part: str
    volts: float
    cold_volts: float
    rating: float | None
    ripple_amps: float


@dataclass(frozen=True, slots=True)
class RectifierRow:
    """A rectifier section: mean, RMS and peak amps and the peak inverse volts."""

    part: str
    unit: str
    mean_amps: float
    rms_amps: float
    peak_amps: float
    inverse_volts: float


@dataclass(frozen=True, slots=True)
class WindingRow:
    """A winding or choke: RMS amps, RMS volts across it, volt-amperes, mean amps."""

    part: str
    winding: str
    rms_amps: float
    rms_volts: float
    volt_amps: float
    mean_amps: float


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything ``rework volts`` tells of one circuit. ``flags`` are sentences on what is over; ``notes`` what was assumed."""

    title: str
    common: str
    chassis: str
    nodes: tuple[NodeRow, ...]
    pins: tuple[PinRow, ...]
    tubes: tuple[TubeRow, ...]
    resistors: tuple[PartRow, ...]
    capacitors: tuple[CapacitorRow, ...]
    rectifiers: tuple[RectifierRow, ...]
    windings: tuple[WindingRow, ...]
    flags: tuple[str, ...]
    notes: tuple[str, ...]
    line_watts: float
    line_amps: float
    rush_amps: float
    balance: float
    residual: float
    samples: int
    failed: int


def volts(circuit: Circuit, *, samples: int = 1000, seed: int = 1) -> Chart:
    """Return the voltage chart of a circuit, with bands from ``samples`` draws. Raises CannotSolve where it has no numbers."""
    network = assemble(circuit)
    found = bias(network)
    drawn = spread(found, samples, seed=seed)
    cold = _cold(circuit)
    chassis = next((node for part in circuit.parts if part.kind == "chassis" for _, node in part.pins), "")
    made = Chart(circuit.title, network.reference, chassis, _nodes(found, drawn, chassis), _pins(circuit, found, drawn),
                 _tubes(circuit, found, drawn), _resistors(circuit, found), _capacitors(circuit, found, cold),
                 _rectifiers(found), _windings(found), (), network.notes, found.steady.watts_in, _line_amps(found), heater_rush(circuit),
                 found.steady.balance, found.steady.residual, samples, int((~drawn.converged).sum()))
    return replace(made, flags=flags(circuit, made))


def _cold(circuit: Circuit) -> tuple[Network, Steady] | None:
    """Return the circuit on the high line with its rectifier working and the other tubes cold; None where that does not settle."""
    try:
        network = assemble(circuit, emission=False)
        return network, mains_steady(network, factor=HIGH_LINE, instants=192)
    except CannotSolve:
        return None


def _rms(wave) -> float:
    return float((wave**2).mean() ** 0.5)


def _line_amps(found: Bias) -> float:
    row = found.network.rows.get("line")
    return _rms(found.steady.x[:, row]) if row is not None else 0.0


def _band(found: Bias, drawn: Spread, of) -> tuple[float, float, float]:
    """Return mean and band of a linear quantity ``of`` (network, unknowns); the band moved to the mean of the steady state."""
    mean = float(of(found.steady.x).mean())
    low, high = drawn.band(of(drawn.x))
    moved = mean - float(of(found.point))
    return mean, low + moved, high + moved


def _nodes(found: Bias, drawn: Spread, chassis: str) -> tuple[NodeRow, ...]:
    network, rows = found.network, []
    ground = float(network.volts(found.steady.x, chassis).mean()) if chassis else None
    for node in sorted(network.node_of):
        wave = network.volts(found.steady.x, node)
        mean, low, high = _band(found, drawn, lambda x, node=node: network.volts(x, node))
        rows.append(NodeRow(node, mean, low, high, mean - ground if ground is not None else None, _rms(wave - wave.mean())))
    return tuple(rows)


def _pins(circuit: Circuit, found: Bias, drawn: Spread) -> tuple[PinRow, ...]:
    network, rows = found.network, []
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        for pin, node in part.pins if tube else ():
            wave = network.volts(found.steady.x, node)
            mean, low, high = _band(found, drawn, lambda x, node=node: network.volts(x, node))
            rows.append(PinRow(part.name, tube.type, pin, tube.element(pin), node, mean, low, high, _rms(wave - wave.mean())))
    return tuple(rows)


def _tubes(circuit: Circuit, found: Bias, drawn: Spread) -> tuple[TubeRow, ...]:
    network, rows, row = found.network, [], 0
    mean_volts = found.steady.x @ network.reads.T
    every, _ = network.device_currents(drawn.x, scales=drawn.scales, laws=found.laws)
    watts_each = every * (drawn.x @ network.reads.T)
    for device, law in zip(network.ordered, found.laws, strict=True):
        at, row = row, row + law.controls
        if law.controls == 1:
            continue
        tube = library.find(circuit.by_name[device.name].type)
        v, i = mean_volts[:, at:row].mean(0), found.steady.currents[:, at:row].mean(0)
        watts = (mean_volts * found.steady.currents)[:, at:row].mean(0)
        screened = law.controls == 3

        def rated(name: str, tube=tube, unit=device.unit) -> float | None:
            figure = tube.ratings.get(f"{unit}.{name}") or tube.ratings.get(name)
            return figure.value if figure else None

        rows.append(TubeRow(
            device.name, tube.type, device.unit, float(v[0]), float(v[1]) if screened else None, float(v[-1]), float(i[0]),
            float(i[1]) if screened else None, float(watts[0]), drawn.band(watts_each[:, at])[1], float(watts[1]) if screened else None,
            rated("plate_watts"), rated("screen_watts") if screened else None, rated("plate_volts"),
            rated("screen_volts") if screened else None, matters_most(found, drawn, every[:, at])))
    return tuple(rows)


def _resistors(circuit: Circuit, found: Bias) -> tuple[PartRow, ...]:
    network, rows = found.network, []
    across = found.steady.x @ network.ohmic_at.T
    for number, branch in enumerate(network.ohmic):
        part = circuit.by_name.get(branch.name)
        if part is not None and part.kind in ("resistor", "thermistor"):
            amps = _rms(across[:, number]) / branch.value
            rows.append(PartRow(part.name, amps, amps * amps * branch.value, part.value("power")))
    return tuple(rows)


def _capacitors(circuit: Circuit, found: Bias, cold) -> tuple[CapacitorRow, ...]:
    import numpy as np

    rows, steady = [], found.steady
    overshoot = _overshoot(circuit)
    pace = steady.period / len(steady.x)
    for part in circuit.parts:
        if part.kind not in ("capacitor", "electrolytic"):
            continue
        a, b = part.pins[0][1], part.pins[-1][1]
        wave = found.network.volts(steady.x, a) - found.network.volts(steady.x, b)
        slope = (1.5 * wave - 2 * np.roll(wave, 1) + 0.5 * np.roll(wave, 2)) / pace
        peak = float(np.abs(wave).max())
        worst = peak * HIGH_LINE
        if cold is not None:
            network, other = cold
            worst = float(np.abs(network.volts(other.x, a) - network.volts(other.x, b)).max())
        if overshoot is not None:
            worst = max(worst, overshoot.peak(a, b))
        rows.append(CapacitorRow(part.name, peak, worst, part.value("voltage"), _rms(slope) * (part.value("capacitance") or 0.0)))
    return tuple(rows)


def _overshoot(circuit: Circuit) -> Rise | None:
    """Return the rise from the switch where it can overshoot: a rectifier that works at once, before a choke."""
    heated = {part.name for part in circuit.parts if part.kind == "tube" and (tube := library.find(part.type)) and tube.is_rectifier and not tube.heater.directly_heated}
    quick = any(part.kind in ("diode", "bridge", "selenium") or part.kind == "tube" and (tube := library.find(part.type)) and tube.is_rectifier
                and part.name not in heated for part in circuit.parts)
    if not quick or not any(part.kind == "choke" for part in circuit.parts):
        return None
    try:
        return rise(circuit, factor=HIGH_LINE, periods=10)
    except CannotSolve:
        return None


def _rectifiers(found: Bias) -> tuple[RectifierRow, ...]:
    network, rows, row = found.network, [], 0
    volts_across = found.steady.x @ network.reads.T
    for device, law in zip(network.ordered, found.laws, strict=True):
        if isinstance(law, Averaged | Rectifier):
            amps = found.steady.currents[:, row]
            rows.append(RectifierRow(device.name, device.unit, float(amps.mean()), _rms(amps), float(amps.max()), float(-volts_across[:, row].min())))
        row += law.controls
    return tuple(rows)


def _windings(found: Bias) -> tuple[WindingRow, ...]:
    network, rows = found.network, []
    for name, row in network.rows.items():
        if name.endswith(".core") or name == "line" or name.startswith("line."):
            continue
        amps = found.steady.x[:, row]
        across = found.steady.x[:, : network.n - len(network.rows)] @ network.fixed_g[row, : network.n - len(network.rows)]
        part, _, winding = name.partition(".")
        rows.append(WindingRow(part, winding, _rms(amps), _rms(across), _rms(amps) * _rms(across), float(amps.mean())))
    return tuple(rows)


def flags(circuit: Circuit, chart: Chart) -> tuple[str, ...]:
    """Return a sentence on every part that is over its rating, the part first."""
    said = []
    for tube in chart.tubes:
        name = f"{tube.part} ({tube.type}{' ' + tube.unit if tube.unit else ''})"
        for what, value, rating, unit in (
                ("plate takes", tube.plate_watts, tube.plate_watts_rating, "W"), ("screen takes", tube.screen_watts, tube.screen_watts_rating, "W"),
                ("plate stands at", tube.plate_volts, tube.plate_volts_rating, "V"), ("screen stands at", tube.screen_volts, tube.screen_volts_rating, "V")):
            if value is not None and rating is not None and value > rating:
                said.append(f"{name}: the {what} {value:.3g} {unit}, over its {rating:g} {unit}")
        if tube.plate_watts_rating and tube.plate_watts <= tube.plate_watts_rating < tube.plate_watts_high:
            said.append(f"{name}: within its {tube.plate_watts_rating:g} W as drawn, but {tube.plate_watts_high:.3g} W at the edge of the band")
    for one in chart.resistors:
        if one.rating and one.watts > RESISTOR_SHARE * one.rating:
            over = "over" if one.watts > one.rating else "more than 60 % of"
            said.append(f"{one.part}: takes {one.watts:.3g} W, {over} its {one.rating:g} W; fit one of at least {2 * one.watts:.2g} W")
    for one in chart.capacitors:
        if one.rating and one.volts > one.rating:
            said.append(f"{one.part}: {one.volts:.0f} V in use, over its {one.rating:g} V")
        elif one.rating and one.cold_volts > one.rating:
            said.append(f"{one.part}: {one.cold_volts:.0f} V at switch-on (tubes cold, line 10 % high), over its {one.rating:g} V")
    said += [sentence for part in circuit.parts for sentence in _rectifier_flags(part, chart)]
    return tuple(said)


def _rectifier_flags(part: Part, chart: Chart) -> list[str]:
    rows = [row for row in chart.rectifiers if row.part == part.name]
    tube = library.find(part.type) if part.kind == "tube" else None
    if not rows or tube is None or not tube.is_rectifier:
        return []
    total, peak, inverse = sum(row.mean_amps for row in rows), max(row.peak_amps for row in rows), max(row.inverse_volts for row in rows)
    said = []
    for name, value, word, unit, scale in (("dc_amps", total, "gives", "mA", 1e3), ("peak_amps", peak, "peaks at", "mA", 1e3), ("inverse_volts", inverse, "meets", "V inverse", 1.0)):
        figure = tube.ratings.get(name)
        if figure and value > figure.value:
            said.append(f"{part.name} ({tube.type}): {word} {value * scale:.3g} {unit}, over its {figure.value * scale:g} {unit}")
    return said
