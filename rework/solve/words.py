"""Volts, ohms and signals as tables and sentences: what terminal, page and paper say of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rework.report.figures import band, shown
from rework.report.table import Cell, Column, Mark, Table
from rework.solve.chart import Chart
from rework.solve.ohms import Reading
from rework.solve.power import Power
from rework.solve.signal import Hum, Response, Signal
from rework.solve.stability import MOTORBOATING, Remedy

LIVE = (
    "Measuring these is work on a live chassis: isolation transformer on the bench, one hand,"
    " insulated probe. They are the volts of the netlist as written."
)
COLD = (
    "Plug out, switch on, controls in the middle, capacitors discharged and measured to be so,"
    " tubes in and cold. Wait for capacitors to charge from the meter. One way round is where a"
    " meter that turns a semiconductor on reads lower."
)
#: Capacitors that never see so many volts are left out; --json has them all.
LEAST_VOLTS = 20.0
#: The same of corners of tubes that take less than so many watts.
LEAST_WATTS = 0.2
#: Less RMS volts than this is not worth a cell: at a tube pin, and at a node of the supply.
LEAST_AC, LEAST_RIPPLE = 0.05, 0.0005
ORDINALS = ("2nd", "3rd", "4th", "5th")


def chart_tables(chart: Chart, readings: Mapping[str, float] | None = None) -> tuple[Table, ...]:
    """Return the tables of a voltage chart that have rows, tube pins first.

    ``readings`` are volts that a meter showed, by node, ``PART.pin`` or ``PART.element``.
    """
    tables = (
        pins(chart, readings or {}),
        nodes(chart),
        supply(chart),
        tubes(chart),
        heaters(chart),
        resistors(chart),
        rectifiers(chart),
        windings(chart),
        capacitors(chart),
        corners(chart),
    )
    return tuple(table for table in tables if table.rows)


def pins(chart: Chart, readings: Mapping[str, float]) -> Table:
    """Return the volts of every tube pin, beside what a meter showed there."""
    columns = [
        Column("tube", "name"),
        Column("pin"),
        Column("element"),
        Column("node"),
        Column("DC", "figure", "volts", "V"),
        Column("band", "text", "band", "V"),
        Column("AC", "figure", "volts", "V"),
    ]
    rows: list[tuple[Cell, ...]] = []
    marks: list[Mark] = []
    for pin in chart.pins:
        read = reading_at(pin.part, pin.pin, pin.element, pin.node, readings)
        outside = read is not None and not pin.low <= read <= pin.high
        row: list[Cell] = [
            f"{pin.part} {pin.type}",
            pin.pin,
            pin.element,
            pin.node,
            pin.volts,
            _band(pin.low, pin.high),
            pin.ac_volts if pin.ac_volts >= LEAST_AC else "",
        ]
        if readings:
            row += ["", ""] if read is None else [read, "outside" if outside else "inside"]
        rows.append(tuple(row))
        marks.append("bad" if outside else "")
    if readings:
        columns += [Column("read", "figure", "", "V"), Column("")]
    return Table(
        "pins",
        "Volts at the tube pins, DC against common",
        "",
        tuple(columns),
        tuple(rows),
        parts=tuple(pin.part for pin in chart.pins),
        marks=tuple(marks),
    )


def reading_at(
    part: str, pin: str, element: str, node: str, readings: Mapping[str, float]
) -> float | None:
    """Return what a meter showed at a pin, by whichever of its names the reading has."""
    names = (f"{part}.{pin}", f"{part}.{element}", node)
    return next((readings[name] for name in names if name in readings), None)


def nodes(chart: Chart) -> Table:
    """Return the nodes that neither a tube pin nor the supply's table names; those that read alike
    share a row.
    """
    named = {pin.node for pin in chart.pins} | {row.node for row in chart.supply}
    alike: dict[tuple[Cell, ...], list[str]] = {}
    for node in chart.nodes:
        if node.node not in named and "." not in node.node:
            cells: tuple[Cell, ...] = (
                round(node.volts, 2),
                _band(node.low, node.high),
                None if node.chassis_volts is None else round(node.chassis_volts, 2),
                round(node.ripple, 4) if node.ripple >= LEAST_RIPPLE else "",
            )
            alike.setdefault(cells, []).append(node.node)
    return Table(
        "nodes",
        "Volts at the other nodes",
        "",
        (
            Column("node", "name"),
            Column("DC", "figure", "volts", "V"),
            Column("band", "text", "band", "V"),
            Column("to chassis", "figure", "volts", "V"),
            Column("AC", "figure", "volts", "V"),
        ),
        tuple((", ".join(names), *cells) for cells, names in alike.items()),
    )


def supply(chart: Chart) -> Table:
    """Return the nodes of the supply: loaded, and with the tubes cold."""
    return Table(
        "supply",
        "Supply, loaded and with the tubes cold",
        "",
        (
            Column("node", "name"),
            Column("DC", "figure", "volts", "V"),
            Column("band", "text", "band", "V"),
            Column("ripple", "figure", "volts", "V"),
            Column("band", "text", "band", "V"),
            Column("tubes cold", "figure", "volts", "V"),
            Column("and line +10 %", "figure", "volts", "V"),
        ),
        tuple(
            (
                row.node,
                row.volts,
                _band(row.low, row.high),
                f"{row.ripple:.3g}",
                f"{row.ripple_low:.3g} to {row.ripple_high:.3g}",
                row.unloaded,
                row.unloaded_high,
            )
            for row in chart.supply
        ),
    )


def tubes(chart: Chart) -> Table:
    """Return each tube's volts to its own cathode, currents and watts beside the ratings."""
    return Table(
        "tubes",
        "Tubes, volts to their own cathode",
        "",
        (
            Column("tube", "name"),
            Column("plate", "figure", "volts", "V"),
            Column("screen", "figure", "volts", "V"),
            Column("grid", "figure", "volts", "V"),
            Column("plate", "figure", "currents", "mA"),
            Column("screen", "figure", "currents", "mA"),
            Column("plate", "figure", "watts", "W"),
            Column("rated", "figure", "", "W"),
            Column("screen", "figure", "watts", "W"),
            Column("rated", "figure", "", "W"),
            Column("plate current changes with"),
        ),
        tuple(
            (
                f"{row.part} {row.type} {row.unit}".strip(),
                row.plate_volts,
                row.screen_volts,
                row.grid_volts,
                _milli(row.plate_amps),
                _milli(row.screen_amps),
                row.plate_watts,
                row.plate_watts_rating,
                row.screen_watts,
                row.screen_watts_rating,
                ", ".join(f"{name} {share:.0%}" for name, share in row.hangs_on),
            )
            for row in chart.tubes
        ),
        parts=tuple(row.part for row in chart.tubes),
    )


