"""``rework faults``: touch current under every single fault, and what the capacitors keep when the
plug is out.
"""

from __future__ import annotations

import argparse
import json

from rework.commands.faults_words import faults_json, faults_text
from rework.commands.subject import subject
from rework.commands.touch import changes, takes_measurement
from rework.report.terminal import progress
from rework.touch.faults import faults
from rework.touch.stored import stored

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
