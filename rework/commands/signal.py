"""``rework signal``: gain, response, watts, distortion, hum and stability of a circuit, or of a job
before and after.
"""

from __future__ import annotations

import argparse

from rework.commands.arguments import (
    positions_asked,
    takes_force,
    takes_json,
    takes_netlist,
    takes_plot,
    takes_positions,
)
from rework.commands.pictures import keep, wanted_picture
from rework.commands.subject import SolvedSide, last_of, print_each, solved, subject
from rework.report.table import text
from rework.report.terminal import listed, printable, progress, styled
from rework.solve.positions import positioned
from rework.solve.signal import STEPS, Signal, signal
from rework.solve.signal_bands import SAMPLES
from rework.solve.signal_words import signal_tables

EXAMPLE = "rework signal pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_positions(parser)
    takes_plot(parser)
    takes_json(parser)
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print what the amplifier does with a signal; with --plot, draw response, load line,
    distortion and hum.
    """
    at, about = positions_asked(asked), subject(asked.file)
    wanted_picture(asked.plot, force=asked.force, sources=about.sources)
    with progress("signal", len(about.circuits) * STEPS) as bar:
        signals = solved(
            about,
            lambda circuit: signal(
                positioned(circuit, at), held=at, samples=SAMPLES, step=bar.update
            ),
        )
    if asked.json:
        from rework.commands.answers.numbers import sides, signal_answer
        from rework.commands.answers.shape import json_text

        print(json_text(sides(signals, signal_answer)))
    else:
        print_each(signals, _text)
    if asked.plot:
        from rework.commands.signal_plot import drawn

        keep(drawn(last_of(signals)), asked.plot, force=asked.force)
    return 0


def _text(side: SolvedSide[Signal]) -> str:
    title = printable(": ".join(filter(None, (side.heading, side.result.title))))
    notes = (*side.result.notes, "Noise is left out: the library has no figure for it.")
    return "\n\n".join(
        [
            styled(title or "The circuit", "bold"),
            *map(text, signal_tables(side.result)),
            listed("Assumptions:", notes),
        ]
    )
