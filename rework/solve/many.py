"""Many circuits in their steady states at once: each from a start of its own, all in one stack,
those that have settled left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rework.circuit.place import Problem
from rework.solve.arrays import Floats
from rework.solve.circles import Circles
from rework.solve.dense import LARGE
from rework.solve.devices import DeviceLaw, Rectifier
from rework.solve.network import CannotSolve, Network, entries_together
from rework.solve.newton import ALIKE, ALIKE_VOLTS
from rework.solve.newton import STEP as STEP_AT_REST
from rework.solve.periodic import (
    ENOUGH,
    RAISES,
    SHARES,
    SOFTER,
    STEP,
    UNSETTLED,
    WARMTH,
    Steady,
    finished,
    flow,
    mains_source,
    mains_steady,
)

#: Looks at the equations, for each stage of the way, after which one that has not settled is given
#: up: from a near start it takes five.
MOST = 25
#: Circuits in one stack, and looks at them after which those of all stacks that have not settled go
#: on together: a look at few takes nearly as long as one at many.
STACK, QUICK = 48, 6
#: A step this small, volts, and a tenth of the one before it, is taken as the last: what is left is
#: then of the order of its square.
LAST, FALLS = 1e-4, 0.1
#: The same of a point at rest.
MOST_AT_REST = 30


#: Volts that a step moves, under which a stage without rounded corners is left for the next.
ON_THE_WAY = 1e-3


class ContinuationStage(NamedTuple):
    """What is solved on the way to a steady state: with so great a ``share`` of the line, the
    corners of the laws ``warmth`` times as round, those of the rectifiers ``width`` volts.
    """

    share: float = 1.0
    warmth: float = 1.0
    width: float = 0.0


#: From a near start; over rounded corners of the rectifiers; and by way of the line.
NEAR = (ContinuationStage(),)
SOFTENED = tuple(ContinuationStage(width=width) for width in SOFTER)
RAISED = (
    *(ContinuationStage(share, WARMTH[0], 1.0) for share in RAISES),
    *(ContinuationStage(warmth=warmth) for warmth in WARMTH),
)


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """A circuit on ``factor`` times its line, with the unknowns (instants, n) to begin from."""

    network: Network
    factor: float
    start: Floats


class _Row:
    """One circuit of the stack with what does not change from step to step."""

    def __init__(self, wanted: Wanted, instants: int, way: Sequence[ContinuationStage]) -> None:
        self.network, self.x = wanted.network, wanted.start.copy()
        self.dt = 1 / wanted.network.hertz / instants
        self.whole = mains_source(wanted.network, instants, factor=wanted.factor)
        self.c = wanted.network.c / self.dt
        #: The stages that are still to come.
        self.way = list(way)
        self.search = LineSearch() if len(way) > 1 else None
        self.settled = self.is_singular = False
        #: Looks at the equations.
        self.count = 0
        self._begin()

    def _begin(self) -> None:
        """Begin with the next stage."""
        self.stage = self.way.pop(0)
        self.source = self.stage.share * self.whole
        self.laws = tuple(_on_the_way(device.law, self.stage) for device in self.network.ordered)
        self.step = np.zeros_like(self.x)
        self.moved = self.last = float("inf")

    def excess(self, out: Floats) -> Floats:
        """Return what is left of the equations (instants, n) for the currents of its devices."""
        x = self.x
        left: Floats = x @ self.network.g.T + flow(x, len(x)) @ self.c.T
        return left + out @ self.network.reads - self.source

    def is_taken(self, excess: Floats) -> bool:
        """Return whether the last step stays as it is; else move to another share of it."""
        if self.search is None:
            return True
        before = self.search.share
        taken = self.search.is_taken(float(np.linalg.norm(excess)))
        self.x = self.x + (before - self.search.share) * self.step
        return taken

    def take(self, step: Floats) -> None:
        """Move by a Newton step, shortened where it goes far; and, without a search, where the last
        one did not bring it nearer.
        """
        controls = np.abs(step @ self.network.reads.T)
        self.moved = float(controls.max()) if controls.size else float(np.abs(step).max())
        if self.way and self.moved < (self.stage.width / 3 or ON_THE_WAY):
            self.x = self.x - step
            self._begin()
            self.search = LineSearch()
            return
        enough = LAST if self.moved < FALLS * self.last else ENOUGH
        self.settled = not self.way and self.moved < enough
        pull = 1.0 if self.search or self.moved < 0.7 * self.last else 0.6
        self.step = step * min(pull, STEP / max(self.moved, 1e-12))
        self.x, self.last = self.x - self.step, self.moved
        if self.search:
            self.search.begin()

    @property
    def is_moving(self) -> bool:
        """Whether more steps may bring it nearer."""
        return not (self.settled or self.is_singular)

    def result(self, currents: Floats) -> Steady | CannotSolve:
        """Return the steady state it has come to, with the ``currents`` (instants, m) of its
        devices, or why it has none.
        """
        failure = ""
        if self.is_singular:
            failure = (
                "the circuit has no one answer: a node is connected to nothing that fixes its volts"
            )
        elif not self.settled and (self.way or not self.moved < UNSETTLED):
            failure = (
                f"the steady state does not settle; it still moves by {self.moved:.3g} V a step"
            )
        if failure:
            return CannotSolve(Problem(failure, hint="look at the values of the parts"))
        period = 1 / self.network.hertz
        return finished(
            self.network, self.source, self.x, period, currents=currents, count=self.count
        )


def _on_the_way(law: DeviceLaw, stage: ContinuationStage) -> DeviceLaw:
    warm = law if stage.warmth == 1 else law.warmer(stage.warmth)
    return warm.softer(stage.width) if isinstance(warm, Rectifier) else warm


class LineSearch:
    """Which share of a Newton step is taken: the first that leaves less of the equations than
    there was; where none does, that which leaves least.
    """

    def __init__(self) -> None:
        #: What is left of the equations now, and where the step began.
        self.now = self.before = float("inf")
        self.begin()

    def begin(self) -> None:
        """Begin with the whole of a new step."""
        self.before, self.least = self.now, float("inf")
        self.share = self.best = 1.0
        self.shares = list(SHARES)

    def is_taken(self, left: float) -> bool:
        """Return whether the share that leaves so much is taken; else ``share`` is the next."""
        self.now = left
        if left < self.before:
            return True
        if left < self.least:
            self.least, self.best = left, self.share
        if not self.shares:
            taken, self.share = self.share == self.best, self.best
            return taken
        self.share = self.shares.pop(0)
        return False


def steady_states(
    wanted: Sequence[Wanted], way: Sequence[ContinuationStage] = NEAR
) -> tuple[Steady | CannotSolve, ...]:
    """Return the steady state of each, or why it has none.

    All have the same number of instants; the line alternates. A ``way`` of several stages settles
    more, and takes several times as long: no step is then taken that leaves more of the equations
    than another share of it.

    Circuits of other sizes are filled up with unknowns that stay nothing. Large ones go one after
    the other.
    """
    if not wanted:
        return ()
    if max(network.network.n for network in wanted) >= LARGE:
        return tuple(_singly(network) for network in wanted)
    rows = [_Row(network, len(wanted[0].start), way) for network in wanted]
    left = rows
    for most in (QUICK, MOST * len(way)):
        for start in range(0, len(left), STACK):
            _moved_together(left[start : start + STACK], most)
        left = [row for row in left if row.is_moving]
    answers = _answers(rows)
    return tuple(row.result(currents) for row, (currents, _) in zip(rows, answers, strict=True))


def _moved_together(rows: Sequence[_Row], most: int) -> None:
    """Move some circuits, in one stack, until they have settled, have no one answer, or were looked
    at ``most`` times.
    """
    circles = Circles([row.network for row in rows], len(rows[0].x), [row.dt for row in rows])
    active = [number for number, row in enumerate(rows) if row.count < most]
    while active:
        _round(rows, active, circles)
        active = [n for n in active if rows[n].is_moving and rows[n].count < most]


@dataclass(frozen=True, slots=True, eq=False)
class Resting:
    """A circuit whose point at rest under direct current is wanted, with the laws that its devices
    have there and the unknowns (n) to begin from.
    """

    network: Network
    laws: tuple[DeviceLaw, ...]
    start: Floats


def resting_points(wanted: Sequence[Resting]) -> tuple[Floats | None, ...]:
    """Return the unknowns (n) of each at rest; None where that does not settle."""
    x = [case.start.copy() for case in wanted]
    settled: list[Floats | None] = [None] * len(wanted)
    active = list(range(len(wanted)))
    for _ in range(MOST_AT_REST):
        if not active:
            break
        steps = _resting_steps([wanted[number] for number in active], [x[n] for n in active])
        for number, step in zip(tuple(active), steps, strict=True):
            network = wanted[number].network
            if step is None:
                active.remove(number)
                continue
            moved = float(np.abs(network.across(step)).max(initial=0.0))
            x[number] = x[number] - step * min(1.0, STEP_AT_REST / max(moved, 1e-12))
            if moved < ALIKE_VOLTS and float(np.abs(step).max()) < ALIKE:
                settled[number] = x[number]
                active.remove(number)
    return tuple(settled)


def _resting_steps(wanted: Sequence[Resting], x: Sequence[Floats]) -> list[Floats | None]:
    """Return Newton's step (n) of each, None where that is singular."""
    n = max(case.network.n for case in wanted)
    jac = np.zeros((len(wanted), n, n))
    excess = np.zeros((len(wanted), n, 1))
    jac[:, range(n), range(n)] = 1.0
    answers = entries_together([case.network for case in wanted], x, [case.laws for case in wanted])
    for place, (case, state, (out, entries)) in enumerate(zip(wanted, x, answers, strict=True)):
        network, size = case.network, case.network.n
        slopes = network.squares(entries)
        jac[place, :size, :size] = network.g + network.reads.T @ slopes @ network.reads
        excess[place, :size, 0] = network.g @ state + out @ network.reads - network.direct_source()
    try:
        steps = np.linalg.solve(jac, excess)[..., 0]
    except np.linalg.LinAlgError:
        return [_resting_alone(*row) for row in zip(wanted, jac, excess, strict=True)]
    return [step[: case.network.n] for case, step in zip(wanted, steps, strict=True)]


