"""``rework faults``: touch current under every single fault, and what the capacitors keep when the
plug is out.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rework.commands.subject import subject
from rework.commands.touch import changes, takes_measurement
from rework.report.table import text
from rework.report.terminal import printable, progress, wrapped
from rework.touch.fault_words import (
    BUILDING,
    HEADS,
    NOT_DISCHARGED,
    SHORT,
    by_verdict,
    keeps_charge,
    kind_tables,
    stored_table,
    under_table,
    where,
)
from rework.touch.faults import faults
from rework.touch.outcomes import VERDICTS, FaultReport, Outcome
from rework.touch.stored import Stored, stored
from rework.touch.words import NOTHING_TOUCHABLE, assumed_table, milliamperes

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
    the limit.
    """
    assume = changes(asked.assume)
    about = subject(asked.file)
    if not asked.json:
        about.print_cautions()
    circuits = [(about.heading(key), circuit) for key, circuit in about.circuits.items()]
    with progress("faults", len(circuits)) as bar:
        told = []
        for name, circuit in circuits:
            found = faults(
                circuit,
                network=asked.network,
                limit_name=asked.limit,
                open_conductors=asked.open_conductors,
                changes=assume,
                step=bar.update,
            )
            told.append((name, found, stored(circuit, changes=assume)))
    if asked.json:
        plain = {name.lower(): faults_json(report, kept) for name, report, kept in told}
        print(
            json.dumps(
                plain if len(told) > 1 else faults_json(*told[0][1:]), indent=2, ensure_ascii=False
            )
        )
    else:
        print(
            "\n\n".join(
                faults_text(report, kept, heading=name, every=asked.all)
                for name, report, kept in told
            )
        )
    return told[-1][1].exit_status


def faults_text(
    report: FaultReport, stored: Sequence[Stored], *, heading: str, every: bool = False
) -> str:
    """Return the faults of one circuit for a terminal: how many of each verdict, then each kind of
    the worst, then the stored charge.
    """
    outcomes = report.outcomes
    head = [
        f"{printable(heading)}: {printable(report.title)}",
        wrapped(
            f"{report.line}; {len(outcomes):,} single faults, each in {report.states:,} states;"
            f" limit {report.limit_amps * 1e3:g} mA; without a fault {milliamperes(report.healthy)}"
        ),
    ]
    if report.open_conductors:
        head.append("Each also with the neutral, the earth or both open: a second fault.")
    if report.healthy > report.limit_amps:
        head.append(
            "OVER THE LIMIT WITHOUT ANY FAULT: see rework touch. Below is what a fault adds to it."
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
            blocks.append(f"  {hidden:,} {more}add nothing to what is there without them")
    blocks += [text(under_table(report))] if every else []
    blocks += _building(report)
    blocks += _stored(stored)
    blocks += [wrapped(f"missing: {words}", "  ") for words in report.unknown]
    blocks += [wrapped(report.varied), text(assumed_table(report.assumed))] if every else []
    return "\n\n".join([*blocks, "\n".join(map(wrapped, report.notes))])


def _building(report: FaultReport) -> list[str]:
    if not report.building:
        return []
    lines = [
        wrapped(
            f"{where(one.node, one.other)}: {milliamperes(one.reading)}, {one.volts:.3g} V."
            f" Prevented by {one.prevented}.",
            "  ",
        )
        for one in report.building
    ]
    return ["\n".join(["OF THE BUILDING", wrapped(BUILDING, "  "), *lines])]


def _stored(stored: Sequence[Stored]) -> list[str]:
    if not stored:
        return []
    charge = text(stored_table(stored))
    return [charge, wrapped(NOT_DISCHARGED)] if keeps_charge(stored) else [charge]


def faults_json(report: FaultReport, held: Sequence[Stored]) -> dict[str, Any]:
    """Return a fault report as plain values."""
    kept = [
        {
            "part": one.part,
            "farads": _finite(one.farads),
            "volts": _finite(one.volts),
            "joules": _finite(one.joules),
            "positions": [
                {
                    "state": words,
                    "ohms": _finite(ohms),
                    "seconds_to_60_volts": _finite(sixty),
                    "seconds_to_34_volts": _finite(low),
                }
                for words, ohms, sixty, low in one.positions
            ],
        }
        for one in held
    ]
    return {
        "title": report.title,
        "line": report.line,
        "limit_amps": report.limit_amps,
        "healthy": report.healthy,
        "states": report.states,
        "open_conductors": report.open_conductors,
        "varied": report.varied,
        "assumed": dict(report.assumed),
        "unknown": list(report.unknown),
        "notes": list(report.notes),
        "count": {
            verdict: sum(one.verdict == verdict for one in report.outcomes) for verdict in VERDICTS
        },
        "outcomes": list(map(_as_json, report.outcomes)),
        "building": list(map(_as_json, report.building)),
        "stored": kept,
    }


def _as_json(one: Outcome) -> dict[str, Any]:
    return {
        **{name: value for name, value in asdict(one).items() if name != "fault"},
        "fault": one.fault.what,
        "part": one.fault.part,
        "kind": one.fault.kind,
    }


def _finite(value: float) -> float | None:
    return None if math.isinf(value) else value
