"""Operating points by the thousand: the rectifiers stand in by their averages, taken from the steady state around nominal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rework.solve.devices import Rectifier
from rework.solve.network import Network
from rework.solve.newton import Point, operating_point
from rework.solve.periodic import Steady, mains_steady

#: Spread of cathode current from tube to tube, one standard deviation: 0.90, 1.02 and 1.16 mA in the three 12AX7 specimens of
#: Dempwolf and Zoelzer, DAFx-11 (2011), Table 1. The line stays within a tenth of its volts.
TUBE_SPREAD, LINE_SPREAD = 0.13, 0.10
#: Samples solved at a time, so that the stack stays small beside the memory.
CHUNK = 500


@dataclass(frozen=True, slots=True)
class Averaged:
    """The mean current of a rectifier against its own mean voltage near one point: I = amps + (V - volts - line (f - 1))/ohms.

    f is the line against nominal, handed in as the ``scale``.
    """

    amps: float
    volts: float
    line: float
    ohms: float

    controls = 1

    def currents(self, volts, scale=1.0):
        """Return ((i,), Jacobian) at (v,) along the last axis."""
        import numpy as np

        scale = np.asarray(scale)[..., None] if np.ndim(scale) else scale
        current = self.amps + (volts - self.volts - self.line * (scale - 1)) / self.ohms
        return current, np.full(volts.shape + (1,), 1 / self.ohms)


@dataclass(frozen=True, slots=True, eq=False)
class Bias:
    """A circuit at its operating point: the ``network``, its ``steady`` state on the nominal line, and for direct-current
    work the ``laws`` with every rectifier averaged, the ``source``, and the ``point`` these give."""

    network: Network
    steady: Steady
    laws: tuple[Any, ...]
    source: Any
    point: Any


def bias(network: Network) -> Bias:
    """Return the operating point of a circuit on its line. Raises CannotSolve where there is none."""
    import numpy as np

    steady = mains_steady(network)
    laws = [device.law for device in network.ordered]
    if network.hertz and any(isinstance(law, Rectifier) for law in laws):
        plain = np.ones(len(laws))
        tubes = np.array([0.0 if isinstance(law, Rectifier) else 1.0 for law in laws])
        tried = [(0.9, plain), (1.1, plain), (1.0, plain - 0.2 * tubes), (1.0, plain + 0.2 * tubes)]
        # differences need fewer instants than the state itself
        near = mains_steady(network, instants=len(steady.x) // 2, start=steady.x[::2])
        found = [(f, mains_steady(network, factor=f, instants=len(near.x), start=near.x, scales=s)) for f, s in tried]
        row = 0
        for number, law in enumerate(laws):
            if isinstance(law, Rectifier):
                laws[number] = _average(network, steady, near, found, row)
            row += law.controls
    source = np.zeros(network.n)
    if not network.hertz:
        source[list(network.sources)] = network.volts_peak
    point = operating_point(network, source, laws=laws, start=steady.mean)
    return Bias(network, steady, tuple(laws), source, point.x[0])


def _average(network: Network, steady: Steady, near: Steady, found: Sequence[tuple[float, Steady]], row: int) -> Averaged:
    import numpy as np

    def mean(one: Steady) -> tuple[float, float]:
        return float((one.x @ network.reads[row]).mean()), float(one.currents[:, row].mean())

    volts, amps = mean(steady)
    rows = [(f - 1, mean(one)[1] - mean(near)[1], mean(one)[0] - mean(near)[0]) for f, one in found]
    size = max(abs(amps), 1e-6)
    a = np.array([(f, i / size) for f, i, _ in rows])
    line, slope = np.linalg.lstsq(a, np.array([v for _, _, v in rows]), rcond=1e-6)[0]
    return Averaged(amps, volts, float(line), float(max(slope / size, 0.1)))


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Samples of the operating point: ``x`` (samples, n), those that ``converged``, and what was drawn for each."""

    x: Any
    converged: Any
    factors: Any
    scales: Any
    line: Any

    def band(self, values, low: float = 5.0, high: float = 95.0) -> tuple[float, float]:
        """Return the percentiles of a quantity over the samples that converged."""
        import numpy as np

        a, b = np.percentile(values[self.converged], (low, high))
        return float(a), float(b)


def spread(found: Bias, samples: int = 1000, *, seed: int = 1) -> Spread:
    """Return the operating point of ``samples`` circuits drawn from part tolerances (even), tube spread (normal) and the line (even).

    Capacitors, windings and the rectifier itself stay nominal: they move the averages little within their tolerances.
    """
    import numpy as np

    network, chance = found.network, np.random.default_rng(seed)
    tolerance = np.array([branch.tolerance for branch in network.ohmic])
    factors = 1 + tolerance * chance.uniform(-1, 1, (samples, len(tolerance)))
    line = 1 + LINE_SPREAD * chance.uniform(-1, 1, samples)
    tubes = np.clip(1 + TUBE_SPREAD * chance.standard_normal((samples, len(found.laws))), 0.6, 1.4)
    scales = np.stack([line if isinstance(law, Averaged) else np.ones(samples) if isinstance(law, Rectifier) else tubes[:, n]
                       for n, law in enumerate(found.laws)], 1) if found.laws else np.ones((samples, 0))
    source = found.source[None, :] * line[:, None]
    x, converged = np.empty((samples, network.n)), np.empty(samples, bool)
    for start in range(0, samples, CHUNK):
        part = slice(start, start + CHUNK)
        point: Point = operating_point(network, source[part], factors=factors[part], scales=scales[part], laws=found.laws, start=found.point)
        x[part], converged[part] = point.x, point.converged
    return Spread(x, converged, factors, scales, line)


def matters_most(found: Bias, samples: Spread, values, count: int = 3) -> tuple[tuple[str, float], ...]:
    """Return what a quantity hangs on most: (name, share of its variance), by the squared correlation over the samples."""
    import numpy as np

    kept = samples.converged
    columns = [("the line", samples.line)]
    columns += [(branch.name, samples.factors[:, n]) for n, branch in enumerate(found.network.ohmic) if branch.tolerance]
    columns += [(device.name, samples.scales[:, n]) for n, device in enumerate(found.network.ordered) if not isinstance(found.laws[n], Averaged | Rectifier)]
    shares = []
    for name, column in columns:
        if values[kept].std() > 0 and column[kept].std() > 0:
            shares.append((name, float(np.corrcoef(column[kept], values[kept])[0, 1] ** 2)))
    return tuple(sorted(shares, key=lambda share: (-share[1], share[0]))[:count])