def heaters(chart: Chart) -> Table:
    """Return what each heater gets beside what it is made for."""
    return Table(
        "heaters",
        "Heaters",
        "",
        (
            Column("heater", "name"),
            Column("RMS", "figure", "volts", "V"),
            Column("rated", "figure", "", "V"),
        ),
        tuple((f"{row.part} {row.type}", row.volts, row.rated) for row in chart.heaters),
        parts=tuple(row.part for row in chart.heaters),
    )


def resistors(chart: Chart) -> Table:
    """Return the resistors above a hundredth of a watt, or above a fifth of their rating."""
    warm = [
        row
        for row in chart.resistors
        if row.watts > 0.01 or (row.rating and row.watts > 0.2 * row.rating)
    ]
    return Table(
        "resistors",
        "Resistors",
        "",
        (
            Column("resistor", "name"),
            Column("RMS", "figure", "currents", "mA"),
            Column("dissipation", "figure", "watts", "W"),
            Column("rated", "figure", "", "W"),
        ),
        tuple((row.part, _milli(row.amps), row.watts, row.rating) for row in warm),
        parts=tuple(row.part for row in warm),
    )


def rectifiers(chart: Chart) -> Table:
    """Return the currents and the inverse volts of each rectifier."""
    return Table(
        "rectifiers",
        "Rectifiers",
        "",
        (
            Column("rectifier", "name"),
            Column("mean", "figure", "currents", "mA"),
            Column("RMS", "figure", "currents", "mA"),
            Column("peak", "figure", "currents", "mA"),
            Column("peak inverse", "figure", "volts", "V"),
            Column("peak at the switch", "figure", "currents", "A"),
        ),
        tuple(
            (
                f"{row.part} {row.unit}".strip(),
                _milli(row.mean_amps),
                _milli(row.rms_amps),
                _milli(row.peak_amps),
                row.inverse_volts,
                row.switch_on_amps,
            )
            for row in chart.rectifiers
        ),
        parts=tuple(row.part for row in chart.rectifiers),
    )


