"""A circuit as blocks and lines, before anything is placed: which parts are blocks, which ends are strips, which nets are points."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from rework.circuit.circuit import Circuit
from rework.circuit.parts import KINDS, Part, strands
from rework.draw.blocks import Look, Strip, block, port, text
from rework.draw.colours import PALETTES, STYLES, Theme, ink
from rework.draw.roles import rails, roles


@dataclass(frozen=True, slots=True)
class Marks:
    """What the drawing has to point out: node names that are hazards, live nodes, and the state of parts by name."""

    hazards: frozenset[str] = frozenset()
    live: frozenset[str] = frozenset()
    states: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Sheet:
    """Vertices and edges by keys that are the same in every sheet of the same circuit; values are graphviz attributes."""

    vertices: dict[str, dict[str, str]] = field(default_factory=dict)
    edges: dict[tuple[str, ...], dict[str, str]] = field(default_factory=dict)
    clusters: dict[str, list[str]] = field(default_factory=dict)


def sheet(circuit: Circuit, theme: Theme, marks: Marks) -> Sheet:
    """Return the blocks, points and lines of a circuit."""
    return _Drafting(circuit, theme, marks).sheet()


class _Drafting:
    def __init__(self, circuit: Circuit, theme: Theme, marks: Marks) -> None:
        self.circuit, self.theme, self.marks = circuit, theme, marks
        self.palette = PALETTES[theme]
        self.role_of = roles(circuit)
        self.rails = rails(circuit, self.role_of)
        self.out = Sheet()
        self.wires = [(part, run) for part in circuit.parts if part.is_conductor for run in _runs(part)]
        self.ends: dict[str, list[tuple[Part, str]]] = {}
        self.loose: dict[str, int] = {}
        for part in circuit.parts:
            if not part.is_conductor:
                for terminal, node in part.pins:
                    self.ends.setdefault(node, []).append((part, terminal))
        for _, (one, other) in self.wires:
            for node in (one, other):
                self.loose[node] = self.loose.get(node, 0) + 1

    def sheet(self) -> Sheet:
        through = self._strips_through_wires()
        for part in self.circuit.parts:
            if not part.is_conductor:
                self._block(part, through.get(part.name, {}))
        for node in self.circuit.nodes:
            if node not in self.rails:
                self._net(node)
        for part, (one, other) in self.wires:
            self._wire(part, one, other)
        self._umbilicals()
        return self.out

    # blocks and their strips

    def _strips_through_wires(self) -> dict[str, dict[str, Strip]]:
        """Return strips for pins that a single wire takes to a rail, and note those wires as told."""
        self.told: set[tuple[str, str, str]] = set()
        found: dict[str, dict[str, Strip]] = {}
        for part, (one, other) in self.wires:
            for near, far in ((one, other), (other, one)):
                lone = self.ends.get(near, [])
                if far in self.rails and near not in self.rails and len(lone) == 1 and self.loose[near] == 1 and part.kind != "shielded cable":
                    owner, terminal = lone[0]
                    found.setdefault(owner.name, {})[terminal] = Strip(terminal, f"{_own(part.name)} → {_shown(far)}", self.role_of[far],
                                                                       far in self.marks.hazards)
                    self.told.add((part.name, one, other))
        return found

    def _block(self, part: Part, through: dict[str, Strip]) -> None:
        strips = {terminal: Strip(terminal, _shown(node), self.role_of[node], node in self.marks.hazards)
                  for terminal, node in part.pins if node in self.rails}
        strips.update(through)
        reach = {node for terminal, node in part.pins if terminal in KINDS[part.kind].touched or part.kind == "chassis"}
        pins = {node for _, node in part.pins}
        mark = "HAZARD" if reach & self.marks.hazards else "LIVE" if pins and pins <= self.marks.live else ""
        look = Look(self.theme, self.marks.states.get(part.name, ""), mark)
        key = f"p:{part.name}"
        self.out.vertices[key] = {"shape": "plain", "label": block(part, strips, look), "fontcolor": self.palette.ink}
        prefix = part.name.rpartition("/")[0]
        if prefix:
            self.out.clusters.setdefault(prefix, []).append(key)

    # nets and wires

    def _is_point(self, node: str) -> bool:
        return len(self.ends.get(node, ())) + self.loose.get(node, 0) != 2

    def _end(self, node: str) -> tuple[str, str]:
        """Return the vertex and port where a line to this node ends, drawing a flag where the node is a rail."""
        if node in self.rails:
            key = f"f:{node}:{len(self.out.vertices)}"
            self.out.vertices[key] = {"shape": "plain", "label": self._flag(node)}
            return key, ""
        if self._is_point(node) or not self.ends.get(node):
            return f"n:{node}", ""
        part, terminal = self.ends[node][0]
        return f"p:{part.name}", port(part, terminal)

    def _flag(self, node: str) -> str:
        return (f'<<TABLE BORDER="0" CELLSPACING="0" CELLPADDING="2"><TR><TD BGCOLOR="{ink(self.role_of[node], self.theme)}">'
                f'<FONT POINT-SIZE="7.5" COLOR="{self.palette.on_strip}">{text(_shown(node))}</FONT></TD></TR></TABLE>>')

    def _net(self, node: str) -> None:
        pins, wires = self.ends.get(node, []), self.loose.get(node, 0)
        if len(pins) == 2 and not wires:
            (one, first), (other, second) = pins
            self._line((f"p:{one.name}", port(one, first)), (f"p:{other.name}", port(other, second)), node, label=True)
        elif self._is_point(node) and (pins or wires):
            lone = len(pins) == 1 and not wires
            if lone and f"p:{pins[0][0].name}" in self.out.vertices and pins[0][0].kind == "tube":
                pass
            self.out.vertices[f"n:{node}"] = {"shape": "point", "width": "0.07", "color": self._ink(node), "fontcolor": self._ink(node),
                                              "xlabel": self._name(node)}
            for part, terminal in pins:
                self._line((f"p:{part.name}", port(part, terminal)), (f"n:{node}", ""), node, label=False)

    def _wire(self, part: Part, one: str, other: str) -> None:
        if (part.name, one, other) in self.told:
            return
        if one in self.rails and other in self.rails:
            strips = {"1": Strip("1", _shown(one), self.role_of[one]), "2": Strip("2", _shown(other), self.role_of[other])}
            look = Look(self.theme, self.marks.states.get(part.name, ""))
            self.out.vertices[f"p:{part.name}"] = {"shape": "plain", "label": block(part, strips, look), "fontcolor": self.palette.ink}
            prefix = part.name.rpartition("/")[0]
            if prefix:
                self.out.clusters.setdefault(prefix, []).append(f"p:{part.name}")
            return
        words = " ".join([_own(part.name), *(word for word in part.words if word in ("twisted",))])
        if part.kind == "shielded cable":
            words += " shielded"
        state = self.marks.states.get(part.name, "")
        node = one if one not in self.rails else other
        self._line(self._end(one), self._end(other), node, label=False, words=f"{words} {state.upper()}".strip(), state=state, wire=part.name)

    def _umbilicals(self) -> None:
        for part in self.circuit.parts:
            mate = part.setting("mates")
            if part.kind == "connector" and mate in self.circuit.by_name:
                self.out.edges[(f"p:{mate}", "", f"p:{part.name}", "", "mates")] = {
                    "penwidth": "5", "color": self.palette.ink, "style": "solid", "fontcolor": self.palette.ink,
                    "label": "umbilical, unplugs", "fontsize": "9"}

    def _line(self, one: tuple[str, str], other: tuple[str, str], node: str, *, label: bool, words: str = "", state: str = "", wire: str = "") -> None:
        style, width = STYLES[self.role_of[node]]
        attributes = {"color": self._ink(node), "penwidth": f"{width}", "style": style, "fontcolor": self._ink(node), "fontsize": "7.5"}
        if label or words:
            attributes["label"] = words or self._name(node)
        if state == "removed":
            attributes |= {"color": self.palette.removed, "style": "dashed", "fontcolor": self.palette.removed}
        if state == "new":
            attributes |= {"penwidth": f"{width + 1}"}
        if node in self.marks.hazards:
            attributes |= {"color": f"{self.palette.hazard}:{self.palette.paper}:{self.palette.hazard}", "penwidth": "1.4"}
        self.out.edges[(*one, *other, wire or node)] = attributes

    def _ink(self, node: str) -> str:
        return self.palette.hazard if node in self.marks.hazards else ink(self.role_of[node], self.theme)

    def _name(self, node: str) -> str:
        mark = " HAZARD" if node in self.marks.hazards else " LIVE" if node in self.marks.live else ""
        return f"<{text(_shown(node))}{mark}>"


def _runs(part: Part) -> list[tuple[str, str]]:
    """Return the pairs of nodes a conductor runs between, one a core."""
    if part.kind != "shielded cable":
        nodes = [node for _, node in part.pins]
        return [(nodes[0], nodes[1])] if len(nodes) == 2 else []
    found = []
    for run in strands(part):
        nodes = [part.node(terminal) for terminal in run]
        found += list(zip(nodes, nodes[1:], strict=False))
    return found


def _own(name: str) -> str:
    return name.rpartition("/")[2]


def _shown(node: str) -> str:
    return node.rpartition("/")[2]


def directed(sheet_: Sheet, sources: Iterable[str]) -> dict[str, int]:
    """Return how many lines lie between each vertex and the nearest source, so that lines run from left to right."""
    near: dict[str, list[str]] = {}
    for edge in sheet_.edges:
        near.setdefault(edge[0], []).append(edge[2])
        near.setdefault(edge[2], []).append(edge[0])
    found = {key: 0 for key in sources if key in sheet_.vertices}
    queue = deque(found)
    while queue:
        key = queue.popleft()
        for other in near.get(key, ()):
            if other not in found:
                found[other] = found[key] + 1
                queue.append(other)
    return found
