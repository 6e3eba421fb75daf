"""``rework papers``: the papers of a job in one folder."""

from __future__ import annotations

import argparse
import datetime
import sys
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.files import Refusal, write_whole
from rework.commands.jobs import run_job_file
from rework.draw.render import CannotDraw
from rework.papers.drawings import drawings
from rework.papers.html import page
from rework.papers.lists import lists
from rework.papers.tables import tables
from rework.rules.run import JobRun
from rework.safety.check import check

#: Draws for the bands on paper; the command volts takes more.
_SAMPLES = 400


def run(asked: argparse.Namespace) -> int:
    """Write the papers, whole files only; return 1 where the check still finds something in the circuit after the job."""
    done = run_job_file(asked.file)
    try:
        sheets = drawings(done)
    except CannotDraw as error:
        raise Refusal(Problem(str(error))) from error
    text = page(done, sheets, date=asked.date or datetime.date.today().isoformat(), chart=_chart(done))
    folder = Path(asked.output)
    files = {folder / name: data for name, data in {"papers.html": text.encode(), **tables(lists(done))}.items()}
    taken = [path for path in files if path.exists() and not asked.force]
    if taken:
        raise Refusal(*(Problem(f"{path} is there already", hint="name another folder, or add --force to replace it") for path in taken))
    for path, data in files.items():
        write_whole(path, data, force=asked.force)
        print(f"{path} is written.")
    report = check(done.after)
    print(f"After the job: {report.verdict}. The papers say what a meter has to say first.")
    return report.exit_status


def _chart(done: JobRun):
    """Return the voltage chart of the finished set, or None where it has no numbers; why is told on stderr."""
    from rework.solve.chart import volts
    from rework.solve.network import CannotSolve

    try:
        return volts(done.after, samples=_SAMPLES)
    except CannotSolve as error:
        print(f"No volts on these papers: {error}", file=sys.stderr)
        return None