def windings(chart: Chart) -> Table:
    """Return the load of each winding."""
    return Table(
        "windings",
        "Windings",
        "",
        (
            Column("winding", "name"),
            Column("RMS", "figure", "currents", "mA"),
            Column("rated", "figure", "", "mA"),
            Column("RMS", "figure", "volts", "V"),
            Column("load", "figure", "", "VA"),
            Column("mean", "figure", "currents", "mA"),
        ),
        tuple(
            (
                f"{row.part} {row.winding}".strip(),
                _milli(row.rms_amps),
                _milli(row.rating),
                row.rms_volts,
                row.volt_amps if row.volt_amps > 1e-3 else 0.0,
                _milli(row.mean_amps) if abs(row.mean_amps) > 1e-6 else 0.0,
            )
            for row in chart.windings
        ),
        parts=tuple(row.part for row in chart.windings),
    )


def capacitors(chart: Chart) -> Table:
    """Return the peak volts of each capacitor in use and at switch-on, beside its rating."""
    stressed = [row for row in chart.capacitors if max(row.volts, row.cold_volts) > LEAST_VOLTS]
    return Table(
        "capacitors",
        "Capacitors",
        "",
        (
            Column("capacitor", "name"),
            Column("peak in use", "figure", "volts", "V"),
            Column("at switch-on", "figure", "volts", "V"),
            Column("rated", "figure", "", "V"),
            Column("ripple", "figure", "currents", "mA"),
        ),
        tuple(
            (
                row.part,
                row.volts,
                row.cold_volts,
                row.rating,
                _milli(row.ripple_amps) if row.ripple_amps > 5e-6 else "",
            )
            for row in stressed
        ),
        parts=tuple(row.part for row in stressed),
        marks=tuple(
            "bad" if row.rating is not None and max(row.volts, row.cold_volts) > row.rating else ""
            for row in stressed
        ),
    )


def corners(chart: Chart) -> Table:
    """Return how far the supply and the watts go when the parts that matter most are all off."""
    return Table(
        "corners",
        "Corners",
        "The parts that matter most, all at one end of their tolerance at once, then all at the"
        " other (a tube by the current it passes).",
        (
            Column("", "name"),
            Column("low", "figure"),
            Column("nominal", "figure"),
            Column("high", "figure"),
            Column("high with these, low with the opposite"),
        ),
        tuple(
            (
                f"{row.what}, {row.unit}",
                row.low,
                row.nominal,
                row.high,
                ", ".join(f"{name} {share:+.0%}" for name, share in row.parts),
            )
            for row in chart.corners
            if row.unit != "W" or row.high > LEAST_WATTS
        ),
    )


def ohms_table(readings: Sequence[Reading]) -> Table:
    """Return what an ohmmeter should read."""
    return Table(
        "ohms",
        "What an ohmmeter should read",
        "",
        (
            Column("at", "name"),
            Column(""),
            Column("against"),
            Column("reading", "figure", "ohms"),
            Column("one way round", "figure", "ohms"),
        ),
        tuple(
            (
                row.place,
                row.what,
                row.against,
                ohms_text(row.ohms),
                "" if row.forward is None else ohms_text(row.forward),
            )
            for row in readings
        ),
        parts=tuple(row.place.partition(".")[0].partition(" ")[0] for row in readings),
    )


