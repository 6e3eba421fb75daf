"""``rework diff``: what changed between two circuits, by meaning."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.arguments import takes_json
from rework.compare.difference import difference
from rework.compare.entries import Difference
from rework.compare.sentences import OtherNames, describe
from rework.language.files import STANDARD, Refusal, wanted_circuit
from rework.report.terminal import fitted, printable
from rework.rules.words import pin_words

EXAMPLE = "rework diff before.circuit after.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("before", help="a .circuit file; - reads standard input")
    parser.add_argument("after", help="a .circuit file; - reads standard input")
    parser.add_argument(
        "--by-structure",
        action="store_true",
        help="match parts by how they are connected, not by their names",
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
    names = None
    if asked.by_structure:
        change, names = by_structure(before, after, other_file(asked.before, asked.after))
    else:
        change = difference(before, after)
    if asked.json:
        from rework.commands.answers.change import changes_answer
        from rework.commands.answers.shape import json_text

        print(json_text(changes_answer(change, names)))
    else:
        print(
            fitted("\n".join(describe(change, pin=pin_words, names=names)))
            or "No difference in meaning."
        )
    return 0


def other_file(first: str, second: str) -> str:
    """Return what the second of two files is called: its name without folders, if that will do."""
    name = Path(second).name
    return "the other file" if name == Path(first).name or second == STANDARD else printable(name)


def by_structure(before: Circuit, after: Circuit, file: str) -> tuple[Difference, OtherNames]:
    """Return the difference of two circuits whose names differ, and what parts and nodes of the
    first are called in the second, which is in ``file``.

    Raises Refusal where parts are too alike to be decided.
    """
    from rework.compare.match import likeness

    compared = likeness(before, after)
    refuse_undecided(compared.undecided)
    return compared.difference, OtherNames(compared.parts, compared.nodes, file)


def refuse_undecided(parts: Sequence[str]) -> None:
    """Raise Refusal where parts are too alike to be distinguished by structure."""
    if parts:
        raise Refusal(
            Problem(
                f"structure cannot distinguish these parts: {', '.join(parts[:8])}",
                hint="give the parts the same names in both files; rework diff then compares by"
                " name",
            )
        )
