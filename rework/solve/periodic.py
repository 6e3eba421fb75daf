"""The steady state that repeats: all instants of one period at once, by Newton, with the storage of
the circuit as the link.

Second-order backward differences on an even grid, closed on itself (the discrete form of the
shooting of Aprille and Trick, Proc. IEEE 60(1), 108-114, 1972): each Newton step solves every
instant for itself in one stack, then the few storage states around the circle. Slow time constants
cost nothing, since nothing is waited for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rework.circuit.place import Problem
from rework.solve.arrays import Floats
from rework.solve.circle import Circle
from rework.solve.dense import LARGE
from rework.solve.devices import DeviceLaw, Rectifier
from rework.solve.network import CannotSolve, Network, NotSettled

if TYPE_CHECKING:
    from rework.solve.turn import Turn

#: Instants in a period.
INSTANTS = 384
#: Instants of the first, rough solution.
COARSE = 64
#: Newton steps at most, and while corners are rounded; the steady state is reached when no
#: controlling voltage moves by more than ``ENOUGH`` in a step, and there is none where it still
#: moves by ``UNSETTLED``, volts.
MOST, MOST_ROUNDED, ENOUGH, UNSETTLED = 80, 40, 1e-7, 1e-4
#: Largest change of a controlling voltage in one step, volts; and the shares of a step that are
#: tried where the whole of it leaves more of the equations than there was.
STEP, SHARES = 150.0, (0.5, 0.25, 0.1, 0.03)
#: After so many steps of the least share a whole one is taken all the same: it may lead past what
#: stands in the way (R. M. Chamberlain et al., Math. Programming Study 16, 1-17, 1982).
PATIENCE = 3
#: Steps of fewer volts that no longer halve are rounding: the steady state is reached.
DIGITS = 1e-5
#: Corner widths of the rectifiers on the way to their own, volts: a short way, and a long one as
#: the last.
SOFTER, SOFTEST = (10.0, 1.0, 0.0), (30.0, 10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01, 0.003, 0.0)
#: Where the short way fails: shares of the line on the way to it, and how many times as round the
#: corners of the laws are.
RAISES, WARMTH = (0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0), (30.0, 10.0, 3.0, 1.5, 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Steady:
    """A steady state: unknowns ``x`` (instants, n) and ``currents`` (instants, m) of the devices
    over one ``period`` in seconds.

    ``residual`` is the largest Kirchhoff residual in amps; ``balance`` is the power from the
    sources less the power in all parts, as a share of the former; ``watts_in`` is the former.
    """

    x: Floats
    currents: Floats
    period: float
    residual: float
    balance: float
    watts_in: float
    iterations: int

    @property
    def mean(self) -> Floats:
        """The mean of every unknown (n)."""
        mean: Floats = self.x.mean(0)
        return mean


@dataclass(frozen=True, slots=True, eq=False)
class _Equations:
    """What one steady state solves: the network under ``source`` (instants, n) of a ``period``."""

    network: Network
    source: Floats
    period: float
    scales: Floats | None
    laws: tuple[DeviceLaw, ...]

    @property
    def dt(self) -> float:
        """Seconds from one instant to the next."""
        return self.period / len(self.source)

    def coarser(self, skip: int) -> _Equations:
        """Return the same at every ``skip``-th instant."""
        return _Equations(self.network, self.source[::skip], self.period, self.scales, self.laws)


def mains_source(network: Network, instants: int, *, factor: float = 1.0) -> Floats:
    """Return the right-hand side (instants, n) over one line period: a sine, or what stands still
    where the line is direct current.
    """
    s = np.zeros((instants, network.n))
    wave = (
        np.sin(2 * np.pi * np.arange(instants) / instants) if network.hertz else np.ones(instants)
    )
    s[:, list(network.sources)] = (factor * network.volts_peak * wave)[:, None]
    return s


def steady_state(
    network: Network,
    source: Floats,
    period: float,
    *,
    start: Floats | None = None,
    scales: Floats | None = None,
    laws: Sequence[DeviceLaw] | None = None,
) -> Steady:
    """Return the steady state under ``source`` (instants, n), which repeats after ``period``
    seconds.

    Raises CannotSolve naming the node that moves most where Newton does not end.
    """
    laws = tuple(laws) if laws is not None else tuple(d.law for d in network.ordered)
    equations = _Equations(network, source, period, scales, laws)
    instants, total = len(source), 0
    if start is None and instants > 2 * COARSE and any(isinstance(law, Rectifier) for law in laws):
        skip = instants // COARSE
        rough, total = _from_nothing(equations.coarser(skip))
        start = _finer(rough, instants, skip)
    if start is None:
        x, count = _from_nothing(equations)
    else:
        first = np.array(np.broadcast_to(start, (instants, network.n)))
        x, count = _settled(equations, first, (0.0,))
    return finished(network, source, x, period, scales=scales, laws=laws, count=total + count)


def _finer(x: Floats, instants: int, skip: int) -> Floats:
    """Return a wave of every ``skip``-th instant with all ``instants``, on straight lines."""
    at = np.arange(instants) / skip
    every = np.arange(len(x) + 1)
    return np.stack([np.interp(at, every, np.append(wave, wave[0])) for wave in x.T], 1)


def _from_nothing(equations: _Equations) -> tuple[Floats, int]:
    """Return the steady state from no volts at all: rectifiers softened over a short way; then with
    the laws of all devices warm and the line raised from nothing; then over a long way.

    Raises CannotSolve with how far the line could be raised where all three fail.
    """
    nothing = np.zeros((len(equations.source), equations.network.n))
    try:
        return _settled(equations, nothing, SOFTER)
    except CannotSolve as error:
        first = error
    try:
        return _raised(equations, nothing, first)
    except CannotSolve as error:
        last = error
    try:
        return _settled(equations, nothing, SOFTEST)
    except CannotSolve:
        raise last from first


def _raised(equations: _Equations, x: Floats, error: CannotSolve) -> tuple[Floats, int]:
    """Return the same by way of the line and of the warmth of the laws; raises ``error`` with how
    far it came where that fails.
    """
    total, share = 0, 0.0
    try:
        for share in RAISES:
            raised = replace(equations, source=share * equations.source)
            warm = tuple(law.warmer(WARMTH[0]) for law in equations.laws)
            x, count = _settled(replace(raised, laws=warm), x, (1.0, 0.0))
            total += count
        for times in WARMTH[1:]:
            warm = tuple(law.warmer(times) for law in equations.laws)
            x, count = _settled(replace(equations, laws=warm), x, (0.0,))
            total += count
    except CannotSolve:
        raise CannotSolve(
            replace(
                error.problems[0],
                message=(
                    f"{error.problems[0].message}; raised slowly, it settles up to {share:.0%} of"
                    " the line"
                ),
            )
        ) from error
    return x, total


def _settled(equations: _Equations, x: Floats, widths: Sequence[float]) -> tuple[Floats, int]:
    """Return the steady state reached from ``x`` over these corner widths, and the steps taken."""
    network, total = equations.network, 0
    for width in widths:
        laws = [law.softer(width) if isinstance(law, Rectifier) else law for law in equations.laws]
        try:
            newton = _Newton(equations, laws)
            x = (
                newton.solved(x, ENOUGH, MOST)
                if width == 0
                else newton.solved(x, width / 3, MOST_ROUNDED)
            )
        except np.linalg.LinAlgError as error:
            raise CannotSolve(
                Problem(
                    f"the circuit has no one answer: node {_loosest(network, x, laws)} is connected"
                    " to nothing that fixes its volts",
                    hint=". ".join(network.warnings[:3])
                    or "give it a path for direct current, or take out what is connected to it",
                )
            ) from error
        total += newton.count
        # Rounded corners that cannot be settled are no way to sharp ones.
        if not newton.moved <= (UNSETTLED if width == 0 else width):
            raise NotSettled(
                Problem(
                    f"the steady state does not settle; node {network.names[newton.worst]} moves by"
                    f" {newton.moved:.3g} V a step",
                    hint="look at the values of the parts there",
                )
            )
    return x, total


def _loosest(network: Network, x: Floats, laws: Sequence[DeviceLaw]) -> str:
    """Return the node that nothing holds: the largest in the direction in which the equations give
    way.
    """
    _, slopes = network.device_currents(x[0], laws=laws)
    loose = np.linalg.svd(network.g + network.reads.T @ slopes @ network.reads)[2][-1]
    return network.names[int(network.node_at[np.abs(loose[network.node_at]).argmax()])]


def _turn(network: Network, instants: int, dt: float) -> Circle | Turn:
    if network.n < LARGE:
        return Circle(network, instants, dt)
    from rework.solve.turn import Turn

    return Turn(network, instants, dt)


class _Newton:
    """Newton's steps on all instants of a period; afterwards ``moved`` is the last step in volts,
    ``count`` how many there were, ``worst`` the node that moved most.
    """

    def __init__(self, equations: _Equations, laws: Sequence[DeviceLaw]) -> None:
        self.equations, self.laws = equations, laws
        network = equations.network
        self.moved, self.count, self.worst = np.inf, 0, 0
        self.turn = _turn(network, len(equations.source), equations.dt)

    def _excess(self, x: Floats) -> tuple[Floats, Floats]:
        """Return the slopes of the devices at x, and what is left of the equations there."""
        network, source = self.equations.network, self.equations.source
        out, slopes = network.device_entries(x, scales=self.equations.scales, laws=self.laws)
        return slopes, self.turn.excess(x, flow(x, len(x)), out, source)

    def solved(self, x: Floats, enough: float, most: int) -> Floats:
        """Return x after steps until none moves by ``enough`` volts, at most ``most``."""
        network = self.equations.network
        step = np.zeros_like(x)
        slopes, excess = self._excess(x)
        creeping = 0
        while self.count < most and self.moved >= enough:
            self.count += 1
            step = self.turn.step(slopes, excess)
            controls = np.abs(network.across(step))
            before = self.moved
            self.moved = float(controls.max() if controls.size else np.abs(step).max())
            if self.moved < enough or (self.moved < DIGITS and self.moved > before / 2):
                x = x - step  # the last one: what it leaves is all digits
                break
            whole = min(1.0, STEP / self.moved)
            if creeping >= PATIENCE:
                creeping, x = 0, x - whole * step
                slopes, excess = self._excess(x)
                continue
            x, slopes, excess, share = self._shortened(x, whole * step, slopes, excess)
            creeping = creeping + 1 if share <= SHARES[-1] else 0
        self.worst = int(network.node_at[np.abs(step[:, network.node_at]).max(0).argmax()])
        return x

    def _shortened(
        self, x: Floats, step: Floats, slopes: Floats, excess: Floats
    ) -> tuple[Floats, Floats, Floats, float]:
        """Return x, slopes and excess after the share of a step that leaves least of the equations,
        and that share: the whole of it where that leaves less than there was.

        Diodes that take turns in being on make whole steps go round in circles.
        """
        before, nearest = float(np.linalg.norm(excess)), np.inf
        best = x - step, slopes, excess, 1.0
        for share in (1.0, *SHARES):
            there = x - share * step
            new = self._excess(there)
            left = float(np.linalg.norm(new[1]))
            if left < nearest:
                best, nearest = (there, *new, share), left
            if nearest < before:
                break
        return best


def sensitivities(network: Network, steady: Steady, pushes: Floats) -> tuple[Floats, Floats]:
    """Return how unknowns (instants, columns, n) and device currents (instants, columns, m) move
    with what pushes.

    ``pushes`` (instants, columns, n) is the derivative of the equations by each column at the
    steady state; what a column does to a device current at standing volts is not in the answer.
    Exact to first order, one linear solution.
    """
    _, entries = network.device_entries(steady.x)
    slopes = np.swapaxes(network.squares(entries), 1, 2)
    turn = Circle(network, len(steady.x), steady.period / len(steady.x))
    turn.at(entries)
    moved = -turn.solve(pushes)
    # What only a leak holds behind a capacitor is lost in the digits of the storage: once more.
    amps = moved @ network.reads.T @ slopes
    left = pushes + moved @ network.g.T + amps @ network.reads
    moved -= turn.solve(left + flow(moved, steady.period) @ network.c.T)
    return moved, moved @ network.reads.T @ slopes


def influences(
    network: Network, steady: Steady, wanted: Floats, by_currents: Floats
) -> tuple[Floats, Floats]:
    """Return what drives some means: of unknowns, ``wanted`` (means, n), and of device currents,
    ``by_currents`` (means, m); both (instants, means, n).

    Their sum with what pushes, over instants and unknowns, is how a mean moves: the same as by
    ``sensitivities``, from one linear solution of the transposed equations for any number of
    pushes (adjoint method; S. W. Director, R. A. Rohrer, IEEE Trans. CT-16, 318-323, 1969).
    """
    _, entries = network.device_entries(steady.x)
    squares, instants = network.squares(entries), len(steady.x)
    turn = Circle(network, instants, steady.period / instants)
    turn.at(entries)
    standing = np.broadcast_to(wanted, (instants, *wanted.shape))
    means = np.concatenate([standing, by_currents @ squares @ network.reads], 1) / instants
    drives = -turn.solve_transposed(means)
    rates = 1.5 * drives - 2 * np.roll(drives, -1, 0) + 0.5 * np.roll(drives, -2, 0)
    through = drives @ network.reads.T @ squares @ network.reads
    left = means + drives @ network.g + through + rates @ turn.c
    drives -= turn.solve_transposed(left)
    return drives[:, : len(wanted)], drives[:, len(wanted) :]


def flow(x: Floats, period: float) -> Floats:
    """Return the rate of change of what repeats, (instants, ...) per second, as the equations have
    it.
    """
    rates: Floats = 1.5 * x - 2 * np.roll(x, 1, 0) + 0.5 * np.roll(x, 2, 0)
    return rates / (period / len(x))


def finished(
    network: Network,
    source: Floats,
    x: Floats,
    period: float,
    *,
    scales: Floats | None = None,
    laws: Sequence[DeviceLaw] | None = None,
    currents: Floats | None = None,
    count: int = 0,
) -> Steady:
    """Return unknowns (instants, n) that solve the equations as a steady state, with its residual
    and its balance of power. ``currents`` (instants, m) are those of the devices where they are
    known.
    """
    out = currents
    if out is None:
        out, _ = network.device_entries(x, scales=scales, laws=laws)
    excess = x @ network.g.T + flow(x, period) @ network.c.T + out @ network.reads - source
    given = -float((x * source).sum(-1).mean())
    siemens = np.array([1 / branch.value for branch in network.ohmic])
    taken = float((network.across(x) * out).sum(-1).mean())
    taken += float(((x @ network.ohmic_at.T) ** 2).mean(0) @ siemens)
    copper = [row for name, row in network.rows.items() if not name.endswith(".core")]
    taken -= float((network.fixed_g[copper, copper] * (x[:, copper] ** 2).mean(0)).sum())
    return Steady(
        x,
        out,
        period,
        float(np.abs(excess[:, network.node_at]).max(initial=0.0)),
        (given - taken) / given if given else 0.0,
        given,
        count,
    )


def mains_steady(
    network: Network,
    *,
    factor: float = 1.0,
    instants: int = INSTANTS,
    start: Floats | None = None,
    scales: Floats | None = None,
) -> Steady:
    """Return the steady state of a circuit on its line, ``factor`` times the line's own volts."""
    if not network.hertz:
        instants = 1
    return steady_state(
        network,
        mains_source(network, instants, factor=factor),
        1 / network.hertz if network.hertz else 1.0,
        start=start,
        scales=scales,
    )
