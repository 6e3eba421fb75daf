"""Direct volts, on the high side: a battery gives its volts, and every rectifier is ideal and
charges what is behind it to the peak of the alternating volts across it, however much resistance it
charges through.

The peak of a rectifier is the one that it sees while no rectifier conducts: whatever is in series
with it drops nothing then. What is left is a network of resistances with a source in every
rectifier, none of which passes current backwards; so one that finds more volts behind it than it
can give is off. For one rectifier in a network of resistors, capacitors and inductors this is never
less than what it settles at: the power that the source gives, at most its peak times the mean
current, is no less than what the mean current spends in the resistances.

The capacitance of insulation and of junctions is left out of the peaks: a winding that only
rectifiers hold would float on it. What it can pump is tens of microamperes. Leakage of capacitors
is a load and a path: each state is solved without any and with all of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.touch.element import EitherWay, Element, Variant
from rework.touch.network import UNIT, Floats, Frame, Numbers, Patterns, Solved, solve
from rework.touch.parts import EARTH
from rework.touch.study import Combo, Row, Study
from rework.touch.updates import Moving, moving, spread

#: Siemens of a rectifier while the peaks are found, and from every node to the reference: 10 megohm
#: in series take a hundredth off, and the anchors do not pull at what only rectifiers hold.
LITTLE, ANCHOR = 1e-9, 1e-12
#: A source counts as passing current backwards, or as giving more than what is behind it, beyond
#: this share.
CLEARLY = 1e-9
#: Rounds of turning rectifiers on and off, for each of them.
ROUNDS = 3


class Direct:
    """A study at 0 Hz: rectifiers as sources, the plates of all other tubes conducting, or all
    their grids, or none; wipers all at either end.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        paths: list[Element | Variant] = [*study.elements, *study.variants]
        self.frame = Frame(
            (*study.frame.names, EARTH),
            EARTH,
            [(path.nodes[:2], (1.0, -1.0)) for path in paths],
            study.frame.branches,
        )
        #: The anodes and cathodes, in either frame: both number their unknowns alike.
        self.across: Patterns = self.frame.elements.take(study.rectifiers)
        #: A volt in series with each of them, from cathode to anode; where it is out, its volt
        #: drives nothing.
        self.sources: Patterns = study.frame.currents(
            [((number,), (1.0,)) for number in study.rectifiers]
        )
        rectifying = {variant.axis for variant in study.variants if variant.rectifies}
        #: Nothing conducts, plates do, grids do; a missing value is a short in the latter two.
        self.combos = self._combos(rectifying, ((), ("conducts", "unknown"), ("grid", "unknown")))
        self.varies: Moving = moving(study, self.combos)
        #: Those in which the peaks are found: nothing conducts, a missing value is open or a short.
        self.open_combos = self._combos(rectifying, ((), ("unknown",)))
        self.charging = moving(study, self.open_combos)
        every = [study.elements[number] for number in study.rectifiers]
        #: The volts of batteries among the sources, nought of rectifiers; and which take what they
        #: give from the line.
        self.emf: Floats = np.array([element.emf for element in every])
        self.fed = np.array([element.rectifies for element in every], bool)
        self.conducting = [n for n in study.rectifiers if study.elements[n].rectifies]
        self.strays = [
            number
            for number, element in enumerate(study.elements)
            if element.kind == "insulation" or element.rectifies
        ]
        self.leaks = [
            number for number, element in enumerate(study.elements) if element.kind == "capacitor"
        ]

    def _combos(
        self, rectifying: set[EitherWay], kinds: Sequence[tuple[str, ...]]
    ) -> tuple[Combo, ...]:
        """Return combinations without rectifiers: of each line of kinds, with wipers at either
        end.
        """
        return tuple(
            dict.fromkeys(
                tuple(
                    int((axis.kind in conducting and axis not in rectifying) or axis.kind == end)
                    for axis in self.study.axes
                )
                for conducting in kinds
                for end in ("", "pot", "tap")
            )
        )

    def open_admittance(self, rows: tuple[Row, ...]) -> Numbers:
        """Return the admittance at the line's frequency with no rectifier conducting and without
        strays, (rows, elements).
        """
        admittance = self.study.admittance(rows)
        admittance[:, self.strays] = 0.0
        admittance[:, self.conducting] = LITTLE
        return admittance

    def open(self, rows: tuple[Row, ...], admittance: Numbers) -> Solved:
        """Return the network at the line's frequency for such admittances."""
        frame = self.study.turned if rows[0].turned else self.study.frame
        return solve(frame, admittance, anchor=ANCHOR)

    def peaks(self, rows: tuple[Row, ...], feeds: Patterns) -> Floats:
        """Return the most volts across every rectifier, (rows, feeds, rectifiers)."""
        solved = self.open(rows, self.open_admittance(rows))
        return self.peak_volts(spread(solved, self.charging, self.across, feeds).across)

    def peak_volts(self, across: Numbers) -> Floats:
        """Return the largest peaks of some volts, (rows, ..., feeds, rectifiers).

        ``across`` (rows, combinations, ..., rectifiers, feeds) are those at one volt of line.
        """
        peaks: Floats = math.sqrt(2) * self.study.volts * abs(across).max(axis=1)
        return np.swapaxes(peaks, -1, -2) + self.emf

    def admittances(self, rows: tuple[Row, ...]) -> tuple[Numbers, ...]:
        """Return the conductance of every element without the leakage of capacitors and with it,
        (rows, elements) each; rectifiers conduct.
        """
        still = self.study.admittance(rows, hertz=0.0)
        still[:, self.conducting] = 1 / self.study.assumed["conductor_ohm"]
        dry = still.copy()
        dry[:, self.leaks] = 0.0
        return (dry, still) if still[:, self.leaks].any() else (dry,)

    def solved(self, admittance: Numbers) -> Solved:
        """Return the network at 0 Hz."""
        return solve(self.frame, admittance, anchor=ANCHOR)


