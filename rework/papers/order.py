"""The edits of a job in the order in which a bench does them, replayed on the circuit.

A job lists its rules in the order in which they can be asked. A bench works in another one: the
plug and the cord first, what comes out before what goes in, protective earth before anything else
of the umbilical, the lead of the switch before the supply is first tested. ``hand_order`` finds
that order, proves by replay that it ends in the same circuit, and keeps the order of the job where
it does not.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

import networkx

from rework.anatomy.links import joints
from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    Action,
    AttachCircuit,
    Bridge,
    CutConductor,
    EditError,
    ExchangeTube,
    FitPart,
    LiftPin,
    MoveLead,
    RemovePart,
    RunWire,
    SetValue,
    apply_edit,
    subject,
)
from rework.circuit.graph import Merged
from rework.circuit.parts import Part
from rework.papers.places import one_point
from rework.rules.run import JobRun
from rework.safety.check import check


class Stage(IntEnum):
    """The kinds of work, in the order in which a bench does them."""

    CORD = 0
    REMOVE = 1
    CUT = 2
    LIFT = 3
    SOCKETS = 4
    FIT = 5
    HEATERS = 6
    SUPPLY = 7
    EARTH = 8
    BOND = 9
    SWITCH = 10
    UMBILICAL = 11
    LINE = 12


@dataclass(frozen=True, slots=True)
class Move:
    """One thing that hands do, with the circuit before and after it.

    ``edits`` are the places in ``JobRun.edits`` that it covers, the one that names the work first.
    """

    edits: tuple[int, ...]
    stage: Stage
    action: Action
    before: Circuit
    after: Circuit


@dataclass(frozen=True, slots=True)
class Replay:
    """The moves in order, and what the mains check says on the way.

    ``after`` is the circuit at the end. ``hold`` is the number (from 1) of the last move after
    which a plug is there and the check still finds something, the set as found left out; 0 where
    there is none. ``finding`` is what it found. ``by_bench`` is False where the order of the bench
    could not be replayed and the order of the job was kept.
    """

    moves: tuple[Move, ...]
    after: Circuit
    hold: int
    finding: str
    by_bench: bool


def hand_order(run: JobRun) -> Replay:
    """Return the edits of a job as the bench does them, each once, replayed on its circuit."""
    actions = [edit.action for edit in run.edits]
    stages = _stages(run, actions)
    before = _needed(actions)
    stages = _monotone(stages, before)
    earthed = [_brings_earth(action, run.after) for action in actions]
    order = _ordered(stages, earthed, before)
    moves = _replayed(run.before, actions, stages, order)
    by_bench = moves is not None and _same(moves[-1].after if moves else run.before, run.after)
    if moves is None or not by_bench:
        moves = _replayed(run.before, actions, stages, range(len(actions))) or []
    merged = _merged(moves)
    number, finding = _last_finding(moves)
    hold = next((place for place, move in enumerate(merged, 1) if number in move.edits), 0)
    return Replay(tuple(merged), moves[-1].after if moves else run.before, hold, finding, by_bench)


# stages


def _stages(run: JobRun, actions: Sequence[Action]) -> list[Stage]:
    points = _Points(run.after)
    removed = {action.name for action in actions if isinstance(action, RemovePart)}
    cord = _cord(run.before)
    return [_stage(action, removed, cord, points) for action in actions]


def _stage(action: Action, removed: set[str], cord: frozenset[str], points: _Points) -> Stage:
    """Return the stage of an action; the lifts of a part that is taken out later go with it."""
    match action:
        case RemovePart(name):
            return Stage.CORD if name in cord else Stage.REMOVE
        case LiftPin(name, _):
            if name in removed:
                return Stage.CORD if name in cord else Stage.REMOVE
            return Stage.LIFT
        case CutConductor():
            return Stage.CUT
        case ExchangeTube():
            return Stage.SOCKETS
        case FitPart(part):
            if part.kind in ("tube", "socket"):
                return Stage.SOCKETS
            return Stage.LINE if part.kind == "plug" else points.fitted(part)
        case SetValue() | MoveLead() | Bridge():
            return Stage.FIT
        case AttachCircuit():
            return Stage.SUPPLY
        case RunWire(part):
            return points.stage(part)


def _cord(circuit: Circuit) -> frozenset[str]:
    """Return the plugs of a set and the fuses that the cord or the switch leads to."""
    plugs = {part.name for part in circuit.parts if part.kind == "plug"}
    reached = {node for name in plugs for _, node in circuit.by_name[name].pins}
    reached |= {
        node
        for part in circuit.parts
        if part.kind == "switch" and any(node in reached for _, node in part.pins)
        for _, node in part.pins
    }
    fuses = {
        part.name
        for part in circuit.parts
        if part.traits.is_overcurrent and any(node in reached for _, node in part.pins)
    }
    return frozenset(plugs | fuses)


class _Points:
    """The finished circuit by the points that its conductors make one: earth, line, heaters, and
    what an attached circuit shares with the amplifier.
    """

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._point = one_point(circuit)
        self._metal = _metal_nodes(circuit)
        pins = [(part, terminal, node) for part in circuit.parts for terminal, node in part.pins]
        plug = [(terminal, node) for part, terminal, node in pins if part.kind == "plug"]
        self._earth = self._of(node for terminal, node in plug if terminal == "earth")
        self._line = self._led_on(self._of(node for terminal, node in plug if terminal != "earth"))
        self._heaters = self._of(
            node
            for part, terminal, node in pins
            if part.kind == "transformer"
            and terminal.startswith("heater")
            and terminal.endswith(("start", "finish"))
        )
        self._attached = {node for part, _, node in pins if "/" in part.name}

    def _of(self, nodes: Iterable[str]) -> frozenset[str]:
        return frozenset(self._point[node] for node in nodes)

    def _led_on(self, line: frozenset[str]) -> frozenset[str]:
        """Return the points of the line and those that fuses and switches lead it to."""
        graph = networkx.Graph()
        graph.add_nodes_from(line)
        for part in self._circuit.parts:
            if part.traits.is_overcurrent or part.traits.is_switch:
                networkx.add_path(graph, [self._point[node] for node in part.ends])
        return frozenset().union(*(networkx.node_connected_component(graph, at) for at in line))

    def fitted(self, part: Part) -> Stage:
        """Return the stage of a new part: one that depends on what is attached comes after it, on
        the line not before the earth.
        """
        nodes = [node for _, node in part.pins]
        if not any("/" in node for node in nodes):
            return Stage.FIT
        points = {self._point[node] for node in nodes if node in self._point}
        return Stage.SWITCH if points & self._line else Stage.UMBILICAL

    def stage(self, wire: Part) -> Stage:
        """Return the stage of a conductor by where it ends."""
        placed = self._circuit.part(wire.name)
        nodes = [node for _, node in placed.pins] if placed else []
        points = {self._point[node] for node in nodes}
        if points & self._line:
            return Stage.SWITCH
        if nodes and self._metal.issuperset(nodes):
            return Stage.EARTH
        if points and points <= self._earth and not self._attached.intersection(nodes):
            return Stage.BOND
        if self._attached.intersection(nodes):
            return Stage.UMBILICAL
        return Stage.HEATERS if points & self._heaters else Stage.FIT


def _metal_nodes(circuit: Circuit) -> frozenset[str]:
    """Return the nodes with metal or a plug's earth pin on them, and their mated contacts: a
    chassis, or the frame of a part, as of a motor on its deck.

    No wire is followed: the common that is bonded to the chassis is not protective earth.
    """
    point = Merged()
    for near, first, other, second in joints(circuit):
        point.join(circuit.by_name[near].at(first), circuit.by_name[other].at(second))
    metal = {
        point.find(node)
        for part in circuit.parts
        for terminal, node in part.pins
        if part.kind == "chassis"
        or terminal == "frame"
        or (part.kind == "plug" and terminal == "earth")
    }
    return frozenset(node for node in circuit.nodes if point.find(node) in metal)


# order


def _needed(actions: Sequence[Action]) -> list[frozenset[int]]:
    """Return for each action the earlier ones that it needs done: those that made or changed a part
    it works on, and those that used that part as it was before this one changes it.
    """
    changed: dict[str, int] = {}
    used: dict[str, list[int]] = {}
    needed = []
    for number, action in enumerate(actions):
        mine, ends = subject(action), _ends(action)
        before = {changed[name] for name in (mine, *ends) if name in changed}
        needed.append(frozenset(before.union(used.pop(mine, ()))))
        changed[mine] = number
        for name in ends:
            used.setdefault(name, []).append(number)
    return needed


def _ends(action: Action) -> set[str]:
    """Return the parts and attached circuits that the ends of a new conductor land on, and the
    attached circuits that a new part does.
    """
    if isinstance(action, FitPart):
        return {node.partition("/")[0] for _, node in action.part.pins if "/" in node}
    if not isinstance(action, RunWire):
        return set()
    ends = [end for _, end in action.part.pins]
    return {end.partition(".")[0] for end in ends if "." in end} | {
        end.partition("/")[0] for end in ends if "/" in end
    }


def _monotone(stages: Sequence[Stage], needed: Sequence[frozenset[int]]) -> list[Stage]:
    """Return the stages with none before that of an action it needs done."""
    later: list[Stage] = []
    for stage, before in zip(stages, needed, strict=True):
        later.append(max([stage, *(later[number] for number in before)]))
    return later


def _brings_earth(action: Action, circuit: Circuit) -> bool:
    """True for a new conductor that ends on metal: where the line comes, the earth comes first."""
    if not isinstance(action, RunWire):
        return False
    placed = circuit.part(action.part.name)
    return placed is not None and not _metal_nodes(circuit).isdisjoint(
        node for _, node in placed.pins
    )


def _ordered(
    stages: Sequence[Stage], earthed: Sequence[bool], needed: Sequence[frozenset[int]]
) -> list[int]:
    """Return the places of the actions by stage, each after those that it needs done; within a
    stage those that bring the earth come first.
    """
    graph = networkx.DiGraph()
    graph.add_nodes_from(range(len(stages)))
    graph.add_edges_from((before, number) for number, all_ in enumerate(needed) for before in all_)
    return list(
        networkx.lexicographical_topological_sort(
            graph, key=lambda number: (stages[number], not earthed[number], number)
        )
    )


def _replayed(
    circuit: Circuit, actions: Sequence[Action], stages: Sequence[Stage], order: Iterable[int]
) -> list[Move] | None:
    """Return the moves of an order; None where an action cannot be done in it."""
    moves = []
    for number in order:
        try:
            after = apply_edit(circuit, actions[number])
        except EditError:
            return None
        moves.append(Move((number,), stages[number], actions[number], circuit, after))
        circuit = after
    return moves


def _same(circuit: Circuit, second: Circuit) -> bool:
    """True where two circuits are equal but for the order of their parts and their titles."""

    def plain(first: Circuit) -> Circuit:
        return replace(
            first,
            title="",
            parts=tuple(sorted(first.parts, key=lambda part: part.name)),
            touchable=tuple(sorted(first.touchable)),
            ports=tuple(sorted(first.ports)),
            open_nodes=tuple(sorted(first.open_nodes)),
            blank_nodes=tuple(sorted(first.blank_nodes)),
            aliases=tuple(sorted(first.aliases)),
        )

    return plain(circuit) == plain(second)


def _merged(moves: Sequence[Move]) -> list[Move]:
    """Return the moves that are work: a lift from a lug that nothing else is on, and the lifts of a
    part that is taken out, are covered by the move that does it.
    """
    kept: list[Move] = []
    waiting: dict[str, tuple[int, ...]] = {}
    left: set[tuple[str, str]] = set()
    # A socket that is left where a tube came out has the tube's name, and leads of its own.
    out = {m.action.name: at for at, m in enumerate(moves) if isinstance(m.action, RemovePart)}
    for at, move in enumerate(moves):
        action = move.action
        if isinstance(action, LiftPin):
            node = move.before.by_name[action.part].node(action.terminal)
            if at < out.get(action.part, -1):
                waiting[action.part] = (*waiting.get(action.part, ()), *move.edits)
                left.add((action.part, node or ""))
                continue
            place = _freed(kept, node, left) if node and len(move.before.at[node]) == 1 else None
            if place is not None and kept:
                kept[place] = replace(kept[place], edits=(*kept[place].edits, *move.edits))
                continue
        if isinstance(action, RemovePart) and action.name in waiting:
            move = replace(move, edits=(*move.edits, *waiting.pop(action.name)))
        kept.append(move)
    return kept


def _freed(kept: Sequence[Move], node: str, left: Collection[tuple[str, str]]) -> int:
    """Return the place of the move that took the last other lead off a node; of one that never had
    another lead, the last. Parts that come out whole have ``left`` their nodes, (part, node),
    before.
    """
    for place in reversed(range(len(kept))):
        move = kept[place]
        came_out = isinstance(move.action, RemovePart) and (move.action.name, node) in left
        if came_out or len(move.before.at.get(node, ())) > len(move.after.at.get(node, ())):
            return place
    return len(kept) - 1


def _last_finding(moves: Sequence[Move]) -> tuple[int, str]:
    """Return the edit of the last move after which a plug is there and the check finds something,
    with the verdict; the set as found, with its old cord still on, is left out.
    """
    for at in reversed(range(len(moves))):
        circuit = moves[at].after
        if not any(part.kind == "plug" for part in circuit.parts):
            break
        report = check(circuit)
        if report.exit_status:
            return (moves[at].edits[0], report.verdict) if _cord_off(moves[:at]) else (-1, "")
    return -1, ""


def _cord_off(moves: Sequence[Move]) -> bool:
    return any(not any(part.kind == "plug" for part in move.after.parts) for move in moves)
