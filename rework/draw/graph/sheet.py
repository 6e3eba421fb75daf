"""A circuit as blocks, nets and lines before anything is placed, each in its area of the page."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.leads import lead_colour
from rework.circuit.parts import Part
from rework.draw.colours import PALETTES, Role, Theme
from rework.draw.graph.areas import HEATERS, LINE, SIGNAL, TITLES, areas
from rework.draw.graph.blocks import Face, Look, Pin, Strip, block, line, net, port
from rework.draw.graph.levels import steps
from rework.draw.graph.marks import Marks
from rework.draw.graph.parts_shown import StripEnd, block_of, form, leading, lines, runs
from rework.draw.graph.roles import rails, roles
from rework.draw.graph.words import chassis_of, is_tie_point, own, pin_word
from rework.draw.tags import tag

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
    level: dict[str, int] = field(default_factory=dict)
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
    level: dict[str, int] | None = None,
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
        self.ends: dict[str, list[StripEnd]] = {}
        self.met: dict[tuple[str, str], list[StripEnd]] = {}
        self.to_rail: dict[tuple[str, str], tuple[str, str]] = {}

    def sheet(self, level: dict[str, int] | None) -> Sheet:
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
        wires = [wire for wire in wires if not self._told_on_a_pin(wire[0], wire[2])]
        for part, number, (first, second) in wires:
            if self._is_shown(part):
                self._place_wire(part, number, first, second)
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
            what, unit = block_of(part, terminal, apart=area in (LINE, SIGNAL))
            key = self._key(what, part.name, unit)
            self.out.area[key] = (
                HEATERS if what == "h" else LINE if unit == "rectifier" and area == SIGNAL else area
            )
            self.ends.setdefault(key, []).append(StripEnd(key, terminal, node, part, unit))
        if not part.pins:
            self.out.area[self._key("p", part.name)] = area
        if part.kind in ("plug", "jack", "pickup", "microphone"):
            self.out.sources.append(self._key("p", part.name))

    def _told_on_a_pin(self, part: Part, run: tuple[str, str]) -> bool:
        """Note a wire that takes one pin, alone on its node, to a rail: it is shown on that pin
        and not drawn.
        """
        if part.kind == "shielded cable":
            return False
        for near, far in (run, run[::-1]):
            alone = len(self.circuit.at[near]) == 2 and near != far
            if alone and far in self.rails:
                ((owner, terminal),) = (
                    (neighbour, pin)
                    for neighbour, pin in self.circuit.at[near]
                    if neighbour.name != part.name
                )
                if not owner.is_conductor:
                    self.to_rail[owner.name, terminal] = (part.name, far)
                    return True
        return False

    def _place_wire(self, part: Part, number: int, first: str, second: str) -> None:
        key = self._key("w", part.name, str(number))
        near = [
            self.out.area[end.key]
            for ends in self.ends.values()
            for end in ends
            if end.node in (first, second)
        ]
        home = [area for area in near if area in TITLES]
        prefix = part.name.rpartition("/")[0]
        heats = "heater" in (self.role_of[first], self.role_of[second])
        self.out.area[key] = (
            prefix
            or self.wire_area.get(part.name)
            or (
                HEATERS
                if heats and HEATERS in near
                else LINE
                if {first, second} <= self.rails
                else [*home, LINE][0]
            )
        )
        self.ends[key] = [StripEnd(key, "1", first, part), StripEnd(key, "2", second, part)]

    def _is_rail(self, area: str, node: str) -> bool:
        """True where a node is shown by strips: commons everywhere, B+ and heater rails outside
        the area that makes them.
        """
        if node not in self.rails:
            return False
        return not (self.role_of[node] == "b-plus" and area not in (SIGNAL, HEATERS))

    def _has_line(self, area: str, end: StripEnd) -> bool:
        """True where a pin is joined to others by a line; a tie point, a rail and the only pin on a
        node in its area have strips.
        """
        if (end.part.name, end.terminal) in self.to_rail or self._is_rail(area, end.node):
            return False
        others = [
            strip_end
            for strip_end in self.met[area, end.node]
            if not is_tie_point(strip_end.part, strip_end.terminal)
        ]
        return len(others) > 1 and not is_tie_point(end.part, end.terminal)

    # blocks

    def _draw(self, part: Part, key: str, unit: str) -> None:
        strips, lined = self._strips(part, key)
        left, right = self._sides(part, key, lined)
        face = Face(
            own(part.name),
            lines(part, key, unit),
            form(part),
            tuple(strip for strip in strips if strip.role == "b-plus"),
            tuple(strip for strip in strips if strip.role != "b-plus"),
            left,
            right,
            ", ".join(self._notes(part, key)),
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

    def _strips(self, part: Part, key: str) -> tuple[list[Strip], list[StripEnd]]:
        """Return the pins of a block that are shown on strips, and those that lines lead to."""
        area = self.out.area[key]
        strips: dict[tuple[str, str], Strip] = {}
        lined: list[StripEnd] = []
        for end in self.ends.get(key, []):
            if self._has_line(area, end):
                lined.append(end)
                continue
            wire, far = self.to_rail.get((part.name, end.terminal), ("", end.node))
            pin = Pin(
                end.terminal,
                pin_word(part, end.terminal),
                self._lead(part, end.terminal),
                tag(node=far, pin=f"{part.name}.{end.terminal}", wire=wire),
            )
            known = strips.get((wire, far))
            strips[wire, far] = (
                replace(known, pins=(*known.pins, pin))
                if known
                else self._strip(part, area, pin, wire, far)
            )
        return list(strips.values()), lined

    def _strip(self, part: Part, area: str, pin: Pin, wire: str, far: str) -> Strip:
        seen = self._seen_from(area, far)
        return Strip(
            (pin,),
            f"{own(wire)} to {seen}" if wire else seen,
            self._role(far),
            far in self.marks.hazards,
            tag(node=far, wire=wire),
            self._beyond(far, part),
        )

    def _notes(self, part: Part, key: str) -> list[str]:
        notes = [f"unused {' '.join(part.unused)}"] if part.unused and key[0] == "p" else []
        twisted = any(
            "twisted" in self.circuit.by_name[wire].words
            for (name, _), (wire, _) in self.to_rail.items()
            if name == part.name
        )
        return [*notes, "twisted leads"] if twisted and key.startswith("h") else notes

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
        self, part: Part, key: str, lined: list[StripEnd]
    ) -> tuple[tuple[Pin, ...], tuple[Pin, ...]]:
        if part.kind not in _PINNED and key[0] != "h":
            return (), ()
        left: list[Pin] = []
        right: list[Pin] = []
        first = {(end.key, end.node): end.terminal for end in leading(lined)}
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

    def _side(self, key: str, end: StripEnd) -> str:
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
        others = [neighbour for neighbour, _ in self.circuit.at[node] if neighbour is not part]
        return others[0].name if len(others) == 1 and not self._is_shown(others[0]) else ""

    def _lead(self, part: Part, terminal: str) -> str:
        colour = lead_colour(self.circuit, part, terminal, self.role_of)
        self.out.has_leads |= bool(colour)
        return colour

    # nets

    def _net(self, area: str, node: str, ends: list[StripEnd]) -> None:
        lined = [end for end in ends if self._has_line(area, end)]
        if not lined:
            return
        mark = "HAZARD" if node in self.marks.hazards else "LIVE" if node in self.marks.live else ""
        key, role = f"n:{area}:{node}", self._role(node)
        first = leading(lined)
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
                first, second = (
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
                self.out.area[key] = self.out.area[first]
                self.out.joints += [(first, key), (second, key)]
                for end in (first, second):
                    self.out.edges[(end, "", "", key, "", "")] = {
                        "penwidth": "5",
                        "color": palette.ink,
                        "style": "solid",
                    }
