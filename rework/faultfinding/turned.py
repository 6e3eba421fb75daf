"""A job with the controls and switches of its set where they are on the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, Edit, FitPart
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun, StepTaken
from rework.solve.positions import positioned


def turned(run: JobRun, side: str, at: Mapping[str, str]) -> JobRun:
    """Return a job with controls and switches ``at`` these positions by name, in the set before and
    after it and in what it fits and attaches.

    Raises CannotSolve where the set of ``side`` has no such control, switch or position.
    """
    if not at:
        return run
    positioned(run.before if side == "before" else run.after, at)
    return replace(
        run,
        before=_there(run.before, at),
        after=_there(run.after, at),
        taken=tuple(_step(step, at) for step in run.taken),
    )


def _step(step: StepTaken, at: Mapping[str, str]) -> StepTaken:
    if not isinstance(step.outcome, Applied):
        return step
    edits = tuple(_edit(edit, at) for edit in step.outcome.edits)
    return replace(step, outcome=replace(step.outcome, edits=edits))


def _there(circuit: Circuit, at: Mapping[str, str]) -> Circuit:
    return positioned(circuit, {name: place for name, place in at.items() if circuit.part(name)})


def _edit(edit: Edit, at: Mapping[str, str]) -> Edit:
    match edit.action:
        case AttachCircuit(prefix=prefix) as attach:
            inside = {
                name.removeprefix(f"{prefix}/"): place
                for name, place in at.items()
                if name.startswith(f"{prefix}/")
            }
            return replace(edit, action=replace(attach, circuit=_there(attach.circuit, inside)))
        case FitPart(part) as fit if part.name in at:
            (moved,) = _there(Circuit(parts=(part,)), at).parts
            return replace(edit, action=replace(fit, part=moved))
        case _:
            return edit
