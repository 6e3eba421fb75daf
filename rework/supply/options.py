"""The five ways to go, each made into a circuit by rules and forms: leave it, isolate it, isolate
it and rectify anew, or give it a supply of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.language.job import Attach, Job
from rework.rules.run import JobRun, ReadCircuit
from rework.solve.network import CannotSolve
from rework.solve.stability import MOTORBOATING
from rework.supply.amplifier import Amplifier, NoSupply, amplifier
from rework.supply.assess import STEPS, Findings, Option, assess
from rework.supply.bench import COLD_CAPACITOR, Limit
from rework.supply.choose import choice_of
from rework.supply.draft import draft
from rework.supply.evaluate import Candidate, evaluate
from rework.supply.feed import Feed, feed_of
from rework.supply.isolate import isolated
from rework.supply.needs import Needs
from rework.supply.needs import needs as needs_of
from rework.supply.screen import sieve
from rework.supply.shelf import Shelf
from rework.supply.sources import Wishes

#: The options in their order.
TITLES = {
    "leave": "leave it",
    "isolate": "isolation transformer only",
    "bridge": "isolation and bridge",
    "silicon": "new supply, silicon",
    "tube": "new supply, tube",
}
#: Rectifiers of either kind of new supply.
RECTIFIERS = {"silicon": ("bridge", "silicon"), "tube": ("tube",)}
#: At most so many supplies of a kind are solved exactly before the best is taken; the sieve puts
#: the likeliest first, and the first that meets all ends it.
SOLVED = 2
#: Less than this share of the watts the set had is told of (common practice, no source: 1 dB).
LESS = 0.8
#: How often ``options`` calls its ``step``.
WORK = len(TITLES) * STEPS + 3


@dataclass(frozen=True, slots=True, eq=False)
class Options:
    """The findings of every option in their order, the job the new supplies stand on (drafted where
    there was none), and what speaks against each.
    """

    title: str
    job: Job | None
    drafted: bool
    findings: tuple[Findings, ...]
    against: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]


def options(
    circuit: Circuit,
    shelf: Shelf | None,
    *,
    run: JobRun | None = None,
    read: ReadCircuit | None = None,
    folder: Path | str | None = None,
    step: Callable[[int], None] | None = None,
) -> Options:
    """Return what may be done with an amplifier, side by side.

    ``run`` is its job as it went, ``read`` reads the circuits that names.
    """
    done = step or (lambda count: None)
    notes: list[str] = []
    try:
        feed: Feed | None = feed_of(circuit)
        refused: tuple[str, ...] = ()
    except CannotSolve as error:
        feed, refused = None, tuple(problem.message for problem in error.problems)
    rail, back = (feed.rail, feed.back) if feed else ("", "")
    built = [Option("leave", TITLES["leave"], circuit, (), rail, back)]
    load = None
    for kind in ("isolate", "bridge"):
        option, load = _isolated(circuit, feed, shelf, kind, refused, load)
        built.append(option)
    amp, job, drafted, why = _amplifier(circuit, feed, run, read, folder, refused, notes)
    own = _own(run) if run is not None and not drafted else None
    findings: dict[str, Findings] = {}
    stops = None

    def look(option: Option) -> None:
        nonlocal stops
        findings[option.kind], stops = assess(option, circuit, shelf, stops=stops, step=done)

    for option in built:
        look(option)
    if own is not None:
        look(_own_option(own, run, amp))
    needs: Needs | None = None
    if amp is not None and shelf is not None:
        try:
            bplus = findings[own].bplus if own is not None else None
            needs = needs_of(amp, {"bplus": bplus} if bplus else None)
        except CannotSolve as error:
            why = tuple(problem.message for problem in error.problems)
    done(1)
    for kind in ("silicon", "tube"):
        if kind != own:
            look(
                _supplied(
                    kind,
                    amp,
                    needs,
                    shelf,
                    why,
                    "" if own is None else f"designed for the B+ of {amp.attach.circuit_file}",
                )
            )
        done(1)
    told = tuple(findings[kind] for kind in TITLES)
    return Options(
        circuit.title,
        job,
        drafted,
        told,
        tuple(tuple(against(one, told[0])) for one in told),
        tuple(dict.fromkeys(notes)),
    )


def _isolated(
    circuit: Circuit,
    feed: Feed | None,
    shelf: Shelf | None,
    kind: str,
    refused: tuple[str, ...],
    load: tuple[float, float] | None,
) -> tuple[Option, tuple[float, float] | None]:
    if feed is None:
        return Option(kind, TITLES[kind], why=refused), None
    try:
        made = isolated(circuit, feed, shelf, bridge=kind == "bridge", load=load)
    except CannotSolve as error:
        return (
            Option(kind, TITLES[kind], why=tuple(problem.message for problem in error.problems)),
            load,
        )
    back = (
        feed.back
        if feed.back in made.circuit.at
        else next((node for node in ("COMMON",) if node in made.circuit.at), feed.back)
    )
    steps = (
        f"rule {made.edits[0].rule}",
        *(f"rule bond-common on {node}" for node in made.bonds),
        f"{made.name} is {made.transformer.name}, {made.transformer.va:g} VA",
    )
    return (
        Option(
            kind,
            TITLES[kind],
            made.circuit,
            made.edits,
            feed.rail,
            back,
            isolator=made.name,
            notes=made.notes,
            steps=steps,
        ),
        made.load,
    )


def _amplifier(
    circuit: Circuit,
    feed: Feed | None,
    run: JobRun | None,
    read: ReadCircuit | None,
    folder,
    refused: tuple[str, ...],
    notes: list[str],
) -> tuple[Amplifier | None, Job | None, bool, tuple[str, ...]]:
    """Return the amplifier the new supplies are for, the job, whether it was drafted, and why there
    is none.
    """
    if run is not None and read is not None:
        try:
            return amplifier(run.job, read, folder=folder), run.job, False, ()
        except NoSupply as error:
            notes.append(
                f"The job is not one to design a supply for ({error}); the new supplies stand on a"
                " drafted one."
            )
    if feed is None:
        return None, None, True, refused
    try:
        job = draft(circuit, feed)
        return amplifier(job, lambda name: (circuit, ())), job, True, ()
    except (CannotSolve, NoSupply) as error:
        return None, None, True, tuple(problem.message for problem in error.problems)


def _own(run: JobRun) -> str | None:
    """Return which kind of rectifier the job's own supply has, None where it attaches none."""
    attached = next(
        (
            step
            for step in run.job.steps
            if isinstance(step, Attach) and "bplus" in dict(step.ports)
        ),
        None,
    )
    if attached is None:
        return None
    parts = [part for part in run.after.parts if part.name.startswith(f"{attached.name}/")]
    return (
        "tube"
        if any(part.kind == "tube" for part in parts)
        else "silicon"
        if any(part.kind in ("bridge", "diode") for part in parts)
        else None
    )


