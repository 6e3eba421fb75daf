"""What an ohmmeter should read: plug out, capacitors discharged, tubes and heaters cold, switches
on, controls in the middle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rework.anatomy.amplifier import Anatomy, of
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.arrays import Floats, percentiles
from rework.solve.assemble import assemble
from rework.solve.network import Network
from rework.solve.spread import TUBE_LIMIT
from rework.tubes import library

#: Above this an ohmmeter shows an open circuit.
OPEN = 1e8
#: A semiconductor that an ohmmeter turns on is taken as this many ohms; most meters on an ohms
#: range leave it off.
FORWARD = 50.0
#: Siemens that hold every node, so that a part joined to nothing has an answer.
HOLDING = 1e-12
#: A reading that moves by less than this share with the leads turned round is one reading.
SAME = 0.02
#: Draws of a band; fewer of a large circuit, whose matrices hold no more numbers than this.
SAMPLES, LEAST_SAMPLES, MOST_NUMBERS = 1000, 200, 5_000_000
#: One standard deviation of the cold ohms of a heater, as a share: 4 to 7 times the hot ones are
#: told (see ``solve.tube_stamps``; our guess).
COLD_HEATER = 0.25
#: The elements that are read against B+ too.
FED = ("plate", "screen")


@dataclass(frozen=True, slots=True)
class OhmsReading:
    """Ohms between two places (None is open).

    ``against`` is ``common``, ``chassis``, another blade of the plug, or ``B+`` with the node of
    its reservoir. ``low`` and ``high`` are the 5th and 95th percentile of what tolerances make of
    it (None is open). ``forward`` is the reading where the meter turns a semiconductor on, None
    where that is no different.
    """

    place: str
    what: str
    against: str
    ohms: float | None
    low: float | None
    high: float | None
    forward: float | None


def ohms(circuit: Circuit, *, samples: int = SAMPLES, seed: int = 1) -> tuple[OhmsReading, ...]:
    """Return the reading at every tube pin and named node against common, at plates and screens
    against B+ too, and between the blades of every plug and the chassis.

    B+ is the point of the reservoir capacitor, from which the trade's charts read plates and
    screens: an open load shows there, where against common it is hidden behind the bleeders. With
    two reservoirs it is the nearer one.

    Bands are of ``samples`` draws: every part anywhere in its tolerance, windings and cold heaters
    scattered.

    Raises CannotSolve where a part has no value.
    """
    anatomy, off = of(circuit), assemble(circuit, powered=False)
    reservoirs = [point for point in _reservoirs(anatomy) if point in off.node_of]
    fed = frozenset(_fed_pins(anatomy))
    meter, meter_on = _Ohmmeter(off, on=False), _Ohmmeter(off, on=True)
    drawn = _Ohmmeter(off, on=False, factors=_factors(off, samples, seed))
    readings = []

    def read(place: str, what: str, node: str, against: str, other: str) -> None:
        plain, forward = meter.between(node, other), meter_on.between(node, other)
        same = (
            plain is not None and forward is not None and abs(plain - forward) < SAME * plain
        ) or plain == forward
        low, high = drawn.band(node, other)
        readings.append(
            OhmsReading(place, what, against, plain, low, high, None if same else forward)
        )

    common = next(node for node, at in sorted(off.node_of.items()) if at < 0)
    chassis = next(
        (node for part in circuit.parts if part.kind == "chassis" for _, node in part.pins), None
    )
    for part in circuit.parts:
        if part.kind == "plug":
            for pair in _blades(part, chassis):
                read(*pair)
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            continue
        for pin, node in part.pins:
            what = f"pin {pin} {tube.element(pin)}"
            read(part.name, what, node, "common", common)
            if reservoirs and (part.name, pin) in fed:
                b_plus = min(reservoirs, key=lambda point: meter.between(node, point) or OPEN)
                read(part.name, what, node, f"B+ ({b_plus})", b_plus)
    for node in sorted(off.node_of):
        if "." not in node:
            read(node, "", node, "common", common)
    return tuple(readings)


def _blades(part: Part, chassis: str | None) -> Iterator[tuple[str, str, str, str, str]]:
    """Yield what is read at a plug: each blade against those behind it and against the chassis."""
    for number, (name, node) in enumerate(part.pins):
        for other_name, other in part.pins[number + 1 :]:
            yield part.name, name, node, f"{part.name} {other_name}", other
        if chassis:
            yield part.name, name, node, "chassis", chassis


def _reservoirs(anatomy: Anatomy) -> tuple[str, ...]:
    """Return the points of B+ at which a capacitor filters first; of a B+ without capacitors, where
    it comes in.
    """
    by_point = {rail.point: rail for rail in anatomy.rails}

    def is_behind_another(point: str) -> bool:
        before = by_point[point].fed_from
        return before is not None and (
            bool(by_point[before].capacitors) or is_behind_another(before)
        )

    filtered = [rail.point for rail in anatomy.rails if rail.capacitors]
    first = tuple(point for point in filtered if not is_behind_another(point))
    return first or tuple(by_point)[:1]


def _fed_pins(anatomy: Anatomy) -> Iterator[tuple[str, str]]:
    """Yield the part and pin of every plate and screen of a unit that amplifies."""
    for unit in anatomy.units:
        if unit.amplifies:
            for element, pins, _ in unit.elements:
                if element in FED:
                    yield from ((unit.part, pin) for pin in pins)


def _factors(network: Network, samples: int, seed: int) -> Floats:
    """Return draws of what the ohms of every resistor and winding are over those written,
    (samples, resistors and coils); fewer draws of a large circuit.
    """
    chance = np.random.default_rng(seed)
    count = max(LEAST_SAMPLES, min(samples, MOST_NUMBERS // max(network.n**2, 1)))
    shares = np.array([branch.tolerance for branch in network.ohmic])
    factors = 1 + shares * chance.uniform(-1, 1, (count, len(shares)))
    heaters = [n for n, branch in enumerate(network.ohmic) if ".heater" in branch.name]
    factors[:, heaters] *= np.exp(COLD_HEATER * _bell(chance, count, len(heaters)))
    spreads = np.array([coil.tolerance for coil in network.coils])
    coils = np.exp(spreads * _bell(chance, count, len(spreads)))
    return np.hstack([factors, coils])


def _bell(chance: np.random.Generator, count: int, width: int) -> Floats:
    drawn: Floats = chance.standard_normal((count, width)).clip(-TUBE_LIMIT, TUBE_LIMIT)
    return drawn


class _Ohmmeter:
    """An ohmmeter on a circuit without power, which turns the semiconductors ``on`` or not; on a
    stack of circuits for ``factors`` on their ohms.
    """

    def __init__(self, network: Network, *, on: bool, factors: Floats | None = None) -> None:
        self.network = network
        g: Floats = network.conductances(factors)
        if on:
            g = g + network.reads.T @ network.reads / FORWARD
        g[..., network.node_at, network.node_at] += HOLDING
        #: (n, n), or (samples, n, n).
        self.inverse: Floats = np.asarray(np.linalg.inv(g), np.float64)

    def between(self, node: str, other: str) -> float | None:
        """Return the ohms between two nodes, or None for an open circuit."""
        return _or_open(max(float(self._between(node, other)), 0.0))

    def band(self, node: str, other: str) -> tuple[float | None, float | None]:
        """Return the 5th and the 95th percentile of the ohms between two nodes; None is open."""
        low, high = percentiles(np.maximum(self._between(node, other), 0.0), (5, 95))
        return _or_open(float(low)), _or_open(float(high))

    def _between(self, node: str, other: str) -> Floats:
        a, b = self.network.node_of[node], self.network.node_of[other]

        def volts(at: int, into: int) -> Floats:
            there = at >= 0 and into >= 0
            return self.inverse[..., at, into] if there else np.zeros(self.inverse.shape[:-2])

        ohms: Floats = volts(a, a) + volts(b, b) - volts(a, b) - volts(b, a)
        return ohms


def _or_open(ohms: float) -> float | None:
    return None if ohms > OPEN else ohms
