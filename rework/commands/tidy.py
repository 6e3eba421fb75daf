"""``rework tidy``."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force
from rework.language.files import (
    STANDARD,
    Refusal,
    read_named,
    refuse_taken,
    shown_name,
    write_whole,
)
from rework.language.reader import decode
from rework.report.terminal import printable
from rework.rules.tidy import tidied

EXAMPLE = "rework tidy pager.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "file", help="a .circuit, .job or .rule file; - reads a circuit from standard input"
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        help="where to write; - is standard output (default: print)",
    )
    parser.add_argument(
        "--in-place",
        action="store_true",
        help="replace the file itself, if it can be read without a problem",
    )
    parser.add_argument(
        "--check", action="store_true", help="write nothing; exit 1 if the file is not tidy"
    )
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print or write the tidied file; with ``--check`` return 1 where it differs."""
    name = shown_name(asked.file)
    if asked.in_place and asked.file == STANDARD:
        raise Refusal(
            Problem(
                "standard input cannot be replaced", hint="leave --in-place out, or name a file"
            )
        )
    text, problems = decode(read_named(asked.file), name)
    if text is None:
        raise Refusal(*problems)
    even, problems = tidied(text, name)
    if even is None:
        raise Refusal(*problems)
    if asked.check:
        print(f"{printable(name)} is {'tidy' if even == text else 'not tidy'}")
        return int(even != text)
    output = asked.file if asked.in_place else asked.output
    if output and output != STANDARD:
        if not asked.in_place:
            refuse_taken(output, force=asked.force, sources=(Path(asked.file),))
        write_whole(output, even.encode(), force=asked.force or asked.in_place)
        print(f"{printable(output)} is written.")
    else:
        sys.stdout.write(even)
    return 0
