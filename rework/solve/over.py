"""Every part of a solved circuit against its ratings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.graph import contracted
from rework.circuit.parts import Part
from rework.solve.bias import Bias
from rework.solve.corners import Corner
from rework.solve.part_tables import PartTables
from rework.solve.stress import Stress, rating
from rework.solve.tables import (
    CapacitorRow,
    HeaterRow,
    PartRow,
    RectifierRow,
    TubeRow,
    WindingRow,
)
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: Winding names of the line side of a transformer begin so.
PRIMARY = "primary"
#: A wiper that leaves less than this share of the track is at its stop.
AT_STOP = 0.01


def stresses(
    circuit: Circuit,
    bias: Bias,
    *,
    tubes: Sequence[TubeRow],
    corners: Sequence[Corner],
    parts: PartTables,
) -> tuple[Stress, ...]:
    """Return every part's stresses against its ratings, from the rows of its chart."""
    return (
        *_tubes(tubes, corners),
        *_heaters(circuit, bias, parts.heaters),
        *_resistors(circuit, parts.resistors),
        *_ohmic(circuit, bias),
        *_capacitors(circuit, parts.capacitors),
        *_rectifiers(circuit, bias, parts.rectifiers),
        *_windings(circuit, parts.windings),
        *_switches(circuit, bias),
    )


def _switches(circuit: Circuit, bias: Bias) -> Iterator[Stress]:
    """Yield the switches that carry more than they are made for, of those through which all current
    from the line goes: from each blade on, while nothing else branches off.
    """
    row = bias.network.rows.get("line")
    if row is None:
        return
    amps = float((bias.steady.x[:, row] ** 2).mean() ** 0.5)
    point = contracted(circuit)
    on: dict[str, list[Part]] = {}
    for part in circuit.parts:
        for at in {point[node] for _, node in part.pins} if not part.is_conductor else ():
            on.setdefault(at, []).append(part)
    seen: set[str] = set()
    for plug in circuit.parts:
        blades = [node for at, node in plug.pins if plug.kind == "plug" and at != "earth"]
        for at in (point[node] for node in blades):
            seen.add(plug.name)
            while len(ahead := [part for part in on[at] if part.name not in seen]) == 1:
                part = ahead[0]
                ends = {point[node] for node in part.ends}
                if len(ends) != 2 or not (part.traits.is_switch or part.traits.is_overcurrent):
                    break
                seen.add(part.name)
                limit = rating(part, "amps")
                if part.traits.is_switch and limit is not None and amps > limit:
                    yield Stress(part.name, part.kind, "amps", amps, "A", limit)
                (at,) = ends - {at}


def _tubes(rows: Sequence[TubeRow], corners: Sequence[Corner]) -> Iterator[Stress]:
    worst = {(c.of, c.unit): c.high for c in corners if c.key == "plate watts"}
    for row in rows:
        at_worst = worst.get((row.part, row.unit))
        for key, amount, rated, unit, high, corner in (
            (
                "plate_watts",
                row.plate_watts,
                row.plate_watts_rating,
                "W",
                row.plate_watts_high,
                at_worst,
            ),
            ("screen_watts", row.screen_watts, row.screen_watts_rating, "W", None, None),
            ("plate_volts", row.plate_volts, row.plate_volts_rating, "V", None, None),
            ("screen_volts", row.screen_volts, row.screen_volts_rating, "V", None, None),
        ):
            if amount is not None:
                yield Stress(
                    row.part,
                    "tube",
                    key,
                    amount,
                    unit,
                    rated,
                    of=row.unit,
                    type=row.type,
                    high=high,
                    corner=corner,
                )


