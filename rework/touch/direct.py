"""Direct volts, on the high side: a battery gives its volts, and every rectifier is ideal and
charges what is behind it to the peak of the alternating volts across it, however much resistance it
charges through.

The peak of a rectifier is the one that it sees while no rectifier conducts: whatever stands in
series with it drops nothing then. What is left is a network of resistances with a source in every
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
                for end in ("", "pot")
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

    def peaks(self, rows: tuple[Row, ...]) -> Floats:
        """Return the most volts across every rectifier, (rows, feeds, rectifiers)."""
        solved = self.open(rows, self.open_admittance(rows))
        return self.peak_volts(spread(solved, self.charging, self.across, self.study.feeds).across)

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
        held = np.where(off[..., :, None], forward, np.eye(off.shape[-1]))
        into = np.where(off[..., :, None], np.swapaxes(seen, -1, -2)[..., None, :, :], 0.0)
        taken = np.swapaxes(np.linalg.solve(held, into), -1, -2)
        behind = ohms + np.swapaxes((seen[..., None, :, :] * taken).sum(-1), -1, -2) * UNIT
        conducting = abs(seen @ np.swapaxes(peaks, -1, -2)) / ohms
        amps = np.maximum(abs(volts) / behind, conducting)
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
    on = np.ones(shape, bool)
    if count < 2 or not peaks.size:
        return peaks, ~on
    size = forward.diagonal(axis1=-2, axis2=-1)
    dead = size <= 0  # it is out: its volts drive nothing
    most = peaks.max(axis=-1, keepdims=True)
    volts = peaks
    for _ in range(ROUNDS * count):
        held = np.where(on[..., None], np.eye(count), forward)
        volts = np.linalg.solve(held, np.where(on, peaks, 0.0)[..., None])[..., 0]
        amps = (forward @ volts[..., None])[..., 0]
        backwards = on & ~dead & (amps < -CLEARLY * size * most)
        short = ~on & (volts < peaks - CLEARLY * most)
        if not (backwards | short).any():
            return volts, ~on
        on = (on & ~backwards) | short
    # It goes round in circles: each gives its peak, or what is behind it where that is more.
    return np.maximum(volts, peaks), ~on
