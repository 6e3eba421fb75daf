"""``rework summary``: on one screen whether a set is safe to touch and works, before and after."""

from __future__ import annotations

import argparse

from rework.commands.arguments import takes_json, takes_netlist
from rework.commands.glance import glances_of
from rework.commands.subject import subject
from rework.commands.summary_words import summary_story, summary_text
from rework.report.story import Story

EXAMPLE = "rework summary pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_json(parser)


def story(asked: argparse.Namespace) -> Story:
    """Return the summary in words and a table."""
    about = subject(asked.file)
    return summary_story(about.last.title, glances_of(about), file=asked.file)


def run(asked: argparse.Namespace) -> int:
    """Print the summary; return 1 where the set, or the finished set of a job, would not work or is
    not safe to touch as far as the netlist shows.
    """
    about = subject(asked.file)
    glances = glances_of(about)
    last = [*glances.values()][-1]
    if asked.json:
        from rework.commands.answers.shape import json_text, of_sides
        from rework.commands.answers.summary import summary_answer

        print(json_text(of_sides({key: summary_answer(glance) for key, glance in glances.items()})))
    else:
        about.print_cautions()
        print(summary_text(about.last.title, glances, file=asked.file))
    return last.exit_status
