"""Whether a circuit oscillates: the eigenvalues of the whole circuit with its shared supply, and
what tames a motion that grows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import log10, pi

from rework.solve.bias import Bias
from rework.solve.linear import Linear, linearised
from rework.solve.network import Branch, Network
from rework.solve.newton import operating_point

#: Faster than this is beyond a model of lumped wiring, radians per second: a motion that dies away,
#: and one that grows (which may be the fast half of a relaxation).
FASTEST, FASTEST_GROWING = 2 * pi * 2e5, 2 * pi * 2e6
#: A motion faster than this is not heard, and hangs on wiring that is only taken for granted,
#: hertz.
AUDIBLE = 20e3
#: A motion slower than this is called motorboating, a faster one a squeal (common practice, no
#: source), hertz.
MOTORBOATING = 200.0
#: Preferred values: the E12 series for resistors and the E3 series for capacitors of IEC 60063.
E12, E3 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2), (1.0, 2.2, 4.7)
#: A decoupling resistor may take this share of the volts that feed it (common practice, no source).
DROP = 0.10
#: A remedy must hold with its capacitor at this share of its value, as a worn electrolytic has it
#: (common practice, no source).
WORN = 0.5
#: How many remedies are told.
MOST = 4


@dataclass(frozen=True, slots=True)
class Mode:
    """One natural motion of the circuit: growth in 1/s (negative dies away), hertz (0 does not
    swing), the node where it is strongest.
    """

    growth: float
    hertz: float
    node: str

    @property
    def damping(self) -> float:
        """Return the damping ratio: 1 for one that does not swing, negative for one that grows."""
        return -self.growth / self.pace

    @property
    def pace(self) -> float:
        """Return the size of the root in 1/s."""
        return (self.growth**2 + (2 * pi * self.hertz) ** 2) ** 0.5


def modes(linear: Linear) -> tuple[Mode, ...]:
    """Return the natural motions, the one nearest to growing first: s with det(G + s C) = 0, by the
    eigenvalues of v G^-1 u, which are those of G^-1 C where C = u v, but for zeros: one for every
    storage state instead of one for every unknown.
    """
    import numpy as np

    network = linear.network
    largest = np.abs(linear.c).max(1, initial=0.0)
    scale = np.where(largest > 0, largest, 1.0)  # farads and henries side by side
    u, sizes, v = np.linalg.svd(linear.c / scale[:, None])
    rank = int((sizes > 1e-13 * sizes[0]).sum())
    moved = np.linalg.solve(linear.g, scale[:, None] * u[:, :rank] * sizes[:rank])
    values, states = np.linalg.eig(v[:rank] @ moved)
    vectors = moved @ states
    nodes = [at for at, name in enumerate(network.names) if name not in network.rows]
    found = []
    for value, vector in zip(values, vectors.T, strict=True):
        if abs(value) < 1 / (FASTEST_GROWING if value.real < 0 else FASTEST):
            continue
        s = -1 / value
        if s.imag >= -1e-9 * abs(s):
            swings = abs(s.imag) > 1e-7 * abs(s)
            found.append(
                Mode(
                    float(s.real),
                    float(abs(s.imag)) / (2 * pi) if swings else 0.0,
                    network.names[nodes[int(np.abs(vector[nodes]).argmax())]],
                )
            )
    return tuple(sorted(found, key=lambda mode: (mode.damping, mode.hertz, mode.node)))


def growing(found: Sequence[Mode]) -> tuple[Mode, ...]:
    """Return the motions that grow.

    Two that grow without swinging are one relaxation: the loop gain is so large that the pair has
    left the complex plane. Limiting brings it back, so its hertz is told as the geometric mean,
    where the pair would meet: a mark, several times too high where the coupling capacitors block
    the grids. ``oscillation.swing`` follows it to what it comes to.
    """
    bad = [mode for mode in found if mode.growth > 1e-6]
    plain = sorted((mode for mode in bad if mode.hertz == 0), key=lambda mode: mode.growth)
    merged = [
        Mode(fast.growth, (slow.growth * fast.growth) ** 0.5 / (2 * pi), fast.node)
        for slow, fast in zip(plain[::2], plain[1::2], strict=False)
    ]
    return tuple([mode for mode in bad if mode.hertz > 0] + merged + plain[len(merged) * 2 :])


@dataclass(frozen=True, slots=True)
class Remedy:
    """One change after which, solved afresh, every motion dies away; ``damping`` is the least that
    is left below 20 kHz.

    ``kind`` is "decouple" (``ohms`` between ``node`` and ``part``, ``farads`` from their joint to
    common), "capacitor" (``part`` at ``node`` made ``farads``), "across" (``farads`` across
    ``part``), "resistor" (``part`` made ``ohms``) or "leads" (the two secondary leads of the
    transformer ``part`` exchanged).
    """

    kind: str
    part: str
    node: str
    ohms: float | None
    farads: float | None
    damping: float


def remedies(found: Bias) -> tuple[tuple[Remedy, Bias], ...]:
    """Return what tames a circuit that oscillates, the least work first, each with the changed
    circuit at its own operating point, whose modes prove it.
    """
    tried = (_leads, _larger_capacitors, _decoupling, _feedback)
    return tuple(proved for way in tried for proved in way(found))[:MOST]


def _proved(found: Bias, network: Network) -> tuple[float, Bias] | None:
    """Return the least damping of a changed network and its operating point, or None where it grows
    or does not settle.
    """
    import numpy as np

    grown = network.n - found.network.n
    source, start = (np.pad(one, (0, grown)) for one in (found.source, found.point))
    point = operating_point(network, source, laws=found.laws, start=start)
    if not point.converged[0]:
        return None
    changed = replace(found, network=network, source=source, point=point.x[0])
    left = modes(linearised(changed))
    least = min((mode.damping for mode in left if mode.hertz < AUDIBLE), default=1.0)
    return (least, changed) if left and not growing(left) else None


def _first(
    found: Bias,
    values: Iterator[float],
    made: Callable[[float], Network],
    remedy: Callable[[float, float], Remedy],
    worn: float = WORN,
) -> list[tuple[Remedy, Bias]]:
    """Return the remedy of the first value that tames the circuit, also when worn; none where no
    value does.
    """
    for value in values:
        if _proved(found, made(value * worn)) and (proved := _proved(found, made(value))):
            return [(remedy(value, proved[0]), proved[1])]
    return []


def _preferred(series: Sequence[float], low: float, high: float) -> Iterator[float]:
    """Yield the preferred values from low to high, rising."""
    for decade in range(int(log10(low)) - 1, int(log10(high)) + 2):
        yield from (
            value
            for one in series
            if low * 0.999 <= (value := float(f"{one * 10.0**decade:.3g}")) <= high * 1.001
        )


def _volts(found: Bias, at: int) -> float:
    return float(found.point[at]) if at >= 0 else 0.0


def _leads(found: Bias) -> list[tuple[Remedy, Bias]]:
    """Feedback of the wrong sign: exchange the secondary leads of an output transformer (its core
    has no volts at rest, so nothing else moves).
    """
    network, out = found.network, []
    for name in sorted(
        {row.removesuffix(".core") for row in network.rows if row.endswith(".core")}
    ):
        own = [at for row, at in network.rows.items() if row.startswith(f"{name}.secondary")]
        if not own:
            continue
        g, c, core = network.fixed_g.copy(), network.fixed_c.copy(), network.rows[f"{name}.core"]
        g[own, core] *= -1
        c[core, own] *= -1
        if proved := _proved(found, replace(network, fixed_g=g, fixed_c=c)):
            out.append((Remedy("leads", name, "", None, None, proved[0]), proved[1]))
    return out


def _larger_capacitors(found: Bias) -> list[tuple[Remedy, Bias]]:
    """A filter capacitor, as large as it must be: 1 to 470 uF in preferred values."""
    network, out = found.network, []
    for at, cap in enumerate(network.branches):
        node = cap.a if cap.b == -1 else cap.b
        if (
            cap.kind == "c"
            and cap.value >= 0.5e-6
            and min(cap.a, cap.b) == -1
            and _volts(found, node) > 20
        ):

            def made(farads: float, at=at, cap=cap) -> Network:
                return replace(
                    network,
                    branches=(
                        *network.branches[:at],
                        replace(cap, value=farads),
                        *network.branches[at + 1 :],
                    ),
                )

            larger = _preferred(E3, max(cap.value * 1.5, 1e-6), 470e-6)
            out += _first(
                found,
                larger,
                made,
                lambda farads, left, cap=cap, node=node: Remedy(
                    "capacitor", cap.name, network.names[node], None, farads, left
                ),
            )
    return sorted(out, key=lambda one: (one[0].farads, one[0].part))


def _decoupling(found: Bias) -> list[tuple[Remedy, Bias]]:
    """A resistor and capacitor more between a supply and one of the resistors it feeds."""
    import numpy as np

    network, out = found.network, []
    for at, fed in enumerate(network.branches):
        high, low = (
            (fed.a, fed.b) if _volts(found, fed.a) > _volts(found, fed.b) else (fed.b, fed.a)
        )
        drop = _volts(found, high) - _volts(found, low)
        if (
            fed.kind != "r"
            or high < 0
            or low < 0
            or drop < 3
            or _volts(found, high) < 20
            or fed.value < 1e3
        ):
            continue
        most = min(fed.value, DROP * _volts(found, high) * fed.value / drop)
        if most < 1e3:
            continue
        ohms = max(_preferred(E12, 1e3, most))
        new = network.n
        names = (*network.names, f"between {fed.name} and its supply")
        fixed = {
            "fixed_g": np.pad(network.fixed_g, (0, 1)),
            "fixed_c": np.pad(network.fixed_c, (0, 1)),
        }

        def made(
            farads: float,
            at=at,
            fed=fed,
            high=high,
            low=low,
            new=new,
            ohms=ohms,
            names=names,
            fixed=fixed,
        ) -> Network:
            added = (
                replace(fed, a=new, b=low),
                Branch("decoupling", "r", high, new, ohms),
                Branch("decoupling", "c", new, -1, farads),
            )
            return replace(
                network,
                names=names,
                branches=(*network.branches[:at], *network.branches[at + 1 :], *added),
                **fixed,
            )

        out += _first(
            found,
            _preferred(E3, 1e-6, 470e-6),
            made,
            lambda farads, left, fed=fed, high=high, ohms=ohms: Remedy(
                "decouple", fed.name, network.names[high], ohms, farads, left
            ),
        )
    return sorted(out, key=lambda one: (one[0].farads, one[0].ohms, one[0].part))


def _feedback(found: Bias) -> list[tuple[Remedy, Bias]]:
    """Too much feedback around an output transformer: a small capacitor across its resistor, or a
    larger resistor.
    """
    network, out = found.network, []
    ends = {
        int(at)
        for row, of in network.rows.items()
        if ".secondary" in row
        for at in network.fixed_g[of, : network.n].nonzero()[0]
    } - set(network.rows.values())
    for at, path in enumerate(network.branches):
        if path.kind != "r" or min(path.a, path.b) < 0 or len({path.a, path.b} & ends) != 1:
            continue

        def across(farads: float, path=path) -> Network:
            return replace(
                network, branches=(*network.branches, Branch("lead", "c", path.a, path.b, farads))
            )

        def raised(ohms: float, at=at, path=path) -> Network:
            return replace(
                network,
                branches=(
                    *network.branches[:at],
                    replace(path, value=ohms),
                    *network.branches[at + 1 :],
                ),
            )

        out += _first(
            found,
            _preferred(E3, 10e-12, 10e-9),
            across,
            lambda farads, left, path=path: Remedy("across", path.name, "", None, farads, left),
        )
        out += _first(
            found,
            _preferred(E12, path.value * 1.1, path.value * 20),
            raised,
            lambda ohms, left, path=path: Remedy("resistor", path.name, "", ohms, None, left),
            1.0,
        )
    return out
