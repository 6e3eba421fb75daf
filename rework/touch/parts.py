"""What each part is to a current at line frequency, in every condition it may believably be in.

Unknown means worst: a part without its value is taken once as a short and once as open, and that is
said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise

from rework.anatomy.links import METALWORK, closed_contacts, groups, joints_of, mated, positions
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part, strands
from rework.safety.net import State
from rework.safety.ties import bonded_to_earth, umbilical_states
from rework.touch.element import Axis, Element, Variant
from rework.touch.windings import wound
from rework.tubes import library

EARTH = "(earth)"
#: The kinds of axes in the order in which they are told.
AXES = ("conducts", "unknown", "pot", "insulation")
#: Insulation to metalwork that is not earthed, of all parts at once.
TO_METAL = Axis("insulation", "to unearthed metal")


@dataclass(frozen=True)
class Model:
    """A circuit as elements, what may be there beside them, and what had to be assumed because a
    value was not written.

    ``unproved`` names insulation that no standard vouches for: it is taken as whole and as broken
    down, whichever is worse.
    """

    circuit: Circuit
    elements: tuple[Element, ...]
    variants: tuple[Variant, ...]
    unknown: tuple[str, ...]
    unproved: tuple[str, ...]

    @cached_property
    def axes(self) -> tuple[Axis, ...]:
        """What may stand in either of two ways, in the order of the file, insulation last."""
        found = dict.fromkeys(variant.axis for variant in self.variants)
        return tuple(
            sorted(found, key=lambda axis: (AXES.index(axis.kind), list(found).index(axis)))
        )


def model(circuit: Circuit, assumed: Mapping[str, float]) -> Model:
    """Return the elements of a circuit on its outlet: hot, neutral and earth conductors, parts,
    contacts.
    """
    build = _Build(circuit, assumed)
    for part in circuit.parts:
        build.add(part)
    build.contacts()
    build.plugs()
    variants = tuple(variant for variant in build.variants if variant.nodes[0] != variant.nodes[1])
    return Model(
        circuit, tuple(build.elements), variants, tuple(build.unknown), tuple(build.unproved)
    )


class _Build:
    def __init__(self, circuit: Circuit, assumed: Mapping[str, float]) -> None:
        self.circuit, self.assumed = circuit, assumed
        self.elements: list[Element] = []
        self.variants: list[Variant] = []
        self.unknown: list[str] = []
        self.unproved: list[str] = []

    def add(self, part: Part) -> None:
        how = _KINDS.get(part.kind)
        if how is None:
            passes = KINDS[part.kind].passes if part.kind in KINDS else "conducts"
            how = {"conductor": _conductor, "nothing": _nothing, "conducts": _resistive}.get(
                passes, _by_groups
            )
        for element in how(self, part):
            if element.nodes[0] != element.nodes[1] or len(element.nodes) > 2:
                self.elements.append(element)

    def contacts(self) -> None:
        for pair in mated(self.circuit):
            for one, here, other, there in joints_of(self.circuit, pair):
                nodes = (
                    self.circuit.by_name[one].node(here),
                    self.circuit.by_name[other].node(there),
                )
                if nodes[0] != nodes[1]:
                    self.elements.append(
                        Element(
                            one,
                            f"{one}.{here} to {other}.{there}",
                            nodes,
                            1 / self.assumed["conductor_ohm"],
                            gate=("umbilical", pair[0]),
                            kind="contact",
                        )
                    )

    def plugs(self) -> None:
        """Take note of a netlist that no plug drives, or more than one: then what is under a limit
        is under it by default.
        """
        fed = sorted({element.part for element in self.elements if element.kind == "blade"})
        if not fed:
            self.unknown.append(
                "no blade of a plug is on anything, so no current was driven: attach the supply, or"
                " write the plug and where its blades go"
            )
        elif len(fed) > 1:
            self.unknown.append(
                f"{' and '.join(fed)} were turned in their outlets together: one of them the other"
                " way round was not tried; leave one plug"
            )

    @cached_property
    def earthed(self) -> frozenset[str]:
        """The nodes that conductors join to the earth of a plug, whichever umbilical is pulled."""
        states = [State(connectors=connectors) for connectors in umbilical_states(self.circuit)]
        return frozenset.intersection(*(bonded_to_earth(self.circuit, state) for state in states))

    def maybe(
        self,
        part: Part,
        one: str,
        other: str,
        axis: Axis,
        name: str = "",
        *,
        ohms: float | None = None,
        position: int = 1,
        **more,
    ) -> Element:
        """Return a path that is there in one position of an axis only; what is there in the other
        is in ``more``.
        """
        element = self.pair(part, one, other, name=name, **more)
        if axis.kind == "insulation":
            self.unproved.append(element.name)
        self.variants.append(
            Variant(
                axis,
                position,
                part.name,
                element.name,
                element.nodes,
                1 / (ohms or self.assumed["conducting_ohm"]),
                rectifies=element.rectifies,
            )
        )
        return element

    def missing(self, part: Part, words: str) -> None:
        if words not in self.unknown:
            self.unknown.append(words)

    def not_written(
        self, part: Part, one: str, other: str, what: str, name: str = "", **more
    ) -> Element:
        """Return an open and a short, for a part whose value is not written, and take note."""
        self.missing(
            part,
            f"{part.name} has no {what} written: taken as a short and as open, whichever is worse",
        )
        return self.maybe(
            part,
            one,
            other,
            Axis("unknown", part.name),
            name,
            ohms=self.assumed["short_ohm"],
            **more,
        )

    def insulated(self, part: Part, terminal: str, metal_part: Part, metal: str) -> Element:
        """Return the insulation from a part to metalwork.

        Where that is not earthed nobody vouches for it: it also counts as broken down.
        """
        inside, node = part.node(terminal), metal_part.node(metal)
        name = (
            f"{part.name} to its {metal}"
            if part is metal_part
            else f"{part.name} to the {metal} of {metal_part.name}"
        )
        if node not in self.earthed:
            self.unproved.append(name)
            self.variants.append(
                Variant(
                    TO_METAL, 1, part.name, name, (inside, node), 1 / self.assumed["conducting_ohm"]
                )
            )
        return Element(
            part.name,
            name,
            (inside, node),
            0.0,
            farads=self.assumed["metalwork_farad"],
            kind="insulation",
        )

    def low(self, part: Part, ohms: float) -> float:
        """Return the siemens of a resistance at the low end of its tolerance."""
        tolerance = part.value("fraction")
        return 1 / max(
            ohms * (1 - min(self.assumed["tolerance"] if tolerance is None else tolerance, 0.99)),
            1e-3,
        )

    def pair(
        self, part: Part, one: str, other: str, siemens: float = 0.0, name: str = "", **more
    ) -> Element:
        nodes = (part.node(one), part.node(other))
        return Element(part.name, name or f"{part.name} {one}-{other}", nodes, siemens, **more)


def _nothing(build: _Build, part: Part) -> Iterator[Element]:
    """Return the conductors that feed a plug, the closed contact of a jack, or nothing."""
    if part.kind == "plug":
        for terminal, node in part.pins:
            if terminal == "earth":
                yield Element(
                    part.name,
                    f"earth conductor at {part.name}",
                    (node, EARTH),
                    1 / build.assumed["earth_ohm"],
                    gate=("earth", part.name),
                    kind="earth",
                )
            else:
                # Hot or neutral, it ends at the source, whose other end is earthed: in series with
                # the feed.
                ohms = build.assumed["line_ohm"]
                yield Element(
                    part.name,
                    f"{part.name}.{terminal} to the outlet",
                    (node, EARTH),
                    1 / ohms,
                    gate=("blade", part.name, terminal),
                    kind="blade",
                )
    elif part.kind == "jack":
        bound = [terminal for terminal, _ in part.pins if terminal in ("tip", "break")]
        for one, other in pairwise(bound):
            yield build.pair(part, one, other, 1 / build.assumed["conductor_ohm"])


def _conductor(build: _Build, part: Part) -> Iterator[Element]:
    siemens = 1 / build.assumed["conductor_ohm"]
    runs = (
        strands(part)
        if part.kind == "shielded cable"
        else (tuple(terminal for terminal, _ in part.pins),)
    )
    for run in runs:
        for one, other in pairwise(run):
            yield build.pair(
                part, one, other, siemens, part.name if len(runs) == 1 else "", kind="conductor"
            )


def _by_groups(build: _Build, part: Part) -> Iterator[Element]:
    """Return a path between all terminals of every group, for kinds not known closer: fail closed."""
    for group in groups(part):
        if group.how != "isolated":
            for one, other in pairwise(group.terminals):
                yield build.not_written(part, one, other, "model")


def _metal(build: _Build, part: Part) -> Iterator[Element]:
    inside = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    for terminal, _ in part.pins:
        if (
            terminal in METALWORK
            and inside
            and not (terminal == "shaft" and "plastic-shaft" in part.words)
        ):
            yield build.insulated(part, inside[0], part, terminal)


def _resistive(build: _Build, part: Part) -> Iterator[Element]:
    inside = [terminal for terminal, _ in part.pins if terminal not in METALWORK]
    yield from _metal(build, part)
    if len(inside) < 2:
        return
    hot, cold = _hot_and_cold(build, part)
    for one, other in pairwise(inside):
        name = part.name if len(inside) == 2 else ""
        if hot is None:
            yield build.not_written(part, one, other, "resistance", name)
        elif part.kind in ("resistor", "speaker", "dummy load"):
            yield build.pair(part, one, other, build.low(part, hot), name)
        else:
            yield build.pair(
                part,
                one,
                other,
                1 / max(hot, 1e-3),
                name,
                cold=0.0 if cold == hot else 1 / max(cold, 1e-3),
            )


def _hot_and_cold(build: _Build, part: Part) -> tuple[float | None, float]:
    """Return the resistance of a two-terminal part hot and cold, or None where nothing written
    gives it.
    """
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
    yield build.pair(part, "1", "2", 1 / build.assumed["fuse_ohm"], part.name, kind="fuse")


def _pot(build: _Build, part: Part) -> Iterator[Element]:
    yield from _metal(build, part)
    bound = [terminal for terminal in ("ccw", "wiper", "cw") if part.node(terminal) is not None]
    ohms = part.value("resistance")

    def track(one: str, other: str) -> Element:
        return (
            build.not_written(part, one, other, "resistance")
            if ohms is None
            else build.pair(part, one, other, build.low(part, ohms))
        )

    if "wiper" in bound:
        for position, end in enumerate(("ccw", "cw")):
            if end in bound:
                found = track(end, "wiper")
                build.variants.append(
                    Variant(
                        Axis("pot", part.name),
                        position,
                        part.name,
                        found.name,
                        found.nodes,
                        1 / build.assumed["conductor_ohm"],
                    )
                )
                yield found
    elif len(bound) == 2:
        yield track(*bound)


def _capacitor(build: _Build, part: Part) -> Iterator[Element]:
    bound = [terminal for terminal, _ in part.pins]
    if len(bound) < 2:
        return
    farads, tolerance = part.value("capacitance"), part.value("fraction")
    if farads is None:
        yield build.not_written(part, *bound[:2], "capacitance", part.name, kind="capacitor")
        return
    farads *= 1 + (build.assumed["tolerance"] if tolerance is None else tolerance)
    age = (
        "electrolytic"
        if part.kind == "electrolytic"
        else "paper"
        if "paper" in part.words
        else "film"
    )
    yield build.pair(
        part,
        *bound[:2],
        farads / build.assumed[f"{age}_leak_second"],
        part.name,
        farads=farads,
        kind="capacitor",
    )


def _choke(build: _Build, part: Part) -> Iterator[Element]:
    ohms, henries = part.value("resistance"), part.value("inductance")
    if ohms is None:
        yield build.not_written(part, "1", "2", "resistance", part.name)
    else:
        yield build.pair(part, "1", "2", build.low(part, ohms), part.name, henries=henries or 0.0)


def _rectifier(build: _Build, part: Part) -> Iterator[Element]:
    pairs = (
        (("minus", "ac1"), ("minus", "ac2"), ("ac1", "plus"), ("ac2", "plus"))
        if part.kind == "bridge"
        else (("anode", "cathode"),)
    )
    for anode, cathode in pairs:
        if part.node(anode) is not None and part.node(cathode) is not None:
            name = part.name if len(pairs) == 1 else f"{part.name} {anode}-{cathode}"
            yield build.maybe(
                part,
                anode,
                cathode,
                Axis("conducts", name),
                name,
                farads=build.assumed["junction_farad"],
                rectifies=True,
                kind="rectifier",
            )


def _pickup(build: _Build, part: Part) -> Iterator[Element]:
    if len(part.pins) < 2:
        return
    ohms, farads = part.value("resistance"), part.value("capacitance")
    if ohms is None and farads is None:
        yield build.maybe(part, "signal", "shield", Axis("conducts", part.name), part.name)
    else:
        yield build.pair(
            part,
            "signal",
            "shield",
            build.low(part, ohms) if ohms else 0.0,
            part.name,
            farads=farads or 0.0,
        )


def _switch(build: _Build, part: Part) -> Iterator[Element]:
    closed: dict[tuple[str, str], list[str]] = {}
    for position in positions(part):
        for contacts in closed_contacts(part, position):
            for pair in pairwise(contacts):
                closed.setdefault(pair, []).append(position)
    for pair, where in closed.items():
        yield build.pair(
            part,
            *pair,
            1 / build.assumed["conductor_ohm"],
            gate=("switch", part.name, *where),
            kind="switch",
        )
    pot = build.circuit.by_name.get(part.setting("on"))
    if (
        pot is not None
        and pot.kind == "pot"
        and "plastic-shaft" not in pot.words
        and pot.node("shaft")
    ):
        yield build.insulated(part, part.pins[0][0], pot, "shaft")


def _tube(build: _Build, part: Part) -> Iterator[Element]:
    known = library.find(part.type) if part.type else None
    bound = tuple(terminal for terminal, _ in part.pins)
    heaters = _heater_pins(known, bound)
    for group in groups(part):
        if len(heaters) > 1 and set(group.terminals) <= heaters:
            yield from _heater(build, part, known, group.terminals)
        elif known is None:
            for one, other in combinations(group.terminals, 2):
                yield build.not_written(part, one, other, "type in the library", kind="tube")
        else:
            plates = [
                pin
                for pin in group.terminals
                if any(
                    name.rpartition(".")[2].startswith("plate") for name in known.elements_of(pin)
                )
            ]
            cathodes = [
                pin
                for pin in group.terminals
                if any(name.endswith("cathode") for name in known.elements_of(pin))
            ]
            rectifies = known.has_rectifier_unit
            hub = (cathodes or list(group.terminals))[0]
            for pin in group.terminals:
                if pin != hub:
                    yield build.maybe(
                        part,
                        pin,
                        hub,
                        Axis("conducts", part.name),
                        rectifies=rectifies and pin in plates and hub in cathodes,
                        kind="tube",
                    )


def _heater_pins(known, bound: tuple[str, ...]) -> set[str]:
    if known is None:
        return set()
    return {
        pin
        for pin in bound
        for name in known.elements_of(pin)
        if name.rpartition(".")[2].startswith(("heater", "lamp-tap"))
    }


def _heater(build: _Build, part: Part, known, pins: tuple[str, ...]) -> Iterator[Element]:
    """Return the heater hot at its printed volts over amperes, cold a seventh of it; shared evenly
    where it is tapped.
    """
    way = (
        max(known.heater.ways, key=lambda way: way.volts.value / way.amps.value, default=None)
        if known.heater
        else None
    )
    order = [pin for pin in pins if "tap" not in "".join(known.elements_of(pin))]
    taps = [pin for pin in pins if pin not in order]
    chain = [*order[:1], *taps, *order[1:]] if order else list(taps)
    ohms = None if way is None else way.volts.value / way.amps.value / max(len(chain) - 1, 1)
    for one, other in pairwise(chain):
        name = f"{part.name} heater {one}-{other}"
        if ohms is None:
            yield build.not_written(
                part, one, other, "heater volts and amperes in the library", name, kind="heater"
            )
        else:
            yield build.pair(
                part,
                one,
                other,
                1 / ohms,
                name,
                cold=build.assumed["cold_ratio"] / ohms,
                kind="heater",
            )


_KINDS: dict[str, Callable[[_Build, Part], Iterator[Element]]] = {
    "fuse": _fuse,
    "pot": _pot,
    "capacitor": _capacitor,
    "electrolytic": _capacitor,
    "choke": _choke,
    "diode": _rectifier,
    "selenium": _rectifier,
    "bridge": _rectifier,
    "pickup": _pickup,
    "microphone": _pickup,
    "switch": _switch,
    "tube": _tube,
    "transformer": wound,
    "output transformer": wound,
    "autotransformer": wound,
    "connector": _nothing,
}
