"""The charts of the bench: volts, ohms, currents and signal levels, each with what to expect and a
blank for the reading.
"""

from __future__ import annotations

from collections.abc import Callable

from rework.circuit.circuit import Circuit
from rework.language.bench import Quantity
from rework.papers.numbers import Side
from rework.papers.places import one_point, pin_words
from rework.report.cells import Amount, ShownFigure, band, share, shown, volts
from rework.report.table import Column, Table
from rework.rules.run import JobRun
from rework.safety.check import check
from rework.solve.chart import Chart
from rework.solve.signal import Signal
from rework.solve.signal_words import ohms_band

#: Less than this many RMS volts is not worth a column on paper.
_LEAST_AC = 0.05
#: Currents through resistors below this are not told: no bench meter reads them.
_LEAST_AMPS = 1e-6
#: Ripple and signals under so many volts are not told.
_LEAST_RIPPLE, _LEAST_SIGNAL = 0.5e-3, 0.1e-3
#: Gives the reading the job file has at a pin or node, by any of the names it may be called there,
#: or nothing.
Read = Callable[..., str]


def charts(run: JobRun, after: Side) -> tuple[Table, ...]:
    """Return the charts of the finished set in the order of the bench: unpowered first."""
    read, listed = reader(run), _listed(run.after)
    return (
        _ohms(run.after, after, read, listed),
        _pins(run.after, after, read),
        _points(run.after, after, read, listed),
        _currents(run.after, after, read),
        _parts(after),
        _levels(run.after, after),
    )


def _listed(circuit: Circuit) -> set[str]:
    """Return the points to read apart from tube pins: one name for each, none on the line side."""
    point = one_point(circuit)
    live = {point[on.node] for on in check(circuit).live if on.node in point}
    seen = {
        point[node] for part in circuit.parts if part.kind == "tube" for _, node in part.pins
    } | live
    listed: set[str] = set()
    for node in sorted(circuit.nodes, key=lambda name: ("/" in name, name)):
        if point[node] not in seen and "." not in node:
            listed.add(node)
            seen.add(point[node])
    return listed


def reader(run: JobRun) -> Read:
    """Return what looks up a reading of the job file by dimension and by any name of its place."""
    reads: dict[tuple[str, str], str] = {}
    for reading in run.job.readings:
        if reading.is_plain and reading.of is not Quantity.AC:
            reads[reading.at, reading.value.dimension] = reading.value.text

    def read(dimension: str, *names: str) -> str:
        return next((reads[name, dimension] for name in names if (name, dimension) in reads), "")

    return read


def _pins(circuit: Circuit, side: Side, read: Read) -> Table:
    chart = side.chart
    lead = (
        ""
        if chart is None
        else (
            f"DC volts to common ({chart.common}), set warm, line at its nominal volts, measured"
            f" with one hand. Band: 5 to 95 % of {chart.samples - chart.failed} draws of part"
            " tolerance, tube spread and line. A reading outside it means: stop and look."
        )
    )
    columns = (
        Column("Tube and pin", "name"),
        Column("Point"),
        Column("DC", "figure", "volts"),
        Column("Band", "figure", "band"),
        Column("AC RMS", "figure", "volts"),
        Column("Read", "blank"),
    )
    rows = (
        []
        if chart is None
        else [
            (
                pin_words(circuit.by_name[pin.part], pin.pin),
                pin.node,
                volts(pin.volts),
                band(pin.low, pin.high),
                shown(pin.ac_volts, "V") if pin.ac_volts >= _LEAST_AC else "",
                read("voltage", f"{pin.part}.{pin.pin}", f"{pin.part}.{pin.element}", pin.node),
            )
            for pin in chart.pins
        ]
    )
    return Table(
        "volts", "Volts to expect, by pin", lead, columns, tuple(rows), side.reason("chart")
    )


def _points(circuit: Circuit, side: Side, read: Read, listed: set[str]) -> Table:
    """Return the points where no tube pin is, and the windings that heat and feed."""
    chart = side.chart
    columns = (
        Column("Point", "name"),
        Column("DC", "figure", "volts"),
        Column("Band", "figure", "band"),
        Column("To chassis", "figure", "volts"),
        Column("AC RMS", "figure", "volts"),
        Column("Read", "blank"),
    )
    rows: list[tuple[str, ...]] = [
        (
            node.node,
            volts(node.volts),
            band(node.low, node.high),
            volts(node.chassis_volts),
            shown(node.ripple, "V") if node.ripple >= _LEAST_RIPPLE else "",
            read("voltage", node.node),
        )
        for node in (chart.nodes if chart else ())
        if node.node in listed and (abs(node.volts) >= _LEAST_AC or node.ripple >= _LEAST_AC)
    ]
    for row in chart.windings if chart else ():
        part = circuit.by_name.get(row.part)
        if (
            part is not None
            and part.kind == "transformer"
            and not row.winding.startswith("primary")
            and row.rms_volts >= _LEAST_AC
        ):
            rows.append(
                (
                    f"across {row.part} {_winding(row.winding)}",
                    "",
                    "",
                    "",
                    shown(row.rms_volts, "V"),
                    "",
                )
            )
    return Table(
        "points",
        "Volts to expect, at other points",
        "To common. Points that a tube pin has already, and the whole line side, are left out:"
        " nothing there is to be probed.",
        columns,
        tuple(rows),
        side.reason("chart"),
    )


