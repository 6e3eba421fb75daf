"""What part tolerances, tubes and the line make of a signal: bands of gain, output impedance, watts
and hum.

Gain and output impedance are solved anew in every draw, around its own operating point. Watts are
not: a sine at the onset of clipping takes tens of steady states. The few things that move the
operating point of the output tube most are each moved by one standard deviation, the onset is found
anew, and the logarithm of the watts goes with these slopes. Hum goes with the ripple of the
speaker's node (see ``spread.ripple_band``).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log, pi, sqrt

import numpy as np

from rework.solve.arrays import Complexes, Floats, percentiles
from rework.solve.bias import Bias, Knob, Rest
from rework.solve.network import CannotSolve
from rework.solve.places import SignalPath
from rework.solve.power import GENERATOR, TONE, Driver, Power
from rework.solve.response import impedance_of
from rework.solve.spread import Spread, at, ripple_band, spread

#: Draws, and the most numbers in a stack of matrices.
SAMPLES, STACK = 500, 1_000_000
#: With more unknowns than this bands of a signal are left out: they would take minutes.
MOST_UNKNOWNS = 250
#: So many things are moved for the watts: those that explain most of what the output tube does.
MOVED = 5
#: Percentiles that a band is between.
LOW, HIGH = 5.0, 95.0

Ends = tuple[float, float]


@dataclass(frozen=True, slots=True)
class SignalBands:
    """The 5th and 95th percentile of gain, output impedance (ohms, its size), watts at the onset of
    clipping and hum (volts RMS); None where one is not known. ``samples`` is how many draws.
    """

    gain: Ends
    output_ohms: Ends
    watts: Ends | None
    hum: Ends | None
    samples: int


def signal_bands(
    rest: Bias,
    path: SignalPath,
    full: Power,
    hum_volts: float,
    *,
    samples: int = SAMPLES,
    seed: int = 1,
) -> SignalBands | None:
    """Return the bands of a signal, with every control where ``rest`` has it; None of no
    ``samples``, for a circuit that is too large, and where the tubes had to be held for a steady
    state, so that nothing is known of what moves it.

    ``full`` is the sine at the onset of clipping without tolerances, ``hum_volts`` the hum.
    """
    network = rest.network
    if not samples or not rest.knobs or network.n > MOST_UNKNOWNS:
        return None
    drawn = spread(rest, samples, seed=seed)
    kept = drawn.converged
    gains, impedances = _small_signals(rest, drawn, path)
    out = next((node for node in map(network.node_of.__getitem__, path.ends) if node >= 0), -1)
    hum = None
    if hum_volts and out >= 0:
        less, more = ripple_band(rest, drawn, out)
        hum = hum_volts * less, hum_volts * more
    return SignalBands(
        _ends(np.abs(gains[kept])),
        _ends(np.abs(impedances[kept])),
        _watts(rest, drawn, path, full),
        hum,
        int(kept.sum()),
    )


def _ends(values: Floats) -> Ends:
    low, high = percentiles(values, (LOW, HIGH))
    return float(low), float(high)


def _small_signals(rest: Bias, drawn: Spread, path: SignalPath) -> tuple[Complexes, Complexes]:
    """Return gain and output impedance at 1 kHz in every draw, (samples) each."""
    network, samples = rest.network, len(drawn.x)
    farads = np.ones((samples, len(network.caps)))
    for k, knob in enumerate(rest.knobs):
        if knob.kind == "farads":
            farads[:, knob.at] += drawn.drawn[:, k]
    farads *= np.array([branch.value for branch in network.caps])
    column = _column(rest, (path.source, path.back)) / GENERATOR
    out = _column(rest, path.ends)
    right = np.stack([column, out], 1)
    gains: Complexes = np.empty(samples, complex)
    impedances: Complexes = np.empty(samples, complex)
    step = max(1, STACK // network.n**2)
    for start in range(0, samples, step):
        some = slice(start, start + step)
        _, slopes = network.device_currents(
            drawn.x[some], scales=drawn.scales[some], laws=rest.laws
        )
        g = network.conductances(drawn.factors[some]) + network.reads.T @ slopes @ network.reads
        c = network.fixed_c + np.matmul(network.caps_at.T, farads[some, :, None] * network.caps_at)
        solved: Complexes = np.linalg.solve(g + 2j * pi * TONE * c, right)
        gains[some] = solved[:, :, 0] @ out
        impedances[some] = impedance_of(solved[:, :, 1] @ out, path.load)
    return gains, impedances


def _column(rest: Rest, ends: tuple[str, str]) -> Floats:
    column = np.zeros(rest.network.n)
    for node, sign in zip(ends, (1.0, -1.0), strict=True):
        if rest.network.node_of[node] >= 0:
            column[rest.network.node_of[node]] += sign
    return column


def _watts(rest: Bias, drawn: Spread, path: SignalPath, full: Power) -> Ends | None:
    """Return the band of the watts at the onset of clipping, None where it was not found with
    something moved.
    """
    places = _movers(rest, drawn)
    if not places:
        return None
    spreads = [_deviation(rest.knobs[place]) for place in places]
    # The first row has nothing moved: what the search for clipping leaves out then cancels.
    moves = np.zeros((1 + len(places), len(rest.knobs)))
    moves[range(1, len(moves)), places] = spreads
    moved = at(rest, moves)
    if not moved.converged.all():
        return None
    try:
        still, *watts = (_clipping(rest, moved, number, path, full) for number in range(len(moves)))
    except CannotSolve:
        return None
    slopes = np.array([log(each / still) for each in watts]) / spreads
    logs = drawn.drawn[:, places] @ slopes
    low, high = np.exp(percentiles(logs, (LOW, HIGH)))
    return full.watts * float(low), full.watts * float(high)


def _movers(rest: Bias, drawn: Spread) -> list[int]:
    """Return the places of the knobs that explain most of the current and the volts of the tube
    that carries most.
    """
    network, kept = rest.network, drawn.converged
    currents, _ = network.device_entries(drawn.x, scales=drawn.scales, laws=rest.laws)
    amplify = [
        row
        for device, row in zip(network.ordered, network.starts, strict=True)
        if device.law.controls > 1
    ]
    if not amplify:
        return []
    plate = max(amplify, key=lambda row: float(currents[kept, row].mean()))
    columns = drawn.drawn[kept] - drawn.drawn[kept].mean(0)
    size = np.maximum(np.sqrt((columns**2).sum(0)), 1e-300)
    share = np.zeros(len(rest.knobs))
    for values in (currents[kept, plate], network.across(drawn.x[kept])[:, plate]):
        wanted = values - values.mean()
        if wanted.std() > 1e-12:
            share = np.maximum(share, (wanted @ columns / size) ** 2 / (wanted @ wanted))
    return sorted(range(len(share)), key=lambda k: (-share[k], rest.knobs[k].name))[:MOVED]


def _deviation(knob: Knob) -> float:
    """Return one standard deviation of a knob: of an even spread its limit over root 3."""
    return knob.share if knob.is_normal else knob.share / sqrt(3)


def _clipping(rest: Bias, moved: Spread, number: int, path: SignalPath, full: Power) -> float:
    """Return the watts at the onset of clipping with one thing moved."""
    network = rest.network
    ohmic = iter(moved.factors[number, : len(network.ohmic)].tolist())
    branches = tuple(
        replace(branch, value=branch.value * next(ohmic)) if branch.kind == "r" else branch
        for branch in network.branches
    )
    there = Rest(
        network=replace(network, branches=branches),
        laws=rest.laws,
        source=moved.source[number],
        point=moved.x[number],
    )
    driver = Driver(
        there, path.source, path.back, path.ends, path.load, scales=moved.scales[number]
    )
    return driver.full_near(full).watts
