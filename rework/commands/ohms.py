"""``rework ohms``: what an ohmmeter should read on the unpowered set."""

from __future__ import annotations

import argparse

from rework.commands.arguments import positions_asked, takes_json, takes_netlist, takes_positions
from rework.commands.subject import SolvedSide, print_each, solved, subject
from rework.report.table import text
from rework.report.terminal import printable, styled, wrapped
from rework.solve.ohms import OhmsReading, ohms
from rework.solve.positions import positioned
from rework.solve.signal_words import COLD, ohms_table

EXAMPLE = "rework ohms pager.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_positions(parser)
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the resistance chart of a circuit, or of a job before and after."""
    at = positions_asked(asked)
    charts = solved(subject(asked.file), lambda circuit: ohms(positioned(circuit, at)))
    if asked.json:
        from rework.commands.answers.numbers import sides
        from rework.commands.answers.shape import json_text

        print(json_text(sides(charts, lambda readings: readings)))
        return 0
    print_each(charts, _text)
    print(wrapped(COLD))
    return 0


def _text(side: SolvedSide[tuple[OhmsReading, ...]]) -> str:
    title = printable(": ".join(filter(None, (side.heading, side.circuit.title))))
    return f"{styled(title, 'bold')}\n{text(ohms_table(side.result))}"
