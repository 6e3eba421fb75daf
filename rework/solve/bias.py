"""The operating point of a circuit on its line, and how every part moves it: the rectifiers stand
in by their averages.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rework.solve.arrays import Floats, Ints
from rework.solve.dense import LARGE
from rework.solve.devices import CONTACT_SPREAD, LEAKAGE, DeviceLaw, Rectifier
from rework.solve.network import Device, Network
from rework.solve.newton import operating_point
from rework.solve.periodic import (
    Steady,
    flow,
    influences,
    mains_source,
    mains_steady,
    sensitivities,
)

#: The line stays within a tenth of its volts.
LINE_SPREAD = 0.10
#: A corner takes a tube this many standard deviations off.
CORNER_DEVIATIONS = 2.0
#: Columns that are solved for at a time.
COLUMNS = 64
#: A peak of at least ``LEAST_PEAK`` amps with fewer instants over its half than this is solved on a
#: finer grid, until it moves by less than this share; the grid is no finer than so many times.
PEAK_INSTANTS, LEAST_PEAK, PEAK_MOVES, FINEST = 36, 0.02, 0.005, 16
#: A grid that draws less than this on the mean does not set its own bias, amps.
LEAST_CONTACT_AMPS = 5e-9
#: Least ohms of an averaged rectifier, and those of one that feeds nothing.
LEAST_REGULATION, NO_LOAD = 0.1, 1e3


@dataclass(frozen=True, slots=True)
class Averaged:
    """The mean current of a rectifier against its own mean voltage near one point: I = amps + (V -
    volts - shift)/ohms.

    The ``scale`` handed in is 1 plus the shift in volts: what other parts and the line do to V at
    the same current.
    """

    amps: float
    volts: float
    ohms: float

    @property
    def controls(self) -> int:
        """The plate alone."""
        return 1

    def warmer(self, times: float) -> Averaged:  # noqa: ARG002  a straight line has no corner
        """Return itself."""
        return self

    def currents(self, volts: Floats, scale: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Return ((i,), Jacobian) at (v,) along the last axis."""
        shift = (np.asarray(scale)[..., None] if np.ndim(scale) else scale) - 1
        slopes = np.full((*volts.shape, 1), 1 / self.ohms)
        return self.amps + (volts - self.volts - shift) / self.ohms, slopes


@dataclass(frozen=True, slots=True)
class Knob:
    """One thing that may be off: what it is (``kind``: line, ohms, coil ohms, henries, farads,
    tube, rectifier, contact), its place among those of its kind, and by how much: the limit of an
    even spread as a share, one standard deviation of a tube, or that of a contact potential in
    volts.
    """

    name: str
    kind: str
    at: int
    share: float

    @property
    def limit(self) -> float:
        """The share at a corner."""
        return self.share * CORNER_DEVIATIONS if self.is_normal else self.share

    @property
    def is_normal(self) -> bool:
        """Whether it is spread in a bell, not evenly."""
        return self.kind in ("tube", "rectifier", "contact")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Rest:
    """A circuit at rest under direct current: the ``network``, its ``laws`` with every rectifier
    averaged, the ``source`` (n), and the ``point`` (n) these give.
    """

    network: Network
    laws: tuple[DeviceLaw, ...]
    source: Floats
    point: Floats


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bias(Rest):
    """A circuit at its operating point on the nominal line, whose ``steady`` state it is the mean
    of.

    ``knobs`` are what may be off, none where that was not asked for; ``slopes`` (n, knobs) how the
    means move with each, ``shifts`` (devices, knobs) the volts by which each moves an averaged
    rectifier, ``ripples`` (n, knobs) the same of the logarithm of RMS ripple. ``is_whole`` is
    whether the steady state has the tubes in it, not the supply alone.
    """

    steady: Steady
    knobs: tuple[Knob, ...]
    slopes: Floats
    shifts: Floats
    ripples: Floats
    is_whole: bool = True


