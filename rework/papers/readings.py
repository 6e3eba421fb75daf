"""The readings of the job file: each at its pin, held against its band; one that is nowhere in the
set is an error.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.faultfinding.points import across
from rework.language.bench import Quantity, Reading
from rework.language.mistakes import nearest
from rework.language.quantity import UNIT_OF
from rework.papers.numbers import Side
from rework.papers.places import pin_words
from rework.report.figures import NOT_COMPUTED, band, shown
from rework.report.table import Column, Table
from rework.rules.run import JobRun
from rework.solve.chart import Chart
from rework.solve.ohms import OhmsReading
from rework.tubes import library

#: A resistance or current read is inside within this share of what was computed: part tolerance and
#: meter (common practice, no source).
WITHIN = 0.2


@dataclass(frozen=True, slots=True)
class Read:
    """One reading against its band; ``verdict`` is inside, OUTSIDE, or not computed.

    ``off`` says by how much where it is outside.
    """

    at: str
    value: str
    expected: str
    verdict: str
    off: str
    remark: str


def readings(run: JobRun, after: Side) -> tuple[Read, ...]:
    """Return the readings of the job file, in its order."""
    rows = []
    for reading in run.job.readings:
        expected = _expected(reading, run.after, after) if _has_band(reading) else None
        verdict, off = NOT_COMPUTED, ""
        if expected is not None:
            low, high = expected
            verdict = "inside" if low <= reading.value.amount <= high else "OUTSIDE"
            if verdict == "OUTSIDE":
                unit = UNIT_OF[reading.value.dimension]
                off = (
                    f"{shown(low - reading.value.amount, unit)} under"
                    if reading.value.amount < low
                    else f"{shown(reading.value.amount - high, unit)} over"
                )
        rows.append(
            Read(
                _place(reading.at, run.after),
                reading.value.text,
                _band(reading, expected),
                verdict,
                off,
                reading.remark,
            )
        )
    return tuple(rows)


#: What a set is called by its side of the job.
_SETS = {"before": "the set as found", "after": "the finished set"}


def _has_band(reading: Reading) -> bool:
    """Return whether a chart of the finished set has a band for a reading: no state of the bench,
    no second point, no alternating volts, no open circuit.
    """
    plain = reading.is_plain and reading.of is not Quantity.AC
    return plain and reading.value.amount != float("inf")


def _band(reading: Reading, expected: tuple[float, float] | None) -> str:
    if expected is None:
        return NOT_COMPUTED
    unit = UNIT_OF[reading.value.dimension]
    return band(*expected, unit) or shown(expected[0], unit)


def table(rows: tuple[Read, ...]) -> Table:
    """Return the readings as a table."""
    columns = (
        Column("At", "name"),
        Column("Reading", "figure"),
        Column("Band", "figure", "band"),
        Column("Verdict"),
        Column("Remark"),
    )
    outside = sum(row.verdict == "OUTSIDE" for row in rows)
    lead = "As typed into the job file, held against what was computed." + (
        f" {outside} outside: stop there and find the cause before you continue." if outside else ""
    )
    return Table(
        "readings",
        "Readings",
        lead,
        columns,
        tuple(
            (
                row.at,
                row.value,
                row.expected,
                " ".join(filter(None, (row.verdict, row.off))),
                row.remark,
            )
            for row in rows
        ),
        "None yet. Type each into the job file, such as reading V3.plate 241 V, and write the"
        " papers again.",
    )


def misplaced(run: JobRun) -> tuple[Problem, ...]:
    """Return an error for every reading at a part, pin or node that its set does not have, or of a
    kind no meter shows there.
    """
    sides = {"before": run.before, "after": run.after}
    return tuple(
        problem
        for reading in run.job.readings
        for problem in _misplaced(reading, sides[reading.state.side])
    )


def _misplaced(reading: Reading, circuit: Circuit) -> Iterator[Problem]:
    name, _, pin = reading.at.rpartition(".")
    part = circuit.by_name.get(name)
    text = f"reading {reading.at} {reading.value.text}"
    if not reading.to and across(circuit, reading.at) is not None:
        return
    if part is not None:
        if not _pin(circuit, name, pin):
            pins = ", ".join(terminal for terminal, _ in part.pins)
            yield Problem(
                f"{name} has no pin {pin} with anything on it",
                reading.place,
                text,
                f"one of {pins}",
            )
    elif circuit.node_named(reading.at) not in circuit.at and reading.at not in circuit.by_name:
        near = nearest(name or reading.at, [*circuit.by_name, *circuit.at])
        yield Problem(
            f"{_SETS[reading.state.side]} has nothing called {reading.at}",
            reading.place,
            text,
            "a point, or a part and its pin such as V3.plate",
            (
                f"did you mean {near}{'.' + pin if name and near in circuit.by_name else ''}?"
                if near
                else ""
            ),
        )
    elif reading.at in circuit.by_name and reading.value.dimension == "voltage":
        yield Problem(
            f"volts are read at a pin, and {reading.at} is a part",
            reading.place,
            text,
            f"a pin such as {reading.at}.{circuit.by_name[reading.at].pins[0][0]}",
        )


def _pin(circuit: Circuit, name: str, pin: str) -> str:
    """Return the terminal that a pin number, terminal or element of a tube names, or nothing."""
    part = circuit.by_name[name]
    if part.node(pin):
        return pin
    tube = library.find(part.type) if part.kind == "tube" else None
    return next((number for number in (tube.pins_of(pin) if tube else ()) if part.node(number)), "")


def _place(at: str, circuit: Circuit) -> str:
    name, _, pin = at.rpartition(".")
    if name in circuit.by_name and (terminal := _pin(circuit, name, pin)):
        return pin_words(circuit.by_name[name], terminal)
    return at


def _expected(reading: Reading, circuit: Circuit, after: Side) -> tuple[float, float] | None:
    name, _, pin = reading.at.rpartition(".")
    node = circuit.node_named(reading.at)
    if name in circuit.by_name:
        terminal = _pin(circuit, name, pin)
        node = circuit.by_name[name].node(terminal) or node
    match reading.value.dimension:
        case "voltage" if after.chart is not None:
            return _volts(node, after.chart)
        case "current" if after.chart is not None:
            return _within(_amps(name or reading.at, pin, after.chart))
        case "resistance" if reading.at in circuit.by_name:
            part = circuit.by_name[reading.at]
            return _within(part.value("resistance"), part.value("fraction") or WITHIN)
        case "resistance" if after.ohms is not None:
            values = [
                row
                for row in after.ohms
                if row.against == "common"
                and row.ohms is not None
                and (
                    row.place == node
                    or (
                        row.place == name
                        and row.what.startswith(f"pin {_pin(circuit, name, pin)} ")
                    )
                )
            ]
            return _resistance(values[0]) if values else None
    return None


def _resistance(row: OhmsReading) -> tuple[float, float] | None:
    """Return the band of an ohmmeter's reading; of one without a width what a meter may be off."""
    if row.low is None or row.high is None or row.low == row.high:
        return _within(row.ohms)
    return row.low, row.high


def _volts(node: str, chart: Chart) -> tuple[float, float] | None:
    return next(((row.low, row.high) for row in chart.nodes if row.node == node), None)


def _amps(part: str, what: str, chart: Chart) -> float | None:
    for tube in chart.tubes:
        if tube.part == part:
            return (
                tube.screen_amps
                if what == "screen"
                else tube.plate_amps
                if what in ("plate", "")
                else None
            )
    rows = [row.amps for row in chart.resistors if row.part == part] + [
        row.rms_amps for row in chart.windings if row.part == part and what.startswith(row.winding)
    ]
    return rows[0] if rows else None


def _within(value: float | None, tolerance: float = WITHIN) -> tuple[float, float] | None:
    return None if value is None else (value * (1 - tolerance), value * (1 + tolerance))
