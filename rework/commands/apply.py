"""``rework apply``: the job run, the reworked netlist written, each edit with its reason."""

from __future__ import annotations

import argparse
import sys

from rework.commands.arguments import takes_force, takes_json
from rework.language.files import STANDARD, refuse_taken, write_whole
from rework.language.writer import write_circuit
from rework.report.terminal import fitted, printable, styled
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
        *("then " + step.step.text for step in done.taken),
    )
    text = write_circuit(done.after, remarks=remarks)
    if written:
        write_whole(written, text.encode(), force=asked.force)
    if asked.json:
        from rework.commands.answers.change import applied_answer
        from rework.commands.answers.shape import json_text

        print(json_text(applied_answer(done, report.verdict, text)))
        return report.exit_status
    story = fitted(job_text(done)) + f"\n\nAfter the job: {report.verdict}."
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
    for number, step in enumerate(done.taken, 1):
        out.append(styled(f"{number}. {step.step.text}", "bold"))
        if step.says:
            out.append(f"   {step.says}.")
        match step.outcome:
            case Applied(edits, cautions, _):
                out += [f"   - {edit_words(edit)}" for edit in edits]
                out += [f"   ! {caution}" for caution in cautions]
            case NothingToDo(reason):
                out.append(f"   nothing to do: {reason}")
    return "\n".join(out)
