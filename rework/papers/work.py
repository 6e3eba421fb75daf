"""The work order: what hands do, in working order, each step with its place, reason and check.

Every edit of the job is covered by exactly one step (``Step.edits``). What is done before any edit
(photographs, discharge) is in ``Group.first``; what has to be done when a group is finished is in
``Group.last``. The order is that of ``papers.order``, which replays it on the circuit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, RemovePart, subject
from rework.papers.build import supply_lines
from rework.papers.discharge import discharge_words
from rework.papers.order import Move, Replay, Stage, hand_order
from rework.papers.step_words import StepText, step_words
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One thing to do, with its place, its reason, the check before the next step, and cautions.

    ``edits`` are the places of its edits in ``JobRun.edits``, from 0; ``number`` counts steps from
    1. ``lines`` are the single pieces of a step that is a piece of building of its own. ``done`` is
    the day on which the record has it as done.
    """

    number: int
    edits: tuple[int, ...]
    what: str
    where: str
    why: str
    check: str
    rule: str
    cautions: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    done: str = ""


@dataclass(frozen=True, slots=True)
class WorkGroup:
    """Steps of one kind of work; ``first`` comes before them and ``last`` after them."""

    title: str
    first: tuple[str, ...]
    steps: tuple[WorkStep, ...]
    last: tuple[str, ...] = ()


#: Title of each stage and what comes before its first step. Common practice, no source.
_STAGES: dict[Stage, tuple[str, tuple[str, ...]]] = {
    Stage.CORD: (
        "Take off the plug and the line cord",
        ("Do this first, so that nobody can plug the set in while you work on it.",),
    ),
    Stage.REMOVE: (
        "Unsolder and remove parts",
        ("Keep all removed parts in one tray. Tag each part with its name.",),
    ),
    Stage.CUT: (
        "Cut traces and remove wires",
        ("Mark both ends with a pen before you cut. Compare with the drawing.",),
    ),
    Stage.LIFT: ("Lift leads", ("Lift one lead at a time. Bend it clear and sleeve it.",)),
    Stage.SOCKETS: (
        "Wire the sockets",
        ("Leave every tube out until the test plan asks for it.",),
    ),
    Stage.FIT: (
        "Fit parts and leads in the amplifier",
        ("Measure each new part before you fit it.",),
    ),
    Stage.HEATERS: (
        "Wire the heaters",
        ("Run one twisted pair from socket to socket, close to the metal.",),
    ),
    Stage.SUPPLY: (
        "Build the supply on its own chassis",
        (
            "Work with the plug out of the outlet.",
            "Fit the strain relief of the cord before you connect the cord.",
        ),
    ),
    Stage.EARTH: (
        "Connect protective earth",
        ("Earth is connected first and disconnected last. Give it a screw of its own.",),
    ),
    Stage.BOND: ("Bond the common", ()),
    Stage.SWITCH: (
        "Wire the power switch and other line-voltage leads",
        (
            "These leads are at line voltage in use. Sleeve every lug. Keep the leads away from"
            " grids and inputs.",
        ),
    ),
    Stage.UMBILICAL: (
        "Wire the umbilical",
        ("The umbilical stays unplugged while you wire it.",),
    ),
    Stage.LINE: ("Fit the new line cord", ("Earth first, the longest of the three leads.",)),
}


def work_order(run: JobRun) -> tuple[WorkGroup, ...]:
    """Return the groups that have work in them, the record always first, in working order."""
    order = hand_order(run)
    reasons = _reasons(run)
    cautions = _cautions(run)
    gone = frozenset(edit.action.name for edit in run.edits if isinstance(edit.action, RemovePart))
    steps = [
        (move.stage, _step(number, move, run, gone, reasons, cautions))
        for number, move in enumerate(order.moves, 1)
    ]
    groups = [_record(run.before)]
    for stage, members in groupby(steps, key=lambda pair: pair[0]):
        title, first = _STAGES[stage]
        groups.append(WorkGroup(title, first, tuple(step for _, step in members)))
    return tuple(_with_tests(groups, steps, order))


def _record(circuit: Circuit) -> WorkGroup:
    return WorkGroup(
        "Record and discharge",
        (
            "Unplug the set.",
            discharge_words(circuit),
            "Leave a clip lead across each filter capacitor while you work. A discharged capacitor"
            " can recover part of its charge.",
            "Photograph both sides, every socket, the cord, and any paper inside the case.",
            "Write down which tube is in which socket. Compare the set with the drawing Before. If"
            " they differ, stop and correct the netlist first.",
        ),
        (),
    )


def _step(
    number: int,
    move: Move,
    run: JobRun,
    gone: frozenset[str],
    reasons: Sequence[str],
    cautions: dict[int, tuple[str, ...]],
) -> WorkStep:
    first = move.edits[0]
    final = run.after if subject(move.action) in run.after.by_name else move.after
    words: StepText = step_words(move.action, move.before, move.after, final, gone)
    attached = move.action.prefix if isinstance(move.action, AttachCircuit) else ""
    return WorkStep(
        number,
        move.edits,
        words.what,
        words.where,
        reasons[first],
        words.check,
        run.edits[first].rule,
        tuple(dict.fromkeys(caution for edit in move.edits for caution in cautions.get(edit, ()))),
        supply_lines(run.after, attached) if attached else (),
    )


def _with_tests(
    groups: list[WorkGroup], steps: Sequence[tuple[Stage, WorkStep]], order: Replay
) -> list[WorkGroup]:
    """Return the groups with the word when to test, and how long the plug stays out."""
    stages = [stage for stage, _ in steps]
    attached = Stage.SUPPLY in stages
    out = []
    for group in groups:
        stage = next((s for s, step in steps if group.steps and step is group.steps[0]), None)
        if stage is Stage.SUPPLY and order.hold:
            group = replace(
                group,
                first=(*group.first, _plug_out(order, tested=Stage.UMBILICAL in stages)),
            )
        before_umbilical = stage is not None and stage < Stage.UMBILICAL
        next_stage = min((s for s in stages if stage is not None and s > stage), default=None)
        if attached and before_umbilical and next_stage is Stage.UMBILICAL:
            group = replace(
                group,
                last=(
                    "Now do parts A and B of the test plan, with the umbilical unplugged."
                    " Continue only when every test has passed.",
                ),
            )
        out.append(group)
    return out


def _plug_out(order: Replay, *, tested: bool) -> str:
    """Return how long the plug stays out; ``tested`` is whether the supply is tested before."""
    until = f"until step {order.hold} is done"
    when = (
        f"Plug the supply in for part B of the test plan only. Else leave the plug out {until}."
        if tested
        else f"Leave the plug out {until}."
    )
    return f"{when} Until then the check reports: {order.finding}."


def _reasons(run: JobRun) -> list[str]:
    """Return why each edit is made: its own reason, else what its step of the job says."""
    return [
        edit.reason or taken.says
        for taken in run.taken
        if isinstance(taken.outcome, Applied)
        for edit in taken.outcome.edits
    ]


def _cautions(run: JobRun) -> dict[int, tuple[str, ...]]:
    """Return the cautions of the rules by the edit that they are about."""
    given: dict[int, list[str]] = {}
    first = 0
    for taken in run.taken:
        if not isinstance(taken.outcome, Applied):
            continue
        for caution, at in zip(taken.outcome.cautions, taken.outcome.about, strict=True):
            given.setdefault(first + at, []).append(caution)
        first += len(taken.outcome.edits)
    return {edit: tuple(words) for edit, words in given.items()}
