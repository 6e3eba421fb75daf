"""The voltage chart: every pin and node with its band, currents, dissipation and volts against
rating, the supply, corners, and what is over.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import log

from rework.circuit.circuit import Circuit
from rework.solve.assemble import assemble
from rework.solve.bias import Averaged, Bias, Spread, bias, matters_most, ripple_band, spread
from rework.solve.corners import Corner, corners
from rework.solve.devices import Rectifier
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import Steady, mains_steady
from rework.solve.switch_on import Rise, heater_rush, inrush, rise
from rework.tubes import library

#: A node is a supply node when an electrolytic stands on it and it carries at least so many volts.
SUPPLY_VOLTS = 20.0
#: What is noted where the circuit with its tubes cold does not settle: the volts at switch-on are
#: then no more than an estimate.
NO_COLD = (
    "with its tubes cold the circuit did not settle, so what capacitors see at switch-on is told as"
    " their volts in use and a tenth more; without load B+ stands higher: measure it with the"
    " tubes out"
)
#: The line in the worst case against nominal.
HIGH_LINE = 1.1


@dataclass(frozen=True, slots=True)
class NodeRow:
    """A node: DC volts against common and against the chassis, the 5 to 95 % band of the former,
    its RMS ripple and the band of that.
    """

    node: str
    volts: float
    low: float
    high: float
    chassis_volts: float | None
    ripple: float
    ripple_low: float
    ripple_high: float


@dataclass(frozen=True, slots=True)
class SupplyRow:
    """A supply node under load: DC volts and RMS ripple with their bands; and with the tubes cold,
    so unloaded but for what stays on it, on the nominal line and on the line a tenth high (None
    where that was not found).
    """

    node: str
    volts: float
    low: float
    high: float
    ripple: float
    ripple_low: float
    ripple_high: float
    unloaded: float | None
    unloaded_high: float | None


@dataclass(frozen=True, slots=True)
class HeaterRow:
    """A heater: RMS volts across it as solved, and those of its type."""

    part: str
    type: str
    volts: float
    rated: float


@dataclass(frozen=True, slots=True)
class PinRow:
    """A tube pin: what is on it, and DC volts against common with their band; ``ac_volts`` is RMS
    against common.
    """

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
    """A tube unit: DC volts to its cathode, amps, watts, each with its rating (None where none is
    known).
    """

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
    """A capacitor: peak volts in use, peak on the high line with cold tubes (the overshoot behind a
    choke too), rating, RMS ripple amps.
    """

    part: str
    volts: float
    cold_volts: float
    rating: float | None
    ripple_amps: float


@dataclass(frozen=True, slots=True)
class RectifierRow:
    """A rectifier section: mean, RMS and peak amps, the peak inverse volts, and the peak amps at
    the switch: rectifier hot or solid, capacitors empty, line at its peak (None where that was not
    found).
    """

    part: str
    unit: str
    mean_amps: float
    rms_amps: float
    peak_amps: float
    inverse_volts: float
    switch_on_amps: float | None


@dataclass(frozen=True, slots=True)
class WindingRow:
    """A winding or choke: RMS amps, RMS volts across it, volt-amperes, mean amps, and the amps it
    is made for (None where none are written).
    """

    part: str
    winding: str
    rms_amps: float
    rms_volts: float
    volt_amps: float
    mean_amps: float
    rating: float | None


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything ``rework volts`` tells of one circuit.

    ``flags`` are sentences on what is over, ``warnings`` on what looks wrong in the netlist,
    ``notes`` on what was assumed. ``line_watts`` and ``line_amps`` (RMS) from the line;
    ``rush_amps`` (RMS) at the switch, heaters cold.
    """

    title: str
    common: str
    chassis: str
    nodes: tuple[NodeRow, ...]
    supply: tuple[SupplyRow, ...]
    pins: tuple[PinRow, ...]
    tubes: tuple[TubeRow, ...]
    heaters: tuple[HeaterRow, ...]
    resistors: tuple[PartRow, ...]
    capacitors: tuple[CapacitorRow, ...]
    rectifiers: tuple[RectifierRow, ...]
    windings: tuple[WindingRow, ...]
    corners: tuple[Corner, ...]
    flags: tuple[str, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    line_watts: float
    line_amps: float
    rush_amps: float
    balance: float
    residual: float
    samples: int
    failed: int


def volts(
    circuit: Circuit,
    *,
    samples: int = 1000,
    seed: int = 1,
    step: Callable[[int], None] | None = None,
) -> Chart:
    """Return the voltage chart of a circuit, with bands from ``samples`` draws.

    Raises CannotSolve where it has no numbers.

    ``step`` is called with the number of draws after every stack of them.
    """
    from rework.solve.over import flags

    network = assemble(circuit)
    found = bias(network)
    drawn = spread(found, samples, seed=seed, step=step)
    cold = _cold(circuit, found)
    chassis = next(
        (node for part in circuit.parts if part.kind == "chassis" for _, node in part.pins), ""
    )
    nodes = _nodes(found, drawn, chassis)
    supply = _supply(circuit, found, nodes, cold)
    made = Chart(
        circuit.title,
        network.reference,
        chassis,
        nodes,
        supply,
        _pins(circuit, found, drawn),
        _tubes(circuit, found, drawn),
        _heaters(circuit, found),
        _resistors(circuit, found),
        _capacitors(circuit, found, cold),
        _rectifiers(circuit, found),
        _windings(circuit, found),
        corners(found, tuple(row.node for row in supply)),
        (),
        network.warnings,
        (*network.notes, *(() if cold else (NO_COLD,))),
        found.steady.watts_in,
        _line_amps(found),
        heater_rush(circuit),
        found.steady.balance,
        found.steady.residual,
        samples,
        int((~drawn.converged).sum()),
    )
    return replace(made, flags=flags(circuit, found, made))


def _cold(circuit: Circuit, found: Bias) -> tuple[Network, Steady, Steady] | None:
    """Return the circuit with its rectifier working and the other tubes cold, on the nominal and on
    the high line; None where that does not settle.
    """
    try:
        network = assemble(circuit, emission=False)
        start = found.steady.x[::2]
        try:
            plain = mains_steady(network, instants=len(start), start=start)
        except CannotSolve:
            plain = mains_steady(network, instants=len(start))
        return (
            network,
            plain,
            mains_steady(network, factor=HIGH_LINE, instants=len(start), start=HIGH_LINE * plain.x),
        )
    except CannotSolve:
        return None


def _rms(wave) -> float:
    return float((wave**2).mean() ** 0.5)


def _line_amps(found: Bias) -> float:
    row = found.network.rows.get("line")
    return _rms(found.steady.x[:, row]) if row is not None else 0.0


def _band(found: Bias, drawn: Spread, of) -> tuple[float, float, float]:
    """Return mean and band of a linear quantity ``of`` (network, unknowns); the band moved to the
    mean of the steady state.
    """
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
        ripple = _rms(wave - wave.mean())
        less, more = (
            ripple_band(found, drawn, network.node_of[node]) if ripple > 1e-6 else (1.0, 1.0)
        )
        rows.append(
            NodeRow(
                node,
                mean,
                low,
                high,
                mean - ground if ground is not None else None,
                ripple,
                less * ripple,
                more * ripple,
            )
        )
    return tuple(rows)


def _supply(
    circuit: Circuit, found: Bias, nodes: tuple[NodeRow, ...], cold
) -> tuple[SupplyRow, ...]:
    """Return the nodes with an electrolytic on them, one name for each point, the highest first."""
    network = found.network
    reservoirs = {
        network.node_of[node]
        for part in circuit.parts
        if part.kind == "electrolytic"
        for _, node in part.pins
    }
    rows: dict[int, SupplyRow] = {}
    for row in sorted(nodes, key=lambda row: (len(row.node), row.node)):
        at = network.node_of[row.node]
        if at not in reservoirs or at in rows or abs(row.volts) < SUPPLY_VOLTS:
            continue
        unloaded = (
            [float(cold[0].volts(steady.x, row.node).mean()) for steady in cold[1:]]
            if cold
            else [None, None]
        )
        rows[at] = SupplyRow(
            row.node,
            row.volts,
            row.low,
            row.high,
            row.ripple,
            row.ripple_low,
            row.ripple_high,
            *unloaded,
        )
    return tuple(sorted(rows.values(), key=lambda row: (-abs(row.volts), row.node)))


def _heaters(circuit: Circuit, found: Bias) -> tuple[HeaterRow, ...]:
    network, rows = found.network, []
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        ways = []
        for way in tube.heater.ways if tube else ():
            ends = [
                next((part.node(pin) for pin in sorted(pins) if part.node(pin)), None)
                for pins in way.between
            ]
            if None not in ends:
                wave = network.volts(found.steady.x, ends[0]) - network.volts(
                    found.steady.x, ends[1]
                )
                ways.append(HeaterRow(part.name, tube.type, _rms(wave), way.volts.value))
        if ways:  # of the ways to feed it, the one it is fed by
            rows.append(min(ways, key=lambda row: abs(log(max(row.volts, 1e-9) / row.rated))))
    return tuple(rows)


def _pins(circuit: Circuit, found: Bias, drawn: Spread) -> tuple[PinRow, ...]:
    network, rows = found.network, []
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        for pin, node in part.pins if tube else ():
            wave = network.volts(found.steady.x, node)
            mean, low, high = _band(found, drawn, lambda x, node=node: network.volts(x, node))
            rows.append(
                PinRow(
                    part.name,
                    tube.type,
                    pin,
                    tube.element(pin),
                    node,
                    mean,
                    low,
                    high,
                    _rms(wave - wave.mean()),
                )
            )
    return tuple(rows)


def _tubes(circuit: Circuit, found: Bias, drawn: Spread) -> tuple[TubeRow, ...]:
    network, rows, row = found.network, [], 0
    mean_volts = found.steady.x @ network.reads.T
    every, _ = network.device_entries(drawn.x, scales=drawn.scales, laws=found.laws)
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

        rows.append(
            TubeRow(
                device.name,
                tube.type,
                device.unit,
                float(v[0]),
                float(v[1]) if screened else None,
                float(v[-1]),
                float(i[0]),
                float(i[1]) if screened else None,
                float(watts[0]),
                drawn.band(watts_each[:, at])[1],
                float(watts[1]) if screened else None,
                rated("plate_watts"),
                rated("screen_watts") if screened else None,
                rated("plate_volts"),
                rated("screen_volts") if screened else None,
                matters_most(found, drawn, every[:, at]),
            )
        )
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
            network, _, high = cold
            worst = float(np.abs(network.volts(high.x, a) - network.volts(high.x, b)).max())
        if overshoot is not None:
            worst = max(worst, overshoot.peak(a, b))
        rows.append(
            CapacitorRow(
                part.name,
                peak,
                worst,
                part.value("voltage"),
                _rms(slope) * (part.value("capacitance") or 0.0),
            )
        )
    return tuple(rows)


def _overshoot(circuit: Circuit) -> Rise | None:
    """Return the rise from the switch where it can overshoot: a rectifier that works at once,
    before a choke.
    """
    heated = {
        part.name
        for part in circuit.parts
        if part.kind == "tube"
        and (tube := library.find(part.type))
        and tube.is_rectifier
        and not tube.heater.directly_heated
    }
    quick = any(
        part.kind in ("diode", "bridge", "selenium")
        or (
            part.kind == "tube"
            and (tube := library.find(part.type))
            and tube.is_rectifier
            and part.name not in heated
        )
        for part in circuit.parts
    )
    if not quick or not any(part.kind == "choke" for part in circuit.parts):
        return None
    try:
        return rise(circuit, factor=HIGH_LINE, periods=10)
    except CannotSolve:
        return None


def _rectifiers(circuit: Circuit, found: Bias) -> tuple[RectifierRow, ...]:
    network, rows, row = found.network, [], 0
    rush = inrush(circuit)
    volts_across = found.steady.x @ network.reads.T
    for device, law in zip(network.ordered, found.laws, strict=True):
        if isinstance(law, Averaged | Rectifier):
            amps = found.steady.currents[:, row]
            rows.append(
                RectifierRow(
                    device.name,
                    device.unit,
                    float(amps.mean()),
                    _rms(amps),
                    float(amps.max()),
                    float(-volts_across[:, row].min()),
                    rush.get((device.name, device.unit)),
                )
            )
        row += law.controls
    return tuple(rows)


def _windings(circuit: Circuit, found: Bias) -> tuple[WindingRow, ...]:
    network, rows = found.network, []
    nodes = network.n - len(network.rows)
    for name, row in network.rows.items():
        if name.endswith(".core") or name == "line" or name.startswith("line."):
            continue
        amps = found.steady.x[:, row]
        across = found.steady.x[:, :nodes] @ network.fixed_g[row, :nodes]
        part, _, winding = name.partition(".")
        of = circuit.by_name[part]
        rating = of.value("current") or next(
            (
                value.amount
                for value in dict(of.windings).get(winding.split(".")[0], ())
                if value.dimension == "current"
            ),
            None,
        )
        rows.append(
            WindingRow(
                part,
                winding,
                _rms(amps),
                _rms(across),
                _rms(amps) * _rms(across),
                float(amps.mean()),
                rating,
            )
        )
    return tuple(rows)