def bias(network: Network, steady: Steady | None = None) -> Bias:
    """Return a circuit's operating point on its line, from its steady state where that is known.

    Raises CannotSolve where there is none.
    """
    steady = steady or mains_steady(network)
    knobs = (*knobs_of(network), *_contacts(network, steady))
    slopes, ripples, volts, amps = _moves(network, steady, knobs)
    averages = _averages(network, steady, knobs, volts, amps)
    shifts = np.zeros((len(network.ordered), len(knobs)))
    for number, law in averages.items():
        row = network.starts[number]
        shifts[number] = volts[row] - law.ohms * amps[row]
    return _at_rest(network, steady, averages, knobs, slopes, shifts, ripples)


def bias_alone(network: Network, steady: Steady | None = None) -> Bias:
    """Return a circuit's operating point as ``bias`` does, without anything that may be off: what
    moves its rectifiers is found by one solution of the transposed equations.

    Raises CannotSolve where there is none.
    """
    if network.n >= LARGE:
        return bias(network, steady)
    steady = steady or mains_steady(network)
    knobs = (*knobs_of(network), *_contacts(network, steady))
    volts, amps = _moves_of_rectifiers(network, steady, knobs)
    averages = _averages(network, steady, knobs, volts, amps)
    none, shifts = np.zeros((network.n, 0)), np.zeros((len(network.ordered), 0))
    return _at_rest(network, steady, averages, (), none, shifts, none)


def _at_rest(
    network: Network,
    steady: Steady,
    averages: Mapping[int, Averaged],
    knobs: tuple[Knob, ...],
    slopes: Floats,
    shifts: Floats,
    ripples: Floats,
) -> Bias:
    """Return the operating point with some devices, by number, in place by their averages."""
    laws = [averages.get(number, device.law) for number, device in enumerate(network.ordered)]
    source = network.direct_source()
    point = operating_point(network, source, laws=laws, start=steady.mean)
    return Bias(
        network=network,
        laws=tuple(laws),
        source=source,
        point=point.x[0],
        steady=steady,
        knobs=knobs,
        slopes=slopes,
        shifts=shifts,
        ripples=ripples,
    )


def _rectifiers(network: Network) -> list[int]:
    """Return the numbers of the devices that an average stands in for."""
    every = [isinstance(device.law, Rectifier) for device in network.ordered]
    return [number for number, rectifies in enumerate(every) if rectifies and network.hertz]


def _averages(
    network: Network, steady: Steady, knobs: Sequence[Knob], volts: Floats, amps: Floats
) -> dict[int, Averaged]:
    """Return the averages of the rectifiers by their number among the devices; ``volts`` and
    ``amps`` (device rows, knobs) are how those of their rows move.
    """
    across = network.across(steady.x).mean(0)
    return {
        number: Averaged(
            float(steady.currents[:, row].mean()),
            float(across[row]),
            _regulation(knobs, volts[row], amps[row]),
        )
        for number in _rectifiers(network)
        for row in (network.starts[number],)
    }


def refined(bias: Bias) -> Bias:
    """Return the same with a steady state of as many instants as the peaks of its rectifiers need;
    means, slopes and the point at rest stay.

    A peak that is over in a few instants, as without a surge resistor, reads high on the plain
    grid: the instants are doubled until it moves by less than ``PEAK_MOVES``, at most to ``FINEST``
    times as many.
    """
    network, steady = bias.network, bias.steady
    rows = [
        row
        for device, row in zip(network.ordered, network.starts, strict=True)
        if isinstance(device.law, Rectifier)
    ]
    if not rows or not network.hertz or network.n >= LARGE:
        return bias
    peaks = steady.currents[:, rows].max(0)
    wide = (steady.currents[:, rows] > 0.5 * peaks).sum(0)[peaks > LEAST_PEAK]
    moved = wide.min(initial=PEAK_INSTANTS) < PEAK_INSTANTS
    while moved and len(steady.x) < FINEST * len(bias.steady.x):
        start = np.repeat(steady.x, 2, 0)
        steady = mains_steady(network, instants=len(start), start=start)
        before, peaks = peaks, steady.currents[:, rows].max(0)
        moved = bool((np.abs(peaks - before) > PEAK_MOVES * np.maximum(peaks, LEAST_PEAK)).any())
    return replace(bias, steady=steady)


