"""What works in a circuit as far as its wiring shows: a remedy may not take any of it away.

A fact is a tuple of keys: what works, and the part with its pin, its winding or the input and load
that it is about. No figure is worked out here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property

from rework.anatomy.links import groups
from rework.circuit.graph import Merged
from rework.circuit.kinds import KINDS, Form
from rework.circuit.parts import Part, strands
from rework.safety.net import CONDUCTS
from rework.safety.survey import Survey
from rework.tubes import library

Fact = tuple[str, ...]

#: A resistor of more ohms than this carries no heater current to speak of.
_NO_HEATER_CURRENT = 5000.0
_LINE_PARTS = frozenset({"choke", "lamp", "thermistor"})
#: What a signal goes through in both directions.
_SIGNAL = frozenset({"capacitor", "electrolytic", "resistor", "pot", "choke"})
_WOUND = ("transformer", "output transformer", "autotransformer")
#: Kinds whose insulation counts as conducting for the mains check and not here; tubes apart.
_BY_GROUPS = frozenset({*_WOUND, "tube"})
_PINNED = (Form.PINS, Form.WINDINGS, Form.POLES)
_DIODES = ("bridge", "diode", "selenium")
_INPUTS = {"jack": ("tip", "ring"), "pickup": ("signal",), "microphone": ("signal",)}


def works(survey: Survey) -> frozenset[Fact]:
    """Return what works: primaries on both blades, rectifiers on a winding or on the line, heaters
    with a way for their current, plates, screens and filters on B+, cathodes and grids with a
    return, signal from every input to every load, and every wired pin of a tube, transformer, jack
    and the like.
    """
    wiring = _Wiring(survey)
    return frozenset(
        (
            *wiring.primaries(),
            *wiring.rectifiers(),
            *wiring.heaters(),
            *wiring.electrodes(),
            *wiring.signals(),
            *wiring.pins(),
        )
    )


class _Wiring:
    def __init__(self, survey: Survey) -> None:
        self.survey, self.rail = survey, survey.rail
        self.parts = survey.circuit.parts
        self.common = frozenset(
            self.rail[node]
            for part in survey.of_kind("electrolytic")
            for terminal, node in part.pins
            if terminal == "minus"
        )
        self.decoupled = self.common | {
            self.rail[node]
            for part in survey.of_kind("electrolytic")
            for terminal, node in part.pins
            if terminal == "plus" and not self._is_bypass(node)
        }

    def _is_bypass(self, node: str) -> bool:
        """Return whether a cathode is at a node, so that a capacitor there bypasses its bias."""
        return any(
            name.endswith("cathode")
            for part, terminal in self.survey.circuit.at.get(node, ())
            if part.kind == "tube"
            for name in elements(part, terminal)
        )

    def _points(self, nodes: Iterable[str]) -> list[str]:
        return [self.rail[node] for node in nodes]

    @cached_property
    def _galvanic(self) -> list[tuple[Part, list[str]]]:
        """The points that direct current gets between, a part but no tube at a time."""
        net, rail = self.survey.net, self.rail
        runs = [
            (part, [rail[node] for _, node in net.pins[number]])
            for number, (part, how) in enumerate(zip(net.part, net.how, strict=True))
            if how == CONDUCTS and part.kind not in _BY_GROUPS and not net.is_closed(number)
        ]
        for part in self.survey.of_kind(*_WOUND):
            runs += [
                (part, self._points(part.at(name) for name in group.terminals))
                for group in groups(part)
                if group.how == "conducts"
            ]
        return runs

    def pins(self) -> Iterator[Fact]:
        """Return the wired pins of parts that are more than a lead, a resistor or a capacitor."""
        for part in self.parts:
            if part.kind != "socket" and KINDS[part.kind].form in _PINNED:
                for terminal, _ in part.pins:
                    yield "pin", part.name, terminal

    # the line and the heaters

    def primaries(self) -> Iterator[Fact]:
        """Return the primary windings and motors that both blades of a plug reach."""
        sides = self._line_sides()
        for part in self.survey.of_kind("transformer", "autotransformer", "motor"):
            runs = strands(part) if part.kind != "motor" else (("1", "2"),)
            for run in runs:
                ends = [part.node(run[0]), part.node(run[-1])]
                met = [{blade for blade, side in sides.items() if end in side} for end in ends]
                if any(one != other for one in met[0] for other in met[1]):
                    yield "primary", part.name, run[0]

    @cached_property
    def line_feeds(self) -> bool:
        """Whether the line itself may feed heaters: a set with a power transformer has windings for
        that.
        """
        return not any(fact[0] == "primary" for fact in self.primaries())

    def _line_sides(self) -> dict[str, frozenset[str]]:
        """Return the nodes that each blade reaches through what only leads, breaks or limits."""
        net = self.survey.net

        def leads(number: int) -> bool:
            part = net.part[number]
            return net.is_closed(number) or (part.kind in _LINE_PARTS and "neon" not in part.words)

        return {node: frozenset(net.reach((node,), leads)) for node in self.survey.ties.blades}

    def heaters(self) -> Iterator[Fact]:
        """Return the tubes whose heater current has a way from end to end outside the tube."""
        heated = [
            (part.name, ends)
            for part in self.survey.of_kind("tube")
            for ends in self._heater_ends(part)
        ]
        if not heated:
            return
        low = Merged()
        blades = self._points(self.survey.ties.blades) if self.line_feeds else []
        for run in (blades, *(run for part, run in self._galvanic if _carries(part))):
            for other in run[1:]:
                low.join(run[0], other)
        series = [
            (part.name, [low.find(self.rail[node]) for _, node in part.pins])
            for part in self.survey.of_kind("resistor", "thermistor", "lamp")
            if len(part.pins) == 2 and (part.value("resistance") or 0.0) < _NO_HEATER_CURRENT
        ]
        heated = [(name, [low.find(point) for point in ends]) for name, ends in heated]
        for name, ends in heated:
            if ends[0] == ends[1] or _joined(ends, [*series, *heated], without=name):
                yield "heater", name

    def _heater_ends(self, part: Part) -> Iterator[list[str]]:
        """Return the two points between which a heater is wired in one of its printed ways."""
        known = library.find(part.type)
        at = {pin: self.rail[node] for pin, node in part.pins}
        for way in known.heater.ways if known else ():
            ends = [{at.get(pin, "") for pin in side} for side in way.between]
            if all(len(end) == 1 and "" not in end for end in ends) and ends[0] != ends[1]:
                yield [ends[0].pop(), ends[1].pop()]
                return

    # B+, returns and signal

    @cached_property
    def fed(self) -> dict[str, tuple[str, ...]]:
        """Every rectifier that a winding or the line feeds, with the points where its B+ begins."""
        merged = Merged()
        if not any(self.survey.of_kind(*_DIODES, "tube")):
            return {}
        for part, run in self._galvanic:
            if part.kind not in _DIODES:
                off = [point for point in run if point not in self.common]
                for other in off[1:]:
                    merged.join(off[0], other)
        sources = {merged.find(point) for point in self._points(self.survey.ties.blades)}
        for part in self.survey.of_kind("transformer", "autotransformer"):
            sources.update(merged.find(self.rail[node]) for _, node in part.pins)
        fed: dict[str, tuple[str, ...]] = {}
        for part in self.survey.of_kind(*_DIODES, "tube"):
            ends = list(_poles(part))
            if any(merged.find(self.rail[node]) in sources for pole, node in ends if pole == "in"):
                fed[part.name] = tuple(self.rail[node] for pole, node in ends if pole == "out")
        return fed

    def rectifiers(self) -> Iterator[Fact]:
        """Return the rectifiers that a winding or the line feeds."""
        return (("rectifier", name) for name in self.fed)

    @cached_property
    def _supplied(self) -> Merged:
        """Points that direct current joins without passing through common."""
        merged = Merged()
        for _, run in self._galvanic:
            off = [point for point in run if point not in self.common]
            for other in off[1:]:
                merged.join(off[0], other)
        return merged

    @cached_property
    def _returned(self) -> Merged:
        """Points that direct current joins."""
        merged = Merged()
        for _, run in self._galvanic:
            for other in run[1:]:
                merged.join(run[0], other)
        return merged

    def electrodes(self) -> Iterator[Fact]:
        """Return plates and screens that B+ reaches, cathodes and grids with a way to common."""
        if not any(self.survey.of_kind("tube", "electrolytic")):
            return
        begins = [point for points in self.fed.values() for point in points]
        mains = self.survey.circuit.mains
        if mains is not None and not mains.hertz:
            begins += self._points(self.survey.ties.blades)  # direct mains are B+ as they come
        sources = {self._supplied.find(point) for point in begins}
        common = {self._returned.find(point) for point in self.common}
        for part in self.survey.of_kind("electrolytic"):
            node = part.node("plus")
            if node is not None and self._supplied.find(self.rail[node]) in sources:
                yield "B+", part.name, "plus"
        for part in self.survey.of_kind("tube"):
            for pin, node in part.pins:
                names = {name.rpartition(".")[2] for name in elements(part, pin)}
                point = self.rail[node]
                if names & {"plate", "screen"} and self._supplied.find(point) in sources:
                    yield "B+", part.name, pin
                if names & {"cathode", "grid"} and self._returned.find(point) in common:
                    yield "return", part.name, pin

    def signals(self) -> Iterator[Fact]:
        """Return (input, load) for every input whose signal gets to a load."""
        loads = {
            self.rail[node]: part.name
            for part in self.survey.of_kind("speaker", "dummy load")
            for terminal, node in part.pins
            if terminal in ("1", "2") and self.rail[node] not in self.decoupled
        }
        inputs = list(self.survey.of_kind(*_INPUTS)) if loads else []
        onward = self._signal_ways() if inputs else {}
        for part in inputs:
            if {"output", "speaker"}.isdisjoint(part.words):
                for terminal in _INPUTS[part.kind]:
                    node = part.node(terminal)
                    for name in dict.fromkeys(self._loads_from(node, onward, loads)):
                        yield "signal", part.name, name

    def _loads_from(
        self, node: str | None, onward: dict[str, list[str]], loads: dict[str, str]
    ) -> Iterator[str]:
        reached = dict.fromkeys([] if node is None else [self.rail[node]])
        waiting = list(reached)
        while waiting:
            point = waiting.pop()
            if point in loads:
                yield loads[point]
            for other in onward.get(point, ()):
                if other not in reached and other not in self.decoupled:
                    reached[other] = None
                    waiting.append(other)

    def _signal_ways(self) -> dict[str, list[str]]:
        onward: dict[str, list[str]] = {}
        for part in self.parts:
            points = {terminal: self.rail[node] for terminal, node in part.pins}
            if part.kind in _SIGNAL or part.kind in ("transformer", "output transformer"):
                for one in points.values():
                    onward.setdefault(one, []).extend(points.values())
            elif part.kind == "tube":
                for one, other in _amplified(part):
                    onward.setdefault(points[one], []).append(points[other])
            elif part.kind == "jack" and {"tip", "break"} <= points.keys():
                onward.setdefault(points["tip"], []).append(points["break"])
        return onward


def elements(part: Part, pin: str) -> tuple[str, ...]:
    """Return what is on a pin of a tube, such as ``triode1.grid``; nothing for an unknown type."""
    known = library.find(part.type)
    return known.elements_of(pin) if known is not None else ()


def _poles(part: Part) -> Iterator[tuple[str, str]]:
    """Return (``in`` or ``out``, node) of the sides of a rectifier: alternating volts, and B+."""
    if part.kind != "tube":
        for terminal, node in part.pins:
            if terminal in ("anode", "ac1", "ac2", "cathode", "plus"):
                yield "out" if terminal in ("cathode", "plus") else "in", node
        return
    known = library.find(part.type)
    if known is None or not known.has_rectifier_unit:
        return
    for pin, node in part.pins:
        for name in known.elements_of(pin):
            unit, _, element = name.rpartition(".")
            if known.is_rectifier or unit == "rectifier":
                if element.rstrip("0123456789") == "plate":
                    yield "in", node
                elif element == "cathode" or element.startswith("heater"):
                    yield "out", node


def _amplified(part: Part) -> Iterator[tuple[str, str]]:
    """Return (pin in, pin out) of every way a signal gets through a tube."""
    at: dict[str, dict[str, str]] = {}
    for pin, _ in part.pins:
        for name in elements(part, pin):
            unit, _, element = name.rpartition(".")
            at.setdefault(unit, {})[element] = pin
    for pins in at.values():
        for near in ("grid", "cathode"):
            for far in ("plate", "cathode"):
                if near in pins and far in pins and near != far:
                    yield pins[near], pins[far]


def _carries(part: Part) -> bool:
    return part.kind not in ("resistor", "thermistor", "lamp", "pot")


def _joined(ends: list[str], edges: list[tuple[str, list[str]]], *, without: str) -> bool:
    """Return whether edges between points join two ends, one part left out."""
    merged = Merged()
    for name, points in edges:
        if name != without:
            merged.join(points[0], points[1])
    return merged.find(ends[0]) == merged.find(ends[1])
