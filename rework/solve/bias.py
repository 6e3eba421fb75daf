"""Operating points by the thousand: the rectifiers stand in by their averages, which know how every
part moves them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from rework.solve.devices import LEAKAGE, Rectifier
from rework.solve.network import Network
from rework.solve.newton import Point, operating_point
from rework.solve.periodic import Steady, flow, mains_source, mains_steady, sensitivities
from rework.solve.sparse import LARGE
from rework.solve.turn import Turn

#: Spread of cathode current from tube to tube, one standard deviation: 0.90, 1.02 and 1.16 mA in
#: the three 12AX7 specimens of Dempwolf and Zoelzer, DAFx-11 (2011), Table 1; taken for rectifier
#: tubes too. The line stays within a tenth of its volts.
TUBE_SPREAD, LINE_SPREAD = 0.13, 0.10
#: No tube is drawn further from nominal than this: three standard deviations.
TUBE_LIMIT = 0.4
#: A corner takes a tube this many standard deviations off.
CORNER_DEVIATIONS = 2.0
#: Numbers that a stack of samples may hold in its matrices at a time, and columns that are solved
#: for at a time.
STACK, COLUMNS = 1_000_000, 64


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

    controls = 1

    def currents(self, volts, scale=1.0):
        """Return ((i,), Jacobian) at (v,) along the last axis."""
        import numpy as np

        scale = np.asarray(scale)[..., None] if np.ndim(scale) else scale
        return self.amps + (volts - self.volts - (scale - 1)) / self.ohms, np.full(
            volts.shape + (1,), 1 / self.ohms
        )


@dataclass(frozen=True, slots=True)
class Knob:
    """One thing that may be off: what it is (``kind``: line, ohms, coil ohms, henries, farads,
    tube, rectifier), its place among those of its kind, and by how much: the limit of an even
    spread as a share, or one standard deviation of a tube.
    """

    name: str
    kind: str
    at: int
    share: float

    @property
    def limit(self) -> float:
        """The share at a corner."""
        return self.share * CORNER_DEVIATIONS if self.kind in ("tube", "rectifier") else self.share


@dataclass(frozen=True, slots=True, eq=False)
class Bias:
    """A circuit at its operating point: the ``network``, its ``steady`` state on the nominal line,
    and for direct-current work the ``laws`` with every rectifier averaged, the ``source``, and the
    ``point`` these give.

    ``knobs`` are what may be off; ``slopes`` (unknowns, knobs) how the means move with each,
    ``shifts`` (devices, knobs) the volts by which each moves an averaged rectifier, ``ripples``
    (unknowns, knobs) the same of the logarithm of RMS ripple.
    """

    network: Network
    steady: Steady
    laws: tuple[Any, ...]
    source: Any
    point: Any
    knobs: tuple[Knob, ...] = ()
    slopes: Any = field(default=None, repr=False)
    shifts: Any = field(default=None, repr=False)
    ripples: Any = field(default=None, repr=False)


def bias(network: Network) -> Bias:
    """Return the operating point of a circuit on its line. Raises CannotSolve where there is none."""
    import numpy as np

    steady = mains_steady(network)
    knobs = knobs_of(network)
    laws = [device.law for device in network.ordered]
    slopes, ripples, volts, amps = _moves(network, steady, knobs)
    shifts = np.zeros((len(laws), len(knobs)))
    row = 0
    for number, law in enumerate(laws):
        if isinstance(law, Rectifier) and network.hertz:
            ohms = _regulation(knobs, volts[row], amps[row])
            laws[number] = Averaged(
                float(steady.currents[:, row].mean()),
                float((steady.x @ network.reads[row]).mean()),
                ohms,
            )
            shifts[number] = volts[row] - ohms * amps[row]
        row += law.controls
    source = np.zeros(network.n)
    if not network.hertz:
        source[list(network.sources)] = network.volts_peak
    point = operating_point(network, source, laws=laws, start=steady.mean)
    return Bias(network, steady, tuple(laws), source, point.x[0], knobs, slopes, shifts, ripples)


def knobs_of(network: Network) -> tuple[Knob, ...]:
    """Return everything that may be off in a circuit, the line first."""
    found = [Knob("the line", "line", 0, LINE_SPREAD)]
    found += [
        Knob(branch.name, "ohms", n, branch.tolerance)
        for n, branch in enumerate(network.ohmic)
        if branch.tolerance
    ]
    found += [
        Knob(f"ohms of {coil.row}", "coil ohms", n, coil.tolerance)
        for n, coil in enumerate(network.coils)
    ]
    found += [
        Knob(f"henries of {coil.row}", "henries", n, 2 * coil.tolerance)
        for n, coil in enumerate(network.coils)
        if coil.henries
    ]
    found += [
        Knob(branch.name, "farads", n, branch.tolerance)
        for n, branch in enumerate(network.caps)
        if branch.tolerance
    ]
    for n, device in enumerate(network.ordered):
        if not isinstance(device.law, Rectifier):
            found.append(
                Knob(
                    f"{device.name}{' ' + device.unit if device.unit else ''}",
                    "tube",
                    n,
                    TUBE_SPREAD,
                )
            )
        elif device.law.exponent > 1:  # a tube; semiconductors of one kind are alike in their volt
            found.append(
                Knob(
                    f"{device.name}{' ' + device.unit if device.unit else ''}",
                    "rectifier",
                    n,
                    TUBE_SPREAD,
                )
            )
    return tuple(found)


def _moves(network: Network, steady: Steady, knobs: Sequence[Knob]):
    """Return how means and ripple of the unknowns, and mean volts and amps of the device rows, move
    with each knob.
    """
    import numpy as np

    n, rows = network.n, len(network.reads)
    waves = steady.x - steady.mean
    sizes = np.maximum((waves**2).mean(0), 1e-12)
    if n >= LARGE:
        pushed, places, owners, direct = _pushes(network, steady, knobs)
        turn = Turn(network, len(waves), steady.period / len(waves))
        turn.at(network.device_entries(steady.x)[1])
        slopes, ripples, amps = turn.moves(pushed, places, owners, waves)
        return slopes, ripples / sizes[:, None], network.reads @ slopes, amps + direct
    slopes, ripples = np.zeros((n, len(knobs))), np.zeros((n, len(knobs)))
    volts, amps = np.zeros((rows, len(knobs))), np.zeros((rows, len(knobs)))
    for start in range(0, len(knobs), COLUMNS):
        some = knobs[start : start + COLUMNS]
        pushed, places, owners, direct = _pushes(network, steady, some)
        pushes = np.zeros((*waves.shape, len(some)))
        for wave, place, k in zip(pushed.T, places.T, owners, strict=True):
            pushes[:, :, k] += wave[:, None] * place
        moved, by_volts = sensitivities(network, steady, pushes)
        at = slice(start, start + len(some))
        slopes[:, at] = moved.mean(0)
        ripples[:, at] = np.einsum("tn,tnk->nk", waves, moved) / len(waves) / sizes[:, None]
        volts[:, at] = network.reads @ slopes[:, at]
        amps[:, at] = by_volts.mean(0) + direct
    return slopes, ripples, volts, amps


def _pushes(network: Network, steady: Steady, knobs: Sequence[Knob]):
    """Return the derivative of the equations by each knob as waves (instants, k) along places (n,
    k) with the knob each belongs to, and that of the mean device currents at standing volts.
    """
    import numpy as np

    x, rates = steady.x, flow(steady.x, steady.period)
    waves, places, owners = [], [], []
    direct = np.zeros((len(network.reads), len(knobs)))
    starts = np.cumsum([0, *(device.law.controls for device in network.ordered)])
    volts = network.across(x)
    rows = np.eye(network.n)
    for k, knob in enumerate(knobs):
        if knob.kind == "line":
            source = -mains_source(network, len(x))
            pushed = [(source[:, at], rows[at]) for at in network.sources]
        elif knob.kind == "ohms":
            at = network.ohmic_at[knob.at]
            pushed = [(-(x @ at) / network.ohmic[knob.at].value, at)]
        elif knob.kind == "farads":
            at = network.caps_at[knob.at]
            pushed = [((rates @ at) * network.caps[knob.at].value, at)]
        elif knob.kind in ("coil ohms", "henries"):
            coil = network.coils[knob.at]
            row = network.rows[coil.row]
            pushed = [
                (
                    (
                        -coil.ohms * x[:, row]
                        if knob.kind == "coil ohms"
                        else -coil.henries * rates[:, row]
                    ),
                    rows[row],
                )
            ]
        else:
            at = slice(starts[knob.at], starts[knob.at + 1])
            law = network.ordered[knob.at].law
            if knob.kind == "rectifier":  # its law times a factor, the leakage apart
                gain = steady.currents[:, at] - LEAKAGE * volts[:, at]
            else:
                gain = law.currents(volts[:, at], 2.0)[0] - law.currents(volts[:, at], 1.0)[0]
            pushed = list(zip(gain.T, network.reads[at], strict=True))
            direct[at, k] = gain.mean(0)
        for wave, place in pushed:
            waves.append(wave)
            places.append(place)
            owners.append(k)
    return np.array(waves).T, np.array(places).T, np.array(owners), direct


def _regulation(knobs: Sequence[Knob], volts, amps) -> float:
    """Return the ohms of one rectifier's averages: how its mean volts follow its mean amps as the
    load changes.
    """
    import numpy as np

    load = np.array([knob.kind == "tube" for knob in knobs])
    volt, amp = float(volts[load].sum()), float(amps[load].sum())
    if abs(amp) < 0.01 * float(
        np.abs(amps).max()
    ):  # no tubes on it: the resistor that loads it most
        loads = [
            (abs(amps[k]), k)
            for k, knob in enumerate(knobs)
            if knob.kind == "ohms" and volts[k] * amps[k] > 0
        ]
        if not loads:
            return 1e3
        volt, amp = volts[max(loads)[1]], amps[max(loads)[1]]
    return float(max(volt / amp, 0.1))


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Samples of the operating point: ``x`` (samples, n), those that ``converged``, and what was
    drawn for each: ``drawn`` (samples, knobs) as shares off nominal, and from these the ``factors``
    on ohms, ``scales`` of devices and the ``line``.
    """

    x: Any
    converged: Any
    factors: Any
    scales: Any
    line: Any
    drawn: Any = field(default=None, repr=False)

    def band(self, values, low: float = 5.0, high: float = 95.0) -> tuple[float, float]:
        """Return the percentiles of a quantity over the samples that converged."""
        import numpy as np

        if not self.converged.any():
            return float("nan"), float("nan")
        a, b = np.percentile(values[self.converged], (low, high))
        return float(a), float(b)


