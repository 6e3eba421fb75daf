"""Where a meter can be held, and every figure that it can show there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import Law
from rework.circuit.parts import Part, strands
from rework.faultfinding.trouble import SingleTrouble
from rework.language.bench import BenchState, Quantity, Reading, Voltmeter
from rework.language.terminals import Terminals, tube_of
from rework.solve.points import points
from rework.tubes.tubetype import TubeType

#: The tone of signal readings and what goes in, where nothing else is said: hertz, RMS volts.
TONE, DRIVE = 1000.0, 10e-3
#: Electrodes at which a signal is followed.
_SIGNAL = ("grid", "plate", "cathode", "screen")
#: Kinds that the output goes to; a third lead is the frame.
_LOADS = ("speaker", "dummy load")


@dataclass(frozen=True, slots=True)
class ProbePoint:
    """A place to hold a probe: a terminal of a part, or a node (``part`` "")."""

    part: str
    terminal: str
    node: str

    def node_in(self, circuit: Circuit, trouble: SingleTrouble) -> str:
        """Return the node under the probe in a circuit with a trouble in it.

        A probe on a pin moves with the pin, but not into the part: where a part is open inside, its
        lug stays with the wiring.
        """
        part = circuit.part(self.part)
        if part is None or (trouble.inside and trouble.part == self.part):
            return self.node
        return part.node(self.terminal) or self.node


@dataclass(frozen=True, slots=True)
class BenchFigure:
    """One figure that can be read: of what, between which points, in which state of the set.

    ``meter`` matters for volts; ``hertz`` and ``drive`` (RMS volts) are the generator of a signal.
    """

    of: Quantity
    at: ProbePoint
    to: ProbePoint
    state: BenchState
    meter: Voltmeter
    hertz: float = 0.0
    drive: float = 0.0


def probe(circuit: Circuit, text: str) -> ProbePoint | None:
    """Return the place that ``V3.plate``, ``R4.1`` or ``B1`` names; None where there is none."""
    name, _, word = text.rpartition(".")
    part = circuit.part(name)
    if part is not None:
        for terminal in (word, *Terminals(part).named(word)):
            if (node := part.node(terminal)) is not None:
                return ProbePoint(name, terminal, node)
        return None
    node = circuit.node_named(text)
    return ProbePoint("", "", node) if node in circuit.at else None


def across(circuit: Circuit, text: str) -> tuple[ProbePoint, ProbePoint] | None:
    """Return the two ends that a name alone stands for: of a part with two leads, of the blades of
    a plug, of the heater of a tube (``V1.heater``), of a winding (``T1.primary``); None for others.
    """
    name, _, word = text.rpartition(".")
    if (part := circuit.part(text)) is not None:
        if part.traits.law is Law.BLADES:
            return _between(part, "line", "neutral")
        is_load = part.kind in _LOADS
        return _across(part) if len(part.ends) == 2 or is_load else None
    if (part := circuit.part(name)) is None:
        return None
    if word == "heater" and (tube := tube_of(part)) is not None:
        return _heater(part, tube)
    run = next((run for run in strands(part) if run[0].split(".")[0] == word), ())
    return _between(part, run[0], run[-1]) if part.traits.is_wound and len(run) > 1 else None


def _between(part: Part, first: str, second: str) -> tuple[ProbePoint, ProbePoint] | None:
    nodes = part.node(first), part.node(second)
    if nodes[0] is None or nodes[1] is None:
        return None
    return ProbePoint(part.name, first, nodes[0]), ProbePoint(part.name, second, nodes[1])


def _heater(part: Part, tube: TubeType) -> tuple[ProbePoint, ProbePoint] | None:
    ends = [
        next((pin for pin in tube.pins_of(name) if part.node(pin)), "")
        for name in ("heater1", "heater2")
    ]
    return _between(part, *ends)


def figure(circuit: Circuit, common: str, reading: Reading) -> BenchFigure | None:
    """Return what a reading is of; None where the set has no such point.

    What is read at a name that has two ends is read across it (``across``); amps, in it, or in the
    lead of a part.
    """
    ends = None if reading.to else across(circuit, reading.at)
    if ends is None and reading.of is Quantity.AMPS:
        lead = probe(circuit, reading.at) or probe(circuit, f"{reading.at}.plate")
        ends = (lead, lead) if lead is not None else None
    elif ends is None:
        first = probe(circuit, reading.at)
        second = probe(circuit, reading.to) if reading.to else ProbePoint("", "", common)
        if first is None or second is None:
            return None
        ends = first, second
    if ends is None:
        return None
    hertz, drive = reading.generator or (0.0, 0.0)
    return BenchFigure(reading.of, *ends, reading.state, reading.meter, hertz, drive)


def candidates(
    circuit: Circuit, common: str, meter: Voltmeter, state: BenchState, *, drive: float = DRIVE
) -> tuple[BenchFigure, ...]:
    """Return everything worth reading next: ohms and volts at every lug and named node, ohms across
    parts and wires, heaters, ripple, hum at the speaker, and along its way the signal that a
    generator of ``drive`` RMS volts makes.
    """
    to = ProbePoint("", "", common)
    figures = []
    for at in _places(circuit, common):
        figures.append(BenchFigure(Quantity.OHMS, at, to, state, meter))
        figures.append(BenchFigure(Quantity.DC, at, to, state, meter))
    figures += [BenchFigure(Quantity.OHMS, *ends, state, meter) for ends in _across_parts(circuit)]
    figures += _heaters(circuit, to, state, meter)
    figures += _ripple(circuit, to, state, meter)
    figures += _signals(circuit, to, state, meter, drive)
    return tuple(figures)


def _across_parts(circuit: Circuit) -> Iterator[tuple[ProbePoint, ProbePoint]]:
    """Yield the two ends of every resistor, fuse, choke, wire and winding, and of every plug."""
    for part in circuit.parts:
        law = part.traits.law
        if law in (Law.RESISTANCE, Law.LINK, Law.COIL, Law.CONDUCTOR) and len(part.ends) == 2:
            yield _across(part)
        elif law is Law.BLADES and (blades := _between(part, "line", "neutral")):
            yield blades
        elif part.traits.is_wound:
            for run in strands(part):
                if len(run) > 1 and (ends := _between(part, run[0], run[-1])):
                    yield ends


def _places(circuit: Circuit, common: str) -> Iterator[ProbePoint]:
    """Yield every tube lug, then every named node that none of these is on, but common itself."""
    point = points(circuit)
    seen = {point[common]} if common in point else set()
    for part in circuit.parts:
        if part.kind == "tube":
            for terminal, node in part.pins:
                if common not in point or point[node] != point[common]:
                    seen.add(point[node])
                    yield ProbePoint(part.name, terminal, node)
    for node in circuit.nodes:
        if point[node] not in seen and not node.startswith("."):
            seen.add(point[node])
            yield ProbePoint("", "", node)


def _heaters(
    circuit: Circuit, to: ProbePoint, state: BenchState, meter: Voltmeter
) -> Iterator[BenchFigure]:
    """Yield the volts of every heater, and of every point of the heater wiring to common: which
    side of a winding is off, or on common, shows in these alone.
    """
    point = points(circuit)
    seen = {point[to.node]} if to.node in point else set()
    for part in circuit.parts:
        tube = tube_of(part)
        if tube is None or (ends := _heater(part, tube)) is None:
            continue
        yield BenchFigure(Quantity.AC, *ends, state, meter)
        for end in ends:
            if point[end.node] not in seen:
                seen.add(point[end.node])
                yield BenchFigure(Quantity.AC, end, to, state, meter)


def _ripple(
    circuit: Circuit, to: ProbePoint, state: BenchState, meter: Voltmeter
) -> Iterator[BenchFigure]:
    """Yield ripple at every filter capacitor's plus, and hum across the speaker."""
    seen = set()
    for part in circuit.parts:
        if part.traits.polar and len(part.ends) == 2 and part.ends[1] == to.node:
            node = part.ends[0]
            if node not in seen and not any(p.kind == "tube" for p, _ in circuit.at[node]):
                seen.add(node)
                yield BenchFigure(Quantity.AC, ProbePoint("", "", node), to, state, meter)
        elif part.kind in _LOADS and len(part.ends) >= 2:
            yield BenchFigure(Quantity.AC, *_across(part), state, meter)


def _across(part: Part) -> tuple[ProbePoint, ProbePoint]:
    first, second = part.leads[:2]
    return ProbePoint(part.name, *first), ProbePoint(part.name, *second)


def _signals(
    circuit: Circuit, to: ProbePoint, state: BenchState, meter: Voltmeter, drive: float
) -> Iterator[BenchFigure]:
    for part in circuit.parts:
        tube = tube_of(part)
        if tube is not None and not tube.is_rectifier:
            for pin, node in part.pins:
                if tube.element(pin).rpartition(".")[2] in _SIGNAL and node != to.node:
                    at = ProbePoint(part.name, pin, node)
                    yield BenchFigure(Quantity.SIGNAL, at, to, state, meter, TONE, drive)
        elif part.kind in _LOADS and len(part.ends) >= 2:
            at, back = _across(part)
            yield BenchFigure(Quantity.SIGNAL, at, back, state, meter, TONE, drive)
