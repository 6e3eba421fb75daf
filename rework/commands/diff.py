"""``rework diff``: what changed between two circuits, by meaning."""

from __future__ import annotations

import argparse

from rework.circuit.place import Problem
from rework.commands.arguments import takes_json
from rework.compare.difference import difference
from rework.compare.sentences import describe
from rework.language.files import STANDARD, Refusal, wanted_circuit
from rework.report.terminal import fitted
from rework.rules.words import pin_words

EXAMPLE = "rework diff before.circuit after.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("before", help="a .circuit file; - reads standard input")
    parser.add_argument("after", help="a .circuit file; - reads standard input")
    parser.add_argument(
        "--by-structure",
        action="store_true",
        help="match parts by how they are connected, whatever their names",
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the difference; the status is 0 with or without one, as 1 is kept for hazards."""
    if asked.before == asked.after == STANDARD:
        raise Refusal(
            Problem("standard input cannot be both circuits", hint="name a file for one of them")
        )
    before, _ = wanted_circuit(asked.before)
    after, _ = wanted_circuit(asked.after)
    if asked.by_structure:
        from rework.compare.match import match, with_names_of

        matching = match(before, after)
        if not matching.is_decided:
            alike = ", ".join(matching.undecided[:8])
            raise Refusal(
                Problem(
                    "these parts are too alike among themselves to be told apart by structure:"
                    f" {alike}",
                    hint="give the parts the same names and leave --by-structure out",
                )
            )
        after = with_names_of(before, after, matching)
    found = difference(before, after)
    if asked.json:
        from rework.commands.answers.change import changes_answer
        from rework.commands.answers.shape import json_text

        print(json_text(changes_answer(found)))
    else:
        print(fitted("\n".join(describe(found, pin=pin_words))) or "No difference in meaning.")
    return 0