def spread(found: Bias, samples: int = 1000, *, seed: int = 1, step=None) -> Spread:
    """Return the operating point of ``samples`` circuits drawn from part tolerances (even), tube
    spread (normal) and the line (even).

    ``step`` is called with the number of samples after every stack of them.
    """
    import numpy as np

    chance = np.random.default_rng(seed)
    normal = np.array([knob.kind in ("tube", "rectifier") for knob in found.knobs])
    share = np.array([knob.share for knob in found.knobs])
    even = chance.uniform(-1, 1, (samples, len(share)))
    bell = np.clip(
        TUBE_SPREAD * chance.standard_normal((samples, len(share))), -TUBE_LIMIT, TUBE_LIMIT
    )
    return at(found, np.where(normal, bell, share * even), step=step)


def at(found: Bias, drawn, *, step=None) -> Spread:
    """Return the operating points with every knob off by a share: ``drawn`` (samples, knobs)."""
    import numpy as np

    network, samples = found.network, len(drawn)
    factors = np.ones((samples, len(network.ohmic) + len(network.coils)))
    scales, line = np.ones((samples, len(found.laws))), np.ones(samples)
    for k, knob in enumerate(found.knobs):
        if knob.kind == "line":
            line = 1 + drawn[:, k]
        elif knob.kind in ("ohms", "coil ohms"):
            factors[:, knob.at + (len(network.ohmic) if knob.kind == "coil ohms" else 0)] += drawn[
                :, k
            ]
        elif knob.kind == "tube":
            scales[:, knob.at] += drawn[:, k]
    scales += _bent(found.knobs, drawn) @ found.shifts.T
    source = found.source[None, :] * line[:, None]
    x, converged = np.empty((samples, network.n)), np.empty(samples, bool)
    chunk = max(1, STACK // (network.n**2 if network.n < LARGE else 40 * network.n))
    for start in range(0, samples, chunk):
        part = slice(start, start + chunk)
        point: Point = operating_point(
            network,
            source[part],
            factors=factors[part],
            scales=scales[part],
            laws=found.laws,
            start=found.point,
        )
        x[part], converged[part] = point.x, point.converged
        if step:
            step(len(point.converged))
    return Spread(x, converged, factors, scales, line, drawn)


def _bent(knobs: Sequence[Knob], drawn):
    """Return shares off nominal as the averages feel them: what a capacitor lets B+ sag goes with
    1/C, a drop with perveance to the -2/3.
    """
    import numpy as np

    bent = np.array(drawn)
    for k, knob in enumerate(knobs):
        if knob.kind == "farads":
            bent[:, k] = bent[:, k] / (1 + bent[:, k])
        elif knob.kind == "rectifier":
            bent[:, k] = 1.5 * (1 - (1 + bent[:, k]) ** (-2 / 3))
    return bent


def ripple_band(
    found: Bias, samples: Spread, node: int, low: float = 5.0, high: float = 95.0
) -> tuple[float, float]:
    """Return the percentiles of the factor on the RMS ripple of an unknown: every part to its power
    at the steady state.
    """
    import numpy as np

    logs = np.log1p(samples.drawn) @ found.ripples[node]
    a, b = np.exp(np.percentile(logs, (low, high)))
    return float(a), float(b)


def corner(found: Bias, slope, count: int = 5) -> tuple[tuple[Knob, float], ...]:
    """Return what moves a quantity most, with the share that pushes it up: ``slope`` (knobs) is how
    it moves with each.
    """
    import numpy as np

    push = np.array([knob.limit for knob in found.knobs]) * slope
    chosen = sorted(range(len(push)), key=lambda k: (-abs(push[k]), found.knobs[k].name))[:count]
    largest = max(np.abs(push).max(initial=0.0), 1e-12)
    return tuple(
        (found.knobs[k], float(np.copysign(found.knobs[k].limit, push[k])))
        for k in chosen
        if abs(push[k]) > 0.02 * largest
    )


def matters_most(
    found: Bias, samples: Spread, values, count: int = 3
) -> tuple[tuple[str, float], ...]:
    """Return what a quantity hangs on most: (name, share of its variance), by the squared
    correlation over the samples.
    """
    import numpy as np

    kept = samples.converged
    wanted = values[kept] - values[kept].mean()
    if not kept.any() or wanted.std() < 1e-12:
        return ()
    columns = samples.drawn[kept] - samples.drawn[kept].mean(0)
    scale = np.maximum(np.sqrt((columns**2).sum(0) * (wanted**2).sum()), 1e-300)
    shares = (wanted @ columns / scale) ** 2
    found_ = sorted(
        zip((knob.name for knob in found.knobs), shares.tolist(), strict=True),
        key=lambda share: (-share[1], share[0]),
    )
    return tuple(found_[:count])
