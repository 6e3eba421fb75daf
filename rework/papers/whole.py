"""All papers of a job as one value, made once; page, print, text and spreadsheets are written from
it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rework.papers.charts import charts
from rework.papers.cover import CAUTIONS, Cover, cover
from rework.papers.drawings import Drawing
from rework.papers.lists import lists, parts_kept, parts_removed, parts_to_fit, wire_list
from rework.papers.mains_wires import notes as wire_notes
from rework.papers.methods import MethodText, told
from rework.papers.numbers import Numbers
from rework.papers.owner import Owner, owner
from rework.papers.pin_sheet import pin_sheet
from rework.papers.readings import readings
from rework.papers.readings import table as readings_table
from rework.papers.record import Record, with_results, with_ticks
from rework.papers.trial.plan import TrialGroup, grouped
from rework.papers.trial.whole import trial
from rework.papers.work import WorkGroup, work_order
from rework.report.table import Table
from rework.rules.run import JobRun
from rework.solve.stress_words import stress_words
from rework.supply.stock import Shelf


@dataclass(frozen=True, slots=True)
class Papers:
    """The papers in the order the bench uses them.

    ``undrawn`` says why there are no drawings, where there are none; ``of_the_set`` what the record
    says of the whole job, ``leakage`` and ``earth`` what it has of those tests.
    """

    date: str
    of_the_set: tuple[tuple[str, str], ...]
    cover: Cover
    cautions: tuple[tuple[str, str], ...]
    sheets: tuple[Drawing, ...]
    undrawn: str
    wires: Table
    wire_notes: tuple[str, ...]
    work: tuple[WorkGroup, ...]
    fit: Table
    removed: Table
    kept: Table
    charts: tuple[Table, ...]
    flags: tuple[str, ...]
    trial: tuple[TrialGroup, ...]
    readings: Table
    owner: Owner
    options: Table
    methods: tuple[MethodText, ...]
    pins: Table
    leakage: str
    earth: str
    stamp: str

    @property
    def tables(self) -> tuple[Table, ...]:
        """Every table that is also a file for a spreadsheet."""
        return (self.fit, self.removed, self.kept, self.wires, *self.charts)


#: Nothing was recorded yet.
NO_RECORD = Record()
#: What the page says of options until something has compared them.
NO_OPTIONS = Table(
    "options",
    "Options that were open",
    "",
    (),
    (),
    "The options were not compared.",
)


def papers(
    run: JobRun,
    known: Numbers,
    sheets: Sequence[Drawing],
    *,
    date: str,
    shelf: Shelf | None = None,
    undrawn: str = "",
    options: Table = NO_OPTIONS,
    stamp: str = "",
    record: Record = NO_RECORD,
) -> Papers:
    """Return the papers of a job that was run to its end.

    ``date`` is printed as it is given; ``stamp`` says which files and which version of the program
    they are made from.
    """
    front, parts = cover(run, known), lists(run)
    plan = with_results(grouped(trial(run.after, known.after, known.bench)), record)
    results = {test.key: test.result for group in plan for test in group.tests}
    return Papers(
        date,
        record.of_the_set,
        front,
        CAUTIONS,
        tuple(sheets),
        undrawn,
        wire_list(parts, run.after),
        wire_notes(run.after, tuple(wire.colour for wire in parts.wires)),
        with_ticks(work_order(run), record),
        parts_to_fit(run, parts, known, shelf),
        parts_removed(parts),
        parts_kept(run, parts, known),
        charts(run, known.after),
        tuple(map(stress_words, known.after.chart.flagged)) if known.after.chart else (),
        plan,
        readings_table(readings(run, known.after)),
        owner(run, front, parts, known, shelf),
        options,
        told(run),
        pin_sheet(run, known.after),
        results.get("leakage", ""),
        results.get("earth", ""),
        stamp,
    )
