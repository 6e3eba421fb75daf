"""The bench sheet: what to read first on a set of which nothing is known, and where each outcome of
the first readings leads.
"""

from __future__ import annotations

import numpy as np

from rework.faultfinding.diagnosis import TroubleBoard
from rework.faultfinding.live_work import reasons
from rework.faultfinding.next_reading import NextReading, next_readings
from rework.faultfinding.points import BenchFigure
from rework.faultfinding.rank import ranking
from rework.faultfinding.trouble_words import (
    amount_words,
    figure_words,
    range_words,
    trouble_words,
    what_words,
)
from rework.language.bench import Quantity
from rework.report.figures import shown
from rework.report.table import Column, Table
from rework.rules.run import JobRun

#: Readings on the sheet, and how many of the first have a branch for each outcome.
READINGS, BRANCHED = 10, 3
#: So many readings come first with the plug out: nothing is known of the set yet.
UNPLUGGED = 4
#: Branches of a reading, the likeliest outcomes.
BRANCHES = 3


def bench_sheet(on: TroubleBoard, run: JobRun) -> Table:
    """Return the first readings in the best order for a set of which nothing is known: each as a
    sound set shows it, and for the first three what another outcome points to.

    The order is that of a set that reads sound so far. A reading of another outcome goes into the
    job: ``rework trouble`` then says what to read next.
    """
    ranks = ranking(on.expected, (), ())
    rows = []
    for number in range(1, READINGS + 1):
        perils = reasons(ranks, isolated=on.bench.isolated)
        powered = not perils and number > UNPLUGGED
        following = next_readings(ranks, on.offered, powered=powered)
        if not following:
            break
        column = following[0].column
        figure = on.expected.figures[column]
        sound = float(on.expected.mean[0, column])
        rows.append(
            (
                str(number),
                figure_words(on.circuit, figure, on.common),
                _what(figure),
                range_words(figure, sound),
                "plug out" if figure.of is Quantity.OHMS else "on",
                amount_words(figure, sound),
                "",
                _branches(on, run, following[0]) if number <= BRANCHED else "",
            )
        )
        taken = (*ranks.columns, column)
        ranks = ranking(on.expected, taken, (*ranks.read.tolist(), sound))
    return Table(
        "bench-sheet",
        "Bench sheet: what to read first",
        "Plug out means unplugged, discharged and measured to be so. Where a reading is not as a"
        " sound set reads, type all of them into the job and run rework trouble: it says what to"
        " read next.",
        (
            Column("No."),
            Column("Where", "name"),
            Column("What"),
            Column("Range"),
            Column("Set"),
            Column("Sound", "figure"),
            Column("Read", "blank"),
            Column("If it reads otherwise"),
        ),
        tuple(rows),
        "Nothing to read: no trouble of this set has numbers.",
    )


def _what(figure: BenchFigure) -> str:
    """Return what is read in few words, so that the column of outcomes has room."""
    if figure.of is Quantity.SIGNAL:
        return f"AC volts, {shown(figure.hertz, 'Hz')} {shown(figure.drive, 'V')} in"
    return "AC volts, no input" if figure.of is Quantity.AC else what_words(figure)


def _branches(on: TroubleBoard, run: JobRun, following: NextReading) -> str:
    """Return what the outcomes besides that of a sound set point to."""
    figure = on.expected.figures[following.column]
    sound = float(on.expected.mean[0, following.column])
    by_key = {s.trouble.key: s.trouble for s in on.expected.suspects}
    branches = []
    for outcome in following.outcomes:
        if outcome.low <= sound <= outcome.high:
            continue
        middle = float(np.mean((outcome.low, outcome.high)))
        names = [trouble_words(by_key[key], run, on.circuit) for key, _ in outcome.keys[:2]]
        branches.append(f"about {amount_words(figure, middle)}: {', or '.join(names)}")
    return "; ".join(branches[:BRANCHES])
