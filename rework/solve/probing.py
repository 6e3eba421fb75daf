"""What meters show in many circuits at once, each meter alone in its circuit.

The unknowns are eliminated down to the volts that control the devices: with K the inverse of the
Jacobian at rest, B the rows that read these volts and r the row between the leads of a meter of y
siemens, the change u = B d of the controlling volts satisfies

    u + B K B' e(u) + y B K r (v + r' d) = 0,   e(u) = i(u0 + u) - i(u0) - D u,

which has no more unknowns than the devices have controls (Schur complement, exact).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rework.solve.arrays import Bools, Floats, Ints
from rework.solve.devices import DeviceLaw
from rework.solve.network import Network
from rework.solve.newton import ALIKE_VOLTS, STEP

#: Newton steps after which a meter that has not settled is given up.
MOST = 40


@dataclass(frozen=True, slots=True, eq=False)
class Probed:
    """A circuit at rest under direct current with meters to be held on it, one at a time.

    ``point`` (n) are its unknowns, ``inverse`` (n, n) that of its Jacobian there, ``slopes`` (m, m)
    those of its devices; ``leads`` (meters, n) read the volts between the leads, ``ohms`` (meters)
    are the meters'.
    """

    network: Network
    laws: Sequence[DeviceLaw]
    point: Floats
    inverse: Floats
    slopes: Floats
    leads: Floats
    ohms: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Meters:
    """All meters (rows) of all circuits, the controls (m) of each filled up to the most.

    ``rest`` and ``currents`` (rows, m) are the controlling volts and device currents at rest,
    ``slopes`` (rows, m, m) is D, ``through`` (rows, m, m) B K B', ``pull`` (rows, m) B K r and
    ``push`` (rows, m) r' K B'; ``free`` (rows) is what is there without the meter, ``fed`` (rows)
    the ohms that feed it, ``siemens`` (rows) the meter.
    """

    rest: Floats
    currents: Floats
    slopes: Floats
    through: Floats
    pull: Floats
    push: Floats
    free: Floats
    fed: Floats
    siemens: Floats


def probed(circuits: Sequence[Probed]) -> list[tuple[Floats, Bools]]:
    """Return for each circuit what its meters show (meters), DC volts, and which have settled."""
    counts = [len(circuit.ohms) for circuit in circuits]
    if not sum(counts):
        return [(np.zeros(0), np.zeros(0, bool)) for _ in circuits]
    groups = _groups(circuits)
    meters = _meters(circuits, groups)
    u = np.zeros_like(meters.rest)
    show, settled = meters.free.copy(), np.zeros(len(u), bool)
    active = np.arange(len(u))
    for _ in range(MOST):
        step, show[active] = _step(meters, active, u[active], groups)
        moved = np.abs(step).max(-1, initial=0.0)
        u[active] -= step * np.minimum(1.0, STEP / np.maximum(moved, 1e-12))[:, None]
        settled[active] = moved < ALIKE_VOLTS
        active = active[moved >= ALIKE_VOLTS]
        if not len(active):
            break
    ends = np.cumsum([0, *counts])
    return [(show[a:b], settled[a:b]) for a, b in pairwise(ends.tolist())]


_Groups = Sequence[tuple[DeviceLaw, Ints, Ints]]


def _groups(circuits: Sequence[Probed]) -> _Groups:
    """Return every law with the rows of the meters on its circuits, and where its controls start in
    each.
    """
    rows: dict[DeviceLaw, tuple[list[int], list[int]]] = {}
    first = 0
    for circuit in circuits:
        here = range(first, first + len(circuit.ohms))
        first = here.stop
        for law, start in zip(circuit.laws, circuit.network.starts, strict=True):
            at, starts = rows.setdefault(law, ([], []))
            at += here
            starts += [start] * len(here)
    return [
        (law, np.array(at, np.int64), np.array(starts, np.int64))
        for law, (at, starts) in rows.items()
    ]


def _meters(circuits: Sequence[Probed], groups: _Groups) -> _Meters:
    count = sum(len(circuit.ohms) for circuit in circuits)
    m = max(len(circuit.network.reads) for circuit in circuits)
    rest, pull, push = (np.zeros((count, m)) for _ in range(3))
    slopes, through = np.zeros((count, m, m)), np.zeros((count, m, m))
    free, fed, siemens = (np.zeros(count) for _ in range(3))
    first = 0
    for circuit in circuits:
        here, reads = slice(first, first + len(circuit.ohms)), circuit.network.reads
        first, width = here.stop, len(reads)
        answers = circuit.inverse @ np.vstack([reads, circuit.leads]).T
        rest[here, :width] = circuit.network.across(circuit.point)
        slopes[here, :width, :width] = circuit.slopes
        through[here, :width, :width] = reads @ answers[:, :width]
        pull[here, :width] = (reads @ answers[:, width:]).T
        push[here, :width] = circuit.leads @ answers[:, :width]
        free[here] = circuit.leads @ circuit.point
        fed[here] = np.einsum("kn,nk->k", circuit.leads, answers[:, width:])
        siemens[here] = 1 / circuit.ohms
    currents, _ = _answers(rest, groups, np.arange(count))
    return _Meters(rest, currents, slopes, through, pull, push, free, fed, siemens)


def _answers(volts: Floats, groups: _Groups, active: Ints) -> tuple[Floats, Floats]:
    """Return the currents (active, m) and slopes (active, m, m) of the devices at their controlling
    volts (active, m).
    """
    place = np.full(int(active.max()) + 1, -1)
    place[active] = np.arange(len(active))
    out, slopes = np.zeros_like(volts), np.zeros((*volts.shape, volts.shape[-1]))
    for law, rows, starts in groups:
        kept = rows < len(place)
        at, start = place[rows[kept]], starts[kept]
        at, start = at[at >= 0, None], start[at >= 0, None] + np.arange(law.controls)
        if len(at):
            amps, block = law.currents(volts[at, start])
            out[at, start] = amps
            slopes[at[:, :, None], start[:, :, None], start[:, None, :]] = block
    return out, slopes


def _step(meters: _Meters, active: Ints, u: Floats, groups: _Groups) -> tuple[Floats, Floats]:
    """Return Newton's step (active, m) and what the meters show (active)."""
    currents, slopes = _answers(meters.rest[active] + u, groups, active)
    d = meters.slopes[active]
    excess = currents - meters.currents[active] - np.matmul(d, u[..., None])[..., 0]
    bend = slopes - d
    siemens, push = meters.siemens[active], meters.push[active]
    load = 1 + siemens * meters.fed[active]
    show = (meters.free[active] - (push * excess).sum(-1)) / load
    through, pull = meters.through[active], siemens[:, None] * meters.pull[active]
    residual = u + np.matmul(through, excess[..., None])[..., 0] + pull * show[:, None]
    fall = np.matmul(push[:, None, :], bend)[:, 0] / load[:, None]
    jacobian = np.eye(u.shape[-1]) + np.matmul(through, bend) - pull[..., None] * fall[:, None, :]
    return np.linalg.solve(jacobian, residual[..., None])[..., 0], show