def _winding(name: str) -> str:
    return name.replace(".", " half ") or "winding"


def _ohms(circuit: Circuit, side: Side, read: Read, listed: set[str]) -> Table:
    lead = (
        "Plug out, capacitors discharged and measured to be so, tubes in and cold, switch ON,"
        " controls in the middle. Wait until capacitors have charged from the meter. B+ is read at"
        " its reservoir capacitor, with the node in brackets. One way round: where a meter that"
        " turns a semiconductor on reads lower."
    )
    columns = (
        Column("From", "name"),
        Column("To"),
        Column("Ohms", "figure", "ohms"),
        Column("Band", "figure", "band"),
        Column("One way round", "figure", "ohms"),
        Column("Read", "blank"),
    )
    rows = []
    for row in side.ohms or ():
        pin = row.what.split()[1] if row.what.startswith("pin ") else row.what
        part = circuit.by_name.get(row.place) if row.what else None
        if part is None and row.place not in listed:
            continue
        place = pin_words(part, pin) if part is not None and pin else row.place
        forward = (
            resistance(row.forward)
            if row.forward is not None or (row.ohms is None and row.forward)
            else ""
        )
        rows.append(
            (
                place,
                row.against,
                resistance(row.ohms),
                ohms_band(row),
                forward,
                (
                    read("resistance", f"{row.place}.{pin}", row.place)
                    if row.against == "common"
                    else ""
                ),
            )
        )
    return Table(
        "ohms", "Ohms to expect, unpowered", lead, columns, tuple(rows), side.reason("ohms")
    )


def resistance(ohms: float | None) -> str:
    """Return ohms as a meter shows them; None is open."""
    return "open" if ohms is None else "0 ohm" if ohms < 0.05 else shown(ohms, "ohm")


def _currents(circuit: Circuit, side: Side, read: Read) -> Table:
    chart = side.chart
    columns = (
        Column("Part", "name"),
        Column("What flows"),
        Column("Current", "figure", "currents"),
        Column("Watts", "figure", "currents"),
        Column("Of its rating", "figure", "ratings"),
        Column("Read", "blank"),
    )
    rows = (
        ()
        if chart is None
        else (*_line_rows(chart), *_tube_rows(circuit, chart, read), *_iron_rows(chart))
    )
    lead = (
        "RMS for alternating current. To read a current without opening a lead, read the volts"
        " across a resistor in it and divide by its ohms."
        if chart
        else ""
    )
    return Table("currents", "Currents to expect", lead, columns, rows, side.reason("chart"))


def _line_rows(chart: Chart) -> tuple[tuple[str, ...], ...]:
    amps, watts = shown(chart.line_amps, "A"), shown(chart.line_watts, "W")
    rush = shown(chart.rush_amps, "A")
    return (
        ("line", "from the outlet, RMS", amps, watts, "", ""),
        ("line", "at the switch, heaters cold, RMS", rush, "", "", ""),
    )


def _tube_rows(circuit: Circuit, chart: Chart, read: Read) -> list[tuple[str, ...]]:
    order = {part.name: number for number, part in enumerate(circuit.parts)}
    rows: list[tuple[str, ...]] = []
    for tube in sorted(chart.tubes, key=lambda row: order[row.part]):
        unit = f" {tube.unit}" if tube.unit else ""
        currents = [
            ("plate", tube.plate_amps, tube.plate_watts, tube.plate_watts_rating),
            ("screen", tube.screen_amps, tube.screen_watts, tube.screen_watts_rating),
        ]
        rows += [
            (
                tube.part,
                f"{element}{unit}",
                shown(amps, "A"),
                shown(watts, "W"),
                _of(watts, rating, "W"),
                read("current", f"{tube.part}.{element}"),
            )
            for element, amps, watts, rating in currents
            if amps is not None
        ]
    return rows


