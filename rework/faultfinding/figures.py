"""What a meter shows of a solved circuit, how that moves with every part, and how far to trust it.

Volts are compared as they are; alternating volts, signals, amps and ohms by their logarithms, which
is how their errors go.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from math import inf, log, pi
from typing import NamedTuple

import numpy as np

from rework.circuit.circuit import Circuit
from rework.faultfinding.amps import amps
from rework.faultfinding.case import Case
from rework.faultfinding.points import BenchFigure, ProbePoint
from rework.language.bench import Quantity, Voltmeter
from rework.solve.arrays import Complexes, Floats, Ints
from rework.solve.bias import Knob
from rework.solve.network import Network
from rework.solve.ohms import COLD_HEATER, HOLDING
from rework.solve.probing import Probed, probed
from rework.solve.spread import spread

#: What the solver is off by, one standard deviation: a share of direct volts and at least so many
#: (the medians over printed sets are 0.7 to 3.2 %, see DEVELOPERS.md).
MODEL, MODEL_VOLTS = 0.03, 0.02
#: The same of alternating volts on heaters, of ripple, of hum at the speaker, of signals and of
#: ohms, as shares. Our guess.
HEATERS, RIPPLE, HUM, SIGNAL, OHMS = 0.05, 0.18, 0.30, 0.25, 0.03
#: What a digital meter is off by, one standard deviation, a share and volts or ohms, the ohms of
#: its leads among them; and one with a pointer, a share of its range. Our guess.
METER, METER_VOLTS, METER_OHMS, POINTER = 0.01, 0.02, 0.3, 0.03
#: Alternating volts and amps that are nothing to a meter; and the ohms at which what it is off by
#: in any case is as much as what it is off by in proportion, so that the logarithm of ohms and
#: these has about one deviation everywhere.
FLOOR_VOLTS, FLOOR_OHMS, FLOOR_AMPS = 2e-3, 9.5, 2e-6
#: An ohmmeter shows an open circuit above these ohms.
OPEN_OHMS = 2e7
#: Circuits that are drawn to see how far volts bend away from their slopes.
DRAWS = 200
#: The knob of all cold heaters together.
_HEATERS = "cold heaters"
#: A meter that takes more than this share of the volts away is solved in its place; under it the
#: first step of that solution, which is linear, is exact to a ten-thousandth.
LOADS = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class MeterShows:
    """What the meter shows of each figure: ``mean`` (figures) on the scale of each, how far one
    standard deviation of each knob moves it, ``slopes`` (figures, knobs), and the variance of meter
    and model, ``noise`` (figures).
    """

    mean: Floats
    slopes: Floats
    noise: Floats
    knobs: tuple[str, ...]


def on_scale(figure: BenchFigure, amount: float) -> float:
    """Return an amount as it is compared: direct volts themselves, the logarithm of all else."""
    if figure.of is Quantity.DC:
        return amount
    if figure.of is Quantity.OHMS:
        return log(min(abs(amount), OPEN_OHMS) + FLOOR_OHMS)
    return log(abs(amount) + (FLOOR_AMPS if figure.of is Quantity.AMPS else FLOOR_VOLTS))


def off_scale(figure: BenchFigure, value: float) -> float:
    """Return the amount of a value on the scale of its figure; an open circuit is infinite ohms."""
    if figure.of is Quantity.DC:
        return value
    amount = float(np.exp(min(value, 50.0)))
    if figure.of is Quantity.OHMS:
        return inf if amount > 0.9 * OPEN_OHMS else max(amount - FLOOR_OHMS, 0.0)
    return max(amount - (FLOOR_AMPS if figure.of is Quantity.AMPS else FLOOR_VOLTS), 0.0)


def size_on_scale(figure: BenchFigure, value: float) -> float:
    """Return what the range of a meter has to take for a value on the scale of its figure; nothing
    for an open circuit, which every range shows.
    """
    amount = abs(off_scale(figure, value))
    return 0.0 if amount == inf else amount


def shown(case: Case, figures: Sequence[BenchFigure], *, line_read: bool = False) -> MeterShows:
    """Return what a meter shows of each figure in a solved circuit.

    ``line_read`` says that the volts of the line are known, so that they vary no more than the
    meter does.
    """
    (shows,) = shown_in_all((case,), figures, line_read=line_read)
    return shows


def shown_in_all(
    cases: Sequence[Case], figures: Sequence[BenchFigure], *, line_read: bool = False
) -> list[MeterShows]:
    """Return what a meter shows of each figure in every one of solved circuits, as ``shown``."""
    direct = [n for n, figure in enumerate(figures) if figure.of is Quantity.DC]
    probes = {probe for f in figures for probe in (f.at, f.to)}
    held = [_held(case, figures, probes) for case in cases]
    volts = _direct(cases, [[entries[n] for n in direct] for entries in held]) if direct else []
    shows = []
    for k, (case, entries) in enumerate(zip(cases, held, strict=True)):
        knobs = case.bias.knobs
        names = (*(f"{knob.kind} {knob.name}" for knob in knobs), _HEATERS)
        spread = np.array([_deviation(knob, line_read=line_read) for knob in knobs] + [COLD_HEATER])
        mean, noise = np.zeros(len(figures)), np.zeros(len(figures))
        slopes = np.zeros((len(figures), len(names)))
        if direct:
            mean[direct], slopes[direct, : len(knobs)], noise[direct] = volts[k]
        for of, act in _ACTS:
            rows = [n for n, figure in enumerate(figures) if figure.of is of]
            if rows:
                mean[rows], slopes[rows], noise[rows] = act(case, [entries[n] for n in rows], names)
        shows.append(MeterShows(mean, slopes * spread, noise, names))
    return shows


def _held(
    case: Case, figures: Sequence[BenchFigure], probes: Collection[ProbePoint]
) -> list[_Held]:
    under = {probe: probe.node_in(case.circuit, case.trouble) for probe in probes}
    return [_Held(figure, under[figure.at], under[figure.to]) for figure in figures]


def _deviation(knob: Knob, *, line_read: bool) -> float:
    if knob.kind == "line" and line_read:
        return METER
    return knob.share if knob.is_normal else knob.share / 3**0.5


_Told = tuple[Floats, Floats, Floats]


class _Held(NamedTuple):
    """A figure with the nodes that are under its probes in one case."""

    figure: BenchFigure
    at: str
    to: str


def _ends(network: Network, held: Sequence[_Held]) -> Floats:
    """Return the row (figures, n) that reads each figure off the unknowns."""
    rows = np.zeros((len(held), network.n))
    for row, (_, *ends) in zip(rows, held, strict=True):
        for end, sign in zip(ends, (1.0, -1.0), strict=True):
            at = network.node_of.get(end, -1)
            if at >= 0:
                row[at] += sign
    return rows


def _hangs(network: Network, held: _Held) -> bool:
    """Return whether a probe is on nothing."""
    return held.at not in network.node_of or held.to not in network.node_of


def _direct(cases: Sequence[Case], held: Sequence[Sequence[_Held]]) -> list[_Told]:
    """Return direct volts in every case with the meter in; all the meters are one stack."""
    probes = [_probe(case, entries) for case, entries in zip(cases, held, strict=True)]
    exact = probed([probe.heavy for probe in probes])
    told = []
    for probe, (volts, settled) in zip(probes, exact, strict=True):
        mean = probe.free * probe.left
        at, left = probe.places[settled], probe.left[probe.places[settled]]
        mean[at] += volts[settled] - (probe.heavy.leads @ probe.heavy.point)[settled] * left
        noise = (MODEL * mean) ** 2 + MODEL_VOLTS**2
        noise += [
            _meter_variance(figure.meter, v)
            for (figure, *_), v in zip(probe.held, mean.tolist(), strict=True)
        ]
        told.append((mean, probe.slopes * probe.left[:, None], noise))
    return told


@dataclass(frozen=True, slots=True, eq=False)
class _Probe:
    """The direct volts of one case without a meter, ``free`` (figures), with their ``slopes``
    (figures, knobs); the share of them that the first step of the solution with the meter leaves,
    ``left``; and the meters that are solved in their ``places``, ``heavy``.
    """

    held: Sequence[_Held]
    free: Floats
    left: Floats
    slopes: Floats
    places: Ints
    heavy: Probed


def _probe(case: Case, held: Sequence[_Held]) -> _Probe:
    rest = case.bias
    network = rest.network
    rows = _ends(network, held)
    free = rows @ rest.steady.mean
    device = case.device
    jacobian: Floats = network.g + network.reads.T @ device @ network.reads
    inverse = np.asarray(np.linalg.inv(jacobian), np.float64)
    fed = np.abs(np.einsum("fn,nf->f", rows, inverse @ rows.T))
    ohms = np.array([f.meter.ohms_for(v) for (f, *_), v in zip(held, free.tolist(), strict=True)])
    left = ohms / (ohms + fed)
    hangs = np.array([_hangs(network, entry) for entry in held], bool)
    places = np.nonzero((1 - left > LOADS) & ~hangs)[0]
    heavy = Probed(network, rest.laws, rest.point, inverse, device, rows[places], ohms[places])
    return _Probe(held, free, left, rows @ rest.slopes, places, heavy)


def bent(case: Case, figures: Sequence[BenchFigure]) -> Floats:
    """Return what the slopes of direct volts leave out (figures), a variance: how far drawn sets
    are off the straight line, as a stage is that biases itself by its own grid current. Nothing
    for other figures.
    """
    direct = [n for n, figure in enumerate(figures) if figure.of is Quantity.DC]
    variance = np.zeros(len(figures))
    if not direct:
        return variance
    some = [figures[n] for n in direct]
    probe = _probe(case, _held(case, some, {point for f in some for point in (f.at, f.to)}))
    samples = spread(case.bias, DRAWS)
    rows = _ends(case.bias.network, probe.held)
    off = (samples.x - case.bias.point) @ rows.T - samples.drawn @ probe.slopes.T
    off = off[samples.converged] * probe.left
    variance[direct] = (off**2).mean(0) if len(off) else 0.0
    return variance


def _meter_variance(meter: Voltmeter, volts: float) -> float:
    if meter.per_volt:
        return (POINTER * meter.range_for(volts)) ** 2
    return (METER * volts) ** 2 + METER_VOLTS**2


def _alternating(case: Case, held: Sequence[_Held], names: Sequence[str]) -> _Told:
    rest = case.bias
    rows = _ends(rest.network, held)
    wave = rest.steady.x @ rows.T
    level = wave.mean(0)
    size = np.sqrt(((wave - level) ** 2).mean(0))
    slopes = np.zeros((len(held), len(names)))
    slopes[:, 0] = size / (size + FLOOR_VOLTS)
    share = np.array(
        [
            HUM if _at_speaker(case.circuit, f) else RIPPLE if abs(v) > s else HEATERS
            for (f, _, _), v, s in zip(held, level.tolist(), size.tolist(), strict=True)
        ]
    )
    return np.log(size + FLOOR_VOLTS), slopes, share**2 + _floor(size, FLOOR_VOLTS)


def _at_speaker(circuit: Circuit, figure: BenchFigure) -> bool:
    part = circuit.part(figure.at.part)
    if part is not None and part.kind in ("speaker", "dummy load"):
        return True
    return any(p.kind in ("speaker", "dummy load") for p, _ in circuit.at.get(figure.at.node, ()))


def _floor(size: Floats, floor: float) -> Floats:
    """Return the variance of a logarithm near nothing, where the meter shows its last digits."""
    return (0.5 * floor / (size + floor)) ** 2


def _signals(case: Case, held: Sequence[_Held], names: Sequence[str]) -> _Told:
    """Return signals with the meter in, which in a linear circuit is one step of its solution."""
    slopes, size = np.zeros((len(held), len(names))), np.zeros(len(held))
    linear = case.linear
    if linear is not None and case.into is not None:
        rows = _ends(linear.network, held)
        hertz = np.array([entry.figure.hertz for entry in held])
        for tone in np.unique(hertz):
            at = np.nonzero(hertz == tone)[0]
            right = np.column_stack([case.into, rows[at].T])
            solved: Complexes = np.linalg.solve(linear.g + 2j * pi * tone * linear.c, right)
            free = rows[at] @ solved[:, 0]
            fed = np.einsum("fn,nf->f", rows[at], solved[:, 1:])
            some = [held[n].figure for n in at.tolist()]
            ohms = np.array([figure.meter.ohms_for(1.0) for figure in some])
            drive = np.array([figure.drive for figure in some])
            size[at] = np.abs(free / (1 + fed / ohms)) * drive
    noise = np.full(len(held), SIGNAL**2) + _floor(size, FLOOR_VOLTS)
    return np.log(size + FLOOR_VOLTS), slopes, noise


def _currents(case: Case, held: Sequence[_Held], names: Sequence[str]) -> _Told:
    size, slopes = amps(case, [entry.figure for entry in held], names)
    scale = 1 / (size + FLOOR_AMPS)
    noise = MODEL**2 + METER**2 + _floor(size, FLOOR_AMPS)
    return np.log(size + FLOOR_AMPS), slopes * scale[:, None], noise


def _resistances(case: Case, held: Sequence[_Held], names: Sequence[str]) -> _Told:
    """Return ohms with the plug out, and how each part moves them: dZ/dR = i^2 by Tellegen's
    theorem, i the current in the part for one ampere of the meter.
    """
    network = case.off
    g = network.g.copy()
    g[network.node_at, network.node_at] += HOLDING
    rows = _ends(network, held)
    volts = np.linalg.solve(g, rows.T)
    ohms = np.einsum("fn,nf->f", rows, volts)
    hangs = np.array([_hangs(network, entry) for entry in held])
    ohms = np.where(hangs, OPEN_OHMS, np.clip(ohms, 0.0, OPEN_OHMS))
    place = {name: k for k, name in enumerate(names)}
    slopes = np.zeros((len(held), len(names)))
    across = network.ohmic_at @ volts
    scale = 1 / (ohms + FLOOR_OHMS)
    for n, branch in enumerate(network.ohmic):
        heater = ".heater" in branch.name
        k = place.get(_HEATERS if heater else f"ohms {branch.name}")
        if k is not None:
            slopes[:, k] += across[n] ** 2 / branch.value * scale
    for coil in network.coils:
        k = place.get(f"coil ohms ohms of {coil.row}")
        if k is not None:
            slopes[:, k] += coil.ohms * volts[network.rows[coil.row]] ** 2 * scale
    is_open = ohms >= OPEN_OHMS
    slopes[is_open] = 0.0
    noise = (OHMS**2 + METER**2) * (ohms * scale) ** 2 + (METER_OHMS * scale) ** 2
    return np.log(ohms + FLOOR_OHMS), slopes, noise


#: How every quantity but direct volts is read.
_ACTS: tuple[tuple[Quantity, Callable[[Case, Sequence[_Held], Sequence[str]], _Told]], ...] = (
    (Quantity.AC, _alternating),
    (Quantity.SIGNAL, _signals),
    (Quantity.OHMS, _resistances),
    (Quantity.AMPS, _currents),
)
