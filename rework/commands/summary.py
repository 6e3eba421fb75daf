"""``rework summary``: on one screen whether a set is safe to touch and works, before and after."""

from __future__ import annotations

import argparse

from rework.commands.arguments import (
    positions_asked,
    stated_words,
    takes_json,
    takes_netlist,
    takes_positions,
)
from rework.commands.beside import Beside
from rework.commands.glance import glances_of
from rework.commands.subject import positioned_subject, subject
from rework.commands.summary_words import summary_story, summary_text
from rework.report.story import Story

EXAMPLE = "rework summary pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_positions(parser)
    takes_json(parser)


def story(asked: argparse.Namespace) -> Story:
    """Return the summary in words and a table."""
    at = positions_asked(asked)
    with Beside() as beside:
        early = None if at else beside.begin
        about = positioned_subject(subject(asked.file, amplifier=early), at)
        glances = glances_of(about, tuple(at), beside)
    return summary_story(about.last.title, glances, file=asked.file, stated=stated_words(at))


def run(asked: argparse.Namespace) -> int:
    """Print the summary; return 1 where the set, or the finished set of a job, would not work, is
    not safe to touch as far as the netlist shows, or is not known to be.
    """
    at = positions_asked(asked)
    with Beside() as beside:
        early = None if at else beside.begin
        about = positioned_subject(subject(asked.file, amplifier=early), at)
        glances = glances_of(about, tuple(at), beside)
    last = [*glances.values()][-1]
    if asked.json:
        from rework.commands.answers.shape import json_text, of_sides
        from rework.commands.answers.summary import summary_answer

        answers = {key: summary_answer(glance, at) for key, glance in glances.items()}
        print(json_text(of_sides(answers)))
    else:
        about.print_cautions()
        stated = stated_words(at)
        print(summary_text(about.last.title, glances, file=asked.file, stated=stated))
    return last.exit_status
