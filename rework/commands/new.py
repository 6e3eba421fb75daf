"""``rework new``: a file to start from; a circuit from the tubes that a set has."""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

from rework.circuit.circuit import Mains
from rework.circuit.place import Problem
from rework.commands.arguments import takes_force
from rework.language.files import STANDARD, Refusal, refuse_taken, write_whole

EXAMPLE = "rework new mine.circuit --tubes 12BA6,12AT6,35C5,35W4 --mains 117"
#: The skeletons, ``mine`` with the suffix of each kind of file.
SKELETONS = Path(__file__).parent / "skeletons"
#: What to run after the file was edited, by its suffix.
NEXT = {
    ".circuit": "rework check {path}",
    ".job": "rework check {path}",
    ".rule": "rework rules {stem} --folder {folder}",
    ".toml": "rework fit-tube {path}",
    ".csv": "rework supply JOB --shelf {path}",
}
#: Lines of up to so many volts have 60 Hz where nothing is said, others 50 Hz.
_SIXTY_HERTZ = 130.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "file",
        help=(
            "the .circuit, .job, .rule, .toml (tube) or .csv (stock list) file to write; with"
            " --tubes - is standard output"
        ),
    )
    parser.add_argument(
        "--tubes",
        metavar="TYPES",
        help=(
            "begin a circuit from these tubes, input first, commas between: every pin by element,"
            " the heater string with its dropper, and the usual parts as remarks to keep or delete"
        ),
    )
    parser.add_argument(
        "--mains", metavar="VOLTS", help="the line the set is for, as in 117, 220 or '220 V DC'"
    )
    parser.add_argument("--title", help="what the set is called")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="write to this file; - is standard output"
    )
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Write the skeleton that fits the file's name, or the circuit that the tubes begin."""
    if asked.tubes is None and (asked.mains or asked.title):
        raise Refusal(Problem("--mains and --title go with --tubes", hint="name the tubes too"))
    name = "mine.circuit" if asked.file == STANDARD and asked.tubes else asked.file
    output = asked.output or asked.file
    path = Path(name if output == STANDARD else output)
    if path.suffix not in NEXT:
        raise Refusal(
            Problem(
                f"{path.name} has no suffix that names a kind of file",
                expected=(
                    "a name that ends in .circuit, .job, .rule, .toml (a tube) or .csv (a stock"
                    " list)"
                ),
            )
        )
    if asked.tubes and path.suffix != ".circuit":
        raise Refusal(Problem(f"tubes begin a circuit, not {path.name}", expected="NAME.circuit"))
    if output != STANDARD:
        refuse_taken(path, force=asked.force)
    text, notes = _text(asked, path)
    if output == STANDARD:
        sys.stdout.write(text)
        return 0
    write_whole(path, text.encode(), force=asked.force)
    for note in notes:
        print(note)
    command = NEXT[path.suffix].format(path=path, stem=path.stem, folder=path.parent)
    print(f"{path} is written. Edit it, then run: {command}")
    return 0


def _text(asked: argparse.Namespace, path: Path) -> tuple[str, list[str]]:
    """Return the text of the file, and what to print about it."""
    if asked.tubes is None:
        return skeleton(path), []
    from rework.commands.lineup_text import circuit_text, lines_asked, notes

    lines = lines_asked(asked.tubes, mains_asked(asked.mains))
    return circuit_text(lines, asked.title or "Name of the set, as found"), notes(lines)


def mains_asked(text: str | None) -> Mains:
    """Return the line that ``--mains`` states; volts alone are alternating, 60 Hz up to 130 V.

    Raises Refusal where it is left out or cannot be read.
    """
    if not text:
        raise Refusal(
            Problem(
                "the line is not stated",
                expected="--mains VOLTS, as in --mains 117 or --mains 220",
            )
        )
    from rework.language.resolve import read_circuit

    said = text.strip()
    if alone := re.fullmatch(r"(\d+(?:\.\d+)?)\s*[vV]?", said):
        volts = float(alone[1])
        said = f"{alone[1]} V {60 if volts <= _SIXTY_HERTZ else 50} Hz"
    circuit, problems = read_circuit(f"mains {said}\n", file="--mains")
    if circuit is None or circuit.mains is None:
        raise Refusal(*problems)
    return circuit.mains


def skeleton(path: Path) -> str:
    """Return the skeleton for a file of that name."""
    text = (SKELETONS / f"mine{path.suffix}").read_text(encoding="utf-8")
    return (
        text.replace("mine.circuit", f"{path.stem}.circuit")
        .replace("take-out-noise-capacitor", path.stem)
        .replace("MYTUBE", path.stem.upper())
    )
