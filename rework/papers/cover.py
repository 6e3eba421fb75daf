"""The cover: the set, the job in three lines, the cautions, what the check found before and finds
after.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    AttachCircuit,
    CutConductor,
    ExchangeTube,
    FitPart,
    RemovePart,
    RunWire,
)
from rework.papers.numbers import Numbers, Side
from rework.papers.places import plain
from rework.report.figures import NOT_COMPUTED, counted
from rework.rules.run import JobRun
from rework.safety.check import check
from rework.safety.findings import Report, path_words
from rework.touch.words import milliamperes

#: The cautions of every job; common practice, no source.
CAUTIONS = (
    (
        "Unplug",
        "Pull the plug from the outlet and keep it in sight. Switching off is not enough.",
    ),
    (
        "Discharge",
        "Discharge every filter capacitor through a resistor, each time the set was on.",
    ),
    ("Measure", "Trust the meter, not the drawing. Read 0 V before you touch anything, each time."),
    (
        "One hand",
        "Clip the negative lead of the meter on first. Work with one hand; keep the other away"
        " from metal.",
    ),
    (
        "Isolate the bench",
        "Work on a powered set only behind a bench isolation transformer. Only the leakage test"
        " needs the wall outlet. A series lamp or a variable autotransformer does not isolate.",
    ),
    (
        "B+ kills too",
        "The new supply makes a lethal voltage of its own. The bench isolation transformer does not"
        " protect you from it.",
    ),
    (
        "Codes and licences",
        "Local electrical codes and licensed practice take precedence over these pages.",
    ),
)


@dataclass(frozen=True, slots=True)
class CheckOutcome:
    """The outcome of one check as the page tells it: the verdict, ties in reach with path and
    state, how many more, things to fix, things live.

    ``sums`` are the figures beside it: what, the figure, the method it comes from.
    """

    verdict: str
    hazards: tuple[tuple[str, str, str], ...]
    out_of_reach: int
    must: tuple[tuple[str, str], ...]
    mind: tuple[tuple[str, str], ...]
    live: tuple[tuple[str, str], ...]
    note: str
    sums: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Cover:
    """What is on the first page."""

    title: str
    set_name: str
    mains: str
    tubes_before: tuple[tuple[str, str], ...]
    tubes_after: tuple[tuple[str, str], ...]
    lines: tuple[str, str, str]
    before: CheckOutcome
    after: CheckOutcome


def cover(run: JobRun, known: Numbers) -> Cover:
    """Return the cover of a job that was run to its end."""
    mains = run.after.mains or run.before.mains
    return Cover(
        run.job.title or run.after.title,
        run.before.title or run.job.circuit_file,
        f"{mains.volts:g} V, {mains.hertz:g} Hz" if mains else "not stated",
        _tubes(run.before),
        _tubes(run.after),
        _lines(run),
        _found(check(run.before), known.before),
        _found(check(run.after), known.after),
    )


def _tubes(circuit: Circuit) -> tuple[tuple[str, str], ...]:
    return tuple((part.name, part.type) for part in circuit.parts if part.kind == "tube")


def _lines(run: JobRun) -> tuple[str, str, str]:
    actions = [edit.action for edit in run.edits]
    out = sum(isinstance(action, RemovePart) for action in actions)
    cut = sum(isinstance(action, CutConductor) for action in actions)
    tubes = [
        f"{action.name} is now {_article(action.type)} {action.type}"
        for action in actions
        if isinstance(action, ExchangeTube)
    ]
    new = sum(isinstance(action, FitPart) and action.part.kind != "socket" for action in actions)
    run_ = sum(isinstance(action, RunWire) for action in actions)
    attached = [action for action in actions if isinstance(action, AttachCircuit)]
    fuses = [
        f"{action.prefix}/{part.name}, {plain(part)}"
        for action in attached
        for part in action.circuit.parts
        if part.traits.is_overcurrent
    ]
    supply = (
        f"The new supply is on its own chassis; its fuse is {fuses[0]}."
        if fuses
        else "New supply: none in this job."
        if not attached
        else "The new supply names no fuse."
    )
    return (
        f"{counted(out, 'part')} and {counted(cut, 'conductor')} are removed from the old set.",
        (
            "; ".join(tubes) + f". {counted(new, 'part')} and {counted(run_, 'wire')} are fitted."
            if tubes
            else f"No tube changes. {counted(new, 'part')} and {counted(run_, 'wire')} are fitted."
        ),
        supply,
    )


def _article(type_: str) -> str:
    """Return the article before a type as it is said: an 8CW5, an ECL82, a 6AU6, a UL84."""
    return "an" if type_[:1].upper() in "AEFHILMNORSX8" or type_[:2] in ("11", "18") else "a"


def _found(report: Report, side: Side) -> CheckOutcome:
    hazards = tuple(
        (hazard.node, path_words(hazard.path), hazard.when[0].words() if hazard.when else "")
        for hazard in report.hazards
        if hazard.touchable
    )
    return CheckOutcome(
        report.verdict,
        hazards,
        len(report.hazards) - len(hazards),
        tuple(
            (caution.message, caution.remedy)
            for caution in report.cautions
            if caution.weight == "must"
        ),
        tuple(
            (caution.message, caution.remedy)
            for caution in report.cautions
            if caution.weight != "must"
        ),
        tuple((live.node, live.where) for live in report.live),
        report.note,
        _sums(side),
    )


def _sums(side: Side) -> tuple[tuple[str, str, str], ...]:
    """Return the worst touch current and how many single faults leave more than the limit."""
    rows = []
    if side.touch is not None and side.touch.worst is not None:
        worst = side.touch.worst
        rows.append(
            (
                "Worst-case touch current",
                (
                    f"{milliamperes(worst.reading)} at {worst.place}; the limit is"
                    f" {milliamperes(side.touch.limit_amps)}"
                ),
                "touch",
            )
        )
    if side.faults is not None:
        over = sum(outcome.verdict in ("over", "not known") for outcome in side.faults.outcomes)
        rows.append(
            (
                "Single faults that leave more than the limit",
                f"{over} of {len(side.faults.outcomes)} tried",
                "faults",
            )
        )
    return tuple(rows) or (("Worst-case touch current", NOT_COMPUTED, "touch"),)
