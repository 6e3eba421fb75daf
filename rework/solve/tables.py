"""The rows of a voltage chart: what every node, pin, tube and part of a solved circuit comes to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.arrays import Floats
from rework.solve.bias import Averaged, Bias
from rework.solve.cold import HIGH_LINE, Cold, overshoot
from rework.solve.devices import Rectifier
from rework.solve.heated import fed_way
from rework.solve.meter import Shown
from rework.solve.network import Network
from rework.solve.periodic import flow
from rework.solve.spread import Spread, matters_most, ripple_band
from rework.solve.stress import rating
from rework.solve.switch_on import inrush
from rework.tubes import library

#: A node is a supply node when an electrolytic stands on it and it carries at least so many volts.
SUPPLY_VOLTS = 20.0
#: Ripple under so many volts has no band of its own.
NO_RIPPLE = 1e-6


@dataclass(frozen=True, slots=True)
class NodeRow:
    """A node: DC volts against common and against the chassis, the 5 to 95 % band of the former,
    its RMS ripple and the band of that. ``without_meter`` is what is there without the meter, None
    where that is the same.
    """

    node: str
    volts: float
    low: float
    high: float
    chassis_volts: float | None
    ripple: float
    ripple_low: float
    ripple_high: float
    without_meter: float | None = None


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
    without_meter: float | None = None


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


def _rms(wave: Floats) -> float:
    return float((wave**2).mean() ** 0.5)


def node_rows(
    bias: Bias, drawn: Spread, chassis: str, shown: Mapping[int, Shown]
) -> tuple[NodeRow, ...]:
    """Return every node as the meter shows it (``shown`` where that pulls it down), against the
    chassis too where there is a node of that.
    """
    network, x, rows = bias.network, bias.steady.x, []
    ground = float(network.volts(x, chassis).mean()) if chassis else None
    for node in sorted(network.node_of):
        at = network.node_of[node]
        wave = network.volts(x, node)
        without, low, high = _band(bias, drawn, node)
        meter = shown.get(at)
        mean, low, high = (meter.volts, meter.low, meter.high) if meter else (without, low, high)
        ripple = _rms(wave - wave.mean())
        less, more = ripple_band(bias, drawn, at) if ripple > NO_RIPPLE else (1.0, 1.0)
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
                without if meter else None,
            )
        )
    return tuple(rows)


def _band(bias: Bias, drawn: Spread, node: str) -> tuple[float, float, float]:
    """Return the mean volts of a node and their band, moved to the mean of the steady state."""
    network = bias.network
    mean = float(network.volts(bias.steady.x, node).mean())
    low, high = drawn.band(network.volts(drawn.x, node))
    offset = mean - float(network.volts(bias.point, node))
    return mean, low + offset, high + offset


def supply_rows(
    circuit: Circuit, network: Network, nodes: tuple[NodeRow, ...], cold: Cold | None
) -> tuple[SupplyRow, ...]:
    """Return the nodes with an electrolytic on them, one name for each point, the highest first."""
    reservoirs = {
        network.node_of[node]
        for part in circuit.parts
        if part.kind == "electrolytic"
        for _, node in part.pins
    }
    rows: dict[int, SupplyRow] = {}
    for row in sorted(nodes, key=lambda row: (len(row.node), row.node)):
        at = network.node_of[row.node]
        if at in reservoirs and at not in rows and abs(row.volts) >= SUPPLY_VOLTS:
            rows[at] = SupplyRow(
                row.node,
                row.volts,
                row.low,
                row.high,
                row.ripple,
                row.ripple_low,
                row.ripple_high,
                cold.mean(row.node) if cold else None,
                cold.mean(row.node, high=True) if cold else None,
            )
    return tuple(sorted(rows.values(), key=lambda row: (-abs(row.volts), row.node)))


def heater_rows(circuit: Circuit, bias: Bias) -> tuple[HeaterRow, ...]:
    """Return the heaters; of the ways to feed one, that which it is fed by."""
    rows = []
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            continue
        rated = fed_way(part, tube, lambda a, b: _rms(bias.network.between(bias.steady.x, a, b)))
        if rated is not None:
            rows.append(HeaterRow(part.name, tube.type, *rated))
    return tuple(rows)


def pin_rows(circuit: Circuit, nodes: Sequence[NodeRow]) -> tuple[PinRow, ...]:
    """Return every pin of every tube, with the volts of its node."""
    at = {row.node: row for row in nodes}
    rows = []
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            continue
        for pin, node in part.pins:
            row = at[node]
            rows.append(
                PinRow(
                    part.name,
                    tube.type,
                    pin,
                    tube.element(pin),
                    node,
                    row.volts,
                    row.low,
                    row.high,
                    row.ripple,
                    row.without_meter,
                )
            )
    return tuple(rows)


def tube_rows(circuit: Circuit, bias: Bias, drawn: Spread) -> tuple[TubeRow, ...]:
    """Return every unit that amplifies."""
    network, rows = bias.network, []
    mean_volts = network.across(bias.steady.x)
    every, _ = network.device_entries(drawn.x, scales=drawn.scales, laws=bias.laws)
    watts_each = every * network.across(drawn.x)
    for device, row in zip(network.ordered, network.starts, strict=True):
        width = device.law.controls
        if width == 1:
            continue
        part = circuit.by_name[device.name]
        currents = bias.steady.currents[:, row : row + width]
        volts = mean_volts[:, row : row + width]
        v, i, watts = volts.mean(0), currents.mean(0), (volts * currents).mean(0)
        screened = width == 3
        rows.append(
            TubeRow(
                device.name,
                part.type,
                device.unit,
                float(v[0]),
                float(v[1]) if screened else None,
                float(v[-1]),
                float(i[0]),
                float(i[1]) if screened else None,
                float(watts[0]),
                drawn.band(watts_each[:, row])[1],
                float(watts[1]) if screened else None,
                rating(part, "plate_watts", device.unit),
                rating(part, "screen_watts", device.unit) if screened else None,
                rating(part, "plate_volts", device.unit),
                rating(part, "screen_volts", device.unit) if screened else None,
                matters_most(bias, drawn, every[:, row]),
            )
        )
    return tuple(rows)


def part_rows(circuit: Circuit, bias: Bias) -> tuple[PartRow, ...]:
    """Return every resistor and thermistor."""
    network, rows = bias.network, []
    across = bias.steady.x @ network.ohmic_at.T
    for number, branch in enumerate(network.ohmic):
        part = circuit.by_name.get(branch.name)
        if part is not None and part.kind in ("resistor", "thermistor"):
            amps = _rms(across[:, number]) / branch.value
            rows.append(PartRow(part.name, amps, amps * amps * branch.value, rating(part, "watts")))
    return tuple(rows)


def capacitor_rows(circuit: Circuit, bias: Bias, cold: Cold | None) -> tuple[CapacitorRow, ...]:
    """Return every capacitor."""
    rows, steady = [], bias.steady
    rising = overshoot(circuit)
    for part in circuit.parts:
        if not part.is_capacitor or len(part.ends) < 2:  # an empty can left in its place
            continue
        a, b = part.ends
        wave = bias.network.between(steady.x, a, b)
        peak = float(np.abs(wave).max())
        worst = cold.peak(a, b) if cold is not None else peak * HIGH_LINE
        if rising is not None:
            worst = max(worst, rising.peak(a, b))
        ripple = _rms(flow(wave, steady.period)) * (part.value("capacitance") or 0.0)
        rows.append(CapacitorRow(part.name, peak, worst, rating(part, "volts"), ripple))
    return tuple(rows)


def rectifier_rows(circuit: Circuit, bias: Bias) -> tuple[RectifierRow, ...]:
    """Return every section of every rectifier."""
    network, rows = bias.network, []
    rush = inrush(circuit)
    across = network.across(bias.steady.x)
    for device, law, row in zip(network.ordered, bias.laws, network.starts, strict=True):
        if isinstance(law, Averaged | Rectifier):
            amps = bias.steady.currents[:, row]
            rows.append(
                RectifierRow(
                    device.name,
                    device.unit,
                    float(amps.mean()),
                    _rms(amps),
                    float(amps.max()),
                    float(-across[:, row].min()),
                    rush.get(device.key),
                )
            )
    return tuple(rows)


def winding_rows(circuit: Circuit, bias: Bias) -> tuple[WindingRow, ...]:
    """Return every winding, piece by piece between its taps, and every choke."""
    network, x = bias.network, bias.steady.x
    return tuple(
        _winding(circuit.by_name[name.partition(".")[0]], name.partition(".")[2], network, row, x)
        for name, row in network.rows.items()
        if not name.endswith(".core") and row not in network.sources
    )


def _winding(part: Part, winding: str, network: Network, row: int, x: Floats) -> WindingRow:
    amps = x[:, row]
    nodes = network.node_at
    across = x[:, nodes] @ network.fixed_g[row, nodes]
    key = "dc_amps" if part.kind == "choke" else "amps"
    return WindingRow(
        part.name,
        winding,
        _rms(amps),
        _rms(across),
        _rms(amps) * _rms(across),
        float(amps.mean()),
        rating(part, key, winding),
    )
