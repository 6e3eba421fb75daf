"""``rework check``: the report of the mains check as text or JSON."""

from __future__ import annotations

import argparse

from rework.anatomy.function import function
from rework.anatomy.function_row import FunctionRow, Working
from rework.anatomy.lost import lost
from rework.circuit.circuit import Circuit
from rework.commands.arguments import takes_json, takes_netlist
from rework.commands.function_words import function_text
from rework.commands.subject import Subject, subject
from rework.report.terminal import fitted, printable, styled, wrapped
from rework.rules.conversion import ConversionKind, wanted
from rework.safety.check import check
from rework.safety.findings import (
    PART_OF_A_CONVERSION,
    Caution,
    Hazard,
    Remedy,
    Report,
    path_words,
)

ALWAYS = (
    "The netlist is not the set. Before you reach inside: unplug, discharge the capacitors, and"
    " measure. Work with one hand, on a bench isolation transformer. Local codes and licensed"
    " practice come first. No single test proves the set: measure leakage, earth and insulation."
)

#: So many nodes are shown or named before the rest are counted.
MOST_SHOWN = 6
EXAMPLE = "rework check pager.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    parser.add_argument(
        "--all",
        action="store_true",
        help="print the path of every tied node, not only of those within reach",
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Check a circuit, or a job before and after; return 1 where the circuit, or the job's result,
    has a hazard, or the finished set does not work as far as its wiring shows.
    """
    about = subject(asked.file)
    reports = {key: check(circuit) for key, circuit in about.circuits.items()}
    rows = _rows(about)
    if asked.json:
        from rework.commands.answers.check import check_answer
        from rework.commands.answers.shape import json_text, of_sides

        answers = {
            key: check_answer(
                report, rows if key == "after" else (), wanted(about.circuits[key], report)
            )
            for key, report in reports.items()
        }
        print(json_text(of_sides(answers)))
    else:
        about.print_cautions()
        for key, report in reports.items():
            heading = about.heading(key)
            print(
                fitted(report_text(about.circuits[key], report, heading=heading, every=asked.all))
            )
            print()
        if rows:
            print(fitted(function_text(rows)) + "\n")
        print(wrapped(ALWAYS))
    dead = any(row.working is Working.FAULT for row in rows)
    return max([*reports.values()][-1].exit_status, int(dead))


def _rows(about: Subject) -> tuple[FunctionRow, ...]:
    """Return whether the finished set of a job works, as far as its wiring shows."""
    if about.run is None:
        return ()
    run = about.run
    return (*function(run.after), *lost(run.before, run.after, run.edits))


def report_text(circuit: Circuit, report: Report, *, heading: str, every: bool = False) -> str:
    """Return a report for a person: what a hand can reach first, then the rest in a line, then what
    is live, then cautions.
    """
    style = "red" if report.exit_status else "green"
    out = [
        f"{styled(printable(heading), 'bold')}: {printable(circuit.title)}",
        styled(report.verdict.upper() if report.hazards else report.verdict, style),
    ]
    if blank := [caution.part for caution in report.cautions if caution.key == "blank"]:
        out.append(f"Not traced yet: pins of {_named(blank)}. Nothing is known of what is on them.")
    out += _hazards(report, every)
    out += _remedies(report)
    out += _conversions(circuit, report)
    if report.live:
        out.append(f"\nLive: do not touch with the plug in: {len(report.live)}")
        out += [f"  {live.node}: {live.where}" for live in report.live]
    for weight, title in (("must", "Must be fixed"), ("mind", "To know and to measure")):
        cautions = [caution for caution in report.cautions if caution.weight == weight]
        if cautions:
            out.append(f"\n{title}: {len(cautions)}")
            out += [_caution(caution) for caution in cautions]
    return "\n".join([*out, "", report.note])


def _hazards(report: Report, every: bool) -> list[str]:
    """Return the tied nodes: what a hand can reach with path and states, the rest by name."""
    reached = [hazard for hazard in report.hazards if hazard.touchable]
    others = [hazard for hazard in report.hazards if not hazard.touchable]
    out: list[str] = []
    if reached:
        out.append(f"\nWithin reach and tied to the mains: {len(reached)}")
        out += [_hazard(hazard) for hazard in reached]
    shown = others if every else [] if reached else others[:MOST_SHOWN]
    if shown:
        out.append(f"\nTied to the mains, out of reach while the set is closed: {len(others)}")
        out += [_hazard(hazard) for hazard in shown]
    rest = others[len(shown) :]
    if rest:
        names = ", ".join(hazard.node for hazard in rest)
        out.append(f"\nAlso tied ({len(rest)}; --all prints each path): {names}")
    return out


def _hazard(hazard: Hazard) -> str:
    rows = [f"  {styled(hazard.node, 'red')}  tied by {hazard.through}: {path_words(hazard.path)}"]
    rows += [f"      when    {when.words()}" for when in hazard.when]
    return "\n".join(rows)


def _remedies(report: Report) -> list[str]:
    """Return each remedy once, with the nodes that it clears, and what no single change clears."""
    cleared: dict[tuple[Remedy, ...], list[str]] = {}
    for hazard in report.hazards:
        cleared.setdefault(hazard.remedies, []).append(hazard.node)
    conversion = cleared.pop((), [])
    out: list[str] = []
    if cleared:
        out.append("\nRemedy, tried on this netlist and checked again:")
    for remedies, nodes in cleared.items():
        what = "everything above" if not conversion and len(cleared) == 1 else _named(nodes)
        out.append(f"  {remedies[0].words}\n      clears  {what}")
        out += [f"      or      {remedy.words}" for remedy in remedies[1:]]
    if conversion:
        which = _named(conversion) if cleared else "These ties"
        out.append(f"\n{which}: {PART_OF_A_CONVERSION}")
    return out


def _conversions(circuit: Circuit, report: Report) -> list[str]:
    """Return the orders of built-in rules that leave no tie to the mains."""
    tried = wanted(circuit, report)
    if not tried:
        return []
    out = ["\nTried on this netlist: after these lines of a job, nothing is tied to the mains."]
    for conversion in tried:
        out.append(f"  {_CONVERSIONS[conversion.kind]}")
        out += [f"      {line}" for line in conversion.rules]
    return [*out, "  rework options compares the ways for this set and drafts the job."]


_CONVERSIONS = {
    ConversionKind.ISOLATE: "Keep the heater string and B+, behind an isolating transformer:",
    ConversionKind.SUPPLY: "Take the set off the line and attach a new supply after these:",
}


def _named(nodes: list[str]) -> str:
    """Return the names of nodes, the first few where there are many."""
    shown = nodes if len(nodes) <= MOST_SHOWN else nodes[: MOST_SHOWN - 1]
    more = f" and {len(nodes) - len(shown)} more" if len(shown) < len(nodes) else ""
    return ", ".join(shown) + more


def _caution(caution: Caution) -> str:
    first, others = caution.remedies[:1], caution.remedies[1:]
    rows = [f"  {caution.message}"]
    rows += [f"      remedy  {remedy.words}" for remedy in first]
    rows += [f"      or      {remedy.words}" for remedy in others]
    return "\n".join(rows)
