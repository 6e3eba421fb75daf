"""Arguments that several commands take, each worded once."""

from __future__ import annotations

import argparse
from collections.abc import Mapping

from rework.circuit.place import Problem
from rework.language.files import Refusal


def takes_netlist(parser: argparse.ArgumentParser) -> None:
    """Add ``file``: a circuit, or a job."""
    parser.add_argument(
        "file",
        help=(
            "a .circuit file, or a .job file (before and after its rules); - reads a circuit from"
            " standard input"
        ),
    )


def takes_positions(parser: argparse.ArgumentParser) -> None:
    """Add ``--at``: where a control or switch stands."""
    parser.add_argument(
        "--at",
        action="append",
        default=[],
        metavar="NAME=POSITION",
        help="position of a control or switch, as in --at R6=cw, --at R6=30%%, --at S1=OFF",
    )


def positions_asked(asked: argparse.Namespace) -> dict[str, str]:
    """Return the positions of ``--at`` by part. Raises Refusal where one has no equals sign."""
    malformed = [text for text in asked.at if "=" not in text]
    if malformed:
        raise Refusal(
            *(
                Problem(f"--at {text} names no position", expected="NAME=POSITION, as in R6=cw")
                for text in malformed
            )
        )
    return dict(text.split("=", 1) for text in asked.at)


def stated_words(at: Mapping[str, str]) -> str:
    """Return which positions ``--at`` stated, where all others were tried; nothing without any."""
    if not at:
        return ""
    stated = ", ".join(f"{name} at {position.replace('%', ' %')}" for name, position in at.items())
    return (
        f"{stated}, as stated; the others in every position. Whether the set is safe in another"
        " position is not told here."
    )


def takes_json(parser: argparse.ArgumentParser) -> None:
    """Add ``--json``."""
    parser.add_argument("--json", action="store_true", help="print JSON for a machine")


def takes_force(parser: argparse.ArgumentParser) -> None:
    """Add ``--force``."""
    parser.add_argument("--force", action="store_true", help="replace a file that is there already")


def takes_plot(parser: argparse.ArgumentParser) -> None:
    """Add ``--plot``."""
    parser.add_argument("--plot", metavar="OUT.svg", help="draw it too: an .svg, .png or .pdf file")


def takes_shelf(parser: argparse.ArgumentParser, where: str) -> None:
    """Add ``--shelf``; ``where`` says beside what a list is looked for."""
    parser.add_argument(
        "--shelf",
        metavar="LIST.csv",
        help=f"the stock list (default: the job's prices, else shelf.csv beside {where})",
    )
