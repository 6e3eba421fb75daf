"""``rework apply``: the job run, the reworked netlist written, each edit told with its reason."""

from __future__ import annotations

import argparse
import json
import sys

from rework.circuit.edits import (
    Action,
    AttachCircuit,
    CutConductor,
    ExchangeTube,
    FitPart,
    LiftPin,
    RemovePart,
    RunWire,
    SetValue,
)
from rework.commands.arguments import takes_force, takes_json
from rework.language.files import STANDARD, refuse_taken, write_whole
from rework.language.writer import write_circuit
from rework.report.terminal import printable, styled
from rework.rules.job_file import run_job_file, sources
from rework.rules.rewrite import Applied, NothingToDo
from rework.rules.run import JobRun
from rework.rules.words import edit_words
from rework.safety.check import check

EXAMPLE = "rework apply pager.job -o pager-after.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument("file", help="a .job file; - reads it from standard input")
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT.circuit",
        help="where to write the reworked netlist; - is standard output (default: print it)",
    )
    takes_json(parser)
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Write (or print) the circuit after the job; return 1 where the check still finds a hazard in
    it.
    """
    done = run_job_file(asked.file)
    written = asked.output if asked.output != STANDARD else None
    if written:
        refuse_taken(written, force=asked.force, sources=sources(asked.file, done))
    report = check(done.after)
    remarks = (
        f"written by rework apply from {done.job.circuit_file}: {done.job.title}",
        *("then " + one.step.text for one in done.taken),
    )
    text = write_circuit(done.after, remarks=remarks)
    if written:
        write_whole(written, text.encode(), force=asked.force)
    if asked.json:
        print(
            json.dumps(
                as_json(done) | {"verdict": report.verdict, "circuit": text},
                indent=2,
                ensure_ascii=False,
            )
        )
        return report.exit_status
    story = job_text(done) + f"\n\nAfter the job: {report.verdict}."
    if written:
        print(story)
        print(f"{printable(written)} is written.")
    else:
        print(story, file=sys.stderr)
        sys.stdout.write(text)
    return report.exit_status


def job_text(done: JobRun) -> str:
    """Return the job step by step: what the rule says, each edit, each caution."""
    out = []
    for number, one in enumerate(done.taken, 1):
        out.append(styled(f"{number}. {one.step.text}", "bold"))
        if one.says:
            out.append(f"   {one.says}.")
        match one.outcome:
            case Applied(edits, cautions, _):
                out += [f"   - {edit_words(edit)}" for edit in edits]
                out += [f"   ! {caution}" for caution in cautions]
            case NothingToDo(reason):
                out.append(f"   nothing to do: {reason}")
    return "\n".join(out)


def as_json(done: JobRun) -> dict:
    """Return a job run as plain values: ``steps``, each with ``text``, ``says``, ``outcome``,
    ``edits``, ``cautions``.

    An edit has ``what`` (the kind of edit), ``words``, ``rule``, ``reason`` and ``place`` (file and
    line).
    """
    return {"job": done.job.title, "steps": [_step(one) for one in done.taken]}


def _step(one) -> dict:
    applied = isinstance(one.outcome, Applied)
    return {
        "text": one.step.text,
        "says": one.says,
        "outcome": "applied" if applied else "nothing to do",
        "reason": "" if applied else one.outcome.reason,
        "edits": (
            [
                {
                    "what": _name(edit.action),
                    "words": edit_words(edit),
                    "rule": edit.rule,
                    "reason": edit.reason,
                    "place": f"{edit.place.file}:{edit.place.line}" if edit.place else "",
                }
                for edit in one.outcome.edits
            ]
            if applied
            else []
        ),
        "cautions": list(one.outcome.cautions) if applied else [],
    }


def _name(action: Action) -> str:
    words = {
        CutConductor: "cut a conductor",
        LiftPin: "lift a pin",
        RemovePart: "remove a part",
        FitPart: "fit a part",
        RunWire: "run a wire",
        ExchangeTube: "exchange a tube",
        SetValue: "set a value",
        AttachCircuit: "attach a circuit",
    }
    return words[type(action)]
