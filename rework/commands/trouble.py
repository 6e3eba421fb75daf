"""``rework trouble``: from bench readings to the likely trouble and the next reading."""

from __future__ import annotations

import argparse

from rework.commands.arguments import positions_asked, takes_json, takes_positions
from rework.commands.subject import Subject, subject
from rework.faultfinding.diagnosis import board, diagnosed, exact
from rework.faultfinding.placed import problems, side_read
from rework.faultfinding.told import Evidence, Explained, Next, Told, told
from rework.faultfinding.trouble_words import CERTAIN
from rework.faultfinding.turned import turned
from rework.language.files import Refusal
from rework.report.figures import counted, share
from rework.report.table import Column, Table, text
from rework.report.terminal import listed, printable, progress, styled, wrapped
from rework.rules.run import JobRun
from rework.solve.network import CannotSolve

EXAMPLE = "rework trouble pager.job"
#: Troubles without numbers that are named; --json has them all.
NAMED = 8
#: Troubles of a class that are named.
ALIKE = 6
#: Readings and signs that are told for a trouble, and against it.
EVIDENCE = 4
#: Troubles of a small set, for the bar of progress.
_ABOUT = 400


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("file", help="a .job file with its readings, or a .circuit file")
    parser.add_argument(
        "--set",
        choices=("before", "after"),
        help="the set before its job or after it (default: that of the last reading)",
    )
    takes_positions(parser)
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print what explains the readings and what to read next; 1 where something is wrong."""
    wanted = subject(asked.file)
    job_run = _job_run(wanted)
    refused = problems(job_run)
    if refused:
        raise Refusal(*refused)
    side, at = asked.set or side_read(job_run), positions_asked(asked)
    with progress("troubles", _ABOUT) as bar:
        try:
            job_run = turned(job_run, side, at)
            diagnosis = diagnosed(exact(board(job_run, side, step=bar.update)))
        except CannotSolve as error:
            raise Refusal(*error.problems) from error
    answer = told(diagnosis, job_run)
    if asked.json:
        from rework.commands.answers.shape import json_text

        print(json_text(answer))
    else:
        print(trouble_text(answer, wanted.heading("circuit")))
    return 0 if answer.verdict in ("sound", "unread") and not answer.again else 1


def _job_run(wanted: Subject) -> JobRun:
    """Return the run of a job; of a circuit alone, that of a job that does nothing."""
    if wanted.run is not None:
        return wanted.run
    from rework.language.job import Job

    circuit = wanted.last
    return JobRun(Job(circuit.title, wanted.file, ()), circuit, circuit, (), ())


def trouble_text(answer: Told, heading: str) -> str:
    """Return a diagnosis for a terminal."""
    title = printable(f"{heading}, the set {answer.side} its job")
    head = (
        f"{counted(answer.readings, 'reading')} compared with a sound set and"
        f" {answer.suspects - 1} troubles, each solved with the meter in its place."
    )
    blocks = [
        "\n".join([styled(title, "bold"), wrapped(head)]),
        wrapped(answer.says) if answer.says else "",
        text(_table(answer.explanations)) if answer.explanations else "",
        *map(_alike, answer.explanations),
        listed(
            "Two troubles at once would explain them (repair one, then read again):",
            [f"{' and '.join(pair.words)} ({share(pair.chance)})" for pair in answer.pairs],
        ),
        listed("Leave the set unplugged:", answer.perils, "yellow"),
        *(_next(answer.next) if answer.next else (wrapped(_without_next(answer)),)),
        *map(wrapped, answer.cautions),
        _unsolved(answer),
        wrapped(answer.limits),
    ]
    return "\n\n".join(filter(None, blocks))


_NOTHING_MORE = (
    "No reading that is safe now would tell these apart. With the set unplugged and discharged, put"
    " a good part in the place of one of them, or lift it and measure it. Write repaired NAME or"
    " proved NAME good into the job, and read again."
)


_ONE_LEFT = (
    "Nothing more needs to be read. Unplug and discharge the set, look at it, and repair it. Then"
    " write repaired {part} into the job and read again."
)


def _without_next(answer: Told) -> str:
    """Return what to do where nothing is to be read next."""
    first = answer.explanations[0] if answer.explanations else None
    if first and first.chance > CERTAIN and len(first.members) == 1 and first.members[0].part:
        return _ONE_LEFT.format(part=first.members[0].part)
    return _NOTHING_MORE


def _table(rows: tuple[Explained, ...]) -> Table:
    """Return what explains the readings, the likeliest first."""
    return Table(
        "trouble",
        "What explains the readings",
        "",
        (
            Column("Trouble", "name"),
            Column("How sure"),
            Column("For it"),
            Column("Against it"),
        ),
        tuple(
            (
                row.members[0].words
                + (
                    f" (and {counted(len(row.members) - 1, 'other')} alike)"
                    if row.members[1:]
                    else ""
                ),
                f"{share(row.chance)}, {row.sureness}",
                "; ".join(map(_evidence, row.speaks_for[:EVIDENCE])) or "–",
                "; ".join(map(_evidence, row.speaks_against[:EVIDENCE])) or "–",
            )
            for row in rows
        ),
        parts=tuple(row.members[0].part for row in rows),
    )


def _evidence(evidence: Evidence) -> str:
    return (
        f"{evidence.where}: {evidence.read}, expected {evidence.expected}"
        if evidence.read
        else evidence.where
    )


def _alike(row: Explained) -> str:
    if len(row.members) < 2 or row.chance < 0.05:
        return ""
    names = [f"{member.words} ({share(member.chance)})" for member in row.members[:ALIKE]]
    left = len(row.members) - len(names)
    names += [f"and {counted(left, 'other')}"] if left else []
    return listed("Alike on these readings:", names)


def _next(following: Next) -> tuple[str, ...]:
    live = "set switched on" if following.powered else "plug out, discharged"
    rows = tuple(
        (
            meaning.range,
            share(meaning.chance),
            "; ".join(meaning.troubles) + (f"; {meaning.more} more" if meaning.more else ""),
        )
        for meaning in following.outcomes
    )
    table = Table(
        "next",
        "Read next",
        f"{following.where}: {following.what}, range {following.range}, {live}. A sound set reads"
        f" {following.sound}. In the job: {following.line}",
        (Column("Reading", "name"), Column("Chance", "figure"), Column("It is then")),
        rows,
    )
    return (text(table),)


def _unsolved(answer: Told) -> str:
    named = [f"{nameless.words}: {nameless.why}" for nameless in answer.unsolved[:NAMED]]
    more = len(answer.unsolved) - len(named)
    named += [f"{counted(more, 'other')}, see --json"] if more > 0 else []
    return listed(
        f"{counted(len(answer.unsolved), 'trouble')} without numbers, so not ranked:", named
    )
