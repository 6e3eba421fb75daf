"""What conditions ask of a circuit, worked out once and only when asked.

A circuit never carries any of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cached_property
from itertools import pairwise

from rework.anatomy.links import groups, joints, mated
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged, contracted
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.safety.ties import Net, State, Ties, blade_nodes, bonded_to_earth, trace_ties
from rework.tubes import library
from rework.tubes.tubetype import TubeType

#: Names by which drawings call the circuit's own negative.
COMMON_NAMES = frozenset({"COMMON", "B-", "GROUND", "GND", "0V"})
#: Kinds through which a line conductor goes on being the line: they only open it, protect it or
#: limit its inrush.
_IN_THE_LINE = frozenset({"fuse", "switch", "thermistor"})
#: Kinds through which B+ is handed on from one stage's supply to the next.
_ALONG_THE_RAIL = frozenset({"resistor", "choke", "fuse"})


class Facts:
    """One circuit seen the way conditions see it.

    Every node is named by the first of the nodes its conductors join.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit

    @cached_property
    def group(self) -> dict[str, str]:
        """Every node with the name of the point it is, conductors contracted."""
        return contracted(self.circuit)

    def point(self, node: str) -> str:
        """Return the point a node (or a joined name) is part of."""
        node = self.circuit.node_named(node)
        return self.group.get(node, node)

    def of(self, part: Part, terminal: str) -> str | None:
        """Return the point at a terminal, or None where it is on nothing."""
        node = part.node(terminal)
        return None if node is None else self.point(node)

    @cached_property
    def at(self) -> dict[str, tuple[tuple[Part, str], ...]]:
        """Every point with the (part, terminal) pairs on it, conductors left out."""
        found: dict[str, list[tuple[Part, str]]] = {}
        for part in self.circuit.parts:
            if not part.is_conductor:
                for terminal, node in part.pins:
                    found.setdefault(self.point(node), []).append((part, terminal))
        return {point: tuple(pins) for point, pins in found.items()}

    def points(self, nodes: Iterable[str]) -> frozenset[str]:
        """Return the points that some nodes are part of."""
        return frozenset(self.point(node) for node in nodes)

    # the mains

    @cached_property
    def ties(self) -> Ties:
        """What is tied to the mains."""
        return trace_ties(self.circuit)

    @cached_property
    def line_sides(self) -> tuple[frozenset[str], ...]:
        """The two sides of the line (and more with more plugs): the points a blade reaches through
        what stands in the line.
        """
        merged = Merged()
        for part in self.circuit.parts:
            if part.kind in _IN_THE_LINE:
                for group in groups(part):
                    for one, other in pairwise(group.terminals):
                        merged.join(self.of(part, one), self.of(part, other))
        for one, here, other, there in joints(self.circuit):
            merged.join(
                self.of(self.circuit.by_name[one], here),
                self.of(self.circuit.by_name[other], there),
            )
        blades = sorted(self.points(blade_nodes(self.circuit)))
        sides = {merged.find(blade): set() for blade in blades}
        for point in sorted(set(self.group.values())):
            if merged.find(point) in sides:
                sides[merged.find(point)].add(point)
        return tuple(frozenset(side) for side in sides.values())

    @cached_property
    def _contacts(self) -> Merged:
        merged = Merged()
        for one, here, other, there in joints(self.circuit):
            merged.join(
                self.of(self.circuit.by_name[one], here),
                self.of(self.circuit.by_name[other], there),
            )
        return merged

    def through_contacts(self, point: str) -> frozenset[str]:
        """Return a point with those that the contacts of mated connectors join it to."""
        first = self._contacts.find(point)
        return frozenset(self._contacts.groups().get(first, ())) | {point}

    @cached_property
    def line(self) -> frozenset[str]:
        """The points on either side of the line."""
        return frozenset().union(*self.line_sides)

    @cached_property
    def earthed(self) -> frozenset[str]:
        """The points that conductors join to an earth."""
        studs = [
            node for part in self.circuit.parts if part.kind == "earth" for _, node in part.pins
        ]
        return self.points([*bonded_to_earth(self.circuit), *self.ties.net.conductor_reach(studs)])

    @cached_property
    def always_earthed(self) -> frozenset[str]:
        """The points that conductors join to an earth with every umbilical pulled."""
        studs = [
            node for part in self.circuit.parts if part.kind == "earth" for _, node in part.pins
        ]
        apart = State(
            connectors=tuple((name, "pulled") for pair in mated(self.circuit) for name in pair)
        )
        return self.points(
            [
                *bonded_to_earth(self.circuit, apart),
                *Net(self.circuit, apart).conductor_reach(studs),
            ]
        )

    # the signal side

    @cached_property
    def metal(self) -> frozenset[str]:
        """The points that are metal in reach of a hand: named so, or a chassis, sleeve, shaft,
        frame or core.
        """
        named = set(self.circuit.touchable)
        for part in self.circuit.parts:
            bare = set(KINDS[part.kind].touched) - {"tip", "ring", "1", "2"}
            named.update(node for terminal, node in part.pins if terminal in bare)
        return self.points(named)

    @cached_property
    def common(self) -> frozenset[str]:
        """The circuit's own negative: by its name, else where the minus of the B+ filter is."""
        names = [*self.circuit.nodes, *(alias for alias, _ in self.circuit.aliases)]
        named = self.points(name for name in names if name.upper() in COMMON_NAMES)
        if named:
            return named
        return frozenset(
            point
            for part in self.circuit.parts
            if self.is_filter(part)
            if (point := self.of(part, "minus")) is not None
        )

    @cached_property
    def rail(self) -> frozenset[str]:
        """The points of the B+ supply: from plates and screens back through loads and filter
        resistors, to no cathode.
        """
        cathodes, plates, screens = set(), set(), set()
        for part, tube in self.tubes():
            for terminal, node in part.pins:
                element = _element(tube, terminal)
                into = (
                    cathodes
                    if element == "cathode" and not (tube and tube.is_rectifier)
                    else (
                        plates
                        if element == "plate" and not (tube and tube.is_rectifier)
                        else screens
                        if element == "screen"
                        else None
                    )
                )
                if into is not None:
                    into.add(self.point(node))
        stop = (
            cathodes
            | self.metal
            | self.line
            | self.points(
                node
                for node in (*self.circuit.nodes, *(alias for alias, _ in self.circuit.aliases))
                if node.upper() in COMMON_NAMES
            )
        )
        stop |= {
            point
            for part in self.circuit.parts
            if part.kind == "electrolytic"
            if (point := self.of(part, "minus")) is not None
        }
        wanted = sorted(plates | screens)
        seen: dict[str, None] = {}
        while wanted:
            point = wanted.pop()
            if point in seen or point in stop:
                continue
            seen[point] = None
            for part, terminal in self.at.get(point, ()):
                wanted += self._onward(part, terminal)
        return frozenset(
            point
            for point in seen
            if point not in plates | screens
            or self._is_supplied(point)
            or (point not in plates and self._hands_on(point, stop))
        )

    def _is_supplied(self, point: str) -> bool:
        """Return whether a rectifier or a connector brings B+ to a point."""
        return any(
            part.kind in ("bridge", "diode", "selenium", "connector")
            or (
                part.kind == "tube"
                and (tube := library.find(part.type)) is not None
                and tube.is_rectifier
            )
            for part, _ in self.at.get(point, ())
        )

    def _hands_on(self, point: str, stop: Iterable[str]) -> bool:
        """Return whether a screen's point feeds more than that screen: two ways on, a choke, or an
        output transformer.
        """
        ways = [
            part
            for part, terminal in self.at.get(point, ())
            if any(on not in stop for on in self._onward(part, terminal))
        ]
        return len(ways) > 1 or any(part.kind in ("choke", "output transformer") for part in ways)

    def _onward(self, part: Part, terminal: str) -> Iterator[str]:
        if part.kind in _ALONG_THE_RAIL:
            yield from (self.point(node) for other, node in part.pins if other != terminal)
        elif part.kind == "output transformer" and terminal.startswith("primary"):
            yield from (
                self.point(node)
                for other, node in part.pins
                if other != terminal and other.startswith("primary")
            )

    def is_filter(self, part: Part) -> bool:
        """Return whether a part is a filter capacitor: an electrolytic with its plus on the B+
        rail.
        """
        return part.kind == "electrolytic" and self.of(part, "plus") in self.rail

    # tubes and rectifiers

    def tubes(self) -> Iterator[tuple[Part, TubeType | None]]:
        """Yield every tube with what the library knows of its type."""
        for part in self.circuit.parts:
            if part.kind == "tube":
                yield part, library.find(part.type)

    def fed_by_winding(self, part: Part) -> bool:
        """Return whether an isolating winding, and no line, is behind a rectifier."""
        seen: set[str] = set()
        wanted = [
            self.point(node) for terminal, node in part.pins if terminal not in ("plus", "minus")
        ]
        found = False
        while wanted:
            point = wanted.pop()
            if point in seen:
                continue
            seen.add(point)
            if point in self.line:
                return False
            for other, terminal in self.at.get(point, ()):
                if other.kind == "transformer" and not terminal.startswith(
                    ("primary", "core", "screen")
                ):
                    found = True
                elif other.kind in _IN_THE_LINE or "surge" in other.words:
                    wanted += [self.point(node) for _, node in other.pins]
        return found


def _element(tube: TubeType | None, terminal: str) -> str:
    """Return the bare element on a pin, without unit or number: ``plate`` for ``triode1.plate1``."""
    if tube is None or terminal not in tube.socket_pins:
        return ""
    return tube.element(terminal).rpartition(".")[2].rstrip("0123456789")


def element_at(part: Part, terminal: str) -> str:
    """Return the bare element on a pin of a tube part, or "" where that is not known."""
    return _element(library.find(part.type), terminal) if part.kind == "tube" else ""
