"""A circuit as blocks, nets and lines before anything is placed, each in its area of the page."""

from __future__ import annotations

import itertools
from collections import defaultdict, deque
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.leads import lead_colour
from rework.circuit.parts import Part, strands
from rework.draw.colours import PALETTES, Role, Theme
from rework.draw.graph.areas import HEATERS, LINE, SIGNAL, TITLES, areas
from rework.draw.graph.blocks import Face, Form, Look, Pin, Strip, block, line, net, port
from rework.draw.graph.roles import element, rails, roles
from rework.draw.graph.words import chassis_of, is_heater_pin, is_tie_point, own, pin_word, values
from rework.draw.tags import tag
from rework.safety.findings import Report
from rework.tubes import library

_BARS = ("capacitor", "electrolytic")
_PLAIN = ("resistor", "thermistor", "choke")
#: Kinds whose pins are told one by one; the others have two ends and their lines go to the block
#: itself.
_PINNED = (
    "tube",
    "socket",
    "connector",
    "pot",
    "bridge",
    "transformer",
    "output transformer",
    "autotransformer",
    "plug",
    "jack",
    "pickup",
    "microphone",
    "motor",
)


@dataclass(frozen=True, slots=True)
class Marks:
    """What the drawing has to point out: node names that are hazards, live nodes, and the state of
    parts by name.
    """

    hazards: frozenset[str] = frozenset()
    live: frozenset[str] = frozenset()
    states: Mapping[str, str] = field(default_factory=dict)


def marks_of(report: Report) -> Marks:
    """Return what a check found, for the drawing: hazards within reach, and live nodes."""
    return Marks(
        frozenset(hazard.node for hazard in report.hazards if hazard.touchable),
        frozenset(live.node for live in report.live),
    )


@dataclass(slots=True)
class Sheet:
    """Vertices, edges and the area of each vertex, by keys that are the same in every sheet of the
    same circuit.

    An edge's key is (vertex, port, side, vertex, port, side); values are graphviz attributes.
    ``joints`` are the pairs of vertices that lines join, ``detours`` those that heater lines join,
    ``level`` how many lines lie between a vertex and the nearest of the ``sources``.
    """

    vertices: dict[str, dict[str, str]] = field(default_factory=dict)
    edges: dict[tuple[str, ...], dict[str, str]] = field(default_factory=dict)
    area: dict[str, str] = field(default_factory=dict)
    sources: list[str] = field(default_factory=list)
    joints: list[tuple[str, str]] = field(default_factory=list)
    detours: list[tuple[str, str]] = field(default_factory=list)
    level: Mapping[str, int] = field(default_factory=dict)
    roles: set[Role] = field(default_factory=set)
    has_leads: bool = False


def sheet(
    circuit: Circuit,
    theme: Theme,
    marks: Marks,
    *,
    chassis: str | None = None,
    area_of: Mapping[str, str] | None = None,
    apart: Collection[str] = (),
    level: Mapping[str, int] | None = None,
) -> Sheet:
    """Return the blocks, nets and lines of a circuit: of all of it, or of one chassis by its name.

    The circuit's own chassis is the one called "", and shows the connectors of the others too.
    ``area_of`` says where parts stand that another sheet has too, ``apart`` names parts that share
    only their name with it; ``level`` is that of all sheets together.
    """
    return _Drafting(circuit, theme, marks, chassis, area_of or {}, frozenset(apart)).sheet(level)


def chassis_names(circuit: Circuit) -> tuple[str, ...]:
    """Return the names under which circuits were attached, each a chassis with a sheet of its own,
    in order.
    """
    return tuple(sorted({chassis_of(part) for part in circuit.parts} - {""}))


@dataclass(frozen=True, slots=True)
class _End:
    """One pin that wants a line or a strip: the vertex it belongs to, the terminal, the node, the
    part and its unit.
    """

    key: str
    terminal: str
    node: str
    part: Part
    unit: str = ""


