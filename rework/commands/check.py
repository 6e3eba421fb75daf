"""``rework check``: the report of the mains check as text or JSON.

The JSON of a circuit is the report that ``rework.safety.findings`` describes; of a job it is
``before`` and ``after``, a report each.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.language.files import wanted_circuit
from rework.report.problems import problems_text
from rework.report.terminal import printable, styled
from rework.rules.job_file import is_job, run_job_file
from rework.safety.check import check
from rework.safety.findings import Caution, Hazard, Report, as_json, path_words

ALWAYS = (
    "The netlist is not the set. Before a hand goes in: unplug, discharge the capacitors, measure;"
    " one hand, isolation transformer on the bench.\nLocal codes and licensed practice come first;"
    " the leakage test by meter is what proves the set."
)


def run(asked: argparse.Namespace) -> int:
    """Check a circuit, or a job before and after; return 1 where the circuit, or the job's result,
    has a hazard.
    """
    if is_job(asked.file):
        run = run_job_file(asked.file)
        before, after = check(run.before), check(run.after)
        if asked.json:
            print(
                json.dumps(
                    {"before": as_json(before), "after": as_json(after)},
                    indent=2,
                    ensure_ascii=False,
                )
            )
        else:
            print(report_text(run.before, before, heading="Before", every=asked.all))
            print()
            print(report_text(run.after, after, heading="After", every=asked.all))
            print("\n" + ALWAYS)
        return after.exit_status
    circuit, problems = wanted_circuit(asked.file)
    report = check(circuit)
    if asked.json:
        print(json.dumps(as_json(report), indent=2, ensure_ascii=False))
    else:
        tell_cautions(problems)
        print(report_text(circuit, report, heading=asked.file, every=asked.all))
        print("\n" + ALWAYS)
    return report.exit_status


def tell_cautions(problems: Sequence[Problem]) -> None:
    """Print what reading the file gave rise to, without stopping."""
    if problems:
        print(problems_text(problems, stream=sys.stderr) + "\n", file=sys.stderr)


def report_text(circuit: Circuit, report: Report, *, heading: str, every: bool = False) -> str:
    """Return a report for a person: what a hand can reach first, then the rest in a line, then what
    is live, then cautions.
    """
    style = "red" if report.exit_status else "green"
    out = [
        f"{styled(printable(heading), 'bold')}: {printable(circuit.title)}",
        styled(report.verdict.upper() if report.hazards else report.verdict, style),
    ]
    reached = [hazard for hazard in report.hazards if hazard.touchable]
    others = [hazard for hazard in report.hazards if not hazard.touchable]
    if reached:
        out.append(f"\nWithin reach of a hand and tied to the mains: {len(reached)}")
        out += [_hazard(hazard) for hazard in reached]
    if others and (every or not reached):
        out.append(f"\nTied to the mains, not within reach while the set is closed: {len(others)}")
        out += [_hazard(hazard) for hazard in others[: None if every else 6]]
    if others and not every:
        rest = others if reached else others[6:]
        if rest:
            out.append(
                f"\nAlso tied ({len(rest)}; --all prints each path): "
                + ", ".join(hazard.node for hazard in rest)
            )
    if report.live:
        out.append(f"\nLive, not to be touched with the plug in: {len(report.live)}")
        out += [f"  {live.node}: {live.where}" for live in report.live]
    for weight, title in (("must", "Must be mended"), ("mind", "To know and to measure")):
        cautions = [caution for caution in report.cautions if caution.weight == weight]
        if cautions:
            out.append(f"\n{title}: {len(cautions)}")
            out += [_caution(caution) for caution in cautions]
    return "\n".join([*out, "", report.note])


def _hazard(hazard: Hazard) -> str:
    rows = [f"  {styled(hazard.node, 'red')}  tied by {hazard.through}: {path_words(hazard.path)}"]
    rows += [f"      when    {when.words()}" for when in hazard.when]
    rows.append(f"      remedy  {hazard.remedy}")
    return "\n".join(rows)


def _caution(caution: Caution) -> str:
    return f"  {caution.message}" + (f"\n      remedy  {caution.remedy}" if caution.remedy else "")