def _own_option(kind: str, run: JobRun, amp: Amplifier) -> Option:
    ports = dict(amp.attach.ports)
    return Option(
        kind,
        f"{TITLES[kind]} (the job's)",
        run.after,
        run.edits,
        ports["bplus"],
        ports["common"],
        amp.name,
        steps=(f"as the job has it, with {amp.attach.circuit_file}",),
    )


def _supplied(
    kind: str,
    amp: Amplifier | None,
    needs: Needs | None,
    shelf: Shelf | None,
    why: tuple[str, ...],
    aim: str,
) -> Option:
    title = TITLES[kind]
    if amp is None or why:
        return Option(kind, title, why=why or ("there is no job to design a supply for",))
    if shelf is None:
        return Option(
            kind, title, why=("there is no stock list to design it from: name one with --shelf",)
        )
    found: list[Candidate] = []
    told: list[str] = []
    tried = 0
    for paired in (False, True):  # two transformers back to back only where one does not serve
        wishes = Wishes(rectifiers=RECTIFIERS[kind], back_to_back=paired)
        rough, pairs, left = sieve(shelf, needs, wishes)
        tried, told = tried + pairs, [*told, *left]
        for one in rough[:SOLVED]:
            try:
                found.append(evaluate(choice_of(one, shelf, wishes, needs), amp, needs, shelf))
            except (CannotSolve, ValueError) as error:
                told.append(str(error))
            if found and not found[-1].unmet:
                break
        if any(not candidate.unmet for candidate in found):
            break
    if not found:
        return Option(
            kind,
            title,
            why=tuple(dict.fromkeys(told))
            or (f"nothing on the stock list makes such a supply ({tried} pairs tried)",),
        )
    best = min(found, key=lambda candidate: candidate.order(needs))
    run = amp.rerun(best.circuit)
    if not run.done:
        return Option(kind, title, why=tuple(problem.message for problem in run.problems))
    ports = dict(amp.attach.ports)
    notes = [f"NOT MET: {mark.what} is {mark.value:.3g} {mark.unit}" for mark in best.unmet]
    notes.append(
        f"of {tried} pairs {len(found)} {'was' if len(found) == 1 else 'were'} solved; rework"
        " supply compares more"
    )
    return Option(
        kind,
        title,
        run.after,
        run.edits,
        ports["bplus"],
        ports["common"],
        amp.name,
        notes=tuple(notes),
        steps=(f"{best.choice.form} with {best.choice.transformer.name}", *filter(None, [aim])),
    )


