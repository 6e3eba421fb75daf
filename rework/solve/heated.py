"""Which tubes are warm: emission follows the volts of the heater."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import log

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.parts import Part
from rework.solve.arrays import Complexes, Floats
from rework.solve.devices import Rectifier
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import COARSE, mains_steady
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: A heater under this share of its volts leaves its cathode cold (the tool's own choice: at nine
#: tenths of its volts a cathode has some 63 % of its emission, by the fourth power of its heat and
#: Richardson's law, and a tube needs only a fraction of that).
COLD_SHARE = 0.6
#: Volts under which a heater end stands on nothing, and siemens that hold every node meanwhile.
NO_VOLTS, HOLDING = 1.0, 1e-12


def fed_way(
    part: Part, tube: TubeType, rms: Callable[[str, str], float]
) -> tuple[float, float] | None:
    """Return the volts of a heater and those it is made for, by the way it is fed of those that its
    type allows; None where it is not connected. ``rms`` gives the RMS volts between two nodes.
    """
    fed = []
    for feed in tube.heater.ways:
        ends = [
            next((node for pin in sorted(pins) if (node := part.node(pin))), None)
            for pins in feed.between
        ]
        if ends[0] is not None and ends[1] is not None:
            fed.append((rms(ends[0], ends[1]), feed.volts.value))
    return min(fed, key=lambda fed_at: abs(log(max(fed_at[0], 1e-9) / fed_at[1])), default=None)


def unheated(circuit: Circuit, network: Network) -> dict[str, float]:
    """Return the tubes whose heater leaves them cold, with its volts; none where the circuit has no
    heater supply at all, so that its heaters are not drawn.
    """
    cold = cold_by_line(circuit, network)
    if cold and rectified(circuit, network):
        try:
            steady = mains_steady(network, instants=COARSE)
        except CannotSolve:
            return cold
        return cold_by_wave(circuit, network, steady.x)
    return cold


def cold_by_line(circuit: Circuit, network: Network) -> dict[str, float]:
    """Return the same with nothing rectified, which is one linear solution."""
    tubes = list(_tubes(circuit))
    if not tubes or not network.sources:
        return {}
    x = _linear(network)
    if not any(_stands(network, x, node) for part, tube in tubes for node in _ends(part, tube)):
        return {}
    return _under(tubes, lambda a, b: float(abs(_volts(network, x, a) - _volts(network, x, b))))


def cold_by_wave(circuit: Circuit, network: Network, wave: Floats) -> dict[str, float]:
    """Return the tubes with too few heater volts in a steady state (instants, n), with these."""

    def rms(a: str, b: str) -> float:
        return float((network.between(wave, a, b) ** 2).mean() ** 0.5)

    return _under(list(_tubes(circuit)), rms)


def rectified(circuit: Circuit, network: Network) -> bool:
    """Return whether a rectifier may feed a heater: something ohmic or wound leads from one to the
    other without passing the reference.
    """
    heaters = {
        network.node_of[node] for part, tube in _tubes(circuit) for node in _ends(part, tube)
    }
    merged = Merged()
    ends = [(branch.a, branch.b) for branch in network.ohmic if branch.name != "leak"]
    for row in network.rows.values():
        on = [at for at in np.nonzero(network.fixed_g[row])[0].tolist() if at in network.node_at]
        ends += [(on[0], other) for other in on[1:]]
    for a, b in ends:
        if a >= 0 and b >= 0:
            merged.join(str(a), str(b))
    rectifiers = {
        merged.find(str(at))
        for device in network.devices
        if isinstance(device.law, Rectifier)
        for at in (*device.from_, device.to)
        if at >= 0
    }
    return any(merged.find(str(at)) in rectifiers for at in heaters if at >= 0)


def _tubes(circuit: Circuit) -> Iterator[tuple[Part, TubeType]]:
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is not None:
            yield part, tube


def _ends(part: Part, tube: TubeType) -> Iterator[str]:
    for name in ("heater1", "heater2"):
        for pin in tube.pins_of(name):
            if (node := part.node(pin)) is not None:
                yield node


def _linear(network: Network) -> Complexes:
    """Return the RMS volts (n) on the line with every heater hot and nothing rectified."""
    source = np.zeros(network.n, complex)
    source[list(network.sources)] = network.volts_peak / (2**0.5 if network.hertz else 1)
    matrix = network.g + 2j * np.pi * network.hertz * network.c
    matrix[network.node_at, network.node_at] += HOLDING
    return np.asarray(np.linalg.solve(matrix, source), np.complex128)


def _volts(network: Network, x: Complexes, node: str) -> complex:
    at = network.node_of[node]
    return complex(x[at]) if at >= 0 else 0j


def _stands(network: Network, x: Complexes, node: str) -> bool:
    """Return whether a heater end has volts, or an ohmic part or winding that could feed it."""
    at = network.node_of[node]
    if at < 0:
        return False
    if abs(_volts(network, x, node)) > NO_VOLTS:
        return True
    on = [branch.name for branch in network.ohmic if at in (branch.a, branch.b)]
    wound = bool(np.any(network.fixed_g[list(network.rows.values()), at]))
    return wound or any(".heater" not in name and name != "leak" for name in on)


def _under(
    tubes: list[tuple[Part, TubeType]], rms: Callable[[str, str], float]
) -> dict[str, float]:
    """Return the tubes whose heater has too few volts, with these."""
    cold = {}
    for part, tube in tubes:
        volts, rated = fed_way(part, tube, rms) or (0.0, 1.0)
        if volts < COLD_SHARE * rated:
            cold[part.name] = volts
    return cold