def ohms_text(value: float | None) -> str:
    """Return a resistance; None is an open circuit."""
    return "open" if value is None else "0 ohm" if value < 0.05 else shown(value, "ohm")


def signal_tables(signal: Signal) -> tuple[Table, ...]:
    """Return the tables of a signal: figures, then the response at each stop of the controls."""
    return figures(signal), responses(signal.responses)


def figures(signal: Signal) -> Table:
    """Return gain, watts, distortion, hum and stability, a row each."""
    rows: list[tuple[str, str, Mark]] = [
        ("Gain, input to load", gain_text(signal.gain), ""),
        ("Output impedance at the load", shown(signal.output_ohms, "ohm"), ""),
        ("Onset of clipping (10 % distortion or 1 dB)", _level(signal.full), ""),
        ("  distortion", bent(signal.full), ""),
        ("Half of that power", _level(signal.half), ""),
        ("  distortion", bent(signal.half), ""),
        *hum_rows(signal.hum),
        *stability_rows(signal),
    ]
    return Table(
        "figures",
        f"From {signal.input} into {signal.speaker}, {signal.load_ohms:g} ohm, 1 kHz",
        "Every control is where it is loudest.",
        (Column("", "name"), Column("")),
        tuple((name, words) for name, words, _ in rows),
        marks=tuple(mark for _, _, mark in rows),
    )


def responses(of: Iterable[Response]) -> Table:
    """Return the response at each stop of the controls; one that changes nothing has one row."""
    by_control: dict[str, list[Response]] = {}
    for response in of:
        by_control.setdefault(response.control, []).append(response)
    rows: list[tuple[Cell, ...]] = []
    for control, stops in by_control.items():
        idle = len(stops) > 1 and all(
            abs(there / here - 1) < 1e-3
            for stop in stops[1:]
            for there, here in zip(stop.gain, stops[0].gain, strict=True)
        )
        rows += [
            (
                control,
                "any: it does not change the response" if idle else stop.position,
                gain_text(stop.at_tone),
                shown(stop.low, "Hz") if stop.low else "below 10 Hz",
                shown(stop.high, "Hz") if stop.high else "above 100 kHz",
            )
            for stop in (stops[:1] if idle else stops)
        ]
    return Table(
        "response",
        "Response at each stop of the controls",
        "",
        (
            Column("control", "name"),
            Column("position"),
            Column("gain at 1 kHz", "figure", "levels"),
            Column("-3 dB low", "figure", "levels"),
            Column("-3 dB high", "figure", "levels"),
        ),
        tuple(rows),
    )


def gain_text(value: float) -> str:
    """Return a gain to three figures."""
    return f"{value:,.0f}" if value >= 99.5 else f"{value:.3g}"


def _level(power: Power) -> str:
    return (
        f"{shown(power.watts, 'W')}, {shown(power.load_volts, 'V')} RMS at the load, for"
        f" {shown(power.input_volts, 'V')} RMS at the input"
    )


def bent(power: Power) -> str:
    """Return a distortion with its harmonics."""
    parts = ", ".join(
        f"{name} {share:.1%}" for name, share in zip(ORDINALS, power.harmonics, strict=False)
    )
    return f"{power.distortion:.1%}: {parts}".replace("%", " %")


