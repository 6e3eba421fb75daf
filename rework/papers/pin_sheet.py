"""The sheet to work from at the sockets: ohms and volts of every tube pin side by side."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.papers.charts import Read, reader, resistance
from rework.papers.numbers import Side
from rework.papers.places import pin_words
from rework.report.cells import band, shown, volts
from rework.report.table import Column, Table
from rework.rules.run import JobRun
from rework.solve.tables import PinRow

#: RMS volts from which a pin is told by its alternating volts: a DC reading there says nothing.
_ALTERNATING = 2.0


def pin_sheet(run: JobRun, side: Side) -> Table:
    """Return a row for each tube pin: ohms to common with the set off, volts with it on."""
    circuit, read = run.after, reader(run)
    chart = side.chart
    columns = (
        Column("Tube and pin", "name"),
        Column("Off, to common", "figure", "ohms"),
        Column("Read", "blank"),
        Column("On, to common", "figure", "volts"),
        Column("Band", "figure", "band"),
        Column("Read", "blank"),
    )
    common = chart.common if chart else "common"
    lead = (
        "Off: plug out, capacitors discharged, tubes in and cold, switch ON, controls in the"
        f" middle. On: set warm, nominal line, meter of 10 Mohm from {common}, no signal. Band: 5"
        " to 95 % of drawn part tolerances, tubes and line; expect one reading in ten outside it."
    )
    rows = _rows(circuit, side, read) if chart or side.ohms else ()
    return Table("pins", "Ohms and volts at the sockets", lead, columns, rows, side.reason("chart"))


def _rows(circuit: Circuit, side: Side, read: Read) -> tuple[tuple[str, ...], ...]:
    ohms = {
        (row.place, row.what.split()[1]): resistance(row.ohms)
        for row in side.ohms or ()
        if row.what.startswith("pin ") and row.against == "common"
    }
    pins = {(row.part, row.pin): row for row in (side.chart.pins if side.chart else ())}
    rows = []
    for part in circuit.parts:
        if part.kind != "tube":
            continue
        for pin, node in part.pins:
            row = pins.get((part.name, pin))
            element = row.element if row else ""
            names = (f"{part.name}.{pin}", f"{part.name}.{element}", node)
            on, wide = _on(row)
            rows.append(
                (
                    pin_words(part, pin),
                    ohms.get((part.name, pin), ""),
                    read("resistance", *names),
                    on,
                    wide,
                    read("voltage", *names),
                )
            )
    return tuple(rows)


def _on(row: PinRow | None) -> tuple[str, str]:
    """Return what a pin reads with the set on, and its band."""
    if row is None:
        return "", ""
    if row.ac_volts >= _ALTERNATING and abs(row.volts) < row.ac_volts:
        return f"{shown(row.ac_volts, 'V')} AC", ""
    return volts(row.volts), band(row.low, row.high)