def _heaters(circuit: Circuit, bias: Bias, rows: Sequence[HeaterRow]) -> Iterator[Stress]:
    for row in rows:
        yield Stress(row.part, "tube", "heater_volts", row.volts, "V", row.rated, type=row.type)
    network, x = bias.network, bias.steady.x
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        limit = rating(part, "heater_cathode_volts")
        if tube is None or limit is None:
            continue
        heater, cathode = _nodes(part, tube, "heater", "lamp"), _nodes(part, tube, "cathode")
        peaks = [float(np.abs(network.between(x, a, b)).max()) for a in heater for b in cathode]
        if peaks:
            yield Stress(
                part.name, "tube", "heater_cathode_volts", max(peaks), "V", limit, type=tube.type
            )


def _nodes(part: Part, tube: TubeType, *words: str) -> list[str]:
    """Return the nodes of the pins whose element is called so, whatever the unit."""
    return [
        node for pin, node in part.pins if tube.element(pin).rpartition(".")[2].startswith(words)
    ]


def _resistors(circuit: Circuit, rows: Sequence[PartRow]) -> Iterator[Stress]:
    for row in rows:
        part = circuit.by_name[row.part]
        if part.kind == "thermistor":
            yield Stress(part.name, part.kind, "amps", row.amps, "A", rating(part, "amps"))
            continue
        yield Stress(part.name, part.kind, "watts", row.watts, "W", row.rating)
        if (limit := rating(part, "volts")) is not None:
            across = row.watts / row.amps if row.amps else 0.0
            yield Stress(part.name, part.kind, "volts", across, "V", limit)


def _ohmic(circuit: Circuit, bias: Bias) -> Iterator[Stress]:
    """Yield what pots burn, by the part of the track in use, and what lamps, motors and speakers
    stand.
    """
    network = bias.network
    rms = ((bias.steady.x @ network.ohmic_at.T) ** 2).mean(0) ** 0.5
    for branch, volts in zip(network.ohmic, rms.tolist(), strict=True):
        name, _, end = branch.name.partition(".")
        part = circuit.by_name.get(name)
        watts = volts * volts / branch.value
        match part.kind if part is not None else "":
            case "pot" if part is not None:
                yield _track(part, end, branch.value, watts)
            case "lamp" if part is not None:
                yield Stress(name, part.kind, "volts", volts, "V", rating(part, "volts"))
            case "speaker" | "dummy load" if part is not None:
                yield Stress(name, part.kind, "watts", watts, "W", rating(part, "watts"))


def _track(part: Part, end: str, ohms: float, watts: float) -> Stress:
    """Return what the part of a track up to one ``end`` dissipates, against that share of the watts
    of the whole.

    At the stop of its wiper so little of the track is left that its watts say nothing: it is held
    there to the current of the whole track at its rated watts. Both limits are the same.
    """
    limit, track = rating(part, "watts"), part.value("resistance")
    if limit is None or not track:
        return Stress(part.name, "pot", "watts", watts, "W", limit, of=end)
    if ohms < AT_STOP * track:
        amps, most = (watts / ohms) ** 0.5, (limit / track) ** 0.5
        return Stress(part.name, "pot", "amps", amps, "A", most, of=end)
    return Stress(part.name, "pot", "watts", watts, "W", limit * min(ohms / track, 1.0), of=end)


def _capacitors(circuit: Circuit, rows: Sequence[CapacitorRow]) -> Iterator[Stress]:
    for row in rows:
        kind = circuit.by_name[row.part].kind
        yield Stress(row.part, kind, "volts", row.volts, "V", row.rating)
        yield Stress(row.part, kind, "cold_volts", row.cold_volts, "V", row.rating)
        yield Stress(row.part, kind, "ripple_amps", row.ripple_amps, "A", None)


def _rectifiers(circuit: Circuit, bias: Bias, rows: Sequence[RectifierRow]) -> Iterator[Stress]:
    for part in circuit.parts:
        rows_of = [row for row in rows if row.part == part.name]
        tube = library.find(part.type) if part.kind == "tube" else None
        if not rows_of or (tube is not None and not tube.is_rectifier):
            continue
        type_ = tube.type if tube is not None else ""
        stresses = {"dc_amps": (_mean_amps(part, bias, rows_of), "A")}
        if tube is not None:
            stresses["peak_amps"] = (max(row.peak_amps for row in rows_of), "A")
        if part.kind == "selenium" or "selenium" in part.words:
            stresses["input_volts"] = (_input_volts(part, bias), "V")
        else:
            stresses["inverse_volts"] = (max(row.inverse_volts for row in rows_of), "V")
        for key, (amount, unit) in stresses.items():
            limit = rating(part, key)
            yield Stress(part.name, part.kind, key, amount, unit, limit, type=type_)
        if tube is not None:
            yield from _first_capacitor(circuit, bias, part, tube)


