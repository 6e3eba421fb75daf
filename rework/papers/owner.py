"""The label for the inside of the cabinet and the page for the customer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from rework.papers.charts import b_plus
from rework.papers.cover import Cover
from rework.papers.lists import Lists
from rework.papers.numbers import Numbers, Side
from rework.papers.places import plain
from rework.papers.prices import Cost, cost
from rework.report.figures import NOT_COMPUTED, counted, shown
from rework.report.table import Column, Table
from rework.rules.run import JobRun
from rework.supply.stock import Shelf


@dataclass(frozen=True, slots=True)
class Owner:
    """What label and customer page say; a figure that nothing has computed says so, with the reason
    in ``now.why`` or the cell.
    """

    fuses: tuple[str, ...]
    b_plus: str
    found: tuple[str, ...]
    done: tuple[str, ...]
    now: Table
    bill: Table
    verdict: str


def owner(run: JobRun, front: Cover, parts: Lists, known: Numbers, shelf: Shelf | None) -> Owner:
    """Return the facts for label and customer page."""
    fuses = tuple(f"{part.name}: {plain(part)}" for part in run.after.parts if part.kind == "fuse")
    reach = len(front.before.hazards)
    found = [
        (
            f"{counted(reach, 'place')} within reach of a hand had a way to the mains:"
            f" {', '.join(node for node, _, _ in front.before.hazards)}."
            if reach
            else "No tie to the mains within reach of a hand was found in the netlist as written."
        ),
        *(message for message, _ in front.before.must),
    ]
    sum_ = cost(
        run.job,
        tuple(replace(line.part, name=line.name) for line in parts.fit if line.part is not None),
        shelf,
    )
    done = (*front.lines, *run.job.customer)
    return Owner(
        fuses,
        b_plus(run, known.after.chart) or NOT_COMPUTED,
        tuple(found),
        done,
        _now(known),
        _bill(run, parts, sum_),
        sum_.verdict,
    )


def _now(known: Numbers) -> Table:
    columns = (Column("", "name"), Column("As found", "figure"), Column("Now, on paper", "figure"))
    rows = (
        (
            "Output, where it begins to clip",
            *_each(known, lambda side: shown(side.signal.full.watts, "W") if side.signal else ""),
        ),
        ("Hum at the speaker", *_each(known, _hum)),
        (
            "Taken from the line",
            *_each(known, lambda side: shown(side.chart.line_watts, "W") if side.chart else ""),
        ),
        (
            "A hand would carry, at worst",
            *_each(
                known,
                lambda side: (
                    shown(side.touch.worst.reading, "A") if side.touch and side.touch.worst else ""
                ),
            ),
        ),
    )
    reasons = [
        f"As found: {known.before.reason('signal')}" if known.before.signal is None else "",
        f"Now: {known.after.reason('signal')}" if known.after.signal is None else "",
    ]
    return Table(
        "now",
        "What it does now",
        " ".join(filter(None, reasons)),
        columns,
        rows,
        row_hows=("signal", "hum", "volts", "touch"),
    )


def _hum(side: Side) -> str:
    if side.signal is None:
        return ""
    below = side.signal.hum.below_full_db
    return shown(side.signal.hum.volts, "V") + (
        f", {below:.0f} dB below full output" if below is not None else ""
    )


def _each(known: Numbers, of: Callable[[Side], str]) -> tuple[str, str]:
    return of(known.before) or NOT_COMPUTED, of(known.after) or NOT_COMPUTED


def _bill(run: JobRun, parts: Lists, sum_: Cost) -> Table:
    hours = f"{run.job.labour / 3600:g} hours" if run.job.labour is not None else "hours not stated"
    rate = f" at {sum_.money(run.job.rate.amount)}" if run.job.rate else ", rate not stated"
    missing = (
        f"{len(sum_.unpriced)} not on the list: {', '.join(sum_.unpriced)}"
        if sum_.parts is not None and sum_.unpriced
        else ""
    )
    total = (
        NOT_COMPUTED
        if sum_.total is None
        else ("at least " if missing else "") + sum_.money(sum_.total)
    )
    rows = (
        (
            f"Labour, {hours}{rate}",
            sum_.money(sum_.labour) if sum_.labour is not None else NOT_COMPUTED,
        ),
        (
            f"{counted(len(parts.fit), 'part')} fitted" + (f" ({missing})" if missing else ""),
            (
                sum_.money(sum_.parts)
                if sum_.parts is not None
                else f"{NOT_COMPUTED}: no price list is named"
            ),
        ),
        ("Together", total),
        ("What the set is then worth", sum_.money(sum_.worth)),
    )
    return Table(
        "bill", "What it costs", "", (Column("", "name"), Column("Amount", "figure", "cost")), rows
    )