def knobs_of(network: Network) -> tuple[Knob, ...]:
    """Return everything that may be off in a circuit, the line first."""
    coils = list(enumerate(network.coils))
    return (
        Knob("the line", "line", 0, LINE_SPREAD),
        *(Knob(b.name, "ohms", n, b.tolerance) for n, b in enumerate(network.ohmic) if b.tolerance),
        *(Knob(f"ohms of {coil.row}", "coil ohms", n, coil.tolerance) for n, coil in coils),
        *(
            Knob(f"henries of {coil.row}", "henries", n, 2 * coil.tolerance)
            for n, coil in coils
            if coil.henries
        ),
        *(
            Knob(b.name, "farads", n, b.tolerance)
            for n, b in enumerate(network.caps)
            if b.tolerance
        ),
        *(
            Knob(f"{device.name} {device.unit}".strip(), kind, n, device.spread)
            for n, device in enumerate(network.ordered)
            if (kind := _spreads(device))
        ),
    )


def _contacts(network: Network, steady: Steady) -> Iterator[Knob]:
    """Yield the contact potential of every grid that sets its own bias: one that draws current
    through so many ohms that this matters.
    """
    for n, (device, row) in enumerate(zip(network.ordered, network.starts, strict=True)):
        grid = row + device.law.controls - 1
        if device.law.controls > 1 and steady.currents[:, grid].mean() > LEAST_CONTACT_AMPS:
            name = f"contact potential of {device.name} {device.unit}".strip()
            yield Knob(name, "contact", n, CONTACT_SPREAD)


def grid_slope(network: Network, x: Floats, at: int, laws: Sequence[DeviceLaw]) -> Floats:
    """Return how the grid current of a device moves with its grid volts (...) at x (..., n)."""
    law, start = laws[at], network.starts[at]
    volts = network.across(x)[..., start : start + law.controls]
    return law.currents(volts)[1][..., -1, -1]


def _spreads(device: Device) -> str:
    """Return which kind of knob a device is; none for a semiconductor: all of a kind are alike in
    their volt.
    """
    if not isinstance(device.law, Rectifier):
        return "tube"
    return "rectifier" if device.law.exponent > 1 else ""