@dataclass(frozen=True, slots=True, eq=False)
class DrivenState:
    """What ideal rectifiers do at some ports: the open-circuit ``volts`` and the ``amps`` into a
    load, (..., ports, feeds); the volts that they ``give`` and whether they are ``off`` without the
    load, (..., feeds, rectifiers); and the ``watts`` that they take from the line, (..., feeds).
    """

    volts: Floats
    amps: Floats
    give: Floats
    off: NDArray[np.bool_]
    watts: Floats


def driven(
    shares: Numbers,
    own: Numbers,
    passed: Numbers,
    peaks: Floats,
    load: float,
    fed: NDArray[np.bool_] | None = None,
) -> DrivenState:
    """Return what rectifiers do at some ports.

    ``shares`` (..., ports, rectifiers) are the volts of the ports for one volt in each rectifier,
    ``own`` (..., ports) the ohms behind them, both with all of them conducting; ``passed`` (...,
    rectifiers, rectifiers) the currents of the rectifiers for one volt in each, all in units.
    ``peaks`` (..., feeds, rectifiers) is what each can give, ``load`` the ohms of a person. ``fed``
    (rectifiers) are those that take it from the line, all where it is left out.

    One that is off without the load may conduct into it: the current is the larger one of both.
    """
    seen: Floats = np.real(shares)
    ohms: Floats = np.real(own)[..., None] * UNIT + load
    forward: Floats = -np.real(passed)[..., None, :, :]
    give, off = _given(forward, peaks)
    volts: Floats = -seen @ np.swapaxes(give, -1, -2)
    amps: Floats = abs(volts) / ohms
    if off.any():
        # Some are off: of one ampere into a port, their volts make their currents nought.
        *state, feed = at = np.nonzero(off.any(axis=-1))
        out, port = off[at], seen[tuple(state)]
        held = np.where(out[:, :, None], forward[tuple(state)][:, 0], np.eye(out.shape[-1]))
        into = np.where(out[:, :, None], np.swapaxes(port, 1, 2), 0.0)
        taken = np.swapaxes(np.linalg.solve(held, into), 1, 2)
        turned = (*state, feed)  # of arrays with the ports last
        inside = np.moveaxis(np.broadcast_to(ohms, volts.shape), -2, -1)[turned]
        behind = inside + (port * taken).sum(-1) * UNIT
        given = np.broadcast_to(peaks, off.shape)[at][:, :, None]
        conducting = abs(port @ given)[:, :, 0] / inside
        alone = abs(np.moveaxis(volts, -2, -1)[turned]) / behind
        np.moveaxis(amps, -2, -1)[turned] = np.maximum(alone, conducting)
    each: Floats = give * (forward @ give[..., None])[..., 0]
    watts: Floats = (each if fed is None else np.where(fed, each, 0.0)).sum(-1) / UNIT
    return DrivenState(volts, amps, give, np.broadcast_to(off, give.shape), watts)


def _given(forward: Floats, peaks: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return the volts that rectifiers give, none of them passing current backwards, and which are
    off: one that is has in its place the volts behind it, which are no less than its peak.

    ``forward`` (..., rectifiers, rectifiers) are the currents through them for one volt in each.
    """
    count = peaks.shape[-1]
    shape = np.broadcast_shapes(forward.shape[:-1], peaks.shape)
    peaks, forward = np.broadcast_to(peaks, shape), np.broadcast_to(forward, (*shape, count))
    if count < 2 or not peaks.size:
        return peaks, np.zeros(shape, bool)
    most, through = peaks.reshape(-1, count), forward.reshape(-1, count, count)
    volts, on = most.copy(), np.ones(most.shape, bool)
    left = np.arange(len(volts))  # those that have not come to rest
    for _ in range(ROUNDS * count):
        amps = (through[left] @ volts[left][..., None])[..., 0]
        size, peak = through[left].diagonal(axis1=-2, axis2=-1), most[left]
        clearly = CLEARLY * peak.max(axis=-1, keepdims=True)
        # One without current at any volts is out: its volts drive nothing.
        backwards = on[left] & (size > 0) & (amps < -clearly * size)
        short = ~on[left] & (volts[left] < peak - clearly)
        moved = (backwards | short).any(axis=-1)
        if not moved.any():
            break
        left = left[moved]
        on[left] = (on[left] & ~backwards[moved]) | short[moved]
        held = np.where(on[left][..., None], np.eye(count), through[left])
        volts[left] = np.linalg.solve(held, np.where(on[left], most[left], 0.0)[..., None])[..., 0]
    else:
        # It goes round in circles: each gives its peak, or what is behind it where that is more.
        volts[left] = np.maximum(volts[left], most[left])
    return volts.reshape(shape), ~on.reshape(shape)
