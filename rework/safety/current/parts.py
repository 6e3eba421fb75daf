"""What each part is to a current at line frequency, in every condition it may believably be in.

Unknown means worst: a part without its value is taken once as a short and once as open, and that is said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise, product
from typing import NamedTuple

from rework.circuit.circuit import Circuit
from rework.circuit.parts import KINDS, Part, strands
from rework.safety.current.element import Element
from rework.safety.current.windings import wound
from rework.safety.links import METALWORK, closed_contacts, groups, joints_of, mated, positions
from rework.tubes import library

EARTH = "(earth)"


class Condition(NamedTuple):
    """How everything that varies stands at once: semiconductors and tubes, heaters, the wipers of pots."""

    conducting: bool
    hot: bool
    stop: str

    def words(self) -> str:
        """Return the condition as a phrase."""
        return (f"tubes and rectifiers {'conducting' if self.conducting else 'not conducting'}, "
                f"heaters {'hot' if self.hot else 'cold'}, pots at {self.stop}")


CONDITIONS = tuple(Condition(*row) for row in product((True, False), (True, False), ("ccw", "cw")))


@dataclass(frozen=True, slots=True)
class Model:
    """A circuit as elements, with what had to be assumed because a value was not written."""

    circuit: Circuit
    elements: tuple[Element, ...]
    unknown: tuple[str, ...]
    unknown_parts: frozenset[str]


def model(circuit: Circuit, assumed: Mapping[str, float]) -> Model:
    """Return the elements of a circuit on its outlet: hot, neutral and earth conductors, parts, contacts."""
    build = _Build(circuit, assumed)
    for part in circuit.parts:
        build.add(part)
    build.contacts()
    return Model(circuit, tuple(build.elements), tuple(build.unknown), frozenset(build.unknown_parts))


class _Build:
    def __init__(self, circuit: Circuit, assumed: Mapping[str, float]) -> None:
        self.circuit, self.assumed = circuit, assumed
        self.elements: list[Element] = []
        self.unknown: list[str] = []
        self.unknown_parts: set[str] = set()

    def add(self, part: Part) -> None:
        how = _KINDS.get(part.kind)
        if how is None:
            passes = KINDS[part.kind].passes if part.kind in KINDS else "conducts"
            how = {"conductor": _conductor, "nothing": _nothing, "conducts": _resistive}.get(passes, _by_groups)
        for element in how(self, part):
            if element.nodes[0] != element.nodes[1] or len(element.nodes) > 2:
                self.elements.append(element)

    def contacts(self) -> None:
        for pair in mated(self.circuit):
            for one, here, other, there in joints_of(self.circuit, pair):
                nodes = (self.circuit.by_name[one].node(here), self.circuit.by_name[other].node(there))
                if nodes[0] != nodes[1]:
                    self.elements.append(Element(one, f"{one}.{here} to {other}.{there}", nodes, self.constant(1 / self.assumed["conductor_ohm"]),
                                                 gate=("umbilical", pair[0]), kind="contact"))

    @staticmethod
    def constant(siemens: float) -> tuple[float, ...]:
        return (siemens,) * len(CONDITIONS)

    @staticmethod
    def vary(siemens: Callable[[Condition], float]) -> tuple[float, ...]:
        return tuple(siemens(condition) for condition in CONDITIONS)

    def either(self, ohms: float | None = None) -> tuple[float, ...]:
        """Return a path that is there in one half of the conditions and not in the other."""
        siemens = 1 / (ohms or self.assumed["conducting_ohm"])
        return self.vary(lambda condition: siemens if condition.conducting else 0.0)

    def not_written(self, part: Part, what: str) -> tuple[float, ...]:
        """Return a short and an open, for a part whose value is not written, and take note."""
        self.unknown.append(f"{part.name} has no {what} written: taken as a short and as open, whichever is worse")
        self.unknown_parts.add(part.name)
        return self.either(self.assumed["short_ohm"])

    def low(self, part: Part, ohms: float) -> float:
        """Return the siemens of a resistance at the low end of its tolerance."""
        tolerance = part.value("fraction")
        return 1 / max(ohms * (1 - min(self.assumed["tolerance"] if tolerance is None else tolerance, 0.99)), 1e-3)

    def pair(self, part: Part, one: str, other: str, siemens: tuple[float, ...], name: str = "", **more) -> Element:
        nodes = (part.node(one), part.node(other))
        return Element(part.name, name or f"{part.name} {one}-{other}", nodes, siemens, **more)


def _nothing(build: _Build, part: Part) -> Iterator[Element]:
    """Return the conductors that feed a plug, the closed contact of a jack, or nothing."""
    if part.kind == "plug":
        for terminal, node in part.pins:
            if terminal == "earth":
                yield Element(part.name, f"earth conductor at {part.name}", (node, EARTH), build.constant(1 / build.assumed["earth_ohm"]),
                              gate=("earth", part.name), kind="earth")
            else:
                # Hot or neutral, it ends at the source, whose other end is earthed: in series with the feed.
                ohms = build.assumed["line_ohm"]
                yield Element(part.name, f"{part.name}.{terminal} to the outlet", (node, EARTH), build.constant(1 / ohms),
                              gate=("blade", part.name, terminal), kind="blade")
    elif part.kind == "jack":
        bound = [terminal for terminal, _ in part.pins if terminal in ("tip", "break")]
        for one, other in pairwise(bound):
            yield build.pair(part, one, other, build.constant(1 / build.assumed["conductor_ohm"]))


def _conductor(build: _Build, part: Part) -> Iterator[Element]:
    siemens = build.constant(1 / build.assumed["conductor_ohm"])
    runs = strands(part) if part.kind == "shielded cable" else (tuple(terminal for terminal, _ in part.pins),)
    for run in runs:
        for one, other in pairwise(run):
            yield build.pair(part, one, other, siemens, part.name if len(runs) == 1 else "", kind="conductor")


def _by_groups(build: _Build, part: Part) -> Iterator[Element]:
    """Return a path between all terminals of every group, for kinds not known closer: fail closed."""
    for group in groups(part):
        if group.how != "isolated":
            for one, other in pairwise(group.terminals):
                yield build.pair(part, one, other, build.not_written(part, "model"))


def _metal(build: _Build, part: Part) -> Iterator[Element]:
    inside = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    for terminal, _ in part.pins:
        if terminal in METALWORK and inside and not (terminal == "shaft" and "plastic-shaft" in part.words):
            yield build.pair(part, inside[0], terminal, build.constant(0.0), f"{part.name} to its {terminal}",
                             farads=build.assumed["metalwork_farad"], kind="insulation")


def _resistive(build: _Build, part: Part) -> Iterator[Element]:
    inside = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    yield from _metal(build, part)
    if len(inside) < 2:
        return
    hot, cold = _hot_and_cold(build, part)
    if part.kind in ("resistor", "speaker", "dummy load") and hot is not None:
        siemens = build.constant(build.low(part, hot))
    elif hot is None:
        siemens = build.not_written(part, "resistance")
    else:
        siemens = build.vary(lambda condition: 1 / max(hot if condition.hot else cold, 1e-3))
    for one, other in pairwise(inside):
        yield build.pair(part, one, other, siemens, part.name if len(inside) == 2 else "")


def _hot_and_cold(build: _Build, part: Part) -> tuple[float | None, float]:
    """Return the resistance of a two-terminal part hot and cold, or None where nothing written gives it."""
    if part.kind == "thermistor":
        hot, cold = (part.value("resistance", role=role) for role in ("hot", "cold"))
        plain = part.value("resistance")
        known = [value for value in (hot, cold, plain) if value]
        return (hot or min(known), cold or min(known)) if known else (None, 0.0)
    ohms = part.value("resistance")
    volts, amps, watts = part.value("voltage"), part.value("current"), part.value("power")
    if ohms is None and part.kind in ("lamp", "motor") and volts:
        ohms = volts / amps if amps else volts * volts / watts if watts else None
    if ohms is None or (part.kind == "lamp" and "neon" in part.words):
        return None, 0.0
    return ohms, ohms / build.assumed["cold_ratio"] if part.kind == "lamp" else ohms


def _fuse(build: _Build, part: Part) -> Iterator[Element]:
    yield build.pair(part, "1", "2", build.constant(1 / build.assumed["fuse_ohm"]), part.name, kind="fuse")


def _pot(build: _Build, part: Part) -> Iterator[Element]:
    yield from _metal(build, part)
    bound = [terminal for terminal in ("ccw", "wiper", "cw") if part.node(terminal) is not None]
    ohms = part.value("resistance")
    track = build.not_written(part, "resistance") if ohms is None else build.constant(build.low(part, ohms))
    contact = 1 / build.assumed["conductor_ohm"]
    if "wiper" in bound:
        for end in ("ccw", "cw"):
            if end in bound:
                at_end = tuple(contact if condition.stop == end else siemens for condition, siemens in zip(CONDITIONS, track, strict=True))
                yield build.pair(part, end, "wiper", at_end)
    elif len(bound) == 2:
        yield build.pair(part, *bound, track)


def _capacitor(build: _Build, part: Part) -> Iterator[Element]:
    bound = [terminal for terminal, _ in part.pins]
    if len(bound) < 2:
        return
    farads, tolerance = part.value("capacitance"), part.value("fraction")
    if farads is None:
        yield build.pair(part, *bound[:2], build.not_written(part, "capacitance"), part.name, kind="capacitor")
        return
    farads *= 1 + (build.assumed["tolerance"] if tolerance is None else tolerance)
    age = "electrolytic" if part.kind == "electrolytic" else "paper" if "paper" in part.words else "film"
    yield build.pair(part, *bound[:2], build.constant(farads / build.assumed[f"{age}_leak_second"]), part.name, farads=farads, kind="capacitor")


def _choke(build: _Build, part: Part) -> Iterator[Element]:
    ohms, henries = part.value("resistance"), part.value("inductance")
    siemens = build.not_written(part, "resistance") if ohms is None else build.constant(build.low(part, ohms))
    yield build.pair(part, "1", "2", siemens, part.name, henries=henries or 0.0)


def _rectifier(build: _Build, part: Part) -> Iterator[Element]:
    pairs = (("minus", "ac1"), ("minus", "ac2"), ("ac1", "plus"), ("ac2", "plus")) if part.kind == "bridge" else (("anode", "cathode"),)
    for anode, cathode in pairs:
        if part.node(anode) is not None and part.node(cathode) is not None:
            yield build.pair(part, anode, cathode, build.either(), part.name if len(pairs) == 1 else "", farads=build.assumed["junction_farad"],
                             rectifies=True, kind="rectifier")


def _pickup(build: _Build, part: Part) -> Iterator[Element]:
    if len(part.pins) < 2:
        return
    ohms, farads = part.value("resistance"), part.value("capacitance")
    if ohms is None and farads is None:
        siemens = build.either()
    else:
        siemens = build.constant(build.low(part, ohms) if ohms else 0.0)
    yield build.pair(part, "signal", "shield", siemens, part.name, farads=farads or 0.0)


def _switch(build: _Build, part: Part) -> Iterator[Element]:
    closed: dict[tuple[str, str], list[str]] = {}
    for position in positions(part):
        for contacts in closed_contacts(part, position):
            for pair in pairwise(contacts):
                closed.setdefault(pair, []).append(position)
    for pair, where in closed.items():
        yield build.pair(part, *pair, build.constant(1 / build.assumed["conductor_ohm"]), gate=("switch", part.name, *where), kind="switch")


def _tube(build: _Build, part: Part) -> Iterator[Element]:
    known = library.find(part.type) if part.type else None
    bound = tuple(terminal for terminal, _ in part.pins)
    heaters = _heater_pins(known, bound)
    for group in groups(part):
        if len(heaters) > 1 and set(group.terminals) <= heaters:
            yield from _heater(build, part, known, group.terminals)
        elif known is None:
            for one, other in combinations(group.terminals, 2):
                yield build.pair(part, one, other, build.not_written(part, "type in the library"), kind="tube")
        else:
            plates = [pin for pin in group.terminals if any(name.rpartition(".")[2].startswith("plate") for name in known.elements_of(pin))]
            cathodes = [pin for pin in group.terminals if any(name.endswith("cathode") for name in known.elements_of(pin))]
            rectifies = known.has_rectifier_unit
            hub = (cathodes or list(group.terminals))[0]
            for pin in group.terminals:
                if pin != hub:
                    yield build.pair(part, pin, hub, build.either(), rectifies=rectifies and pin in plates and hub in cathodes, kind="tube")


def _heater_pins(known, bound: tuple[str, ...]) -> set[str]:
    if known is None:
        return set()
    return {pin for pin in bound for name in known.elements_of(pin) if name.rpartition(".")[2].startswith(("heater", "lamp-tap"))}


def _heater(build: _Build, part: Part, known, pins: tuple[str, ...]) -> Iterator[Element]:
    """Return the heater hot at its printed volts over amperes, cold a seventh of it; shared evenly where it is tapped."""
    way = max(known.heater.ways, key=lambda way: way.volts.value / way.amps.value, default=None) if known.heater else None
    order = [pin for pin in pins if "tap" not in "".join(known.elements_of(pin))]
    taps = [pin for pin in pins if pin not in order]
    chain = [*order[:1], *taps, *order[1:]] if order else list(taps)
    if way is None:
        siemens = build.not_written(part, "heater volts and amperes in the library")
    else:
        ohms = way.volts.value / way.amps.value / max(len(chain) - 1, 1)
        siemens = build.vary(lambda condition: (1.0 if condition.hot else build.assumed["cold_ratio"]) / ohms)
    for one, other in pairwise(chain):
        yield build.pair(part, one, other, siemens, f"{part.name} heater {one}-{other}", kind="heater")


_KINDS: dict[str, Callable[[_Build, Part], Iterator[Element]]] = {
    "fuse": _fuse, "pot": _pot, "capacitor": _capacitor, "electrolytic": _capacitor, "choke": _choke, "diode": _rectifier,
    "selenium": _rectifier, "bridge": _rectifier, "pickup": _pickup, "microphone": _pickup, "switch": _switch, "tube": _tube,
    "transformer": wound, "output transformer": wound, "autotransformer": wound, "connector": _nothing,
}