def _mean_amps(part: Part, bias: Bias, rows: Sequence[RectifierRow]) -> float:
    """Return the direct current that the sections of a rectifier supply: of sections in series, as
    in a doubler, that of one; of a bridge that of two; of sections side by side their sum.
    """
    mean = [row.mean_amps for row in rows]
    if part.kind == "bridge":
        return sum(mean) / 2
    devices = [device for device in bias.network.ordered if device.name == part.name]
    cathodes = {device.to for device in devices if len(device.from_) == 1}
    in_series = any(device.from_[0] in cathodes for device in devices if len(device.from_) == 1)
    return max(mean) if in_series else sum(mean)


def _input_volts(part: Part, bias: Bias) -> float:
    """Return the RMS volts that a selenium stack is fed with, the way its makers rate it: of a
    bridge those between its inputs, else those across the stack without their mean.

    Stacks are counted in plates of 25 V (B. L. Ornitz, 1997,
    https://yarchive.net/electr/selenium_rectifiers.html) or 30 V RMS of input (R. Bonkowski, five
    or six on a 120 V line, https://studylib.net/doc/18253712/replacing-selenium-rectifiers); the
    inverse peak behind a capacitor, twice the root of two as much, is in that figure.
    """
    ends = ("ac1", "ac2") if part.kind == "bridge" else ("anode", "cathode")
    wave = bias.network.between(bias.steady.x, part.at(ends[0]), part.at(ends[1]))
    return float(wave.std())


def _first_capacitor(circuit: Circuit, bias: Bias, part: Part, tube: TubeType) -> Iterator[Stress]:
    key = "first_capacitor_farads"
    limit, at = rating(part, key), bias.network.node_of
    cathodes = {at[node] for node in _nodes(part, tube, "cathode")}
    farads = sum(
        part.value("capacitance") or 0.0
        for part in circuit.parts
        if part.is_capacitor and cathodes & {at[node] for _, node in part.pins}
    )
    if limit is not None:
        yield Stress(part.name, "tube", key, farads, "F", limit, type=tube.type)


def _coil_watts(part: Part, row: WindingRow) -> Iterator[Stress]:
    """Yield the watts of a coil that states those it is made for, as field coils do."""
    ohms, limit = part.value("resistance"), rating(part, "watts")
    if ohms is not None and limit is not None:
        yield Stress(part.name, part.kind, "watts", row.rms_amps**2 * ohms, "W", limit)


def _windings(circuit: Circuit, rows: Sequence[WindingRow]) -> Iterator[Stress]:
    for row in rows:
        kind = circuit.by_name[row.part].kind
        if kind == "motor":
            limit = rating(circuit.by_name[row.part], "volts")
            yield Stress(row.part, kind, "volts", row.rms_volts, "V", limit)
        elif kind == "choke":
            yield Stress(row.part, kind, "dc_amps", abs(row.mean_amps), "A", row.rating)
            yield from _coil_watts(circuit.by_name[row.part], row)
        elif row.rms_amps > 0:
            yield Stress(row.part, kind, "amps", row.rms_amps, "A", row.rating, of=row.winding)
    for part in circuit.parts:
        primary = sum(
            row.volt_amps
            for row in rows
            if row.part == part.name and row.winding.startswith(PRIMARY)
        )
        if part.kind in ("transformer", "autotransformer") and primary:
            limit = rating(part, "volt_amperes")
            yield Stress(part.name, part.kind, "volt_amperes", primary, "VA", limit)