def against(one: Findings, leave: Findings) -> list[str]:
    """Return what speaks against an option, from its own findings."""
    if one.option.circuit is None:
        return [f"not to be had: {reason}" for reason in one.option.why]
    said = (
        [f"{_count(one.reach, 'node')} within reach of a hand tied to the mains"]
        if one.reach
        else []
    )
    said += [f"to mend: {message}" for message in one.mend]
    said += _half_wave(one)
    if one.string_volts and one.string_volts > 20 and one.option.kind != "leave":
        said.append(
            f"the series string stays: {one.string_volts:.0f} V RMS of heater volts on the board;"
            " one dead heater puts out all"
        )
    if one.balanced is False:
        said.append("the heaters have no hum balance")
    if one.option.isolator:
        said.append(
            "an autotransformer isolates nothing: measure from primary to secondary before it"
            " goes in"
        )
    said += _over(one.over)
    for hertz, node in one.grows:
        said.append(
            f"it {'motorboats' if hertz < MOTORBOATING else 'squeals'} at {hertz:.3g} Hz, strongest"
            f" at {node}"
            if hertz
            else f"it runs away at {node}"
        )
    if one.touch_over:
        said.append(f"a hand would carry {one.touch * 1e3:.3g} mA ({one.touch_where})")
    if one.fault_over and not one.touch_over:
        said.append(
            f"single fault: a hand would carry {one.fault * 1e3:.3g}"
            f" mA{' of direct current' if one.fault_direct else ''} ({one.fault_what})"
        )
    if one.watts is not None and leave.watts is not None and one.watts < LESS * leave.watts:
        said.append(f"less power: {one.watts:.2g} W where the set had {leave.watts:.2g} W")
    return said


def _half_wave(one: Findings) -> list[str]:
    """Return what the check says of a half-wave load, with the direct current beside the one that
    magnetises the core.
    """
    found = [message for message in one.mind if "half-wave" in message]
    load = next((load for load in one.loads if load.name == one.option.isolator), None)
    figure = (
        f": {load.direct_amps * 1e3:.0f} mA of direct current beside"
        f" {load.magnetising_amps * 1e3:.0f} mA that magnetise it (saturation itself is not"
        " computed)"
        if load
        else ""
    )
    return [message.rstrip(".") + figure for message in found]


def _over(limits: tuple[Limit, ...]) -> list[str]:
    """Return what is over its rating, parts at the same figure together."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for limit in limits:
        groups.setdefault(
            (limit.what, f"{limit.value:.3g}", f"{limit.rating:g} {limit.unit}"), []
        ).append(limit.part)
    said = [
        f"{', '.join(parts)} {what.partition(',')[0]} {value} of {rating}"
        for (what, value, rating), parts in groups.items()
    ]
    cold = (
        " (capacitors: tubes cold, line 10 % high)"
        if any(limit.what == COLD_CAPACITOR for limit in limits)
        else ""
    )
    return [f"over rating: {'; '.join(said)}{cold}"] if said else []


def _count(number: int, word: str) -> str:
    return f"{number} {word}" + ("" if number == 1 else "s")
