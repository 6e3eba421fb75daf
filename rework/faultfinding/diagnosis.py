"""A job's readings against everything that can be wrong with its set: the whole way from the job to
the ranking and the next reading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from math import floor, log10

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.edits import AttachCircuit, FitPart, subject
from rework.faultfinding.case import Case, UnsolvedTrouble, refined, solved_cases
from rework.faultfinding.expect import Expected, expected, joined, sharpened, suspects, widened
from rework.faultfinding.figures import on_scale
from rework.faultfinding.live_work import Reason, live_nodes, reasons
from rework.faultfinding.next_reading import NextReading, next_readings
from rework.faultfinding.pairs import Pair, pairs
from rework.faultfinding.points import BenchFigure, candidates, figure
from rework.faultfinding.rank import Ranking, ranking
from rework.faultfinding.signs import gain, likelihood
from rework.faultfinding.trouble import SOUND, SingleTrouble
from rework.faultfinding.troubles import troubles
from rework.faultfinding.undone import undone
from rework.language.bench import BenchNotes, BenchState, Noticed, Quantity, Reading
from rework.rules.run import JobRun
from rework.solve.arrays import Bools
from rework.solve.assemble import assemble
from rework.solve.network import CannotSolve

#: Volts RMS that a generator should make at the speaker, so that nothing clips.
AT_SPEAKER = 0.1
#: Classes whose likeliest trouble is solved exactly.
EXACT = 3


@dataclass(frozen=True, slots=True, eq=False)
class TroubleBoard:
    """A set on the bench with everything solved: ``side`` of the job, its circuit and common, the
    RMS volts to ``drive`` it with, the list of suspects and what each reading would be under each.
    Rankings are read off it quickly.

    ``state`` is how the set is on the bench now: that of the last reading or sign. ``offered`` are
    the figures that may be read next, in this state, by their place in ``expected``; ``columns``
    those of the ``readings`` since the last repair.
    """

    side: str
    state: BenchState
    circuit: Circuit
    common: str
    drive: float
    expected: Expected
    offered: tuple[int, ...]
    bench: BenchNotes
    readings: tuple[Reading, ...]
    columns: tuple[int, ...]
    noticed: tuple[Noticed, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Diagnosis:
    """The result of a job's readings.

    ``perils`` say why nothing may be read with the set switched on; ``next`` is what to read next,
    None where nothing that may be read tells more; ``pairs`` are two troubles at once, where no
    single one explains the readings.
    """

    board: TroubleBoard
    ranking: Ranking
    perils: tuple[Reason, ...]
    next: NextReading | None
    pairs: tuple[Pair, ...] = ()


def board(
    run: JobRun, side: str = "after", *, step: Callable[[int], None] | None = None
) -> TroubleBoard:
    """Return a set of a job with all its troubles solved, before or after the job.

    Raises CannotSolve where the set has no numbers. ``step`` is called with the number of troubles
    solved after each piece of work.
    """
    circuit = run.before if side == "before" else run.after
    bench, state = run.job.bench, _state_now(run.job.bench, side)
    readings, _ = _of_this_round(bench, side)
    common = assemble(circuit).reference
    listed, failed = suspects(circuit, _listed(run, side))
    sound = solved_cases([(SOUND, circuit)], line=bench.line)[0]
    if isinstance(sound, UnsolvedTrouble):
        raise CannotSolve(*sound.problems)
    drive = _drive(sound)
    offered = candidates(circuit, common, bench.meter, state, drive=drive)
    asked = _asked(circuit, common, readings)
    both = tuple(
        dict.fromkeys((*offered, *(first for first in asked if first and first.state == state)))
    )
    known = sound if state == BenchState(side) else None
    whole = expected(listed, both, sound=known, line=bench.line, state=state, step=step)
    for second in dict.fromkeys(first.state for first in asked if first and first.state != state):
        some = tuple(dict.fromkeys(first for first in asked if first and first.state == second))
        in_state = expected(listed, some, line=bench.line, state=second, step=step)
        whole = joined(whole, in_state)
    whole = replace(whole, unsolved=(*failed, *whole.unsolved))
    return _laid_out(run, side, common, whole, drive)


def reread(old: TroubleBoard, run: JobRun) -> TroubleBoard | None:
    """Return the board of a job of which only the readings are others, its circuits as they were
    solved; None where something has to be solved anew.
    """
    bench, side = run.job.bench, old.side
    circuit = run.before if side == "before" else run.after
    if circuit != old.circuit or (bench.line, bench.meter) != (old.bench.line, old.bench.meter):
        return None
    readings, _ = _of_this_round(bench, side)
    asked = [
        asked_figure
        for asked_figure in _asked(circuit, old.common, readings)
        if asked_figure is not None
    ]
    new = [asked_figure for asked_figure in asked if asked_figure not in old.expected.figures]
    if _state_now(bench, side) != old.state or any(figure.state != old.state for figure in new):
        return None
    whole = widened(old.expected, new, line_read=bench.line is not None)
    return _laid_out(run, side, old.common, whole, old.drive)


def _asked(circuit: Circuit, common: str, readings: Sequence[Reading]) -> list[BenchFigure | None]:
    return [figure(circuit, common, reading) for reading in readings]


def _laid_out(run: JobRun, side: str, common: str, whole: Expected, drive: float) -> TroubleBoard:
    """Return a board with everything solved, and what the job reads on it."""
    circuit = run.before if side == "before" else run.after
    bench = run.job.bench
    readings, noticed = _of_this_round(bench, side)
    asked = _asked(circuit, common, readings)
    live = frozenset() if bench.isolated else live_nodes(circuit)
    place = {asked_figure: n for n, asked_figure in enumerate(whole.figures)}
    state = _state_now(bench, side)
    offered = candidates(circuit, common, bench.meter, state, drive=drive)
    return TroubleBoard(
        side,
        state,
        circuit,
        common,
        drive,
        whole,
        tuple(place[asked_figure] for asked_figure in offered if _may_be_read(asked_figure, live)),
        bench,
        tuple(
            r for r, asked_figure in zip(readings, asked, strict=True) if asked_figure is not None
        ),
        tuple(place[asked_figure] for asked_figure in asked if asked_figure is not None),
        noticed,
    )


def _may_be_read(asked_figure: BenchFigure, live: frozenset[str]) -> bool:
    """Return whether a figure is read without a probe on what the mains is on."""
    return asked_figure.of is Quantity.OHMS or live.isdisjoint(
        (asked_figure.at.node, asked_figure.to.node)
    )


def _state_now(bench: BenchNotes, side: str) -> BenchState:
    """Return how a set is on the bench: by the last line that says so of this one."""
    said = [state for state, _ in bench.states if state.side == side]
    return said[-1] if said else BenchState(side)


def _of_this_round(bench: BenchNotes, side: str) -> tuple[tuple[Reading, ...], tuple[Noticed, ...]]:
    """Return the readings and signs of one side since the last repair."""
    now = len(bench.repaired)
    return (
        tuple(r for r in bench.readings if r.state.side == side and r.repairs == now),
        tuple(n for n in bench.noticed if n.state.side == side and n.repairs == now),
    )


def _listed(run: JobRun, side: str) -> list[tuple[SingleTrouble, Circuit | None]]:
    """Return every trouble of one side, those of the job first, with the circuits that no edit of
    this one makes.
    """
    if side == "before":
        return [(trouble, None) for trouble in troubles(run.before)]
    actions = [edit.action for edit in run.edits]
    attached = {
        f"{action.prefix}/{part.name}"
        for action in actions
        if isinstance(action, AttachCircuit)
        for part in action.circuit.parts
    }
    touched = {subject(action) for action in actions} | attached
    fresh = {action.part.name for action in actions if isinstance(action, FitPart)} | attached
    left = [(step.trouble, step.circuit) for step in undone(run)]
    return [
        *left,
        *((trouble, None) for trouble in troubles(run.after, touched=touched, fresh=fresh)),
    ]


def _drive(sound: Case) -> float:
    """Return the RMS volts for a generator, in a step of 1, 2 or 5, at which nothing clips."""
    wanted = min(AT_SPEAKER / max(gain(sound), 1e-3), 1.0)
    decade = 10.0 ** floor(log10(wanted))
    return decade * max(step for step in (1, 2, 5) if step * decade <= wanted * (1 + 1e-9))


def diagnosed(on: TroubleBoard) -> Diagnosis:
    """Return what the readings of a board come to."""
    ranks = _ranked(on)
    perils = reasons(ranks, isolated=on.bench.isolated)
    # A set of which nothing was read yet is read unplugged first.
    following = next_readings(ranks, on.offered, powered=bool(on.columns) and not perils)
    both = () if ranks.is_explained else pairs(ranks, line=on.bench.line)
    return Diagnosis(on, ranks, perils, following[0] if following else None, both)


def _ranked(on: TroubleBoard) -> Ranking:
    read = [
        on_scale(on.expected.figures[n], reading.value.amount)
        for n, reading in zip(on.columns, on.readings, strict=True)
    ]
    signs = likelihood(on.expected.cases, on.noticed) if on.noticed else None
    return ranking(on.expected, on.columns, read, signs=signs, good=_good(on))


def exact(on: TroubleBoard) -> TroubleBoard:
    """Return a board with the sound set and the likeliest suspects solved with as many instants of
    a period as ``rework volts`` takes, so that what is said of them is what that prints.
    """
    ranks, better = _ranked(on), dict[int, Case]()
    for n in {0, *(group.suspect for group in ranks.groups[:EXACT])}:
        with suppress(CannotSolve):  # then it stays as it was solved
            better[n] = refined(on.expected.cases[n])
    whole = sharpened(on.expected, better, line_read=on.bench.line is not None)
    return replace(on, expected=whole)


def _good(on: TroubleBoard) -> Bools | None:
    """Return which suspects (suspects) were proved not to be it, or repaired."""
    named = [name for name, _ in (*on.bench.proved, *on.bench.repaired)]
    if not named:
        return None

    def is_good(trouble: SingleTrouble) -> bool:
        points = {trouble.part, *(f"{trouble.part}.{at}" for at in trouble.at)}
        return bool(trouble.part) and not points.isdisjoint(named)

    return np.array(
        [
            all(is_good(trouble) for trouble in (suspect.trouble, *suspect.alike))
            for suspect in on.expected.suspects
        ]
    )
