"""Which states of plug, switches and umbilicals are tried, and in which of them a node is connected to the hot conductor.

Hot is the line blade with the plug as drawn and the neutral blade with the plug reversed. A node joined to the other
blade by nothing but conductors, fuses and closed contacts does not count as hot in that state; every other node with a
way to the hot conductor does, also where the way leads through cold heaters. An outlet wired the wrong way round is
the reversed plug.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.safety.findings import When
from rework.safety.links import closed_contacts, joints_of, mated, positions
from rework.safety.ties import State, Ties, trace_from, umbilical_states

#: Up to this many switches (a gang counts as one) every combination of positions is tried.
MOST_SWITCHES = 6
#: Beyond it: all closed, all OFF, and so many of the switches one at a time, OFF among closed and closed among OFF.
MOST_SINGLE = 24
#: In a circuit with very many states the parts on the way are listed for so many of them.
MOST_TRACES = 16

_HOWS = ("directly", "through parts", "through a capacitor")


@dataclass(frozen=True, slots=True)
class Axis:
    """One thing that moves: the plug, a switch with its gang, an umbilical; and the positions it has."""

    kind: str
    names: tuple[str, ...]
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tried:
    """The states tried, each as the number of a position on every axis; ``words`` says which were tried, and which not."""

    axes: tuple[Axis, ...]
    rows: tuple[tuple[int, ...], ...]
    words: str

    def state(self, circuit: Circuit, row: tuple[int, ...]) -> State:
        """Return one row as a state."""
        switches, connectors = [], []
        for axis, number in zip(self.axes[1:], row[1:], strict=True):
            if axis.kind == "switch":
                switches += [(name, positions(circuit.by_name[name])[number]) for name in axis.names]
            else:
                connectors += [(name, axis.values[number]) for name in axis.names]
        return State(self.axes[0].values[row[0]], tuple(switches), tuple(connectors))


def states_to_try(circuit: Circuit, ties: Ties) -> Tried:
    """Return both ways round of the plug x the positions of switches on tied nodes x umbilicals mated and pulled."""
    gangs = _gangs(circuit, ties)
    umbilicals = [pair[:1] for pair in mated(circuit)]
    axes = (Axis("plug", ("plug",), ("as drawn", "reversed")),
            *(Axis("switch", gang, positions(circuit.by_name[gang[0]])) for gang in gangs),
            *(Axis("umbilical", names, ("mated", "pulled")) for names in umbilicals))
    settings = list(_settings(len(gangs)))
    pulls = [tuple(int(where == "pulled") for _, where in state) for state in umbilical_states(circuit)]
    rows = tuple((plug, *switches, *pulled) for pulled in pulls for plug in (0, 1) for switches in settings)
    words = "both ways round of the plug"
    if gangs:
        words += f", {len(settings)} combinations of switch positions"
    if umbilicals:
        words += f", {len(pulls)} states of the umbilicals"
    if len(gangs) > MOST_SWITCHES:
        words += (f" ({len(gangs)} switches stand on tied nodes: beyond {MOST_SWITCHES} they are told all closed, all OFF and the first "
                  f"{min(len(gangs), MOST_SINGLE)} one at a time; what is tied was found with every switch closed in every position)")
    return Tried(axes, rows, words)


def _gangs(circuit: Circuit, ties: Ties) -> list[tuple[str, ...]]:
    """Return the switches that stand on tied nodes, those that move together in one tuple, in the order of the file."""
    switches = {part.name: part for part in circuit.parts if part.kind == "switch"}
    merged = Merged()
    for name, part in switches.items():
        if part.setting("ganged") in switches:
            merged.join(name, part.setting("ganged"))
    gangs: dict[str, list[str]] = {}
    for name in switches:
        gangs.setdefault(merged.find(name), []).append(name)
    return [tuple(gang) for gang in gangs.values()
            if any(node in ties.tied for name in gang for _, node in switches[name].pins)]


def _settings(count: int) -> Iterator[tuple[int, ...]]:
    if count <= MOST_SWITCHES:
        yield from product((1, 0), repeat=count)
        return
    for all_others in (1, 0):
        yield (all_others,) * count
        for single in range(min(count, MOST_SINGLE)):
            yield tuple(1 - all_others if number == single else all_others for number in range(count))


def hot_blades(ties: Ties, plug: str) -> dict[str, tuple[str, str]]:
    """Return the nodes at hot blades with (plug, blade): the line blade as drawn, every other blade when reversed."""
    return {node: blade for node, blade in ties.blades.items() if (blade[1] == "line") == (plug == "as drawn")}


class Heat:
    """Tells in which states a node is connected to the hot conductor; made once a circuit, asked once a node.

    What does not move is merged beforehand into groups joined directly and groups joined by anything that conducts, so
    that a state costs no more than the contacts that move.
    """

    def __init__(self, circuit: Circuit, ties: Ties) -> None:
        self.circuit, self.ties = circuit, ties
        self.tried = states_to_try(circuit, ties)
        net = ties.net
        self.direct = net.groups_of(ties.tied, net.is_direct)
        self.whole = net.groups_of(ties.tied, net.is_conducting)
        moved = {node for number in net.moving for _, node in net.pins[number]} | ties.blades.keys()
        self._marked = {self.direct[node] for node in moved if node in self.direct}
        self._traces: dict[State, Ties] = {}
        self._told: dict[tuple[int, int], list[tuple[str, tuple[tuple[int, ...], ...]]]] = {}

    def when(self, node: str) -> tuple[When, ...]:
        """Return the states in which a node is connected to the hot conductor, those put together that may be."""
        place = self.place(node)
        if place not in self._told:
            found = [(state.level(place), row) for row, state in zip(self.tried.rows, self._states, strict=True)]
            self._told[place] = [(how, cube) for how in _HOWS for cube in _cubes([row for level, row in found if level == how])]
        cubes = self._told[place]
        if node in self.ties.only_pulled:
            mated_row = tuple(number for number, axis in enumerate(self.tried.axes) if axis.kind == "umbilical")
            cubes = [(how, cube) for how, cube in cubes if any(1 in cube[number] for number in mated_row)]
        return tuple(self._when(node, how, cube) for how, cube in cubes)

    def place(self, node: str) -> tuple[int, int]:
        """Return the groups of a node; a direct group that no contact and no blade touches is as good as any other."""
        direct = self.direct[node]
        return (direct if direct in self._marked else -1, self.whole[node])

    @cached_property
    def _states(self) -> list[_Groups]:
        pairs = {tuple(self.place(node) for _, node in pins): None for pins in self.ties.net.capacitors()
                 if all(node in self.direct for _, node in pins)}
        bridges = [*pairs, *(pair[::-1] for pair in pairs)]
        return [_Groups(self, self.tried.state(self.circuit, row), bridges) for row in self.tried.rows]

    def _when(self, node: str, how: str, cube: tuple[tuple[int, ...], ...]) -> When:
        told: dict[str, list[tuple[str, tuple[str, ...]]]] = {"plug": [], "switch": [], "umbilical": []}
        for axis, numbers in zip(self.tried.axes, cube, strict=True):
            if len(numbers) < len(axis.values):
                told[axis.kind].append((axis.names[0], tuple(axis.values[number] for number in numbers)))
        plug = told["plug"][0][1] if told["plug"] else ()
        first = self.tried.state(self.circuit, tuple(numbers[0] for numbers in cube))
        return When(plug, tuple(told["switch"]), tuple(told["umbilical"]), how, () if how == "directly" else self._between(node, first))

    def _between(self, node: str, state: State) -> tuple[str, ...]:
        """Return the parts between the hot blade and a node in one state, without conductors, fuses and contacts."""
        if state not in self._traces:
            if len(self._traces) >= MOST_TRACES:
                return ()
            self._traces[state] = trace_from(self.circuit, hot_blades(self.ties, state.plug), state)
        traced = self._traces[state]
        if node not in traced.tied:
            return ()
        on_way = (self.circuit.by_name[step.part] for step in traced.path(node)[1:])
        return tuple(dict.fromkeys(part.name for part in on_way
                                   if not part.is_conductor and part.kind not in ("connector", "fuse", "switch")))


class _Groups:
    """How the groups of nodes stand in one state: which are hot, which are joined to the other blade."""

    def __init__(self, heat: Heat, state: State, bridges: list[tuple[tuple[int, int], tuple[int, int]]]) -> None:
        contacts = list(_contacts(heat.circuit, state))
        self._direct = _merge(heat.direct, contacts)
        self._whole = _merge(heat.whole, contacts)
        hot = hot_blades(heat.ties, state.plug)
        self._hot_direct = {self._direct.find(heat.direct[node]) for node in hot}
        self._cold_direct = {self._direct.find(heat.direct[node]) for node in heat.ties.blades if node not in hot}
        self._hot = {self._whole.find(heat.whole[node]) for node in hot}
        self._fed = {self._whole.find(heat.whole[node]) for node in heat.ties.blades}
        self._charged: set[int] = set()
        self._charge(bridges)

    def _charge(self, bridges: list[tuple[tuple[int, int], tuple[int, int]]]) -> None:
        """Mark the groups without a blade that a capacitor joins to a hot one, and so on from there."""
        before = -1
        while before != len(self._charged):
            before = len(self._charged)
            for near, far in bridges:
                group = self._whole.find(far[1])
                if group not in self._fed and group not in self._charged and self.level(near):
                    self._charged.add(group)

    def level(self, place: tuple[int, int]) -> str:
        """Return how a place is connected to the hot conductor, or an empty string where it is not."""
        direct, whole = self._direct.find(place[0]), self._whole.find(place[1])
        if direct in self._hot_direct:
            return "directly"
        if direct in self._cold_direct:
            return ""
        if whole in self._hot:
            return "through parts"
        return "through a capacitor" if whole in self._charged else ""


def _contacts(circuit: Circuit, state: State) -> Iterator[tuple[str, ...]]:
    """Return the nodes that closed contacts join in one state."""
    for name, position in state.switches:
        part = circuit.by_name[name]
        for run in closed_contacts(part, position):
            yield tuple(part.node(terminal) for terminal in run)
    pulled = {name for name, where in state.connectors if where == "pulled"}
    for pair in mated(circuit):
        if pulled.isdisjoint(pair):
            for one, here, other, there in joints_of(circuit, pair):
                yield circuit.by_name[one].node(here), circuit.by_name[other].node(there)


def _merge(group_of: dict[str, int], contacts: Iterable[tuple[str, ...]]) -> Merged:
    merged = Merged()
    for nodes in contacts:
        groups = [group_of[node] for node in nodes if node in group_of]
        for group in groups[1:]:
            merged.join(groups[0], group)
    return merged


def _cubes(rows: Iterable[tuple[int, ...]]) -> list[tuple[tuple[int, ...], ...]]:
    """Return rows put together: where two differ on one axis only, they become one with both positions there."""
    cubes = [tuple((number,) for number in row) for row in rows]
    for axis in range(len(cubes[0]) if cubes else 0):
        alike: dict[tuple, list[int]] = {}
        for cube in cubes:
            alike.setdefault((*cube[:axis], (), *cube[axis + 1:]), []).extend(cube[axis])
        cubes = [(*key[:axis], tuple(sorted(set(numbers))), *key[axis + 1:]) for key, numbers in alike.items()]
    return sorted(cubes)
