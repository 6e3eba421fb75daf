"""``rework options``: the five ways to go with an amplifier, side by side, as a table, JSON, or one
page to print.

Exit status 0 when the table could be made: what it finds is reported in it. ``--json``: ``title``,
``drafted``, ``shelf``, ``notes``, ``labour`` and ``options``, each with ``kind``, ``title``,
``steps``, ``why`` (why it is not to be had), ``notes``, ``against``, every row of the table in SI
by its name in ``supply/assess.py``, ``missing`` (row: why it is not computed), ``price``,
``unpriced`` and ``reversible``.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.arguments import takes_force, takes_json, takes_shelf
from rework.commands.beside import each_beside
from rework.commands.subject import Subject, subject
from rework.language.files import Refusal, circuit_reader, refuse_taken, write_whole
from rework.language.job import Money
from rework.report.story import Story, story_text
from rework.report.terminal import printable, progress
from rework.rules.run import JobRun

if TYPE_CHECKING:
    from rework.supply.options import Options

EXAMPLE = "rework options pager.job -o options.html"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "file",
        help=(
            "a .circuit file, for which a job is drafted, or a .job file; - reads a circuit from"
            " standard input"
        ),
    )
    parser.add_argument(
        "-o", "--output", metavar="OUT.html", help="write the table as one page to print"
    )
    takes_shelf(parser, "the file or above")
    parser.add_argument(
        "--draft", metavar="OUT.job", help="write the job that was drafted for a .circuit file"
    )
    takes_json(parser)
    takes_force(parser)


class _Compared(NamedTuple):
    """The options, the job where there is one, the stock list and the hours in the job."""

    options: Options
    run: JobRun | None
    circuit: Circuit
    shelf: str
    labour: tuple[float | None, Money | None]


def story(asked: argparse.Namespace) -> Story:
    """Return the options in words and as a table."""
    return _story(_compared(asked, subject(asked.file)))


def run(asked: argparse.Namespace) -> int:
    """Compare the options, print them, and write the page and the drafted job where they are asked
    for.
    """
    from rework.commands.options_page import options_page

    _refuse_endings(asked)
    about = subject(asked.file)
    refuse_taken(
        *filter(None, (asked.output, asked.draft)), force=asked.force, sources=about.sources
    )
    compared = _compared(asked, about)
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.supply import compared_answer

        print(json_text(compared_answer(compared.options, compared.shelf, compared.labour)))
    else:
        print(story_text(_story(compared)))
    if asked.output:
        page = options_page(compared.options, compared.shelf, compared.labour)
        write_whole(asked.output, page.encode(), force=asked.force)
    if asked.draft:
        draft = _draft_of(compared.options, asked, compared.run, compared.circuit)
        write_whole(asked.draft, draft.encode(), force=asked.force)
    if not asked.json:
        for path in filter(None, (asked.output, asked.draft)):
            print(f"{printable(path)} is written.")
    return 0


def _story(compared: _Compared) -> Story:
    from rework.commands.options_words import options_story

    return options_story(compared.options, compared.shelf, compared.labour)


def _compared(asked: argparse.Namespace, about: Subject) -> _Compared:
    """Return the options of what was named, with a bar while they are solved."""
    from rework.supply.options import WORK, options
    from rework.supply.stock_file import stock_list

    folder, run = Path(asked.file).parent, about.run
    circuit = run.before if run else about.last
    _refuse_without_plug(circuit, asked.file)
    shelf, shelf_file = stock_list(asked.shelf, run.job.prices if run else "", folder)
    with each_beside() as begin, progress("options", WORK) as bar:
        compared = options(
            circuit,
            shelf,
            run=run,
            read=circuit_reader(folder) if run else None,
            folder=folder if run else None,
            step=bar.update,
            begin=begin,
        )
    labour = (run.job.labour, run.job.rate) if run else (None, None)
    return _Compared(compared, run, circuit, shelf_file, labour)


def _refuse_endings(asked: argparse.Namespace) -> None:
    """Raise Refusal where a file to write has not the ending of what is written to it."""
    for path, suffix in ((asked.output, ".html"), (asked.draft, ".job")):
        if path and Path(path).suffix != suffix:
            raise Refusal(
                Problem(
                    f"{path} is no {'page' if suffix == '.html' else 'job'}",
                    expected=f"a file that ends in {suffix}",
                )
            )


def _refuse_without_plug(circuit: Circuit, file: str) -> None:
    """Raise Refusal where a circuit has no line cord."""
    if not any(part.kind == "plug" for part in circuit.parts):
        raise Refusal(
            Problem(
                f"{file} has no plug, so there is no set on the line to choose for",
                expected="an amplifier as it was found, with its line cord",
            )
        )


def _draft_of(
    options: Options, asked: argparse.Namespace, run: JobRun | None, circuit: Circuit
) -> str:
    """Return the text of the drafted job, which names its circuit from the folder it goes to: with
    a new supply, or behind an isolating transformer where no supply can be given to the set.

    Raises Refusal where nothing was drafted.
    """
    from rework.supply.draft import draft_text, isolating_text

    name = os.path.relpath(asked.file, Path(asked.draft).parent)
    if options.job is None or not options.drafted:
        reasons = dict.fromkeys(
            why
            for finding in options.findings
            if finding.option.kind not in ("leave", "isolate", "bridge")
            for why in finding.option.why
        )
        why = "the file is a job already" if run else "; ".join(reasons) or "no way needs a job"
        isolating = None if run else isolating_text(circuit, name, why)
        if isolating is not None:
            return isolating
        hint = (
            "leave --draft away"
            if run
            else "do first what the reason asks, or write the job by hand: rework new JOB.job"
        )
        raise Refusal(Problem(f"there is no draft to write: {why}", hint=hint))
    return draft_text(options.job, name, circuit.mains)
