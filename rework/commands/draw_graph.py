"""``rework draw --as graph``: blocks of words joined by lines, laid out by graphviz."""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.draw.graph.dot import Layout
from rework.draw.graph.marks import Marks, marks_of
from rework.draw.graph.render import layout, rendered
from rework.draw.graph.sheet import chassis_names
from rework.draw.graph.sources import pair_sources, placed_source
from rework.draw.paper import named
from rework.rules.run import JobRun
from rework.safety.check import check


def graph_of_job(
    done: JobRun, output: Path, format_: str, asked: argparse.Namespace
) -> dict[Path, bytes]:
    """Return the files to write for a job: ``NAME-before`` and ``NAME-after`` and a sheet a new
    chassis.
    """
    before, after = marks(done.before), marks(done.after)
    there = _sheets(done.before, asked)
    files = {}
    for chassis in there:
        sources = pair_sources(
            done.before,
            done.after,
            _layout(asked),
            chassis=chassis,
            theme=asked.theme,
            before_marks=before,
            after_marks=after,
        )
        for when, text in zip(("before", "after"), sources, strict=True):
            files[named(output, chassis, when)] = rendered(
                text, format_, renderer=asked.renderer, placed=True
            )
    for chassis in _sheets(done.after, asked):
        if chassis not in there:
            files[named(output, chassis)] = _one(done.after, chassis, format_, asked, after)
    return files


def graph_of_circuit(
    circuit: Circuit, output: Path, format_: str, asked: argparse.Namespace
) -> dict[Path, bytes]:
    """Return the files to write for a circuit: its own chassis and a sheet for each that is
    attached.
    """
    states = marks(circuit)
    return {
        named(output, chassis): _one(circuit, chassis, format_, asked, states)
        for chassis in _sheets(circuit, asked)
    }


def _sheets(circuit: Circuit, asked: argparse.Namespace) -> tuple[str | None, ...]:
    """Return the chassis that get a sheet each: the circuit's own, called "", and the attached
    ones; None for all on one sheet.
    """
    return (None,) if asked.whole else ("", *chassis_names(circuit))


def _one(
    circuit: Circuit, chassis: str | None, format_: str, asked: argparse.Namespace, overlays: Marks
) -> bytes:
    text = placed_source(
        circuit, _layout(asked), chassis=chassis, theme=asked.theme, marks=overlays
    )
    return rendered(text, format_, renderer=asked.renderer, placed=True)


def _layout(asked: argparse.Namespace) -> Layout:
    return lambda text: layout(text, renderer=asked.renderer)


def marks(circuit: Circuit) -> Marks:
    """Return what the check finds, for the drawing: hazards within reach, and live nodes."""
    return marks_of(check(circuit))
