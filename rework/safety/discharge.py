"""What stays charged at the pins of a pulled plug: the capacitors across them against the
resistance across them, in every position of the switches.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from rework.anatomy.units import tube_of
from rework.circuit.graph import Merged
from rework.circuit.parts import Part, strands
from rework.safety.net import Net, State
from rework.safety.survey import Survey

#: No more than this many farads may stay at the pins of a plug, and no longer than this many
#: seconds (IEC 60950-1 2.1.1.7).
MOST_FARADS = 0.1e-6
MOST_SECONDS = 1.0
#: Ohms of what states none and conducts well: windings, chokes, lamps, heaters.
_LOW_OHMS = 100.0
_SERIES = frozenset({"choke", "lamp", "thermistor", "resistor"})


@dataclass(frozen=True, slots=True)
class Charged:
    """A plug whose pins stay charged: the capacitors across them, in farads together, the time
    constant in seconds, and the position of switches and connectors, in words.
    """

    plug: Part
    capacitors: tuple[Part, ...]
    farads: float
    seconds: float
    where: str


def charged_plugs(survey: Survey) -> Iterator[Charged]:
    """Return every plug with more than 0.1 uF across its pins that takes more than 1 s to
    discharge, in the worst state.
    """
    tied = [
        part
        for part in survey.of_kind("capacitor", "electrolytic")
        if all(node in survey.ties.tied for node in part.ends)
    ]
    if sum(part.value("capacitance") or 0.0 for part in tied) <= MOST_FARADS:
        return
    nodes = _line_nodes(survey)
    capacitors = [part for part in tied if all(node in nodes for node in part.ends)]
    if sum(part.value("capacitance") or 0.0 for part in capacitors) <= MOST_FARADS:
        return
    edges = [edge for edge in _edges(survey) if edge[0] in nodes and edge[1] in nodes]
    states = dict.fromkeys(
        survey.heat.tried.state(survey.circuit, row) for row in survey.heat.tried.rows if not row[0]
    )
    nets = [(state, Net(survey.circuit, state)) for state in states]
    for plug in survey.plugs:
        worst: Charged | None = None
        for state, net in nets:
            charged = _across(plug, net, capacitors, edges, _words(state))
            if charged is not None and (worst is None or charged.seconds > worst.seconds):
                worst = charged
        if worst is not None:
            yield worst


def _line_nodes(survey: Survey) -> frozenset[str]:
    """Return the nodes that line conductors, primaries, chokes, lamps, resistors and heaters join
    to a blade.
    """
    net = survey.net

    def leads(number: int) -> bool:
        part = net.part[number]
        return (
            net.is_closed(number)
            or part.kind in _SERIES
            or all(terminal.startswith("primary") for terminal, _ in net.pins[number])
            or (
                part.kind == "tube"
                and all(_is_heater(part, terminal) for terminal, _ in net.pins[number])
            )
        )

    return frozenset(net.reach(survey.ties.blades, leads))


def _is_heater(part: Part, pin: str) -> bool:
    tube = tube_of(part)
    names = tube.elements_of(pin) if tube is not None else ()
    return any(name.startswith(("heater", "lamp-tap")) for name in names)


#: Node, node, ohms of what discharges a capacitor, and whether it is as good as a wire.
_Edge = tuple[str, str, float, bool]


def _edges(survey: Survey) -> Iterator[_Edge]:
    """Return what discharges a capacitor. A neon lamp goes out before it has."""
    for part in survey.of_kind(*_SERIES, "motor"):
        if part.kind == "lamp" and "neon" in part.words:
            continue
        ohms = part.value("resistance") if part.kind == "resistor" else _LOW_OHMS
        nodes = [node for terminal, node in part.pins if terminal in ("1", "2")]
        if ohms is not None and len(nodes) == 2:
            yield nodes[0], nodes[1], max(ohms, 1e-3), part.kind not in ("resistor", "motor")
    for part in survey.of_kind("transformer", "autotransformer"):
        for run in strands(part):
            if len(run) > 1:
                yield part.at(run[0]), part.at(run[-1]), _LOW_OHMS, False
    for part in survey.of_kind("tube"):
        heater = [node for terminal, node in part.pins if _is_heater(part, terminal)]
        for other in heater[1:]:
            yield heater[0], other, _LOW_OHMS, False


def _across(
    plug: Part,
    net: Net,
    capacitors: list[Part],
    edges: list[_Edge],
    where: str,
) -> Charged | None:
    """Return what stays at the pins of a plug in one state, or None where it goes in time."""
    pins = [node for terminal, node in plug.pins if terminal != "earth"]
    if len(pins) != 2:
        return None
    rail, low = net.joined(closed=True), Merged()
    for first, second, _, leads in edges:
        if leads:
            low.join(rail[first], rail[second])
    point = {node: low.find(rail[node]) for part in (plug, *capacitors) for _, node in part.pins}
    ends = point[pins[0]], point[pins[1]]
    across = [part for part in capacitors if {point[node] for node in part.ends} == set(ends)]
    farads = sum(part.value("capacitance") or 0.0 for part in across)
    if ends[0] == ends[1] or farads <= MOST_FARADS:
        return None
    joined = [
        (low.find(rail[first]), low.find(rail[second]), ohms)
        for first, second, ohms, leads in edges
        if not leads
    ]
    seconds = _resistance(ends, joined) * farads
    if seconds <= MOST_SECONDS:
        return None
    return Charged(plug, tuple(across), farads, seconds, where)


def _resistance(ends: tuple[str, str], edges: list[tuple[str, str, float]]) -> float:
    """Return the ohms between two points, inf where nothing joins them (nodal analysis, Gaussian
    elimination).
    """
    near = Merged()
    for first, second, _ in edges:
        near.join(first, second)
    if near.find(ends[0]) != near.find(ends[1]):
        return math.inf
    points = {
        point
        for first, second, _ in edges
        for point in (first, second)
        if near.find(point) == near.find(ends[0]) and point != ends[1]
    }
    row = {point: number for number, point in enumerate(sorted(points))}
    size = len(row)
    matrix = [[0.0] * (size + 1) for _ in range(size)]
    for first, second, ohms in edges:
        for here, there in ((first, second), (second, first)):
            if here in row and first != second:
                matrix[row[here]][row[here]] += 1 / ohms
                if there in row:
                    matrix[row[here]][row[there]] -= 1 / ohms
    matrix[row[ends[0]]][size] = 1.0
    return _solved(matrix)[row[ends[0]]]


def _solved(matrix: list[list[float]]) -> list[float]:
    """Return the solution of a small system whose last column is the right-hand side; the matrix is
    symmetric and positive definite, so no pivot is searched.
    """
    size = len(matrix)
    for number in range(size):
        pivot = matrix[number][number]
        matrix[number] = [value / pivot for value in matrix[number]]
        for other in range(size):
            factor = matrix[other][number] if other != number else 0.0
            if factor:
                matrix[other] = [
                    value - factor * above
                    for value, above in zip(matrix[other], matrix[number], strict=True)
                ]
    return [line[size] for line in matrix]


def _words(state: State) -> str:
    """Return the positions of switches and connectors in one state."""
    places = [f"{name} {where}" for name, where in state.switches]
    places += [f"{name} unplugged" for name, where in state.connectors if where == "pulled"]
    return ", ".join(places)