def hum_rows(hum: Hum) -> list[tuple[str, str, Mark]]:
    """Return the hum at the load and what heater leakage would add to it."""
    name = "Hum at the load from the supply, input shorted"
    if not hum.volts:
        return [(name, "none: the supply is direct current", "")]
    below = "" if hum.below_full_db is None else f", {hum.below_full_db:.0f} dB below clipping"
    rows: list[tuple[str, str, Mark]] = [
        (
            name,
            f"{shown(hum.volts, 'V')} RMS ({_part(hum.line_volts, hum.volts)} at the line's"
            f" frequency, {_part(hum.double_volts, hum.volts)} at twice it){below}",
            "",
        )
    ]
    if hum.leak_part and hum.leak_ohms is not None:
        rows.append(
            (
                "  leakage from heater to cathode, not included",
                f"each microamp at {hum.leak_part}, the most sensitive tube, adds"
                f" {shown(hum.leak_ohms * 1e-6, 'V')}; no data sheet prints the leakage",
                "",
            )
        )
    return rows


def _part(volts: float, total: float) -> str:
    return "none" if volts < 1e-6 * total else shown(volts, "V")


def stability_rows(signal: Signal) -> list[tuple[str, str, Mark]]:
    """Return whether the amplifier oscillates, where, and what was tried against it."""
    if signal.grows:
        return _oscillation(signal)
    at_stops: list[tuple[str, str, Mark]] = [
        (
            f"{stop.control} at {stop.position}",
            f"it oscillates, strongest at {stop.grows.node}, starting near"
            f" {shown(stop.grows.hertz, 'Hz')}"
            if stop.grows.hertz
            else f"it runs away at {stop.grows.node}",
            "bad",
        )
        for stop in signal.responses
        if stop.grows
    ]
    least = signal.least_damped
    if at_stops:
        return [*at_stops, ("Stability", "stable with the controls where they are loudest", "")]
    words = "all modes decay, with each control at its stops and in the middle"
    if least:
        words += (
            f"; the least damped is at {shown(least.hertz, 'Hz')} (damping {least.damping:.2f}),"
            f" strongest at {least.node}"
        )
    return [("Stability", f"stable: {words}", "")]


def _oscillation(signal: Signal) -> list[tuple[str, str, Mark]]:
    worst = signal.grows[0]
    if signal.swing:
        words = (
            f"{_name(signal.swing.hertz)} at {shown(signal.swing.hertz, 'Hz')}, strongest at"
            f" {worst.node}, {shown(signal.swing.volts, 'V')} peak to peak there"
        )
    elif worst.hertz:
        words = (
            f"{_name(worst.hertz)}, strongest at {worst.node}, starting near"
            f" {shown(worst.hertz, 'Hz')}; its final amplitude was not computed"
        )
    else:
        words = f"it runs away at {worst.node} and settles elsewhere"
    rows: list[tuple[str, str, Mark]] = [("It oscillates", words, "bad")]
    rows += [
        ("  a cure, solved", f"{remedy_words(one)} (least damping then {one.damping:.2f})", "")
        for one in signal.remedies
    ]
    if signal.remedies:
        rows.append(("  note", "the figures of this table are with the first cure fitted", ""))
    else:
        rows.append(
            (
                "  no cure found",
                "tried: a larger filter capacitor, another decoupling section, output transformer"
                " leads exchanged, a change in the feedback",
                "",
            )
        )
    return rows


def _name(hertz: float) -> str:
    return "motorboating" if hertz < MOTORBOATING else "squeal"


def remedy_words(remedy: Remedy) -> str:
    """Return what to do, in the words of the bench."""
    match remedy.kind:
        case "decouple":
            return (
                f"{shown(remedy.ohms, 'ohm')} between {remedy.node} and {remedy.part}, and"
                f" {shown(remedy.farads, 'F')} from their joint to common"
            )
        case "capacitor":
            return f"{remedy.part} at {remedy.node} changed to {shown(remedy.farads, 'F')}"
        case "across":
            return f"{shown(remedy.farads, 'F')} across {remedy.part}"
        case "resistor":
            return f"{remedy.part} changed to {shown(remedy.ohms, 'ohm')}"
        case _:
            return (
                f"the two secondary leads of {remedy.part} exchanged: the feedback has the wrong"
                " sign"
            )


def _milli(amps: float | None) -> float | None:
    return None if amps is None else amps * 1e3


def _band(low: float, high: float) -> str:
    return band(low, high).removesuffix(" V")
