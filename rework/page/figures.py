"""What the long sums say, as tables of the page: a block a sum and side, ``computing``, ``ready``,
or ``none`` and why.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from rework.circuit.place import Problem
from rework.language.job import volts_read
from rework.report.figures import band, shown
from rework.report.figures import volts as meter
from rework.rules.run import JobRun
from rework.solve.chart import Chart
from rework.solve.ohms import OhmsReading
from rework.solve.response import FREQUENCIES
from rework.solve.signal import Signal
from rework.solve.signal_words import COLD, ohms_table, signal_tables
from rework.solve.stress_words import stress_words
from rework.solve.words import LEAST_AC, LIVE, chart_tables, reading_at
from rework.touch.fault_words import faults_table
from rework.touch.outcomes import FaultReport
from rework.touch.stored import AfterUnplugging
from rework.touch.stored_words import charge_words, stored_table
from rework.touch.touch import TouchReport
from rework.touch.words import gap_words, touch_table

#: The sums, the most wanted first: name, and what the page calls it.
SUMS = {
    "volts": "Volts",
    "ohms": "Ohms",
    "signal": "Signal",
    "touch": "Touch current",
    "faults": "Faults",
}
#: A DC part under this share of the AC is left out.
_NO_DC = 0.01
#: One sum of one side as the page takes it: ``state``, ``why``, ``tables``, ``notes`` and more.
Block = dict[str, Any]


def computing() -> Block:
    """Return the block of a sum that is still being done."""
    return {"state": "computing", "why": [], "tables": [], "notes": []}


def missing(why: Sequence[Problem]) -> Block:
    """Return the block of a sum that could not be done, and why."""
    reasons = [
        problem.message + (f" {problem.hint[0].upper()}{problem.hint[1:]}." if problem.hint else "")
        for problem in why
    ]
    return {
        "state": "none",
        "why": reasons or ["The computation did not finish."],
        "tables": [],
        "notes": [],
    }


def block(name: str, result: object, run: JobRun, side: str) -> Block:
    """Return the block of a sum that was done of the set before or after the job."""
    return {"state": "ready", "why": [], **_BLOCKS[name](result, volts_read(run.job, side))}


def _volts(chart: Chart, read: Mapping[str, float]) -> Block:
    first, *others = chart_tables(chart, read)
    return {
        "tables": [replace(first, lead=LIVE), *others],
        "flags": [stress_words(stress) for stress in chart.flagged],
        "notes": list(chart.notes),
        "at": {
            row.node: volts_words(row.volts, row.low, row.high, row.ripple) for row in chart.nodes
        },
        "read": [
            {
                "part": pin.part,
                "pin": pin.pin,
                "words": f"{shown(value, 'V')}, {'inside' if within else 'OUTSIDE'} the band",
                "bad": not within,
            }
            for pin in chart.pins
            if (value := reading_at(pin.part, pin.pin, pin.element, pin.node, read)) is not None
            for within in [pin.low <= value <= pin.high]
        ],
    }


def volts_words(volts: float, low: float, high: float, ac: float) -> str:
    """Return what a meter should read at a node: DC with its band, AC where that is what there is,
    or both.
    """
    spread = band(low, high).removesuffix(" V")
    direct = f"{meter(volts)} DC" + (f" ({spread})" if spread else "")
    if ac < LEAST_AC:
        return direct
    alternating = f"{meter(ac)} AC"
    return alternating if abs(volts) < _NO_DC * ac else f"{direct}, {alternating}"


def _ohms(readings: Sequence[OhmsReading], _: Mapping[str, float]) -> Block:
    return {"tables": [replace(ohms_table(readings), lead=COLD)], "notes": []}


def _signal(signal: Signal, _: Mapping[str, float]) -> Block:
    curves = [
        {
            "name": f"{response.control} {response.position}",
            "gain": [float(f"{gain:.4g}") for gain in response.gain],
        }
        for response in signal.responses
    ]
    return {
        "tables": list(signal_tables(signal)),
        "notes": list(signal.notes),
        "curves": {"hertz": [float(f"{hertz:.5g}") for hertz in FREQUENCIES], "of": curves},
    }


def _touch(report: TouchReport, _: Mapping[str, float]) -> Block:
    note = (
        f"Limit {report.limit_words}. {report.line}; {report.states:,} states; measured through"
        f" {report.network.words}."
    )
    return {
        "tables": [replace(touch_table(report), lead=note)],
        "notes": [*gap_words(report), *report.notes],
    }


def _faults(result: tuple[FaultReport, AfterUnplugging], _: Mapping[str, float]) -> Block:
    report, after = result
    charge = stored_table(after.capacitors)
    return {
        "tables": [faults_table(report), *([charge] if charge.rows else [])],
        "notes": [*gap_words(report), *charge_words(after), *report.notes],
    }


_BLOCKS: dict[str, Callable[[Any, Mapping[str, float]], Block]] = {
    "volts": _volts,
    "ohms": _ohms,
    "signal": _signal,
    "touch": _touch,
    "faults": _faults,
}