class _Drafting:
    def __init__(
        self,
        circuit: Circuit,
        theme: Theme,
        marks: Marks,
        chassis: str | None,
        area_of: Mapping[str, str],
        apart: frozenset[str],
    ) -> None:
        self.circuit, self.theme, self.marks, self.chassis, self.apart = (
            circuit,
            theme,
            marks,
            chassis,
            apart,
        )
        self.role_of = roles(circuit)
        self.rails = rails(circuit, self.role_of)
        self.area_of = areas(circuit, self.role_of) | dict(area_of)
        self.wire_area = area_of
        self.out = Sheet()
        self.ends: dict[str, list[_End]] = {}
        self.met: dict[tuple[str, str], list[_End]] = {}
        self.to_rail: dict[tuple[str, str], tuple[str, str]] = {}

    def sheet(self, level: Mapping[str, int] | None) -> Sheet:
        parts = [
            part for part in self.circuit.parts if not part.is_conductor and self._is_shown(part)
        ]
        for part in parts:
            self._place(part)
        wires = [
            (part, number, run)
            for part in self.circuit.parts
            if part.is_conductor
            for number, run in enumerate(runs(part))
        ]
        wires = [wire for wire in wires if not self._told_on_a_pin(*wire)]
        for part, number, (one, other) in wires:
            if self._is_shown(part):
                self._place_wire(part, number, one, other)
        for ends in self.ends.values():
            for end in ends:
                self.met.setdefault((self.out.area[end.key], end.node), []).append(end)
        self.out.sources += [
            f"n:{area}:{node}" if self._has_line(area, end) else end.key
            for (area, node), ends in self.met.items()
            for end in ends
            if area == HEATERS and self.role_of[node] == "line"
        ]
        for (area, node), ends in self.met.items():
            joints = self.out.detours if self.role_of[node] == "heater" else self.out.joints
            joints += [(end.key, f"n:{area}:{node}") for end in ends if self._has_line(area, end)]
        self._umbilicals()
        self.out.level = (
            steps(self.out.joints, self.out.sources, self.out.detours) if level is None else level
        )
        for key, ends in self.ends.items():
            self._draw(ends[0].part, key, ends[0].unit)
        for part in parts:
            if not part.pins:
                self._draw(part, self._key("p", part.name), "")
        for (area, node), ends in sorted(self.met.items()):
            self._net(area, node, ends)
        return self.out

    def _key(self, what: str, name: str, more: str = "") -> str:
        """Return the key of a vertex: ``p`` a part or one unit of it, ``h`` its heater, ``w`` a
        conductor, ``u`` an umbilical.
        """
        return "\x1f".join((what, name, more, "apart" if name in self.apart else ""))

    # where everything stands

    def _is_shown(self, part: Part) -> bool:
        """True for the parts of this chassis; the circuit's own has the connectors of the others
        too.
        """
        return self.chassis in (None, chassis_of(part)) or (
            part.kind == "connector" and not self.chassis
        )

    def _place(self, part: Part) -> None:
        area = self.area_of[part.name]
        for terminal, node in part.pins:
            what, unit = _block_of(part, terminal, apart=area in (LINE, SIGNAL))
            key = self._key(what, part.name, unit)
            self.out.area[key] = (
                HEATERS if what == "h" else LINE if unit == "rectifier" and area == SIGNAL else area
            )
            self.ends.setdefault(key, []).append(_End(key, terminal, node, part, unit))
        if not part.pins:
            self.out.area[self._key("p", part.name)] = area
        if part.kind in ("plug", "jack", "pickup", "microphone"):
            self.out.sources.append(self._key("p", part.name))

    def _told_on_a_pin(self, part: Part, number: int, run: tuple[str, str]) -> bool:
        """Note a wire that takes one pin, alone on its node, to a rail: it is told on that pin and
        not drawn.
        """
        if part.kind == "shielded cable":
            return False
        for near, far in (run, run[::-1]):
            alone = len(self.circuit.at[near]) == 2 and near != far
            if alone and far in self.rails:
                ((owner, terminal),) = (
                    (one, pin) for one, pin in self.circuit.at[near] if one.name != part.name
                )
                if not owner.is_conductor:
                    self.to_rail[owner.name, terminal] = (part.name, far)
                    return True
        return False

    def _place_wire(self, part: Part, number: int, one: str, other: str) -> None:
        key = self._key("w", part.name, str(number))
        near = [
            self.out.area[end.key]
            for ends in self.ends.values()
            for end in ends
            if end.node in (one, other)
        ]
        home = [area for area in near if area in TITLES]
        prefix = part.name.rpartition("/")[0]
        heats = "heater" in (self.role_of[one], self.role_of[other])
        self.out.area[key] = (
            prefix
            or self.wire_area.get(part.name)
            or (
                HEATERS
                if heats and HEATERS in near
                else LINE
                if {one, other} <= self.rails
                else [*home, LINE][0]
            )
        )
        self.ends[key] = [_End(key, "1", one, part), _End(key, "2", other, part)]

    def _is_rail(self, area: str, node: str) -> bool:
        """True where a node is told by strips: commons everywhere, B+ and heater rails outside the
        area that makes them.
        """
        if node not in self.rails:
            return False
        return not (self.role_of[node] == "b-plus" and area not in (SIGNAL, HEATERS))

    def _has_line(self, area: str, end: _End) -> bool:
        """True where a pin is joined to others by a line; a tie point, a rail and the only pin on a
        node in its area have strips.
        """
        if (end.part.name, end.terminal) in self.to_rail or self._is_rail(area, end.node):
            return False
        others = [
            one for one in self.met[area, end.node] if not is_tie_point(one.part, one.terminal)
        ]
        return len(others) > 1 and not is_tie_point(end.part, end.terminal)

    # blocks

    def _draw(self, part: Part, key: str, unit: str) -> None:
        area = self.out.area[key]
        told: dict[tuple[str, str], Strip] = {}
        lined: list[_End] = []
        for end in self.ends.get(key, []):
            wire, far = self.to_rail.get((part.name, end.terminal), ("", end.node))
            if self._has_line(area, end):
                lined.append(end)
            else:
                way = (
                    f"{own(wire)} to {self._seen_from(area, far)}"
                    if wire
                    else self._seen_from(area, far)
                )
                pin = Pin(
                    end.terminal,
                    pin_word(part, end.terminal),
                    self._lead(part, end.terminal),
                    tag(node=far, pin=f"{part.name}.{end.terminal}", wire=wire),
                )
                known = told.get((wire, far))
                told[wire, far] = (
                    replace(known, pins=(*known.pins, pin))
                    if known
                    else Strip(
                        (pin,),
                        way,
                        self._role(far),
                        far in self.marks.hazards,
                        tag(node=far, wire=wire),
                        self._beyond(far, part),
                    )
                )
        left, right = self._sides(part, key, lined)
        notes = [f"unused {' '.join(part.unused)}"] if part.unused and key[0] == "p" else []
        if any(
            "twisted" in self.circuit.by_name[wire].words
            for (name, _), (wire, _) in self.to_rail.items()
            if name == part.name
        ) and key.startswith("h"):
            notes.append("twisted leads")
        face = Face(
            own(part.name),
            _lines(part, key, unit),
            _form(part),
            tuple(strip for strip in told.values() if strip.role == "b-plus"),
            tuple(strip for strip in told.values() if strip.role != "b-plus"),
            left,
            right,
            ", ".join(notes),
        )
        state = self.marks.states.get(part.name, "")
        named = tag(
            part=part.name, unit="heater" if key[0] == "h" else unit, kind=part.kind, state=state
        )
        self.out.vertices[key] = {
            "shape": "plain",
            "label": block(face, Look(self.theme, state, self._mark(part))),
            "id": named,
        }

    def _role(self, node: str) -> Role:
        self.out.roles.add(self.role_of[node])
        return self.role_of[node]

    def _mark(self, part: Part) -> str:
        reach = {
            node
            for terminal, node in part.pins
            if terminal in KINDS[part.kind].touched or part.kind == "chassis"
        }
        pins = {node for _, node in part.pins}
        return (
            "HAZARD"
            if reach & self.marks.hazards
            else "LIVE"
            if pins and pins <= self.marks.live
            else ""
        )

    def _sides(
        self, part: Part, key: str, lined: list[_End]
    ) -> tuple[tuple[Pin, ...], tuple[Pin, ...]]:
        if part.kind not in _PINNED and key[0] != "h":
            return (), ()
        left, right = [], []
        first = {(end.key, end.node): end.terminal for end in _leading(lined)}
        for end in lined:
            word = pin_word(part, end.terminal) or end.terminal
            main = first[end.key, end.node]
            column = left if self._side(key, end) == "w" else right
            column.append(
                Pin(
                    end.terminal,
                    word if main == end.terminal else f"{word} = {main}",
                    self._lead(part, end.terminal),
                )
            )
        return tuple(left), tuple(right)

    def _side(self, key: str, end: _End) -> str:
        """Return the side a line leaves a block on: w towards the source, e away from it."""
        towards = self.out.level.get(key, 0) - self.out.level.get(
            f"n:{self.out.area[key]}:{end.node}", 0
        )
        return "w" if towards > 0 else "e"

    def _seen_from(self, area: str, node: str) -> str:
        """Return a node's name; one of another chassis is led by that chassis's name."""
        return own(node) if node.rpartition("/")[0] in (area, "") else node

    def _beyond(self, node: str, part: Part) -> str:
        """Return where a node goes on that has no other pin on this sheet and one on another."""
        others = [one for one, _ in self.circuit.at[node] if one is not part]
        return others[0].name if len(others) == 1 and not self._is_shown(others[0]) else ""

    def _lead(self, part: Part, terminal: str) -> str:
        colour = lead_colour(self.circuit, part, terminal, self.role_of)
        self.out.has_leads |= bool(colour)
        return colour

    # nets

    def _net(self, area: str, node: str, ends: list[_End]) -> None:
        lined = [end for end in ends if self._has_line(area, end)]
        if not lined:
            return
        mark = "HAZARD" if node in self.marks.hazards else "LIVE" if node in self.marks.live else ""
        key, role = f"n:{area}:{node}", self._role(node)
        first = _leading(lined)
        self.out.vertices[key] = net(
            self._seen_from(area, node), role, mark, self.theme, joint=len(first) > 2
        ) | {"id": tag(node=node)}
        self.out.area[key] = area
        for end in first:
            state = self.marks.states.get(end.part.name, "") if end.part.is_conductor else ""
            pinned = end.key[0] == "h" or end.part.kind in _PINNED
            ports = (port(end.terminal) if pinned else "", self._side(end.key, end))
            named = tag(node=node, pin=f"{end.part.name}.{end.terminal}")
            self.out.edges[(end.key, *ports, key, "", end.terminal)] = line(
                role, self.theme, mark=mark, state=state
            ) | {"id": named}

    def _umbilicals(self) -> None:
        palette = PALETTES[self.theme]
        for part in self.circuit.parts:
            mate = part.setting("mates")
            if part.kind == "connector" and mate in self.circuit.by_name and self._is_shown(part):
                one, other = (
                    self._key("p", name)
                    for name in sorted(
                        (part.name, mate),
                        key=lambda name: "socket" not in self.circuit.by_name[name].words,
                    )
                )
                key = self._key("u", part.name)
                self.out.vertices[key] = {
                    "shape": "plain",
                    "label": block(
                        Face("umbilical", ("unplugs here",), "sleeve"), Look(self.theme)
                    ),
                    "id": tag(part=part.name, unit="umbilical"),
                }
                self.out.area[key] = self.out.area[one]
                self.out.joints += [(one, key), (other, key)]
                for end in (one, other):
                    self.out.edges[(end, "", "", key, "", "")] = {
                        "penwidth": "5",
                        "color": palette.ink,
                        "style": "solid",
                    }


