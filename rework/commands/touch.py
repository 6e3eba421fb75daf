"""``rework touch``: what a person would feel, as a table, JSON or a picture; a job before and
after.
"""

from __future__ import annotations

import argparse
import json

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.check import tell_cautions
from rework.commands.pictures import keep, wanted_picture
from rework.commands.touch_words import side_by_side, touch_drawn, touch_json, touch_text
from rework.language.files import Refusal, wanted_circuit
from rework.report.terminal import progress
from rework.rules.job_file import is_job, run_job_file
from rework.touch.touch import touch


def run(asked: argparse.Namespace) -> int:
    """Print the touch currents; return 1 where anything (in a job, anything after it) is over its
    limit or not known.
    """
    wanted_picture(asked.plot, force=asked.force)
    circuits = wanted_circuits(asked)
    options = {
        "network": asked.network,
        "limit_name": asked.limit,
        "body": asked.percent,
        "wet": asked.wet,
        "changes": changes(asked.assume),
    }
    with progress("touch", len(circuits)) as bar:
        reports = [(name, touch(circuit, **options, step=bar.update)) for name, circuit in circuits]
    if asked.json:
        told = {name.lower(): touch_json(report) for name, report in reports}
        print(
            json.dumps(
                told if len(reports) > 1 else touch_json(reports[0][1]),
                indent=2,
                ensure_ascii=False,
            )
        )
    else:
        print(
            "\n\n".join(
                touch_text(report, heading=name, every=asked.all) for name, report in reports
            )
        )
        if len(reports) > 1:
            print("\n" + side_by_side(reports[0][1], reports[1][1]))
    if asked.plot:
        keep(touch_drawn(reports), asked.plot, force=asked.force)
    return reports[-1][1].exit_status


def wanted_circuits(asked: argparse.Namespace) -> list[tuple[str, Circuit]]:
    """Return the circuit asked for by name, or those of a job before and after."""
    if is_job(asked.file):
        run = run_job_file(asked.file)
        return [("Before", run.before), ("After", run.after)]
    circuit, problems = wanted_circuit(asked.file)
    if not asked.json:
        tell_cautions(problems)
    return [(asked.file, circuit)]


def changes(wanted: list[str]) -> tuple[tuple[str, float], ...]:
    """Return NAME=VALUE words as pairs. Raises Refusal for an unknown name or a value below nought."""
    from rework.touch.person import assumed

    known, found = assumed(), []
    for word in wanted:
        name, _, text = word.partition("=")
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if name not in known or not (0 < value < 1e12 or (value == 0 and name.endswith("_farad"))):
            raise Refusal(
                Problem(
                    f"{word} assumes nothing that is known here",
                    expected="NAME=VALUE in SI units, NAME one of " + ", ".join(sorted(known)),
                )
            )
        found.append((name, value))
    return tuple(found)
