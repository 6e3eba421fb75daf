"""``rework volts``: the voltage chart of a circuit, or of a job before and after."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rework.circuit.place import Problem
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
from rework.language.files import Refusal
from rework.language.job import volts_read
from rework.report.figures import shown
from rework.report.table import Table, text
from rework.report.terminal import listed, printable, progress, styled, wrapped
from rework.solve.chart import Chart, volts
from rework.solve.meter import DIGITAL
from rework.solve.positions import positioned
from rework.solve.stress_words import stress_words, without_rating_words
from rework.solve.words import LIVE, chart_tables

EXAMPLE = "rework volts pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_positions(parser)
    parser.add_argument(
        "name", nargs="?", default="", help="only this part, node or pin: V3, B1, V3.plate, V3.7"
    )
    parser.add_argument(
        "--samples", type=int, default=1000, help="draws for the band (default: 1000)"
    )
    parser.add_argument("--seed", type=int, default=1, help="which draws (default: 1)")
    takes_plot(parser)
    takes_json(parser)
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the voltage chart; with --plot, draw B+ and ripple over one line period."""
    if not 20 <= asked.samples <= 100_000:
        raise Refusal(
            Problem(
                f"a band cannot be made from {asked.samples} draws",
                expected="20 to 100000 samples",
            )
        )
    at, wanted = positions_asked(asked), subject(asked.file)
    wanted_picture(asked.plot, force=asked.force, sources=wanted.sources)
    job = wanted.run.job if wanted.run else None
    with progress("voltage chart", asked.samples * len(wanted.circuits)) as bar:
        charts = solved(
            wanted,
            lambda circuit: volts(
                positioned(circuit, at),
                samples=asked.samples,
                seed=asked.seed,
                step=bar.update,
                meter=job.bench.meter if job else DIGITAL,
            ),
        )
    if asked.json:
        from rework.commands.answers.numbers import sides, volts_answer
        from rework.commands.answers.shape import json_text

        print(json_text(sides(charts, volts_answer)))
    else:

        def told(side: SolvedSide[Chart]) -> str:
            read = volts_read(job, side.heading.lower()) if job else {}
            return chart_text(side, read, asked.name)

        print_each(charts, told)
        print(wrapped(LIVE))
    if asked.plot:
        from rework.commands.volts_plot import drawn

        keep(drawn(last_of(charts)), asked.plot, force=asked.force)
    return 0


def chart_text(side: SolvedSide[Chart], readings: Mapping[str, float], name: str = "") -> str:
    """Return a voltage chart for a terminal, what is over a rating first; of one part, pin or node
    where ``name`` is given.

    Raises Refusal where nothing in the chart has that name.
    """
    chart = side.result
    title = printable(": ".join(filter(None, (side.heading, chart.title))))
    tables = chart_tables(chart, readings)
    if name:
        tables = about(tables, name)
        if not tables:
            raise Refusal(
                Problem(
                    f"the chart has nothing called {name}",
                    expected="a part, a node or a pin such as V1, B1 or V1.plate",
                )
            )
        return "\n\n".join([styled(title, "bold"), *map(text, tables)])
    band = (
        f"DC volts against common ({chart.common}). Band: 5 to 95 % of"
        f" {chart.samples - chart.failed:,} draws of part tolerance, tube spread and line ±10 %."
    )
    if chart.failed:
        band += f" {chart.failed:,} of {chart.samples:,} draws did not settle and are left out."
    without = chart.without_rating
    line = (
        f"From the line {shown(chart.line_watts, 'W')}, {shown(chart.line_amps, 'A')} RMS;"
        f" {shown(chart.rush_amps, 'A')} RMS over the first cycle at the switch, peak"
        f" {shown(chart.rush_peak_amps, 'A')}. Energy balance"
        f" {abs(chart.balance):.1e}, largest node error {chart.residual:.1e} A."
    )
    blocks = [
        "\n".join([styled(title, "bold"), wrapped(band), *_stand(chart)]),
        listed("Check the netlist:", chart.warnings, "yellow"),
        listed("Over a rating, or close to it:", tuple(map(stress_words, chart.flagged)), "yellow")
        or "Nothing found over its rating.",
        *map(text, tables),
        wrapped(line),
        wrapped(f"No rating is written or known for: {without_rating_words(without)}.")
        if without
        else "",
        listed("Assumptions:", chart.notes),
    ]
    return "\n\n".join(filter(None, blocks))


def _stand(chart: Chart) -> list[str]:
    """Return where controls and switches stand, as one line; those the file says nothing of are in
    their middle or on.
    """
    stand = [
        f"{position.part} {position.at}{'' if position.stated else ' (assumed)'}"
        for position in chart.positions
    ]
    return [wrapped(f"Controls and switches: {', '.join(stand)}.")] if stand else []


def about(tables: Sequence[Table], name: str) -> tuple[Table, ...]:
    """Return the rows of each table about a part, a node, or a pin (``V3.plate``, ``V3.7``)."""
    return tuple(part for table in tables if (part := _rows_about(table, name)).rows)


def _rows_about(table: Table, name: str) -> Table:
    part, dot, pin = name.partition(".")
    kept = []
    for index, row in enumerate(table.rows):
        words = {word for cell in row if isinstance(cell, str) for word in cell.split(", ")}
        of_part = bool(table.parts) and table.parts[index] == part
        if name in words or (of_part and (not dot or pin in words)):
            kept.append(index)
    return replace(
        table,
        rows=tuple(table.rows[index] for index in kept),
        parts=tuple(table.parts[index] for index in kept) if table.parts else (),
        marks=tuple(table.marks[index] for index in kept) if table.marks else (),
    )
