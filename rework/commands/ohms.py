"""``rework ohms``: what an ohmmeter should read on the unpowered set."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict

from rework.commands.numbers import Solved, shown, solved
from rework.report.problems import problems_text
from rework.report.terminal import printable, styled, table

CAUTION = (
    "Plug out, switch on, controls in the middle, capacitors discharged and measured to be so,"
    " tubes in and cold.\nWait for capacitors to charge from the meter. 'one way round' is where a"
    " meter that turns a semiconductor on reads lower."
)


def run(asked: argparse.Namespace) -> int:
    """Print the resistance chart of a circuit, or of a job before and after."""
    from rework.solve.ohms import ohms

    found = solved(asked.file, ohms)
    if asked.json:
        print(
            json.dumps(
                {
                    one.heading.lower() or "circuit": [asdict(row) for row in one.result]
                    for one in found
                    if one.result is not None
                },
                indent=2,
                ensure_ascii=False,
            )
        )
        return 0
    for one in found:
        if one.result is None:
            print(problems_text(one.problems, stream=sys.stderr), file=sys.stderr)
        else:
            print(_text(one) + "\n")
    print(CAUTION)
    return 0


def _text(one: Solved) -> str:
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
