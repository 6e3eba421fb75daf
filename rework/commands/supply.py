"""``rework supply``: the new supply designed for the amplifier of a job, from a stock list; the
circuit written, ready to attach.

Exit status: 0 a supply meets every need and rating; 1 none does (or the one asked for by
``--choose`` does not), reported with which need fails and by how much, and what to order; 2 cannot
read or do what was asked. ``--json`` has ``needs``, ``pairs``, ``candidates`` (the best first:
``form``, ``parts``, ``price``, ``figures``, ``marks``, ``unmet``), ``chosen`` (its number from 1,
or null), ``circuit`` (the text of it, or null), ``verdict`` of the check of the job with it,
``order``, ``left_out``; amounts in SI. A job that keeps the old supply behind an isolating
transformer has ``transformer``, ``fuse``, ``amps``, ``volt_amps``, ``job_volt_amps`` and ``notes``
instead; 1 where its transformer is too small.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force, takes_json, takes_shelf
from rework.commands.supply_words import design_story
from rework.commands.wanted import wanted
from rework.language.files import (
    STANDARD,
    Refusal,
    circuit_reader,
    read_named,
    refuse_taken,
    shown_name,
    write_whole,
)
from rework.language.job import Job, read_job
from rework.report.story import Story, story_text
from rework.report.terminal import printable, progress
from rework.rules.run import run_job
from rework.supply.design import Design
from rework.supply.order import Order
from rework.supply.sources import Wishes
from rework.supply.stock import Shelf

if TYPE_CHECKING:
    from rework.supply.amplifier import Amplifier
    from rework.supply.evaluate import Candidate
    from rework.supply.isolate import Isolated

EXAMPLE = "rework supply pager.job -o supply.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "file", help="a .job file that attaches a supply; its circuit need not be there yet"
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT.circuit",
        help="where to write the supply; - is standard output (default: write nothing)",
    )
    takes_shelf(parser, "the job or above")
    _takes_wishes(parser)
    parser.add_argument(
        "--all", action="store_true", help="print every figure of the chosen one against its limit"
    )
    parser.add_argument(
        "--choose",
        type=int,
        metavar="N",
        help="take candidate N of the table (default: the first that meets everything)",
    )
    takes_json(parser)
    takes_force(parser)


def _takes_wishes(parser: argparse.ArgumentParser) -> None:
    """Add what the supply must give, and which forms of it are wanted."""
    parser.add_argument(
        "--want",
        metavar="NAME=VALUE",
        action="append",
        default=[],
        help="fix a need: bplus=250V, idle, full, heater, heater-current, hum, line",
    )
    parser.add_argument(
        "--rectifier",
        action="append",
        default=[],
        choices=("tube", "silicon", "bridge", "half-wave"),
        help="only this rectifier (may be given again)",
    )
    parser.add_argument(
        "--filter",
        action="append",
        default=[],
        choices=("C", "C-L-C", "C-R-C", "L-C"),
        help="only this filter (may be given again)",
    )
    parser.add_argument(
        "--heaters",
        default="",
        choices=("tap", "resistors", "pot", "elevated"),
        help="how heaters are balanced (default: tap, else resistors)",
    )
    parser.add_argument("--bplus-fuse", action="store_true", help="a fuse in B+ as well")
    parser.add_argument("--soft-start", action="store_true", help="a thermistor before the primary")
    parser.add_argument(
        "--one-transformer", action="store_true", help="no two transformers back to back"
    )


def story(asked: argparse.Namespace) -> Story:
    """Return the supply designed for a job, in words and tables."""
    read = _read(asked)
    isolating = _isolating(read)
    return isolating.story() if isolating else _story(asked, _designed(asked, read))


def run(asked: argparse.Namespace) -> int:
    """Design, print, and write the circuit where ``-o`` asks for it."""
    read = _read(asked)
    isolating = None if asked.output else _isolating(read)
    if isolating:
        return _print_isolating(asked, isolating)
    output = asked.output if asked.output != STANDARD else None
    if output:
        # The circuit that the job attaches is the one to write: it is no input of this command.
        inputs = (Path(asked.file), read.folder / read.job.circuit_file, Path(read.path))
        refuse_taken(output, force=asked.force, sources=inputs)
    answer = _designed(asked, read)
    if output and answer.number:
        text = answer.design.candidates[answer.number - 1].text
        write_whole(output, text.encode(), force=asked.force)
    _print(asked, answer)
    return answer.status


class _Read(NamedTuple):
    """The job, its folder, the stock list and its file, and what is asked of the supply."""

    job: Job
    folder: Path
    shelf: Shelf
    path: str
    wants: dict[str, float]
    wishes: Wishes


def _read(asked: argparse.Namespace) -> _Read:
    """Return what a supply is designed from.

    Raises Refusal where one of it cannot be read.
    """
    from rework.supply.needs import FIXABLE
    from rework.supply.stock_file import SHELF, no_list, stock_list

    wants, wishes = wanted(asked.want, FIXABLE), _wishes(asked)
    job, folder = _job(asked.file)
    shelf, path = stock_list(asked.shelf, job.prices, folder)
    if shelf is None:
        raise Refusal(no_list(str(folder / SHELF)))
    return _Read(job, folder, shelf, path, wants, wishes)


def _designed(asked: argparse.Namespace, read: _Read) -> _Answer:
    """Return the design for a job, with a bar while it is made."""
    from rework.solve.network import CannotSolve
    from rework.supply.amplifier import NoSupply, amplifier
    from rework.supply.design import design, pairs_to_sieve
    from rework.supply.needs import needs as needs_of
    from rework.supply.order import order
    from rework.supply.screen import ALL

    job, folder, shelf, path, wants, wishes = read
    try:
        amp = amplifier(job, circuit_reader(folder), folder=folder)
    except NoSupply as error:
        raise Refusal(*error.problems) from error
    try:
        needs = needs_of(amp, wants)
        with _Bars(pairs_to_sieve(shelf, needs, wishes), ALL) as bars:
            designed = design(
                amp, shelf, wishes=wishes, needs=needs, sieving=bars.sieved, solving=bars.solved
            )
    except CannotSolve as error:
        raise Refusal(*_not_renewed(amp), *error.problems) from error
    number = _number(designed, asked.choose)
    verdict, status = _checked(amp, designed.candidates[number - 1]) if number else ("", 1)
    ready = str(folder / amp.attach.circuit_file)
    title = job.title or shown_name(asked.file)
    return _Answer(designed, number, verdict, status, order(needs, wishes), path, title, ready)


def _not_renewed(amp: Amplifier) -> Iterator[Problem]:
    """Yield the filter capacitors that the job took out behind the first and fits none for: a set
    without them often swings, and has no numbers then.
    """
    from rework.anatomy.lost import lost
    from rework.anatomy.role import Role
    from rework.commands.function_words import sentence

    for row in lost(amp.before, amp.stand_in, ()):
        if row.place == Role.FILTER_CAPACITOR:
            node = row.subject
            hint = f"fit one: apply renew-filter-capacitor : node={node}, capacitor=47 uF 350 V"
            yield Problem(sentence(row), hint=hint)


class _Isolating(NamedTuple):
    """The isolating transformer of a job, the VA that the job states, its title, the stock list."""

    isolated: Isolated
    rated: float | None
    title: str
    shelf: str

    def story(self) -> Story:
        """Return it in words."""
        from rework.commands.isolating_words import isolating_story

        return isolating_story(self.isolated, self.rated, title=self.title, shelf=self.shelf)


def _isolating(read: _Read) -> _Isolating | None:
    """Return the transformer that a job wants before the set, from the stock list or to order; None
    where it attaches a new supply.

    Raises Refusal where the job cannot be run, or the set has no numbers.
    """
    from rework.solve.network import CannotSolve
    from rework.supply.isolate import isolated_by, isolating_rule

    if not isolating_rule(read.job):
        return None
    run = run_job(read.job, circuit_reader(read.folder), folder=read.folder)
    if not run.done:
        raise Refusal(*run.problems)
    try:
        isolated = isolated_by(run, read.shelf)
    except CannotSolve as error:
        raise Refusal(*error.problems) from error
    fitted = run.after.by_name.get(isolated.name)
    rated = fitted.value("apparent-power") if fitted else None
    return _Isolating(isolated, rated, run.job.title or shown_name(read.job.file), read.path)


def _print_isolating(asked: argparse.Namespace, answer: _Isolating) -> int:
    """Print the transformer that a job wants before the set; return the exit status."""
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.supply import isolating_answer

        print(json_text(isolating_answer(answer.isolated, answer.rated)))
    else:
        print(story_text(answer.story()))
    load, rated = answer.isolated.load, answer.rated
    return int(load is not None and rated is not None and rated < load[1])


def _number(design: Design, choose: int | None) -> int | None:
    """Return which candidate is taken, counted from 1; None where none was chosen.

    Raises Refusal where the user chooses one that is not in the table.
    """
    number = choose or (1 if design.chosen else None)
    if number is not None and not 1 <= number <= len(design.candidates):
        raise Refusal(
            Problem(
                f"there is no candidate {number}",
                expected=f"1 to {len(design.candidates)}, as the table numbers them",
            )
        )
    return number


def _checked(amp: Amplifier, chosen: Candidate) -> tuple[str, int]:
    """Return the verdict of the check on the job with a supply attached, and the exit status.

    Raises Refusal where the job cannot be run with it.
    """
    from rework.safety.check import check

    again = amp.rerun(chosen.circuit)
    if not again.done:
        raise Refusal(*again.problems)
    report = check(again.after)
    verdict = report.verdict
    if again.after.parts != chosen.whole.parts:
        verdict += (
            "; but a step of the job changes the supply itself, so the other commands will not"
            " tell quite these figures"
        )
    return verdict, 1 if chosen.unmet else report.exit_status


class _Answer(NamedTuple):
    """A design, the number of the candidate chosen, what the check says of the job with it, the
    exit status, what could be ordered, the stock list, the title of the job, and the file that it
    attaches.
    """

    design: Design
    number: int | None
    verdict: str
    status: int
    wanted: Order
    shelf: str
    title: str
    ready: str


def _story(asked: argparse.Namespace, answer: _Answer) -> Story:
    return design_story(
        answer.design,
        answer.number,
        answer.verdict,
        answer.wanted,
        title=answer.title,
        shelf=answer.shelf,
        every=asked.all,
    )


def _print(asked: argparse.Namespace, answer: _Answer) -> None:
    """Print a design as it was asked for."""
    number = answer.number
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.supply import designed_answer

        print(json_text(designed_answer(answer.design, number, answer.verdict, answer.wanted)))
        return
    said = story_text(_story(asked, answer))
    if asked.output == STANDARD:
        print(said, file=sys.stderr)
        sys.stdout.write(answer.design.candidates[number - 1].text if number else "")
        return
    print(said)
    if asked.output:
        print(f"\n{printable(asked.output)} is {'written' if number else 'not written'}.")
    elif number:
        command = f"rework supply {printable(asked.file)} -o {printable(answer.ready)}"
        print(f"\nNothing is written. To write the circuit that the job attaches:\n  {command}")


class _Bars:
    """One bar after the other: pairs sieved, then candidates solved."""

    def __init__(self, pairs: int, candidates: int) -> None:
        self.now, self.candidates, self.solving = progress("sieving", pairs), candidates, False

    def sieved(self, count: int) -> None:
        self.now.update(count)

    def solved(self, count: int) -> None:
        if not self.solving:
            self.now.close()
            self.now, self.solving = progress("solving", self.candidates), True
        self.now.update(count)

    def __enter__(self) -> _Bars:
        return self

    def __exit__(self, *_: object) -> None:
        self.now.close()


def _job(file: str) -> tuple[Job, Path]:
    if Path(file).suffix in (".circuit", ".rule") and Path(file).is_file():
        hint = (
            f"draft one with: rework options {file} --draft mine.job"
            if Path(file).suffix == ".circuit"
            else "write one with: rework new mine.job"
        )
        raise Refusal(
            Problem(
                f"{file} is a {Path(file).suffix[1:]} file, not a job",
                expected="a .job file that attaches a supply",
                hint=hint,
            )
        )
    job, problems = read_job(read_named(file), file=shown_name(file))
    if job is None:
        raise Refusal(*problems)
    return job, Path(file).parent


def _wishes(asked: argparse.Namespace) -> Wishes:
    from rework.supply.forms import FILTERS, RECTIFIERS

    return Wishes(
        tuple(asked.rectifier) or tuple(RECTIFIERS),
        tuple(asked.filter) or tuple(FILTERS),
        asked.heaters,
        asked.bplus_fuse,
        asked.soft_start,
        not asked.one_transformer,
    )