def _iron_rows(chart: Chart) -> list[tuple[str, ...]]:
    """Return the currents of rectifiers, windings and chokes."""
    rows: list[tuple[str, ...]] = []
    for rectifier in chart.rectifiers:
        unit = f", section {rectifier.unit}" if rectifier.unit else ""
        mean, peak = shown(rectifier.mean_amps, "A"), shown(rectifier.peak_amps, "A")
        rows.append((rectifier.part, f"mean{unit}", mean, "", "", ""))
        rows.append((rectifier.part, f"peak{unit}", peak, "", "", ""))
    rows += [
        (row.part, f"{_winding(row.winding)}, RMS", shown(row.rms_amps, "A"), "", "", "")
        for row in chart.windings
        if row.rms_amps >= _LEAST_AMPS
    ]
    return rows


def _parts(side: Side) -> Table:
    """Return what each resistor passes and dissipates."""
    chart = side.chart
    columns = (
        Column("Resistor", "name"),
        Column("Across it, RMS", "figure", "currents"),
        Column("Current", "figure", "currents"),
        Column("Watts", "figure", "currents"),
        Column("Of its rating", "figure", "ratings"),
        Column("Read, V", "blank"),
    )
    rows = (
        []
        if chart is None
        else [
            (
                row.part,
                shown(row.watts / row.amps if row.amps else 0.0, "V"),
                shown(row.amps, "A"),
                shown(row.watts, "W"),
                _of(row.watts, row.rating, "W"),
                "",
            )
            for row in chart.resistors
            if row.amps >= _LEAST_AMPS
        ]
    )
    return Table(
        "resistors",
        "Through resistors",
        "Volts across a resistor are the quickest way to a current.",
        columns,
        tuple(rows),
        side.reason("chart"),
    )


def _of(value: float | None, rating: float | None, unit: str) -> str:
    if value is None or not rating:
        return ""
    of = value / rating
    text = f"{'OVER ' if value > rating else ''}{share(of)} of {rating:g} {unit}"
    return ShownFigure(text, Amount(100 * of, "%"), Amount(rating, unit, "limit"))


def _levels(circuit: Circuit, side: Side) -> Table:
    """Return the levels for generator, oscilloscope and load, at half the watts and at the onset
    of clipping.
    """
    signal = side.signal
    columns = (
        Column("Where", "name"),
        Column("With"),
        Column("At half the watts", "figure", "signal"),
        Column("Where it clips", "figure", "signal"),
        Column("Read", "blank"),
    )
    if signal is None:
        return Table("levels", "Signal levels", "", columns, (), side.reason("signal"))
    return Table(
        "levels",
        "Signal levels",
        f"RMS volts at 1 kHz, every control where it is loudest, dummy load of {signal.load_ohms:g}"
        " ohm. It clips where distortion reaches 10 % or gain has fallen by 1 dB. At tube pins by"
        f" the gain for small signals. Gain {_gain(signal.gain)} from input to load; the"
        f" amplifier's own output impedance is {shown(signal.output_ohms, 'ohm')}.",
        columns,
        (*_input_rows(circuit, signal), *_load_rows(signal)),
    )


def _input_rows(circuit: Circuit, signal: Signal) -> list[tuple[str, ...]]:
    half, full = signal.half.input_volts, signal.full.input_volts
    points = [(f"input, {signal.input}", "generator, 1 kHz", 1.0)]
    points += [
        (
            pin_words(circuit.by_name[level.part], level.pin),
            f"oscilloscope, ×10 probe, {level.node}",
            level.gain,
        )
        for level in signal.levels
        if level.gain * full >= _LEAST_SIGNAL
    ]
    return [
        (place, instrument, shown(gain * half, "V"), shown(gain * full, "V"), "")
        for place, instrument, gain in points
    ]


def _load_rows(signal: Signal) -> list[tuple[str, ...]]:
    half, full = signal.half, signal.full
    meter = f"meter across {signal.load_ohms:g} ohm"
    hum = shown(signal.hum.volts, "V")
    return [
        (
            f"load in place of {signal.speaker}",
            meter,
            shown(half.load_volts, "V"),
            shown(full.load_volts, "V"),
            "",
        ),
        ("the same", "watts", shown(half.watts, "W"), shown(full.watts, "W"), ""),
        ("the same", "distortion", f"{half.distortion:.1%}", f"{full.distortion:.1%}", ""),
        ("the same, input shorted", "hum, AC millivoltmeter", hum, "", ""),
    ]


def _gain(gain: float) -> str:
    return f"{gain:,.0f}" if gain >= 100 else f"{gain:.3g}"


def b_plus(run: JobRun, chart: Chart | None) -> str:
    """Return the volts at the B+ port of the new supply with their band, or nothing."""
    nodes = [node for port, node in run.after.ports if port.endswith("/bplus")]
    rows = [row for row in chart.nodes if row.node in nodes] if chart is not None else []
    return f"{volts(rows[0].volts)}, band {band(rows[0].low, rows[0].high)}" if rows else ""
