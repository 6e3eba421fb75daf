"""``rework faults``: touch current under every single fault, and what the capacitors keep when the
plug is out.
"""

from __future__ import annotations

import argparse

from rework.commands.arguments import positions_asked, stated_words
from rework.commands.subject import positioned_subject, subject
from rework.commands.touch import changes, takes_measurement
from rework.report.table import text
from rework.report.terminal import printable, progress, wrapped
from rework.solve.charged import charge_left
from rework.touch.fault_words import (
    BUILDING,
    HEADS,
    OVERLOADED,
    SHORT,
    building_words,
    by_verdict,
    kind_tables,
    overload_words,
    under_table,
)
from rework.touch.faults import faults
from rework.touch.outcomes import VERDICTS, FaultReport
from rework.touch.stored import AfterUnplugging
from rework.touch.stored_words import charge_words, stored_table
from rework.touch.words import NOTHING_TOUCHABLE, assumed_table, gap_words, milliamperes

EXAMPLE = "rework faults pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_measurement(parser)
    parser.add_argument(
        "--open-conductors",
        action="store_true",
        help="each fault also with the neutral, the earth or both open",
    )


def run(asked: argparse.Namespace) -> int:
    """Print the faults, worst first; return 1 where any (in a job, any after it) leaves more than
    the limit, or pins of a plug or bare contacts of a connector stay charged for longer than
    theirs.
    """
    assume, at = changes(asked.assume), positions_asked(asked)
    about = subject(asked.file)
    stood = positioned_subject(about, at)
    if not asked.json:
        about.print_cautions()
    with progress("faults", len(about.circuits)) as bar:
        reports = [
            (
                about.heading(key),
                faults(
                    stood.circuits[key],
                    network=asked.network,
                    limit_name=asked.limit,
                    open_conductors=asked.open_conductors,
                    changes=assume,
                    held=tuple(at),
                    step=bar.update,
                ),
                charge_left(circuit, assume),
            )
            for key, circuit in about.circuits.items()
        ]
    if asked.json:
        from rework.commands.answers.current import faults_answer
        from rework.commands.answers.shape import json_text, of_sides

        answers = [faults_answer(report, charge, at) for _, report, charge in reports]
        print(json_text(of_sides(dict(zip(about.circuits, answers, strict=True)))))
    else:
        print(
            "\n\n".join(
                faults_text(report, charge, heading=name, every=asked.all, stated=stated_words(at))
                for name, report, charge in reports
            )
        )
    _, report, charge = reports[-1]
    return max(report.exit_status, int(charge.is_over))


def faults_text(
    report: FaultReport,
    after: AfterUnplugging,
    *,
    heading: str,
    every: bool = False,
    stated: str = "",
) -> str:
    """Return the faults of one circuit for a terminal: how many of each verdict, then each kind of
    the worst, then the stored charge; ``stated`` says which positions are not tried.
    """
    outcomes = report.outcomes
    head = [
        f"{printable(heading)}: {printable(report.title)}",
        wrapped(
            f"{report.line}; {len(outcomes):,} single faults, each in {report.states:,} states;"
            f" limit {report.limit_amps * 1e3:g} mA; without a fault, all supply conductors whole:"
            f" {milliamperes(report.healthy)}"
        ),
        *([wrapped(stated)] if stated else []),
        wrapped(
            f"reading: with {report.network.words}; through a body: by the table of IEC 60479-1, an"
            f" impedance not exceeded by {report.body}"
        ),
    ]
    if report.open_conductors:
        head.append("Each also with the neutral, the earth or both open: a second fault.")
    if report.healthy > report.limit_amps:
        head.append(
            "OVER THE LIMIT WITHOUT ANY FAULT: see rework touch. Below is what a fault adds."
        )
    if not outcomes:
        return "\n".join([*head, wrapped(NOTHING_TOUCHABLE)])
    counts = [
        f"{number:7,}  {SHORT[verdict]}"
        for verdict in VERDICTS
        if (number := sum(outcome.verdict == verdict for outcome in outcomes))
    ]
    blocks = ["\n".join(head), "\n".join(counts)]
    for verdict, adding in by_verdict(report, every=every):
        blocks += [wrapped(HEADS[verdict])] if adding else []
        blocks += map(text, kind_tables(adding, every=every))
        hidden = sum(outcome.verdict == verdict for outcome in outcomes) - len(adding)
        if hidden:
            more = "more " if adding else ""
            blocks.append(f"  {hidden:,} {more}add nothing to the current without a fault")
    blocks += [text(under_table(report))] if every else []
    blocks += _building(report)
    blocks += _overloads(report)
    blocks += _stored(after)
    blocks += [wrapped(words, "  ") for words in gap_words(report)]
    blocks += [wrapped(report.varied), text(assumed_table(report.assumed))] if every else []
    return "\n\n".join([*blocks, "\n".join(map(wrapped, report.notes))])


def _building(report: FaultReport) -> list[str]:
    if not report.building:
        return []
    lines = [wrapped(building_words(outcome), "  ") for outcome in report.building]
    return ["\n".join(["OF THE BUILDING", wrapped(BUILDING, "  "), *lines])]


def _overloads(report: FaultReport) -> list[str]:
    lines = [
        wrapped(overload_words(overload), "  ")
        for overload in report.overloads
        if overload.times > OVERLOADED
    ]
    return ["\n".join(["WHAT THE FUSES DO NOT PROTECT FROM", *lines])] if lines else []


def _stored(after: AfterUnplugging) -> list[str]:
    if not after.capacitors:
        return []
    lines = [wrapped(words, "  ") for words in charge_words(after)]
    return [text(stored_table(after.capacitors)), *(["\n".join(lines)] if lines else [])]
