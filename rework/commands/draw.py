"""``rework draw``: a circuit, or a job before and after in the same places; or the sockets from below."""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.commands.check import tell_cautions
from rework.commands.files import Refusal, wanted_circuit, write_whole
from rework.commands.jobs import is_job, run_job_file
from rework.draw.render import CannotDraw, layout, rendered
from rework.draw.schematic import pair_sources, placed_source
from rework.draw.sheet import Marks
from rework.rules.run import JobRun
from rework.safety.check import check

FORMATS = ("svg", "png", "pdf")


def run(asked: argparse.Namespace) -> int:
    """Write the drawing or drawings; return 1 where the last one shows a hazard."""
    output = Path(asked.output)
    format_ = output.suffix.lstrip(".").lower()
    if format_ not in FORMATS:
        raise Refusal(Problem(f"{output.name} does not say what kind of file to write", expected="a name that ends in " + ", ".join("." + f for f in FORMATS)))
    try:
        if is_job(asked.file):
            done = run_job_file(asked.file)
            files, hazard = job_drawings(done, output, format_, asked), bool(check(done.after).hazards)
        else:
            circuit, problems = wanted_circuit(asked.file)
            tell_cautions(problems)
            files, hazard = {output: _one(circuit, format_, asked)}, bool(check(circuit).hazards)
    except CannotDraw as error:
        raise Refusal(Problem(str(error))) from error
    taken = [path for path in files if path.exists() and not asked.force]
    if taken:
        raise Refusal(*(Problem(f"{path} is there already", hint="name another file, or add --force to replace it") for path in taken))
    for path, data in files.items():
        write_whole(path, data, force=asked.force)
        print(f"{path} is written.")
    return int(hazard)


def job_drawings(done: JobRun, output: Path, format_: str, asked: argparse.Namespace) -> dict[Path, bytes]:
    """Return the files to write for a job: ``NAME-before`` and ``NAME-after``, or one sheet of its sockets."""
    if asked.sockets:
        from rework.draw.sockets import socket_sheet

        return {output: _converted(socket_sheet(done.after, before=done.before, theme=asked.theme), format_)}
    sources = pair_sources(done.before, done.after, lambda text: layout(text, renderer=asked.renderer), theme=asked.theme,
                           before_marks=marks(done.before), after_marks=marks(done.after))
    return {output.with_stem(f"{output.stem}-{when}"): rendered(text, format_, renderer=asked.renderer, placed=True)
            for when, text in zip(("before", "after"), sources, strict=True)}


def _one(circuit: Circuit, format_: str, asked: argparse.Namespace) -> bytes:
    if asked.sockets:
        from rework.draw.sockets import socket_sheet

        return _converted(socket_sheet(circuit, theme=asked.theme), format_)
    text = placed_source(circuit, lambda unplaced: layout(unplaced, renderer=asked.renderer), theme=asked.theme, marks=marks(circuit))
    return rendered(text, format_, renderer=asked.renderer, placed=True)


def _converted(svg: str, format_: str) -> bytes:
    from rework.draw.render import svg_to_pdf, svg_to_png

    return {"svg": str.encode, "png": lambda text: svg_to_png(text.encode()), "pdf": lambda text: svg_to_pdf(text.encode())}[format_](svg)


def marks(circuit: Circuit) -> Marks:
    """Return what the check finds, for the drawing: hazards within reach, and live nodes."""
    report = check(circuit)
    return Marks(frozenset(hazard.node for hazard in report.hazards if hazard.touchable), frozenset(live.node for live in report.live))
