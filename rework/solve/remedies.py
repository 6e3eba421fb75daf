"""What tames a circuit that oscillates: changes tried on its equations, each solved afresh."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from math import log10

import numpy as np

from rework.solve.bias import Bias
from rework.solve.feedback import loop_resistors, loops
from rework.solve.linear import linearised
from rework.solve.network import Branch, Network
from rework.solve.newton import operating_point
from rework.solve.places import SignalPath
from rework.solve.stability import AUDIBLE, growing, modes

#: Preferred values: the E12 series for resistors and the E3 series for capacitors of IEC 60063.
E12, E3 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2), (1.0, 2.2, 4.7)
#: A decoupling resistor may take this share of the volts that feed it (common practice, no source).
DROP = 0.10
#: A remedy must hold with its capacitor at this share of its value, as a worn electrolytic has it
#: (common practice, no source).
WORN = 0.5
#: Capacitors tried across a feedback resistor, farads.
LEAD_FARADS = (10e-12, 10e-9)
#: How many remedies are told.
MOST = 4
#: A filter capacitor has at least so many farads and stands on at least so many volts; it is made
#: no larger than this.
LEAST_FILTER, LEAST_VOLTS, MOST_FILTER = 0.5e-6, 20.0, 470e-6
#: A resistor that feeds something drops at least so many volts in at least so many ohms.
LEAST_DROP, LEAST_OHMS = 3.0, 1e3


@dataclass(frozen=True, slots=True)
class StabilityRemedy:
    """One change after which, solved afresh, every motion dies away; ``damping`` is the least that
    is left below 20 kHz.

    ``kind`` is "decouple" (``ohms`` between ``node`` and ``part``, ``farads`` from their joint to
    common), "capacitor" (``part`` at ``node`` made ``farads``), "across" (``farads`` across
    ``part``), "resistor" (``part`` made ``ohms``) or "leads" (the two secondary leads of the
    transformer ``part`` exchanged, with ``farads`` across the resistor ``node`` where given).
    """

    kind: str
    part: str
    node: str
    ohms: float | None
    farads: float | None
    damping: float


#: A remedy with the changed circuit at its operating point.
Proved = tuple[StabilityRemedy, Bias]


def remedies(rest: Bias, path: SignalPath | None = None) -> tuple[Proved, ...]:
    """Return what tames a circuit that oscillates, the least work first, each with the changed
    circuit at its own operating point, whose modes prove it. With the ``path`` of the signal, what
    leaves positive feedback from the speaker is no remedy.
    """
    families = (_leads, _larger_capacitors, _decoupling, _feedback)
    tried = (proved for family in families for proved in family(rest))
    cures = (
        proved
        for proved in tried
        if path is None or not any(loop.is_reversed for loop in loops(proved[1], path))
    )
    return tuple(islice(cures, MOST))


def _proved(rest: Bias, network: Network) -> tuple[float, Bias] | None:
    """Return the least damping of a changed network and its operating point, or None where it grows
    or does not settle.
    """
    grown = network.n - rest.network.n
    source, start = (np.pad(vector, (0, grown)) for vector in (rest.source, rest.point))
    point = operating_point(network, source, laws=rest.laws, start=start)
    if not point.converged[0]:
        return None
    changed = replace(rest, network=network, source=source, point=point.x[0])
    left = modes(linearised(changed))
    least = min((mode.damping for mode in left if mode.hertz < AUDIBLE), default=1.0)
    return (least, changed) if left and not growing(left) else None


def _first(
    rest: Bias,
    values: Iterator[float],
    network_of: Callable[[float], Network],
    remedy_of: Callable[[float, float], StabilityRemedy],
    worn: float = WORN,
) -> list[Proved]:
    """Return the remedy of the first value that tames the circuit, also when worn; none where no
    value does.
    """
    for value in values:
        if _proved(rest, network_of(value * worn)) and (proved := _proved(rest, network_of(value))):
            return [(remedy_of(value, proved[0]), proved[1])]
    return []


def _preferred(series: Sequence[float], low: float, high: float) -> Iterator[float]:
    """Yield the preferred values from low to high, rising."""
    for decade in range(int(log10(low)) - 1, int(log10(high)) + 2):
        for step in series:
            value = float(f"{step * 10.0**decade:.3g}")
            if low * 0.999 <= value <= high * 1.001:
                yield value


def _volts(rest: Bias, at: int) -> float:
    return float(rest.point[at]) if at >= 0 else 0.0


def exchanged(network: Network, at: int, *branches: Branch) -> Network:
    """Return a network with the branch at a place exchanged for others."""
    rest = (*network.branches[:at], *branches, *network.branches[at + 1 :])
    return replace(network, branches=rest)


def _leads(rest: Bias) -> list[Proved]:
    """Feedback of the wrong sign: exchange the secondary leads of an output transformer (its core
    has no volts at rest, so nothing else moves), with a small capacitor across the feedback
    resistor where the loop then needs one.
    """
    network, out = rest.network, []
    cores = {row.removesuffix(".core") for row in network.rows if row.endswith(".core")}
    for name in sorted(cores):
        nodes = [at for row, at in network.rows.items() if row.startswith(f"{name}.secondary")]
        if not nodes:
            continue
        g, c, core = network.fixed_g.copy(), network.fixed_c.copy(), network.rows[f"{name}.core"]
        g[nodes, core] *= -1
        c[core, nodes] *= -1
        turned = replace(network, fixed_g=g, fixed_c=c)
        if proved := _proved(rest, turned):
            out.append((StabilityRemedy("leads", name, "", None, None, proved[0]), proved[1]))
            continue
        for _, loop in loop_resistors(turned):

            def across(farads: float, loop: Branch = loop, turned: Network = turned) -> Network:
                lead = Branch("lead", "c", loop.a, loop.b, farads)
                return replace(turned, branches=(*turned.branches, lead))

            def remedy(
                farads: float, left: float, name: str = name, loop: Branch = loop
            ) -> StabilityRemedy:
                return StabilityRemedy("leads", name, loop.name, None, farads, left)

            out += _first(rest, _preferred(E3, *LEAD_FARADS), across, remedy)
    return out


def _larger_capacitors(rest: Bias) -> list[Proved]:
    """A filter capacitor, as large as it must be: 1 to 470 uF in preferred values."""
    network, out = rest.network, []
    for at, cap in enumerate(network.branches):
        node = cap.a if cap.b == -1 else cap.b
        filters = cap.kind == "c" and cap.value >= LEAST_FILTER and min(cap.a, cap.b) == -1
        if not filters or _volts(rest, node) <= LEAST_VOLTS:
            continue

        def enlarged(farads: float, at: int = at, cap: Branch = cap) -> Network:
            return exchanged(network, at, replace(cap, value=farads))

        def remedy(
            farads: float, left: float, cap: Branch = cap, node: int = node
        ) -> StabilityRemedy:
            return StabilityRemedy("capacitor", cap.name, network.names[node], None, farads, left)

        larger = _preferred(E3, max(cap.value * 1.5, 1e-6), MOST_FILTER)
        out += _first(rest, larger, enlarged, remedy)
    return sorted(out, key=lambda proved: (proved[0].farads, proved[0].part))


def _decoupling(rest: Bias) -> list[Proved]:
    """A resistor and capacitor more between a supply and one of the resistors it feeds."""
    out = []
    for at, fed in enumerate(rest.network.branches):
        if fed.kind == "r" and min(fed.a, fed.b) >= 0 and fed.value >= LEAST_OHMS:
            out += _decoupled(rest, at, fed)
    return sorted(out, key=lambda proved: (proved[0].farads, proved[0].ohms, proved[0].part))


def _decoupled(rest: Bias, at: int, fed: Branch) -> list[Proved]:
    """Return the remedy of a decoupling section before the resistor ``fed``."""
    network = rest.network
    high, low = sorted((fed.a, fed.b), key=lambda end: -_volts(rest, end))
    supply = _volts(rest, high)
    drop = supply - _volts(rest, low)
    if drop < LEAST_DROP or supply < LEAST_VOLTS:
        return []
    most = min(fed.value, DROP * supply * fed.value / drop)
    if most < LEAST_OHMS:
        return []
    ohms, joint = max(_preferred(E12, LEAST_OHMS, most)), network.n
    wider = replace(
        network,
        names=(*network.names, f"between {fed.name} and its supply"),
        branches=(),
        fixed_g=np.pad(network.fixed_g, (0, 1)),
        fixed_c=np.pad(network.fixed_c, (0, 1)),
    )

    def sectioned(farads: float) -> Network:
        section = (
            replace(fed, a=joint, b=low),
            Branch("decoupling", "r", high, joint, ohms),
            Branch("decoupling", "c", joint, -1, farads),
        )
        kept = (*network.branches[:at], *network.branches[at + 1 :])
        return replace(wider, branches=(*kept, *section))

    def remedy(farads: float, left: float) -> StabilityRemedy:
        return StabilityRemedy("decouple", fed.name, network.names[high], ohms, farads, left)

    return _first(rest, _preferred(E3, 1e-6, MOST_FILTER), sectioned, remedy)


def _feedback(rest: Bias) -> list[Proved]:
    """Too much feedback around an output transformer: a small capacitor across its resistor, or a
    larger resistor.
    """
    network, out = rest.network, []
    for at, loop in loop_resistors(network):

        def across(farads: float, loop: Branch = loop) -> Network:
            lead = Branch("lead", "c", loop.a, loop.b, farads)
            return replace(network, branches=(*network.branches, lead))

        def raised(ohms: float, at: int = at, loop: Branch = loop) -> Network:
            return exchanged(network, at, replace(loop, value=ohms))

        def lead(farads: float, left: float, loop: Branch = loop) -> StabilityRemedy:
            return StabilityRemedy("across", loop.name, "", None, farads, left)

        def resistor(ohms: float, left: float, loop: Branch = loop) -> StabilityRemedy:
            return StabilityRemedy("resistor", loop.name, "", ohms, None, left)

        out += _first(rest, _preferred(E3, *LEAD_FARADS), across, lead)
        larger = _preferred(E12, loop.value * 1.1, loop.value * 20)
        out += _first(rest, larger, raised, resistor, 1.0)
    return out
