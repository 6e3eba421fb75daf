"""``rework papers``: the papers of a job in one folder."""

from __future__ import annotations

import argparse
import datetime
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from rework import __version__
from rework.circuit.place import Problem
from rework.commands.arguments import takes_force
from rework.commands.beside import each_beside
from rework.draw.graph.render import CannotDraw
from rework.language.files import Refusal, circuit_reader, refuse_taken
from rework.papers.drawings import Drawing, Sheet, drawings, sheet_for
from rework.papers.html import page
from rework.papers.notes import notes
from rework.papers.numbers import SUMS, numbers
from rework.papers.pdf import CannotPrint, book
from rework.papers.readings import misplaced
from rework.papers.record import Record, read_record
from rework.papers.whole import NO_OPTIONS, Papers, papers
from rework.report.table import Table, spreadsheet, written
from rework.report.terminal import progress
from rework.rules.job_file import run_job_file, sources
from rework.rules.run import JobRun
from rework.safety.check import check
from rework.solve.network import CannotSolve
from rework.supply.stock import Shelf
from rework.supply.stock_file import stock_list

#: Drawings of more parts than this are left out: no page would hold them.
MOST_DRAWN = 400

EXAMPLE = "rework papers pager.job -o pager-papers"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("file", help="a .job file; - reads it from standard input")
    parser.add_argument(
        "-o",
        "--output",
        metavar="DIR",
        required=True,
        help="folder to write them to; it is created if needed",
    )
    parser.add_argument("--date", metavar="TEXT", help="the date on the papers (default: today)")
    parser.add_argument(
        "--paper",
        choices=("a4", "letter"),
        help="paper of the PDF (default: letter up to 130 V line, a4 above)",
    )
    parser.add_argument(
        "--options",
        action="store_true",
        help="compare the options that were open for the customer's page (some seconds more)",
    )
    parser.add_argument(
        "--full",
        action="store_true",
        help="print every table in the PDF, not the bench set alone, and the sheet for finding a"
        " trouble (half a minute more)",
    )
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Write the papers, all of them or none; return 1 where the check still finds something in the
    circuit after the job.
    """
    done = run_job_file(asked.file)
    lost = misplaced(done)
    if lost:
        raise Refusal(*lost)
    shelf = _shelf(done, Path(asked.file).parent)
    record = Record() if asked.file == "-" else read_record(Path(asked.file))
    folder = Path(asked.output)
    sheet = asked.paper or sheet_for(done.after.mains.volts if done.after.mains else None)
    with progress("computing", SUMS + 2) as bar:
        open_ = _options(done, shelf, Path(asked.file).parent) if asked.options else NO_OPTIONS
        date = asked.date or datetime.date.today().isoformat()
        content, plot = _papers(done, shelf, date, open_, record, bar.update, sheet=sheet)
        content = replace(content, stamp=_stamp(asked.file, done))
        if asked.full:
            content = replace(content, charts=(*content.charts, *_bench_sheet(done)))
        try:
            files = {
                "papers.html": page(content, plot=plot).encode(),
                "papers.pdf": book(content, sheet=sheet, plot=plot, full=asked.full),
            }
        except CannotPrint as error:
            raise Refusal(Problem(str(error))) from error
        bar.update(1)
    files |= {f"{table.key}.csv": spreadsheet(table) for table in content.tables}
    files |= {name: text.encode() for name, text in notes(content).items()}
    _write_folder(folder, files, force=asked.force, inputs=sources(asked.file, done))
    for name in files:
        print(f"{folder / name} is written.")
    report = check(done.after)
    print(f"After the job: {report.verdict}. Verify by measurement: the test plan comes first.")
    return report.exit_status


def _bench_sheet(done: JobRun) -> tuple[Table, ...]:
    """Return what to read first on the finished set and what else it may read; none of a set
    without numbers.
    """
    from rework.faultfinding.diagnosis import board
    from rework.faultfinding.sheet import bench_sheet

    if max(len(done.before.parts), len(done.after.parts)) > MOST_DRAWN:
        return ()
    bench = replace(done.job.bench, readings=(), noticed=(), states=())  # as the set is left
    done = replace(done, job=replace(done.job, bench=bench))
    try:
        return (bench_sheet(board(done), done),)
    except CannotSolve:
        return ()


def _stamp(path: str, done: JobRun) -> str:
    """Return the version of the program and the first digits of the SHA-256 of the job's files."""
    digest = hashlib.sha256()
    for file in sorted(sources(path, done)):
        if file.is_file():
            digest.update(file.read_bytes())
    return f"rework {__version__}, files {digest.hexdigest()[:12]}"


def _options(done: JobRun, shelf: Shelf | None, folder: Path) -> Table:
    """Return the ways that were open, side by side."""
    from rework.commands.options_words import owner_table
    from rework.supply.options import options

    read = circuit_reader(folder)
    with each_beside() as begin:
        compared = options(done.before, shelf, run=done, read=read, folder=folder, begin=begin)
    labour = (done.job.labour, done.job.rate)
    return written(owner_table(compared, labour, NO_OPTIONS.title))


def _papers(
    done: JobRun,
    shelf: Shelf | None,
    date: str,
    open_: Table,
    record: Record,
    step: Callable[[int], None],
    *,
    sheet: Sheet,
) -> tuple[Papers, str]:
    from rework.papers.plots import response

    sheets: tuple[Drawing, ...] = ()
    undrawn = ""
    if max(len(done.before.parts), len(done.after.parts)) > MOST_DRAWN:
        undrawn = (
            f"Not drawn: the circuit has {len(done.after.parts):,} parts, more than the"
            f" {MOST_DRAWN} that a page could hold. rework draw makes a drawing of any size."
        )
    else:
        try:
            sheets = drawings(done, sheet)
        except CannotDraw as error:
            raise Refusal(Problem(str(error))) from error
    step(1)
    known = numbers(done, step)
    content = papers(
        done,
        known,
        sheets,
        date=date,
        shelf=shelf,
        undrawn=undrawn,
        options=open_,
        record=record,
    )
    return content, response(known)


def _shelf(done: JobRun, folder: Path) -> Shelf | None:
    """Return the price list the job names, None where it names none.

    Raises Refusal with every mistake in it.
    """
    if not done.job.prices:
        return None
    return stock_list(None, done.job.prices, folder)[0]


def _write_folder(
    folder: Path, files: dict[str, bytes], *, force: bool, inputs: frozenset[Path]
) -> None:
    """Write all files or none: into a folder beside it first, then each moved into place."""
    taken = [folder / name for name in files if (folder / name).exists()]
    refuse_taken(*taken, force=force, sources=inputs)
    blocked = [path for path in taken if not path.is_file()]
    if blocked:
        raise Refusal(
            *(Problem(f"{path} is no plain file", hint="name another folder") for path in blocked)
        )
    staging = ""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        staging = tempfile.mkdtemp(dir=folder, prefix=".papers.")
        for name, data in files.items():
            (Path(staging) / name).write_bytes(data)
        for name in files:
            os.replace(Path(staging) / name, folder / name)
    except OSError as error:
        raise Refusal(Problem(f"{folder} cannot be written: {error.strerror or error}")) from error
    finally:
        if staging:
            shutil.rmtree(staging, ignore_errors=True)
