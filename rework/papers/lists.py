"""Parts to fit with the reason of each rating, the tray of what came out, parts kept that stand
more than before, and the wires to run.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    AttachCircuit,
    CutConductor,
    ExchangeTube,
    FitPart,
    RemovePart,
    RunWire,
    SetValue,
    apply_edit,
)
from rework.circuit.parts import Part
from rework.papers.mains_wires import cord_rows, gauge_words
from rework.papers.numbers import Numbers
from rework.papers.places import end_words, plain
from rework.papers.stress import Grown, grown, why_rating
from rework.report.cells import share, shown
from rework.report.figures import counted
from rework.report.table import Column, Table
from rework.rules.run import JobRun
from rework.supply.pricing import item_for
from rework.supply.stock import Shelf

#: Heading of the reason that a part is fitted; the work order tells it too.
REASON = "Why it is fitted"


@dataclass(frozen=True, slots=True)
class PartsRow:
    """One row of a parts list.

    ``why`` is the reason of the edit that brought or took the part; ``part`` is it as it ends up.
    """

    name: str
    what: str
    why: str
    note: str = ""
    part: Part | None = None


@dataclass(frozen=True, slots=True)
class Wire:
    """One conductor to run: a shielded cable has a row for each core and one for the shield."""

    name: str
    colour: str
    gauge: str
    make: str
    start: str
    finish: str


@dataclass(frozen=True, slots=True)
class Lists:
    """The parts and wires of a job."""

    fit: tuple[PartsRow, ...]
    removed: tuple[PartsRow, ...]
    kept: tuple[PartsRow, ...]
    wires: tuple[Wire, ...]


def lists(run: JobRun) -> Lists:
    """Return the lists of a job, read off its edits in their order."""
    fit: list[PartsRow] = []
    removed: list[PartsRow] = []
    touched: set[str] = set()
    circuit = run.before
    for edit in run.edits:
        action, why = edit.action, edit.reason
        old = circuit.by_name
        match action:
            case FitPart(part) if part.kind != "socket":
                fit.append(PartsRow(part.name, plain(part), why, part=part))
            case AttachCircuit(other, prefix):
                fit += [
                    PartsRow(
                        f"{prefix}/{part.name}", plain(part), part.remark or "new supply", part=part
                    )
                    for part in other.parts
                    if part.kind != "chassis" and not part.is_conductor
                ]
            case SetValue(name, values, words):
                new = replace(old[name], values=values, words=words)
                fit.append(PartsRow(name, plain(new), why, part=new))
                removed.append(PartsRow(name, plain(old[name]), why))
                touched.add(name)
            case ExchangeTube(name, type_) if type_ != old[name].type:
                fit.append(
                    PartsRow(name, f"tube {type_}", why, part=replace(old[name], type=type_))
                )
                removed.append(PartsRow(name, plain(old[name]), why))
                touched.add(name)
            case RemovePart(name):
                removed.append(PartsRow(name, plain(old[name]), why, old[name].remark))
                touched.add(name)
            case CutConductor(name) if old[name].kind != "trace":
                removed.append(PartsRow(name, plain(old[name]), why, old[name].remark))
                touched.add(name)
            case _:
                pass
        circuit = apply_edit(circuit, action)
    kept = [
        PartsRow(part.name, plain(part), "", part=part)
        for part in run.before.parts
        if part.name not in touched
        and part.name in circuit.by_name
        and not part.is_conductor
        and part.kind not in ("chassis", "earth")
    ]
    return Lists(tuple(fit), tuple(removed), tuple(kept), wires(run))


def parts_to_fit(run: JobRun, listed: Lists, known: Numbers, shelf: Shelf | None) -> Table:
    """Return the parts to fit: value, rating, computed stress, why it is fitted, price where the
    list has one.
    """
    columns = (
        Column("", "tick"),
        Column("Name", "name"),
        Column("Part"),
        Column(REASON),
        Column("Rating and computed stress", "text", "ratings"),
        *((Column("Price", "figure", "cost"),) if shelf else ()),
    )
    rows = []
    for line in listed.fit:
        part = run.after.by_name.get(line.name)
        item = item_for(part, shelf) if part is not None else None
        stands = why_rating(part, known.after) if part is not None else ""
        rows.append(
            (
                "",
                line.name,
                line.what,
                line.why,
                stands,
                *((f"{item.price:.2f}" if item else "not on the list",) if shelf else ()),
            )
        )
    lead = (
        "The rating or more. "
        if known.after.chart is not None
        else known.after.reason("chart") + " "
    )
    lead += (
        f"Prices from {run.job.prices}."
        if shelf
        else "No price list is named in the job file, so no prices."
    )
    return Table(
        "parts-to-fit", "Parts to fit", lead, columns, tuple(rows), "Nothing is to be bought."
    )


def parts_removed(listed: Lists) -> Table:
    """Return the tray of leftovers."""
    columns = (
        Column("", "tick"),
        Column("Name", "name"),
        Column("Part"),
        Column("Why it came out"),
        Column("Remark"),
    )
    return Table(
        "parts-removed",
        "The tray: parts removed",
        "Each with its name on a tag. Do not refit any of them.",
        columns,
        tuple(("", line.name, line.what, line.why, line.note) for line in listed.removed),
        "Nothing comes out.",
    )


def parts_kept(run: JobRun, listed: Lists, known: Numbers) -> Table:
    """Return the parts kept that stand more than before, with volts or watts before and after."""
    columns = (
        Column("Name", "name"),
        Column("Part"),
        Column("Stress"),
        Column("Before", "figure", "ratings"),
        Column("After", "figure", "ratings"),
        Column("Rating", "figure"),
        Column("Share", "figure", "ratings"),
    )
    more = [
        (line, growth)
        for line in listed.kept
        if line.part is not None
        for growth in grown(line.part, run.after.by_name[line.name], known.before, known.after)
    ]
    more.sort(key=lambda pair: -pair[1].load.amount / (pair[1].load.rating or float("inf")))
    rows = [
        (line.name, line.what, growth.load.what, *_grown_words(growth)) for line, growth in more
    ]
    alike = len(listed.kept) - len({row[0] for row in rows})
    if known.after.chart is None:
        why = known.after.reason("chart") + " Measure, and compare each with its rating."
        return Table("parts-kept", "Retained parts under higher stress", "", columns, (), why)
    before = (
        ""
        if known.before.chart is not None
        else " Before: "
        + known.before.reason("chart")
        + " So every rated figure of a kept part is listed."
    )
    title, stay = (
        "Retained parts under higher stress",
        f"{counted(len(listed.kept), 'part')} of the old set stay",
    )
    if not rows:
        why = f"{stay}. None has more stress than before, computed.{before}"
        return Table("parts-kept", title, "", columns, (), why)
    lead = (
        f"{stay}; {alike} of them have no more stress than before, computed. The"
        f" part nearest to its rating comes first.{before}"
    )
    return Table("parts-kept", title, lead, columns, tuple(rows))


def _grown_words(growth: Grown) -> tuple[str, str, str, str]:
    load = growth.load
    was = "–" if growth.before is None else shown(growth.before, load.unit)
    if not load.rating:
        return was, shown(load.amount, load.unit), "not stated", ""
    return (
        was,
        shown(load.amount, load.unit),
        shown(load.rating, load.unit),
        share(load.amount / load.rating).after("OVER " if load.amount > load.rating else ""),
    )


def wire_list(listed: Lists, circuit: Circuit) -> Table:
    """Return the wires to run, one row a conductor: the line cord first, then those of the job."""
    columns = (
        Column("", "tick"),
        Column("Wire", "name"),
        Column("Colour"),
        Column("Gauge"),
        Column("Make"),
        Column("From"),
        Column("To"),
    )
    return Table(
        "wires",
        "Wire list",
        "Tick a wire when it is connected and measured.",
        columns,
        (
            *(("", *row) for row in cord_rows(circuit)),
            *(
                ("", wire.name, wire.colour, wire.gauge, wire.make, wire.start, wire.finish)
                for wire in listed.wires
            ),
        ),
        "No wire is run.",
    )


def wires(run: JobRun) -> tuple[Wire, ...]:
    """Return every conductor the job runs and every wire of a circuit it attaches that is still
    there, with its ends.
    """
    rows: list[Wire] = []
    for edit in run.edits:
        match edit.action:
            case RunWire(part):
                if part.name in run.after.by_name:
                    rows += _rows(part, run)
            case AttachCircuit(other, prefix):
                names = [f"{prefix}/{part.name}" for part in other.parts if part.is_conductor]
                rows += [
                    row
                    for name in names
                    if name in run.after.by_name
                    for row in _rows(run.after.by_name[name], run)
                ]
            case _:
                pass
    return tuple(rows)


def _core_words(part: Part, core: str, circuit: Circuit) -> tuple[str, ...]:
    """Return what a conductor of a shielded cable is, with the volts its insulation has to bear."""
    if not core:
        return ()
    if core == "shield":
        return ("shield, one end only",)
    rated = part.value("voltage") or (circuit.mains.volts if circuit.mains else None)
    return (f"shielded, {rated:g} V or more" if rated else "shielded",)


def _rows(part: Part, run: JobRun) -> list[Wire]:
    cores: dict[str, list[tuple[str, str]]] = {}
    for terminal, end in part.pins:
        cores.setdefault(
            terminal.partition(".")[0] if part.kind == "shielded cable" else "", []
        ).append((terminal, end))
    colour = ", ".join(
        word for word in part.words if word not in ("twisted", "solid", "stranded")
    ) or ("as its cores" if part.kind == "shielded cable" else "not stated")
    gauge = gauge_words(part, run.after)
    make = [word for word in ("twisted", "solid", "stranded") if word in part.words]
    rows = []
    for core, ends in cores.items():
        ends_told = [end_words(run.after, part, terminal, end) for terminal, end in ends]
        form = ", ".join([*make, *_core_words(part, core, run.after)]) or "single"
        rows.append(
            Wire(
                f"{part.name} {core}".strip(),
                colour,
                gauge,
                form,
                ends_told[0],
                ends_told[1] if len(ends_told) > 1 else "free at this end",
            )
        )
    return rows
