"""``rework draw``: the schematic of a circuit, or of a job before and after in the same places; the
same as a graph; or the sockets from below.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.arguments import takes_force, takes_netlist
from rework.commands.draw_graph import graph_of_circuit, graph_of_job
from rework.commands.subject import subject
from rework.draw.graph.render import CannotDraw
from rework.draw.paper import named
from rework.language.files import Refusal, refuse_taken, write_whole
from rework.rules.run import JobRun
from rework.safety.check import check

if TYPE_CHECKING:
    from rework.draw.drawing import Sheets
    from rework.draw.overlay import Overlay

FORMATS = ("svg", "png", "pdf")

EXAMPLE = "rework draw pager.job -o pager.svg"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT.svg",
        required=True,
        help=(
            "an .svg, .png or .pdf file; a job makes two, -before and -after; an attached chassis"
            " has its own"
        ),
    )
    _takes_form(parser)
    _takes_look(parser)
    takes_force(parser)


def _takes_form(parser: argparse.ArgumentParser) -> None:
    """Add what is drawn, and by which conventions."""
    parser.add_argument(
        "--as",
        dest="form",
        choices=("schematic", "graph"),
        default="schematic",
        help="a schematic with the trade's symbols (default), or blocks joined by lines",
    )
    parser.add_argument(
        "--symbols",
        choices=("us", "iec"),
        help="symbols of IEEE 315 or of IEC 60617 (default: by the line the set is for)",
    )
    parser.add_argument(
        "--as-found",
        action="store_true",
        help="the circuit as it was found, without any mark: the service sheet of the set",
    )
    parser.add_argument(
        "--volts",
        action="store_true",
        help="write the computed DC volts beside the wires",
    )
    parser.add_argument(
        "--sockets",
        action="store_true",
        help="socket views from below instead of the whole circuit",
    )
    parser.add_argument(
        "--whole",
        action="store_true",
        help="an attached chassis beside the amplifier instead of on a separate sheet",
    )


def _takes_look(parser: argparse.ArgumentParser) -> None:
    """Add the colours and the program that lays a graph out."""
    parser.add_argument(
        "--theme",
        choices=("light", "dark", "print"),
        default="light",
        help="background (default: light)",
    )
    parser.add_argument(
        "--renderer",
        choices=("embedded", "system"),
        default="embedded",
        help="of the graph: system uses an installed dot",
    )


def run(asked: argparse.Namespace) -> int:
    """Write the drawing or drawings; return 1 where the last one shows a hazard."""
    output = Path(asked.output)
    format_ = output.suffix.lstrip(".").lower()
    if format_ not in FORMATS:
        raise Refusal(
            Problem(
                f"{output.name} does not say what kind of file to write",
                expected="a name that ends in " + ", ".join("." + f for f in FORMATS),
            )
        )
    about = subject(asked.file)
    about.print_cautions()
    try:
        files = drawings(about.run, about.last, output, asked)
    except CannotDraw as error:
        raise Refusal(Problem(str(error))) from error
    refuse_taken(*files, force=asked.force, sources=about.sources)
    for path, data in files.items():
        write_whole(path, data, force=asked.force)
        print(f"{path} is written.")
    return int(bool(check(about.last).hazards))


def drawings(
    run: JobRun | None, circuit: Circuit, output: Path, asked: argparse.Namespace
) -> dict[Path, bytes]:
    """Return every file to write with its bytes, of a job or of a circuit. Raises CannotDraw."""
    format_ = output.suffix.lstrip(".").lower()
    before = None if run is None else run.before
    if asked.sockets:
        from rework.draw.sockets import socket_sheet

        svg = socket_sheet(circuit, before=before, theme=asked.theme)
        return {output: converted(svg, format_, circuit)}
    if asked.as_found:
        return _schematics(None, before or circuit, output, asked)
    if asked.form == "graph":
        if run is None:
            return graph_of_circuit(circuit, output, format_, asked)
        return graph_of_job(run, output, format_, asked)
    return _schematics(before, circuit, output, asked)


def _schematics(
    before: Circuit | None, circuit: Circuit, output: Path, asked: argparse.Namespace
) -> dict[Path, bytes]:
    """Return ``NAME`` and a sheet an attached chassis, or ``NAME-before`` and ``NAME-after`` where
    both have the chassis.
    """
    from rework.draw.drawing import chassis_and_number, pair, schematic
    from rework.draw.ink import svg
    from rework.draw.readback import DrawingIsWrong

    try:
        if before is None:
            marks = _overlay(circuit, asked)
            old: Sheets = {}
            new = schematic(circuit, style=asked.symbols, whole=asked.whole, overlay=marks)
        else:
            overlays = (_overlay(before, asked), _overlay(circuit, asked))
            old, new = pair(
                before, circuit, style=asked.symbols, whole=asked.whole, overlays=overlays
            )
    except DrawingIsWrong as error:
        raise CannotDraw(str(error)) from error
    format_ = output.suffix.lstrip(".").lower()
    files = {}
    for when, sheets, others in (("before", old, new), ("after", new, old)):
        for name, sheet in sheets.items():
            chassis, number = chassis_and_number(name)
            words = (chassis, when if name in others else "", number)
            drawn = svg(sheet, theme=asked.theme)
            files[named(output, *words)] = converted(drawn, format_, circuit)
    return files


def _overlay(circuit: Circuit, asked: argparse.Namespace) -> Overlay:
    """Return what the check says of a circuit and, where asked for, its computed volts."""
    from rework.draw.overlay import PLAIN, found_by

    overlay = PLAIN if asked.as_found else found_by(check(circuit))
    return _with_volts(overlay, circuit) if asked.volts else overlay


def _with_volts(overlay: Overlay, circuit: Circuit) -> Overlay:
    """Return an overlay with the DC volts of every node that the chart has; as it is, and a word on
    it, where they cannot be computed.
    """
    from dataclasses import replace

    from rework.draw.overlay import VoltsTaken
    from rework.solve.chart import volts
    from rework.solve.network import CannotSolve

    try:
        chart = volts(circuit, samples=20)
    except CannotSolve as error:
        print(
            f"No volts in the drawing of {circuit.title}: they cannot be computed. {error}",
            file=sys.stderr,
        )
        return overlay
    return replace(
        overlay,
        volts={row.node: row.volts for row in chart.nodes},
        taken=VoltsTaken(
            chart.common, chart.meter, circuit.mains.volts if circuit.mains is not None else None
        ),
    )


def converted(svg: str, format_: str, circuit: Circuit) -> bytes:
    """Return a drawing in a format; a PDF on the paper of the line's country. Raises CannotDraw."""
    from rework.draw.paper import CannotConvert, paper_for, to_pdf, to_png

    if format_ == "svg":
        return svg.encode()
    if format_ == "png":
        return to_png(svg)
    try:
        return to_pdf([svg], paper=paper_for(circuit.mains.volts if circuit.mains else None))
    except CannotConvert as error:
        raise CannotDraw(str(error)) from error
