"""The page for the customer and the facts of the label: past tense, no names of nodes."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, ExchangeTube, FitPart, RemovePart
from rework.circuit.parts import Part
from rework.papers.charts import b_plus
from rework.papers.cover import Cover
from rework.papers.lists import Lists
from rework.papers.numbers import Numbers, Side
from rework.papers.places import plain
from rework.papers.prices import Cost, cost
from rework.report.figures import NOT_COMPUTED, counted, shown
from rework.report.table import Column, Table
from rework.rules.run import JobRun
from rework.supply.stock import Shelf
from rework.touch.words import milliamperes

#: The words of a title by which a circuit is told from the one after the job.
AS_FOUND = re.compile(r"[,:;]?\s*\(?\b(as (it was )?(found|received|built|is)|before)\)?\s*$", re.I)
#: What a customer calls the metal that a part brings within reach.
_PLACES = {
    "chassis": "the metal chassis",
    "jack": "the sockets",
    "speaker": "the loudspeaker",
    "pot": "the control shafts",
    "pickup": "the pickup arm",
    "microphone": "the microphone",
    "motor": "the motor frame",
    "transformer": "the transformer core",
    "output transformer": "the transformer core",
}


@dataclass(frozen=True, slots=True)
class Owner:
    """What label and customer's page say; a figure that nothing has computed says so.

    ``name`` is what the set is called, without a word that it was drawn as found; ``duties`` are
    what the owner has to do and not to do; ``worth`` is one sentence on cost and worth, or nothing.
    """

    name: str
    fuses: tuple[str, ...]
    b_plus: str
    found: tuple[str, ...]
    done: tuple[str, ...]
    duties: tuple[str, ...]
    now: Table
    bill: Table
    worth: str


def owner(run: JobRun, front: Cover, parts: Lists, known: Numbers, shelf: Shelf | None) -> Owner:
    """Return the facts for label and customer's page."""
    fuses = [part for part in run.after.parts if part.traits.is_overcurrent]
    sum_ = cost(
        run.job,
        tuple(replace(line.part, name=line.name) for line in parts.fit if line.part is not None),
        shelf,
    )
    return Owner(
        AS_FOUND.sub("", front.set_name),
        tuple(f"{part.name}: {plain(part)}" for part in fuses),
        b_plus(run, known.after.chart) or NOT_COMPUTED,
        _dangers(run, front, known.before),
        _work(run),
        _duties(run.after, fuses),
        _now(known),
        _bill(run, parts, sum_),
        sum_.verdict,
    )


def _dangers(run: JobRun, front: Cover, before: Side) -> tuple[str, ...]:
    reached = {node for node, _, _ in front.before.hazards}
    places = dict.fromkeys(
        _PLACES[part.kind]
        for part in run.before.parts
        if part.kind in _PLACES and any(node in reached for _, node in part.pins)
    )
    if not reached:
        return ("No connection between the mains and what you can touch was found.",)
    where = f": {', '.join(places)}" if places else ""
    dangers = [f"Parts that you can touch were connected to the mains{where}."]
    if before.touch is not None and before.touch.worst is not None:
        worst = milliamperes(before.touch.worst.reading)
        limit = milliamperes(before.touch.limit_amps)
        dangers.append(f"Up to {worst} could flow through a person. The limit is {limit}.")
    return tuple(dangers)


def _work(run: JobRun) -> tuple[str, ...]:
    """Return what was done, in the past tense."""
    actions = [edit.action for edit in run.edits]
    done = []
    if any(isinstance(action, AttachCircuit) for action in actions):
        done.append(
            "A new power supply with an isolating transformer was built on a chassis of its own. It"
            " has an earthed line cord and a fuse."
        )
    tubes = [
        f"{action.type} in place of the {run.before.by_name[action.name].type}"
        for action in actions
        if isinstance(action, ExchangeTube)
        and action.name in run.before.by_name
        and action.type != run.before.by_name[action.name].type
    ]
    if tubes:
        done.append(f"Tubes were exchanged: {', '.join(tubes)}.")
    out = sum(isinstance(action, RemovePart) for action in actions)
    new = sum(isinstance(action, FitPart) and action.part.kind != "socket" for action in actions)
    done.append(
        f"{counted(out, 'old part')} of the line side were removed;"
        f" {counted(new, 'new part')} were fitted in the amplifier."
    )
    return (*done, *run.job.customer)


def _duties(circuit: Circuit, fuses: list[Part]) -> tuple[str, ...]:
    earthed = any(part.kind == "plug" and part.node("earth") for part in circuit.parts)
    umbilical = any(part.kind == "connector" for part in circuit.parts)
    duties = []
    if earthed:
        duties.append(
            "Use the set only on an earthed outlet. Never remove the earth pin or use an adaptor"
            " without earth."
        )
    if fuses:
        duties.append(
            "Replace the fuse only with one of the same kind: "
            + "; ".join(plain(part) for part in fuses)
            + ". If it blows again, do not use the set."
        )
    if umbilical:
        duties.append(
            "Unplug the set before you connect or disconnect the cable between its cases."
        )
    duties += [
        "Do not open the case. The voltage inside is lethal, also for some time after unplugging.",
        "Unplug the set and have it examined if it hums more, smells, gets hot, or has been wet.",
    ]
    return tuple(duties)


def _now(known: Numbers) -> Table:
    columns = (Column("", "name"), Column("Before", "figure"), Column("Now, computed", "figure"))
    rows = (
        (
            "Output power",
            *_each(known, lambda side: shown(side.signal.full.watts, "W") if side.signal else ""),
        ),
        ("Hum at the loudspeaker", *_each(known, _hum)),
        (
            "Power taken from the line",
            *_each(known, lambda side: shown(side.chart.line_watts, "W") if side.chart else ""),
        ),
        ("Worst-case touch current", *_each(known, _touch)),
    )
    return Table(
        "now",
        "What it does now",
        "",
        columns,
        rows,
    )


def _hum(side: Side) -> str:
    if side.signal is None:
        return ""
    below = side.signal.hum.below_full_db
    return shown(side.signal.hum.volts, "V") + (
        f", {below:.0f} dB below full output" if below is not None else ""
    )


def _touch(side: Side) -> str:
    return milliamperes(side.touch.worst.reading) if side.touch and side.touch.worst else ""


def _each(known: Numbers, of: Callable[[Side], str]) -> tuple[str, str]:
    return of(known.before) or NOT_COMPUTED, of(known.after) or NOT_COMPUTED


def _bill(run: JobRun, parts: Lists, sum_: Cost) -> Table:
    hours = f"{run.job.labour / 3600:g} hours" if run.job.labour is not None else "hours not stated"
    rate = f" at {sum_.money(run.job.rate.amount)}" if run.job.rate else ", rate not stated"
    missing = (
        f"{len(sum_.unpriced)} without a price" if sum_.parts is not None and sum_.unpriced else ""
    )
    known = [amount for amount in (sum_.labour, sum_.parts) if amount is not None]
    partly = "at least " if missing or len(known) < 2 else ""
    total = partly + sum_.money(sum(known)) if known else NOT_COMPUTED
    rows = (
        (
            f"Labour, {hours}{rate}",
            sum_.money(sum_.labour) if sum_.labour is not None else NOT_COMPUTED,
        ),
        (
            f"{counted(len(parts.fit), 'part')} fitted" + (f" ({missing})" if missing else ""),
            sum_.money(sum_.parts) if sum_.parts is not None else "not stated",
        ),
        ("Total", total),
    )
    return Table("bill", "What it cost", "", (Column("", "name"), Column("Amount", "figure")), rows)
