"""``rework new``: a commented skeleton of each kind of file."""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force
from rework.language.files import Refusal, write_whole

EXAMPLE = "rework new mine.circuit"
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


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "file", help="the .circuit, .job, .rule, .toml (tube) or .csv (stock list) file to write"
    )
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Write the skeleton that fits the file's name."""
    path = Path(asked.file)
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
    write_whole(path, skeleton(path).encode(), force=asked.force)
    command = NEXT[path.suffix].format(path=path, stem=path.stem, folder=path.parent)
    print(f"{path} is written. Edit it, then run: {command}")
    return 0


def skeleton(path: Path) -> str:
    """Return the skeleton for a file of that name."""
    text = (SKELETONS / f"mine{path.suffix}").read_text(encoding="utf-8")
    return (
        text.replace("mine.circuit", f"{path.stem}.circuit")
        .replace("take-out-noise-capacitor", path.stem)
        .replace("MYTUBE", path.stem.upper())
    )