def name_of(key: str) -> str:
    """Return the name of the part that a vertex shows."""
    return key.split("\x1f")[1]


def _block_of(part: Part, terminal: str, *, apart: bool) -> tuple[str, str]:
    """Return which block a pin belongs to: heater or not, and the unit where a bulb has several;
    shared pins go with the first.
    """
    if apart and is_heater_pin(part, terminal):
        return "h", ""
    tube = library.find(part.type) if part.kind == "tube" else None
    if tube is None or not tube.units:
        return "p", ""
    named = tube.element(terminal).rpartition(".")[0] if terminal in tube.socket_pins else ""
    return "p", named or next(
        name.rpartition(".")[0] for _, (name, *_) in tube.elements if "." in name
    )


def _lines(part: Part, key: str, unit: str) -> tuple[str, ...]:
    if key.startswith("h"):
        tube = library.find(part.type)
        return ("heater", f"{tube.heater.volts.value:g} V") if tube else ("heater",)
    told = values(part)
    if part.kind == "shielded cable":
        return (*told, strands(part)[int(key.split("\x1f")[2])][0].split(".")[0])
    return (f"{told[0]} {unit}", *told[1:]) if unit and told else told


def _leading(ends: Iterable[_End]) -> list[_End]:
    """Return one end for every block and node: where a block has several pins on one node, its main
    electrode.
    """
    found: dict[tuple[str, str], _End] = {}
    for end in ends:
        known = found.get((end.key, end.node))
        if known is None or (is_main(end) and not is_main(known)):
            found[end.key, end.node] = end
    return list(found.values())


