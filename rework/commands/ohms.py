"""``rework ohms``: what an ohmmeter should read on the unpowered set."""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict

from rework.commands.arguments import takes_json, takes_netlist
from rework.commands.numbers import shown
from rework.commands.subject import Solved, print_each, solved, subject
from rework.report.terminal import printable, styled, table
from rework.solve.ohms import Reading, ohms

CAUTION = (
    "Plug out, switch on, controls in the middle, capacitors discharged and measured to be so,"
    " tubes in and cold.\nWait for capacitors to charge from the meter. 'one way round' is where a"
    " meter that turns a semiconductor on reads lower."
)

EXAMPLE = "rework ohms pager.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the resistance chart of a circuit, or of a job before and after."""
    charts = solved(subject(asked.file), ohms)
    if asked.json:
        answer = {
            key: [asdict(row) for row in chart.result]
            for key, chart in charts.items()
            if isinstance(chart, Solved)
        }
        print(json.dumps(answer, indent=2, ensure_ascii=False))
        return 0
    print_each(charts, _text)
    print(CAUTION)
    return 0


def _text(one: Solved[tuple[Reading, ...]]) -> str:
    rows = [("at", "", "against", "ohms", "one way round")]
    rows += [
        (
            row.place,
            row.what,
            row.against,
            _ohms(row.ohms),
            (
                _ohms(row.forward)
                if row.forward is not None or (row.ohms is None and row.forward)
                else ""
            ),
        )
        for row in one.result
    ]
    return f"{styled((one.heading + ': ' if one.heading else '') + printable(one.circuit.title), 'bold')}\n{table(rows)}"


def _ohms(value: float | None) -> str:
    if value is None:
        return "open"
    return "0" if value < 0.05 else shown(value, "ohm")