def _resting_alone(wanted: Resting, jac: Floats, excess: Floats) -> Floats | None:
    try:
        return np.asarray(np.linalg.solve(jac, excess)[: wanted.network.n, 0], np.float64)
    except np.linalg.LinAlgError:
        return None


def _round(rows: Sequence[_Row], active: Sequence[int], circles: Circles) -> None:
    """Look at the equations of the ``active`` rows once, and move each of them."""
    some = [rows[number] for number in active]
    answers = _answers(some)
    left = [row.excess(out) for row, (out, _) in zip(some, answers, strict=True)]
    taken = [k for k, row in enumerate(some) if row.is_taken(left[k])]
    places = [active[k] for k in taken]
    slopes = [some[k].network.squares(answers[k][1]) for k in taken]
    steps = circles.steps(places, slopes, [left[k] for k in taken]) if taken else []
    for row in some:
        row.count += 1
    for number, step in zip(places, steps, strict=True):
        if step is None:
            rows[number].is_singular = True
        else:
            rows[number].take(step)


def _answers(rows: Sequence[_Row]) -> list[tuple[Floats, Floats]]:
    """Return the currents of the devices of every circuit and their nonzero slopes."""
    return entries_together(
        [row.network for row in rows], [row.x for row in rows], [row.laws for row in rows]
    )


def _singly(wanted: Wanted) -> Steady | CannotSolve:
    try:
        return mains_steady(
            wanted.network, factor=wanted.factor, instants=len(wanted.start), start=wanted.start
        )
    except CannotSolve as error:
        return error
