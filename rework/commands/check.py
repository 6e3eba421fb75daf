"""``rework check``: the report of the mains check as text or JSON.

The JSON of a circuit is the report that ``rework.safety.findings`` describes; of a job it is
``before`` and ``after``, a report each.
"""

from __future__ import annotations

import argparse
import json

from rework.circuit.circuit import Circuit
from rework.commands.arguments import takes_json, takes_netlist
from rework.commands.subject import subject
from rework.report.terminal import printable, styled
from rework.safety.check import check
from rework.safety.findings import Caution, Hazard, Report, as_json, path_words

ALWAYS = (
    "The netlist is not the set. Before a hand goes in: unplug, discharge the capacitors, measure;"
    " one hand, isolation transformer on the bench.\nLocal codes and licensed practice come first;"
    " the leakage test by meter is what proves the set."
)

EXAMPLE = "rework check pager.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    parser.add_argument(
        "--all",
        action="store_true",
        help="print the path of every tied node, not only of what a hand can reach",
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Check a circuit, or a job before and after; return 1 where the circuit, or the job's result,
    has a hazard.
    """
    about = subject(asked.file)
    reports = {key: check(circuit) for key, circuit in about.circuits.items()}
    if asked.json:
        answers = {key: as_json(report) for key, report in reports.items()}
        print(json.dumps(answers.get("circuit", answers), indent=2, ensure_ascii=False))
    else:
        about.print_cautions()
        for key, report in reports.items():
            heading = about.heading(key)
            print(report_text(about.circuits[key], report, heading=heading, every=asked.all))
            print()
        print(ALWAYS)
    return [*reports.values()][-1].exit_status


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
