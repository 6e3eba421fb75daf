"""The voltage chart as tables: what terminal, page and paper say of it."""

from __future__ import annotations

from collections.abc import Mapping

from rework.report.figures import band, band_ends
from rework.report.table import Cell, Column, Mark, Table
from rework.solve.chart import Chart

LIVE = (
    "Measuring these is work on a live chassis: isolation transformer on the bench, one hand,"
    " insulated probe. They are the volts of the netlist as written."
)
#: Capacitors that never see so many volts are left out; --json has them all.
LEAST_VOLTS = 20.0
#: The same of corners of tubes that take less than so many watts.
LEAST_WATTS = 0.2
#: Less RMS volts than this is not worth a cell: at a tube pin, and at a node of the supply.
LEAST_AC, LEAST_RIPPLE = 0.05, 0.0005


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
                _ripple(row.ripple_low, row.ripple_high),
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
            Column("max", "figure", "", "W"),
            Column("screen", "figure", "watts", "W"),
            Column("max", "figure", "", "W"),
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
                f"{row.of}, V"
                if row.key == "volts"
                else f"{row.of} {row.unit}".strip() + " plate, W",
                row.low,
                row.nominal,
                row.high,
                ", ".join(f"{name} {share:+.0%}" for name, share in row.parts),
            )
            for row in chart.corners
            if row.key == "volts" or row.high > LEAST_WATTS
        ),
    )


def _milli(amps: float | None) -> float | None:
    return None if amps is None else amps * 1e3


def _band(low: float, high: float) -> str:
    return band(low, high).removesuffix(" V")


def _ripple(low: float, high: float) -> str:
    return " to ".join(band_ends(low, high)) if high > low else ""