def is_main(end: _End) -> bool:
    """True for the plate, grid and cathode of a tube."""
    return element(end.part, end.terminal) in ("plate", "grid", "cathode")


def _form(part: Part) -> Form:
    if part.is_conductor:
        return "sleeve"
    return (
        "bars"
        if part.kind in _BARS
        else (
            "box"
            if part.kind in _PLAIN
            else "bar"
            if part.kind in ("chassis", "earth")
            else "rounded"
        )
    )


def runs(part: Part) -> list[tuple[str, str]]:
    """Return the pairs of nodes a conductor runs between, one a core."""
    if part.kind != "shielded cable":
        nodes = [node for _, node in part.pins]
        return [(nodes[0], nodes[1])] if len(nodes) == 2 else []
    found = []
    for run in strands(part):
        nodes = [part.node(terminal) for terminal in run]
        found += list(itertools.pairwise(nodes))
    return found


def steps(
    joints: Iterable[tuple[str, str]],
    sources: Iterable[str],
    detours: Iterable[tuple[str, str]] = (),
) -> dict[str, int]:
    """Return how many lines lie between each vertex and the nearest source, so that lines run from
    left to right.

    ``detours`` are joints that do not say which way the signal and the supply go: they count where
    there is no other way.
    """
    straight, every = _Near(joints), _Near(detours)
    for one, others in straight.items():
        every[one] += others
    found = dict.fromkeys((key for key in sources if key in every), 0)
    _spread(found, straight, list(found))
    _spread(found, every, list(found))
    for start in every:
        if start not in found:
            found[start] = 0
            _spread(found, every, [start])
    return found


class _Near(defaultdict[str, list[str]]):
    """The neighbours of each vertex."""

    def __init__(self, joints: Iterable[tuple[str, str]]) -> None:
        super().__init__(list)
        for one, other in joints:
            self[one].append(other)
            self[other].append(one)


def _spread(found: dict[str, int], near: Mapping[str, list[str]], line: Iterable[str]) -> None:
    """Give every vertex that can be reached from a line of them, and has none, its number of steps."""
    queue = deque(line)
    while queue:
        key = queue.popleft()
        for other in near.get(key, ()):
            if other not in found:
                found[other] = found[key] + 1
                queue.append(other)
