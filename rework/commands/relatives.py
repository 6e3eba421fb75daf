"""``rework relatives``: what may go where a tube is, from the library alone, or computed in a
circuit at the new B+.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from rework.circuit.place import Problem
from rework.commands.arguments import takes_json
from rework.commands.relatives_words import type_text
from rework.commands.subject import subject
from rework.language.files import STANDARD, Refusal
from rework.report.story import Story, story_text
from rework.report.terminal import fitted, progress
from rework.rules.run import JobRun
from rework.tubes import library
from rework.tubes.relatives import (
    PARALLEL_VOLTS,
    stand_ins,
)

if TYPE_CHECKING:
    from rework.supply.exchange import Exchange

EXAMPLE = "rework relatives 50C5"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "what",
        metavar="TYPE|FILE",
        help=(
            "a tube type; or a .circuit or .job file: every tube of its heater string, computed in"
            " the circuit; - reads a circuit from standard input"
        ),
    )
    parser.add_argument(
        "--bplus",
        metavar="VOLTS",
        help="the B+ to compute at, as in 180V (default: that of the job's supply, else as found)",
    )
    parser.add_argument(
        "--heater", metavar="VOLTS", help="the heater volts to look for (default: 6.3V)"
    )
    takes_json(parser)


def run(asked: argparse.Namespace) -> int:
    """Print the relatives of a type, or of every tube in the heater string of a circuit."""
    heater = _volts(asked.heater, "--heater") if asked.heater else PARALLEL_VOLTS
    if (
        asked.what == STANDARD
        or Path(asked.what).suffix in (".circuit", ".job", ".rule")
        or Path(asked.what).is_file()
    ):
        exchange, choice = _in_circuit(asked, heater)
        if asked.json:
            from rework.commands.answers.shape import json_text
            from rework.commands.answers.tubes import exchanges_answer

            print(json_text(exchanges_answer(exchange, choice)))
        else:
            from rework.commands.exchange_words import exchange_story

            print(story_text(exchange_story(exchange, choice)))
        return 0
    if asked.bplus:
        raise Refusal(
            Problem(
                "--bplus is for a circuit or a job; for a type alone it prints the printed rows",
                hint="name a .circuit or .job file",
            )
        )
    tube = library.find(asked.what)
    if tube is None:
        raise Refusal(_no_type(asked.what))
    ranking = stand_ins(tube, volts=heater)
    if asked.json:
        from rework.commands.answers.shape import json_text
        from rework.commands.answers.tubes import relatives_answer

        print(json_text(relatives_answer(tube, ranking)))
    else:
        print(fitted(type_text(tube, ranking, heater)))
    return 0


def story(asked: argparse.Namespace) -> Story:
    """Return the relatives of every tube in the heater string of a circuit or a job."""
    from rework.commands.exchange_words import exchange_story

    heater = _volts(asked.heater, "--heater") if asked.heater else PARALLEL_VOLTS
    return exchange_story(*_in_circuit(asked, heater))


def _no_type(what: str) -> Problem:
    """Return why there are no relatives of what was named."""
    if library.without_basing(what) is not None:
        return Problem(
            f"the pins of {what} are not known, only its heater is, so nothing can be said to be"
            " related to it",
            expected="a type with its basing",
        )
    near = library.nearest(what)
    return Problem(
        f"{what} is neither a type in the tube library nor a .circuit or .job file",
        expected="a type that rework tubes lists, or a file",
        hint="did you mean " + " or ".join(near) + "?" if near else "",
    )


def _volts(text: str, option: str) -> float:
    """Return the volts of an option.

    Raises Refusal where it is no voltage, or one that no such set has.
    """
    from rework.language.quantity import QuantityError, read_value

    try:
        value = read_value(text)
    except QuantityError:
        value = None
    if value is None or value.dimension != "voltage" or not 1 <= value.amount <= 1000:
        raise Refusal(
            Problem(
                f"{option} {text} is no voltage", expected="volts between 1 and 1000, as in 180V"
            )
        )
    return value.amount


def _in_circuit(asked: argparse.Namespace, heater: float) -> tuple[Exchange, dict[str, str]]:
    from rework.solve.network import CannotSolve
    from rework.supply.exchange import exchanges
    from rework.supply.feed import feed_of, found_volts

    about = subject(asked.what)
    run, circuit = about.run, next(iter(about.circuits.values()))
    try:
        feed = feed_of(circuit)
        try:
            bplus, why = found_volts(circuit, feed), ""
        except CannotSolve as error:
            bplus, why = None, str(error)
        volts, origin = _volts(asked.bplus, "--bplus") if asked.bplus else None, "as you asked"
        if volts is None and run is not None:
            volts, origin = _job_volts(run), "what the supply of the job gives"
        if volts is None:
            volts, origin = bplus, "as found"
        if volts is None:
            raise Refusal(
                Problem(
                    f"the B+ as found is not known: {why}",
                    hint="say which B+ the new supply is to give, as in --bplus 180V",
                )
            )
        choice = _choices(run)
        with progress("tubes", sum(part.kind == "tube" for part in circuit.parts)) as bar:
            return (
                exchanges(
                    circuit,
                    feed,
                    volts,
                    origin=origin,
                    bplus=bplus,
                    found_why=why,
                    heater=heater,
                    choice=choice,
                    after=run.after if run else None,
                    step=bar.update,
                ),
                choice,
            )
    except CannotSolve as error:
        raise Refusal(*error.problems) from error


def _job_volts(run: JobRun) -> float | None:
    """Return the B+ of a job's finished set between the nodes its supply is attached to; None where
    no supply is, or it has no numbers.
    """
    from rework.language.job import Attach
    from rework.solve.assemble import assemble
    from rework.solve.network import CannotSolve
    from rework.solve.periodic import mains_steady

    ports = next(
        (
            dict(step.ports)
            for step in run.job.steps
            if isinstance(step, Attach) and {"bplus", "common"} <= dict(step.ports).keys()
        ),
        None,
    )
    if ports is None:
        return None
    try:
        network = assemble(run.after)
        mean = mains_steady(network).mean
        return float(network.volts(mean, ports["bplus"]) - network.volts(mean, ports["common"]))
    except (CannotSolve, KeyError):
        return None


def _choices(run: JobRun | None) -> dict[str, str]:
    """Return the type that a job puts in for each tube it exchanges."""
    from rework.circuit.edits import ExchangeTube

    return (
        {
            edit.action.name: edit.action.type
            for edit in run.edits
            if isinstance(edit.action, ExchangeTube)
        }
        if run
        else {}
    )
