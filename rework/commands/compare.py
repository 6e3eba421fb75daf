"""``rework compare``: the set as it was wired, held against the plan, and its mains check."""

from __future__ import annotations

import argparse

from rework.commands.arguments import takes_json
from rework.commands.built_words import built_text
from rework.commands.check import ALWAYS, report_text
from rework.commands.diff import other_file, refuse_undecided
from rework.commands.subject import subject
from rework.compare.sentences import OtherNames
from rework.report.terminal import fitted, styled, wrapped
from rework.safety.check import check

EXAMPLE = "rework compare pager.job built.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("plan", help="a .job file (its result is the plan), or a .circuit file")
    parser.add_argument(
        "built",
        help=(
            "the set as it was wired, written down from the set under any names: a .circuit file,"
            " or a .job file that attaches the supply"
        ),
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print what differs and what the mains check says of the set as wired; return 0 where it is
    wired as planned and nothing is found.
    """
    from rework.compare.built import as_built

    plan, built = subject(asked.plan), subject(asked.built)
    comparison = as_built(plan.last, built.last)
    refuse_undecided(comparison.undecided)
    report = check(built.last)
    status = max(report.exit_status, int(not comparison.is_as_planned))
    names = OtherNames(comparison.parts, comparison.nodes, other_file(asked.plan, asked.built))
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.wired import wired_answer

        print(json_text(wired_answer(comparison, names, report)))
        return status
    plan.print_cautions()
    built.print_cautions()
    print(styled(f"Plan: {plan.last.title}\nSet as wired: {built.last.title}\n", "bold"))
    print(fitted(built_text(comparison, names)) + "\n")
    print(fitted(report_text(built.last, report, heading="Mains check of the set as wired")))
    print("\n" + wrapped(ALWAYS))
    return status
