"""``rework summary``: on one screen whether a set is safe to touch and works, before and after.

The JSON has ``verdict``, ``exit_status`` and for the circuit, or for ``before`` and ``after``, the
figures of each command and the rows of ``function`` (``anatomy/function_row.py``).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from rework.anatomy.function import function
from rework.anatomy.function_row import FunctionRow, Working
from rework.anatomy.lost import lost
from rework.circuit.circuit import Circuit
from rework.commands.arguments import takes_json, takes_netlist
from rework.commands.function_words import function_json
from rework.commands.subject import Subject, subject
from rework.commands.summary_words import summary_text
from rework.safety.check import check
from rework.safety.findings import Report

EXAMPLE = "rework summary pager.job"
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Touched:
    """What a person feels: the worst current without a fault and the limit, amperes RMS; how many
    single faults were tried, leave more than the limit, and are not known.
    """

    amps: float
    limit: float
    faults: int
    over: int
    unknown: int
    reachable: bool

    @property
    def is_over(self) -> bool:
        """Whether more than the limit flows without any fault."""
        return self.amps > self.limit


@dataclass(frozen=True, slots=True)
class Glance:
    """One circuit at a glance."""

    circuit: Circuit
    check: Report
    touched: Touched
    rows: tuple[FunctionRow, ...]
    gain: float | None
    watts: float | None
    rail: str
    rail_volts: float | None

    @property
    def works(self) -> bool:
        """Whether nothing was found that keeps the set from working."""
        return all(row.working is not Working.FAULT for row in self.rows)

    @property
    def exit_status(self) -> int:
        """1 where the set does not work, is tied to the mains or more than the limit can flow."""
        bad = self.check.exit_status or self.touched.is_over or self.touched.over
        return int(bool(bad) or not self.works)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the summary; return 1 where the set, or the finished set of a job, would not work or is
    not safe to touch as far as the netlist shows.
    """
    about = subject(asked.file)
    glances = glances_of(about)
    last = [*glances.values()][-1]
    if asked.json:
        plain: dict[str, Any] = {key: _json(glance) for key, glance in glances.items()}
        head = {"exit_status": last.exit_status, "works": last.works}
        print(json.dumps(head | plain, indent=2, ensure_ascii=False))
    else:
        about.print_cautions()
        print(summary_text(about.last.title, glances, file=asked.file))
    return last.exit_status


def glances_of(about: Subject) -> dict[str, Glance]:
    """Return a glance of each circuit of a subject.

    What a person would feel is worked out in a second process, beside the operating points.
    """
    circuits = about.circuits
    touched = _beside(lambda: {key: _touched(circuit) for key, circuit in circuits.items()})
    from rework.solve.function import Performance, compared, performance, solved_rows

    reports = {key: check(circuit) for key, circuit in circuits.items()}
    rows = {key: function(circuit) for key, circuit in circuits.items()}
    gone: tuple[FunctionRow, ...] = ()
    figures: dict[str, Performance] = {}
    for key, circuit in circuits.items():
        was = figures.get("before")
        figures[key] = performance(circuit, stops=was.stops if was else None, rated=key != "before")
        rows[key] += solved_rows(circuit, figures[key]) if key != "before" else ()
    if about.run is not None:
        before, after = circuits["before"], circuits["after"]
        gone = lost(before, after, about.run.edits)
        pair = compared(before, figures["before"], after, figures["after"], gone)
        rows["after"] += gone + pair
    felt = touched()
    return {
        key: Glance(
            circuit,
            reports[key],
            felt[key],
            rows[key],
            figures[key].gain,
            figures[key].watts,
            figures[key].rail,
            figures[key].rail_volts,
        )
        for key, circuit in circuits.items()
    }


def _touched(circuit: Circuit) -> Touched:
    from rework.touch.faults import faults

    report = faults(circuit)
    verdicts = [outcome.verdict for outcome in report.outcomes]
    return Touched(
        report.healthy,
        report.limit_amps,
        len(verdicts),
        verdicts.count("over"),
        verdicts.count("not known"),
        bool(verdicts),
    )


def _beside(work: Callable[[], Result]) -> Callable[[], Result]:
    """Begin some work in a process of its own and return what waits for it; where processes cannot
    be forked it is done when asked for.
    """
    if "fork" not in multiprocessing.get_all_start_methods():
        return work
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)

    def send() -> None:
        there.send(work())

    process = context.Process(target=send, daemon=True)
    process.start()
    there.close()

    def wait() -> Result:
        try:
            result: Result = here.recv()
        except EOFError:  # the process failed: do it here, so that the error is seen
            return work()
        process.join()
        return result

    return wait


def _json(glance: Glance) -> dict[str, Any]:
    return {
        "title": glance.circuit.title,
        "check": {
            "verdict": glance.check.verdict,
            "hazards": len(glance.check.hazards),
            "must": sum(caution.weight == "must" for caution in glance.check.cautions),
        },
        "touch": {"amps": glance.touched.amps, "limit": glance.touched.limit},
        "faults": {
            "tried": glance.touched.faults,
            "over": glance.touched.over,
            "unknown": glance.touched.unknown,
        },
        "gain": glance.gain,
        "watts": glance.watts,
        "rail": glance.rail,
        "rail_volts": glance.rail_volts,
        "function": [function_json(row) for row in glance.rows],
    }