def _moves(
    network: Network, steady: Steady, knobs: Sequence[Knob]
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return how means and ripple of the unknowns (n, knobs), and mean volts and amps of the device
    rows (m, knobs), move with each knob.
    """
    waves = steady.x - steady.mean
    sizes = np.maximum((waves**2).mean(0), 1e-12)
    if network.n >= LARGE:
        from rework.solve.turn import Turn

        pushed, places, owners, direct = _pushes(network, steady, knobs)
        turn = Turn(network, len(waves), steady.period / len(waves))
        turn.at(network.device_entries(steady.x)[1])
        slopes, ripples, amps = turn.moves(pushed, places, owners, waves)
        return slopes, ripples / sizes[:, None], network.reads @ slopes, amps + direct
    slopes, ripples = np.zeros((2, network.n, len(knobs)))
    volts, amps = np.zeros((2, len(network.reads), len(knobs)))
    for start in range(0, len(knobs), COLUMNS):
        some = knobs[start : start + COLUMNS]
        pushed, places, owners, direct = _pushes(network, steady, some)
        pushes = np.zeros((len(waves), len(some), network.n))
        for wave, place, k in zip(pushed.T, places.T, owners, strict=True):
            pushes[:, k] += wave[:, None] * place
        moved, by_volts = sensitivities(network, steady, pushes)
        at = slice(start, start + len(some))
        slopes[:, at] = moved.mean(0).T
        ripples[:, at] = np.einsum("tn,tkn->nk", waves, moved) / len(waves) / sizes[:, None]
        volts[:, at] = network.reads @ slopes[:, at]
        amps[:, at] = by_volts.mean(0).T + direct
    return slopes, ripples, volts, amps


def _moves_of_rectifiers(
    network: Network, steady: Steady, knobs: Sequence[Knob]
) -> tuple[Floats, Floats]:
    """Return how mean volts and amps of the rectifiers' rows move with each knob, as the last two
    of ``_moves``; the other rows are nought.
    """
    volts, amps = np.zeros((2, len(network.reads), len(knobs)))
    rows = [network.starts[number] for number in _rectifiers(network)]
    if not rows:
        return volts, amps
    each = np.eye(len(network.reads))[rows]
    drives = influences(network, steady, network.reads[rows], each)
    pushed, places, owners, direct = _pushes(network, steady, knobs)
    for moved, drive in zip((volts, amps), drives, strict=True):
        met = np.einsum("trn,nk,tk->rk", drive, places, pushed, optimize=True)
        for row, sums in zip(rows, met, strict=True):
            np.add.at(moved[row], owners, sums)
    amps[rows] += direct[rows]
    return volts, amps


def _pushes(
    network: Network, steady: Steady, knobs: Sequence[Knob]
) -> tuple[Floats, Floats, Ints, Floats]:
    """Return the derivative of the equations by each knob as waves (instants, k) along places (n,
    k) with the knob each belongs to, and that of the mean device currents at standing volts.
    """
    waves, places, owners = [], [], []
    direct = np.zeros((len(network.reads), len(knobs)))
    rates = flow(steady.x, steady.period)
    for k, knob in enumerate(knobs):
        for wave, place in _push(network, steady, rates, knob):
            waves.append(wave)
            places.append(place)
            owners.append(k)
        if knob.kind in ("tube", "rectifier"):
            rows, gain = _gain(network, steady, knob)
            direct[rows, k] = gain.mean(0)
    return np.array(waves).T, np.array(places).T, np.array(owners), direct


def _push(
    network: Network, steady: Steady, rates: Floats, knob: Knob
) -> Iterator[tuple[Floats, Floats]]:
    """Yield the derivative of the equations by one knob: waves (instants) along places (n)."""
    x = steady.x

    def unit(at: int) -> Floats:
        column: Floats = (np.arange(network.n) == at).astype(float)
        return column

    match knob.kind:
        case "line":
            source = -mains_source(network, len(x))
            yield from ((source[:, at], unit(at)) for at in network.sources)
        case "ohms":
            place = network.ohmic_at[knob.at]
            yield -(x @ place) / network.ohmic[knob.at].value, place
        case "farads":
            place = network.caps_at[knob.at]
            yield (rates @ place) * network.caps[knob.at].value, place
        case "coil ohms":
            coil = network.coils[knob.at]
            row = network.rows[coil.row]
            yield -coil.ohms * x[:, row], unit(row)
        case "henries":
            coil = network.coils[knob.at]
            row = network.rows[coil.row]
            yield -coil.henries * rates[:, row], unit(row)
        case "contact":
            grid = network.starts[knob.at] + network.ordered[knob.at].law.controls - 1
            laws = [device.law for device in network.ordered]
            yield grid_slope(network, x, knob.at, laws), network.reads[grid]
        case _:
            rows, gain = _gain(network, steady, knob)
            yield from zip(gain.T, network.reads[rows], strict=True)


def _gain(network: Network, steady: Steady, knob: Knob) -> tuple[slice, Floats]:
    """Return the rows of a device and what its currents (instants, rows) gain with its emission."""
    law, start = network.ordered[knob.at].law, network.starts[knob.at]
    rows = slice(start, start + law.controls)
    volts = network.across(steady.x)[:, rows]
    if knob.kind == "rectifier":  # its law times a factor, the leakage apart
        return rows, steady.currents[:, rows] - LEAKAGE * volts
    return rows, law.currents(volts, 2.0)[0] - law.currents(volts, 1.0)[0]


def _regulation(knobs: Sequence[Knob], volts: Floats, amps: Floats) -> float:
    """Return the ohms of one rectifier's averages: how its mean volts follow its mean amps as the
    load changes. ``volts`` and ``amps`` (knobs) are how these move with each knob.
    """
    tubes = np.array([knob.kind == "tube" for knob in knobs])
    volt, amp = float(volts[tubes].sum()), float(amps[tubes].sum())
    largest = float(np.abs(amps).max(initial=0.0))
    if abs(amp) <= 0.01 * largest:  # no tubes on it: the resistor that loads it most
        loads = [
            (abs(amps[k]), k)
            for k, knob in enumerate(knobs)
            if knob.kind == "ohms" and volts[k] * amps[k] > 0
        ]
        if not loads:
            return NO_LOAD
        volt, amp = volts[max(loads)[1]], amps[max(loads)[1]]
    return float(max(volt / amp, LEAST_REGULATION))
