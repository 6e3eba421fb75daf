"""``rework draw``: a circuit, or a job before and after in the same places; or the sockets from
below.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.arguments import takes_force, takes_netlist
from rework.commands.subject import subject
from rework.draw.render import CannotDraw, layout, rendered
from rework.draw.schematic import Layout, pair_sources, placed_source
from rework.draw.sheet import Marks, chassis_names, marks_of
from rework.language.files import Refusal, refuse_taken, write_whole
from rework.rules.run import JobRun
from rework.safety.check import check

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
    parser.add_argument(
        "--sockets",
        action="store_true",
        help="socket views from below instead of the whole circuit",
    )
    parser.add_argument(
        "--whole",
        action="store_true",
        help="an attached chassis beside the amplifier instead of on a sheet of its own",
    )
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
        help="system uses an installed dot",
    )
    takes_force(parser)


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
    try:
        about = subject(asked.file)
        about.print_cautions()
        files = (
            circuit_drawings(about.last, output, format_, asked)
            if about.run is None
            else job_drawings(about.run, output, format_, asked)
        )
    except CannotDraw as error:
        raise Refusal(Problem(str(error))) from error
    refuse_taken(*files, force=asked.force, sources=about.sources)
    for path, data in files.items():
        write_whole(path, data, force=asked.force)
        print(f"{path} is written.")
    return int(bool(check(about.last).hazards))


def job_drawings(
    done: JobRun, output: Path, format_: str, asked: argparse.Namespace
) -> dict[Path, bytes]:
    """Return the files to write for a job: ``NAME-before`` and ``NAME-after`` and a sheet a new
    chassis, or one of its sockets.
    """
    if asked.sockets:
        from rework.draw.sockets import socket_sheet

        return {
            output: _converted(
                socket_sheet(done.after, before=done.before, theme=asked.theme), format_
            )
        }
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
            files[_named(output, chassis, when)] = rendered(
                text, format_, renderer=asked.renderer, placed=True
            )
    for chassis in _sheets(done.after, asked):
        if chassis not in there:
            files[_named(output, chassis)] = _one(done.after, chassis, format_, asked, after)
    return files


def circuit_drawings(
    circuit: Circuit, output: Path, format_: str, asked: argparse.Namespace
) -> dict[Path, bytes]:
    """Return the files to write for a circuit: its own chassis and a sheet for each that is
    attached, or one of its sockets.
    """
    if asked.sockets:
        from rework.draw.sockets import socket_sheet

        return {output: _converted(socket_sheet(circuit, theme=asked.theme), format_)}
    found = marks(circuit)
    return {
        _named(output, chassis): _one(circuit, chassis, format_, asked, found)
        for chassis in _sheets(circuit, asked)
    }


def _sheets(circuit: Circuit, asked: argparse.Namespace) -> tuple[str | None, ...]:
    """Return the chassis that get a sheet each: the circuit's own, called "", and the attached
    ones; None for all on one sheet.
    """
    return (None,) if asked.whole else ("", *chassis_names(circuit))


def _one(
    circuit: Circuit, chassis: str | None, format_: str, asked: argparse.Namespace, found: Marks
) -> bytes:
    text = placed_source(circuit, _layout(asked), chassis=chassis, theme=asked.theme, marks=found)
    return rendered(text, format_, renderer=asked.renderer, placed=True)


def _layout(asked: argparse.Namespace) -> Layout:
    return lambda text: layout(text, renderer=asked.renderer)


def _named(output: Path, *words: str | None) -> Path:
    """Return a file's name with what the sheet shows behind it: ``pager-before.svg``,
    ``pager-SUPPLY.svg``.
    """
    return output.with_stem(
        "-".join([output.stem, *(word.replace("/", "-") for word in words if word)])
    )


def _converted(svg: str, format_: str) -> bytes:
    from rework.draw.render import svg_to_pdf, svg_to_png

    return {
        "svg": str.encode,
        "png": lambda text: svg_to_png(text.encode()),
        "pdf": lambda text: svg_to_pdf(text.encode()),
    }[format_](svg)


def marks(circuit: Circuit) -> Marks:
    """Return what the check finds, for the drawing: hazards within reach, and live nodes."""
    return marks_of(check(circuit))
