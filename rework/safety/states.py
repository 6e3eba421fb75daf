"""Which states of plug, switches and umbilicals are tried, and in which of them a node is connected
to the hot conductor.

Hot is the line blade with the plug as drawn and the neutral blade with the plug reversed. A node
joined to the other blade by nothing but conductors, fuses and closed contacts does not count as hot
in that state; every other node with a way to the hot conductor does, also where the way leads
through cold heaters. Insulation is reported only where a node has no other way. An outlet wired the
wrong way round is the reversed plug.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import prod
from typing import Literal

from rework.anatomy.links import closed_contacts, joints_of, mated, positions
from rework.circuit.circuit import Circuit
from rework.circuit.graph import Merged
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part, drawn_position
from rework.safety.findings import HOWS, When
from rework.safety.net import Net, State
from rework.safety.ties import Ties, trace_from, umbilical_states
from rework.safety.ways import WayStep

#: Up to this many switches of two positions (a gang counts as one), or as many combinations of
#: others, every combination of positions is tried.
MOST_SWITCHES = 6
#: Beyond it: all closed, all OFF, and so many of the switches one at a time, OFF among closed and
#: closed among OFF.
MOST_SINGLE = 24
#: Up to so many states times parts the parts on the way are told for every state; beyond it for so
#: many states in all.
MOST_TRACED = 50_000
MOST_TRACES = 8


@dataclass(frozen=True, slots=True)
class Axis:
    """One thing that moves: the plug, a switch with its gang, an umbilical; and the positions it
    has.
    """

    kind: str
    names: tuple[str, ...]
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Tried:
    """The states tried, each as the number of a position on every axis; ``words`` says which were
    tried, and which not.
    """

    axes: tuple[Axis, ...]
    rows: tuple[tuple[int, ...], ...]
    words: str

    def state(self, circuit: Circuit, row: tuple[int, ...]) -> State:
        """Return one row as a state."""
        switches, connectors = [], []
        for axis, number in zip(self.axes[1:], row[1:], strict=True):
            if axis.kind == "switch":
                switches += [
                    (name, _position(circuit.by_name[name], number)) for name in axis.names
                ]
            else:
                connectors += [(name, axis.values[number]) for name in axis.names]
        plug: Literal["as drawn", "reversed"] = "reversed" if row[0] else "as drawn"
        return State(plug, tuple(switches), tuple(connectors))


def states_to_try(
    circuit: Circuit, ties: Ties, *, every: bool = False, held: Collection[str] = ()
) -> Tried:
    """Return both ways round of the plug x the positions of switches on tied nodes x umbilicals
    mated and pulled.

    ``every``: the switches on the isolated side as well, which decide how many volts are there.
    ``held``: switches that stay, with their gang, where they are drawn.
    """
    gangs = _gangs(circuit, ties, every)
    umbilicals = [pair[:1] for pair in mated(circuit)]
    axes = (
        Axis("plug", ("plug",), ("as drawn", "reversed")),
        *(Axis("switch", gang, positions(circuit.by_name[gang[0]])) for gang in gangs),
        *(Axis("umbilical", names, ("mated", "pulled")) for names in umbilicals),
    )
    places = [_places(circuit, gang, held) for gang in gangs]
    settings = list(_settings(places))
    pulls = [
        tuple(int(where == "pulled") for _, where in state) for state in umbilical_states(circuit)
    ]
    rows = tuple(
        (plug, *switches, *pulled) for pulled in pulls for plug in (0, 1) for switches in settings
    )
    words = "both ways round of the plug"
    if len(settings) > 1:
        words += f", {len(settings)} combinations of switch positions"
    if umbilicals:
        words += f", {len(pulls)} states of the umbilicals"
    if prod(map(len, places)) > 2**MOST_SWITCHES:
        words += (
            f" ({len(gangs)} switches{'' if every else ' are on tied nodes'}: beyond"
            f" {MOST_SWITCHES} the check shows all closed, all OFF and the first"
            f" {min(len(gangs), MOST_SINGLE)} one at a time; what is tied was found with every"
            " switch closed in every position)"
        )
    return Tried(axes, rows, words)


def _position(part: Part, number: int) -> str:
    """Return a position of one switch of a gang by its number; one with fewer stays in its last."""
    throws = positions(part)
    return throws[min(number, len(throws) - 1)]


def _gangs(circuit: Circuit, ties: Ties, every: bool) -> list[tuple[str, ...]]:
    """Return the switches that are on tied nodes, or every one, those that move together in one
    tuple, in the order of the file.
    """
    switches = {part.name: part for part in circuit.parts if part.traits.is_switch}
    merged = Merged()
    for name, part in switches.items():
        if part.setting("ganged") in switches:
            merged.join(name, part.setting("ganged"))
    gangs: dict[str, list[str]] = {}
    for name in switches:
        gangs.setdefault(merged.find(name), []).append(name)
    return [
        tuple(gang)
        for gang in gangs.values()
        if every or any(node in ties.tied for name in gang for _, node in switches[name].pins)
    ]


def _places(circuit: Circuit, gang: tuple[str, ...], held: Collection[str]) -> tuple[int, ...]:
    """Return the numbers of the positions in which a gang is tried, the last first."""
    for name in gang:
        if name in held:
            part = circuit.by_name[name]
            return (positions(part).index(drawn_position(part)),)
    return tuple(reversed(range(len(positions(circuit.by_name[gang[0]])))))


def _settings(places: Sequence[tuple[int, ...]]) -> Iterator[tuple[int, ...]]:
    """Yield combinations of the ``places`` of switches, the first of each first."""
    if prod(map(len, places)) <= 2**MOST_SWITCHES:
        yield from product(*places)
        return
    for others in ([each[0] for each in places], [each[-1] for each in places]):
        yield tuple(others)
        for single, each in enumerate(places[:MOST_SINGLE]):
            for position in reversed(each):
                if position != others[single]:
                    yield (*others[:single], position, *others[single + 1 :])


def hot_blades(ties: Ties, plug: str) -> dict[str, tuple[str, str]]:
    """Return the nodes at hot blades with (plug, blade): the line blade as drawn, every other blade
    when reversed.
    """
    return {
        node: blade
        for node, blade in ties.blades.items()
        if (blade[1] == "line") == (plug == "as drawn")
    }


class Heat:
    """Tells in which states a node is connected to the hot conductor; made once a circuit, asked
    once a node.

    What does not move is put together beforehand: groups of nodes joined directly where a contact
    or a blade touches them, and islands of all that conduct among the rest. A state then only joins
    groups by its closed contacts and searches from the hot blade, round the groups that are joined
    to the other blade.
    """

    def __init__(self, circuit: Circuit, ties: Ties) -> None:
        self.circuit, self.ties = circuit, ties
        self.tried = states_to_try(circuit, ties)
        self._place, self._edges = _islands(ties)
        self._mark = {place: node for node, place in self._place.items()}  # a node of each place
        self._traces: dict[State, Ties] = {}
        self._told: dict[tuple[int, tuple[int, ...]], list[tuple[str, tuple[int, ...]]]] = {}

    def when(self, node: str, *, pulled: str = "") -> tuple[When, ...]:
        """Return the states in which a node is connected to the hot conductor, those put together
        that may be.

        With ``pulled``, the first half of an umbilical, only the states in which that one is pulled
        are reported.
        """
        if node not in self._place:
            return ()
        umbilicals = [
            number for number, axis in enumerate(self.tried.axes) if axis.kind == "umbilical"
        ]
        wanted = (
            [number for number in umbilicals if pulled in self.tried.axes[number].names]
            if pulled
            else (umbilicals if node in self.ties.only_pulled else [])
        )
        alike: dict[tuple[str, tuple[str, ...]], list[tuple[int, ...]]] = {}
        for how, row in self._rows(self._place[node], tuple(wanted)):
            alike.setdefault(
                (how, self._between(node, how, row) if self._is_small else ()), []
            ).append(row)
        return tuple(
            self._when(node, how, through, cube)
            for (how, through), rows in alike.items()
            for cube in _cubes(rows)
        )

    def _rows(self, place: int, pulled: tuple[int, ...]) -> list[tuple[str, tuple[int, ...]]]:
        """Return the states in which a place is hot, with how, the best way first; insulation only
        where there is no other.

        With ``pulled``, axes of which one at least must be pulled.
        """
        if (place, pulled) not in self._told:
            rows = [
                (how, row)
                for row, levels in zip(self.tried.rows, self._levels, strict=True)
                if (how := levels.get(place))
                and (not pulled or any(row[number] for number in pulled))
            ]
            better = [row for row in rows if row[0] != HOWS[-1]] or rows
            self._told[place, pulled] = sorted(better, key=lambda row: HOWS.index(row[0]))
        return self._told[place, pulled]

    @cached_property
    def _is_small(self) -> bool:
        """Whether the parts on the way are reported for every state, and not for one of those that
        are put together.
        """
        return len(self.tried.rows) * len(self.circuit.parts) <= MOST_TRACED

    @cached_property
    def _levels(self) -> list[dict[int, str]]:
        return [self._level(self.tried.state(self.circuit, row)) for row in self.tried.rows]

    def _level(self, state: State) -> dict[int, str]:
        """Return every place that is connected to the hot conductor in one state, with how."""
        merged, mark = Merged(), self._mark
        for nodes in _contacts(self.circuit, state):
            marks = [mark[self._place[node]] for node in nodes if node in self._place]
            for other in marks[1:]:
                merged.join(marks[0], other)
        joined = merged.groups()
        hot = [mark[self._place[node]] for node in hot_blades(self.ties, state.plug)]
        warm = {merged.find(node) for node in hot}
        cold = {merged.find(mark[self._place[node]]) for node in self.ties.blades} - warm
        level: dict[int, str] = {}
        line: list[int] = []

        def reach(place: int, how: str) -> None:
            root = merged.find(mark[place])
            if root not in cold and place not in level:
                for member in joined.get(root, (mark[place],)):
                    level[self._place[member]] = how
                    line.append(self._place[member])

        for node in sorted(hot):
            reach(self._place[node], HOWS[0])
        for rank in range(1, len(HOWS)):
            line += [] if rank == 1 else list(level)
            while line:
                place = line.pop()
                for edges in self._edges[:rank]:
                    for far in edges.get(place, ()):
                        reach(far, HOWS[rank])
        return level

    def _when(
        self, node: str, how: str, through: tuple[str, ...], cube: tuple[tuple[int, ...], ...]
    ) -> When:
        states: dict[str, list[tuple[str, tuple[str, ...]]]] = {
            "plug": [],
            "switch": [],
            "umbilical": [],
        }
        for axis, numbers in zip(self.tried.axes, cube, strict=True):
            if len(numbers) < len(axis.values):
                states[axis.kind].append(
                    (axis.names[0], tuple(axis.values[number] for number in numbers))
                )
        plug = states["plug"][0][1] if states["plug"] else ()
        through = through or self._between(node, how, tuple(numbers[0] for numbers in cube))
        return When(plug, tuple(states["switch"]), tuple(states["umbilical"]), how, through)

    def _between(self, node: str, how: str, row: tuple[int, ...]) -> tuple[str, ...]:
        """Return the parts between the hot blade and a node in one state, without conductors, fuses
        and contacts.
        """
        if how == HOWS[0]:
            return ()
        state = self.tried.state(self.circuit, row)
        if state not in self._traces and len(self._traces) >= MOST_TRACES and not self._is_small:
            return ()
        return tuple(
            dict.fromkeys(
                step.part
                for step in self.way(node, state)[1:]
                for part in [self.circuit.by_name[step.part]]
                if (
                    not part.is_conductor
                    and part.kind not in ("connector", "fuse", "breaker", "switch")
                )
                or step.out_of in METALWORK
            )
        )

    def path(self, node: str) -> tuple[WayStep, ...]:
        """Return the way from a blade to a tied node: the most direct one, or where that needs a
        switch in two positions at once, the one in the first state in which the node is hot.
        """
        path = self.ties.path(node)
        if node not in self._place or _is_walkable(self.circuit, path):
            return path
        rows = self._rows(self._place[node], ())
        states = [self.tried.state(self.circuit, row) for _, row in rows[:1]]
        enough = len(self._traces) >= MOST_TRACES and not self._is_small
        if not states or (enough and states[0] not in self._traces):
            return path
        return self.way(node, states[0]) or path

    def way(self, node: str, state: State) -> tuple[WayStep, ...]:
        """Return the way from the hot blade to a node in one state, part by part; nothing where it
        has none in that state.
        """
        if state not in self._traces:
            hot = hot_blades(self.ties, state.plug)
            self._traces[state] = trace_from(
                self.circuit, hot, state, blocked=self._cold(state, hot)
            )
        traced = self._traces[state]
        return traced.path(node) if node in traced.tied else ()

    def _cold(self, state: State, hot: dict[str, tuple[str, str]]) -> list[str]:
        """Return the nodes joined directly to the blades that are not hot in one state."""
        net = Net(self.circuit, state)
        joined = net.groups_of(self.circuit.nodes, net.is_closed)
        cold = {joined[node] for node in self.ties.blades if node not in hot} - {
            joined[node] for node in hot
        }
        return [node for node, group in joined.items() if group in cold]


def _is_walkable(circuit: Circuit, path: Iterable[WayStep]) -> bool:
    """Return whether every switch on a way, and all of its gang, joins the contacts on it in one
    position.
    """
    left: dict[str, set[int]] = {}
    for step in path:
        part = circuit.by_name[step.part]
        if not part.traits.is_switch or not step.into or step.out_of in METALWORK:
            continue
        joined = {
            number
            for number, position in enumerate(positions(part))
            if any({step.into, step.out_of} <= {*run} for run in closed_contacts(part, position))
        }
        gang = part.setting("ganged") or part.name
        left[gang] = left.get(gang, joined) & joined
    return all(left.values())


def _islands(ties: Ties) -> tuple[dict[str, int], tuple[dict[int, dict[int, None]], ...]]:
    """Return the place of every tied node, and which places conduction, capacitors and insulation
    join.
    """
    net = ties.net
    moved = {node for number in net.moving for _, node in net.pins[number]} | ties.blades.keys()
    direct = net.groups_of(ties.tied, net.is_direct)
    marked = {direct[node] for node in moved if node in direct}
    place = {node: group for node, group in direct.items() if group in marked}
    first = len(direct)
    rest = net.groups_of((node for node in ties.tied if node not in place), net.is_conducting)
    place |= {node: first + group for node, group in rest.items()}
    edges: tuple[dict[int, dict[int, None]], ...] = ({}, {}, {})
    for number in dict.fromkeys(
        number for node in place for number in net.at.get(node, ()) if number not in net.moving
    ):
        into = edges[net.is_capacitor(number) + 2 * net.is_insulation(number)]
        out_of = {place[node]: None for _, node in net.crossed(number) if node in place}
        for _, node in net.pins[number]:
            if node in place and out_of.keys() - {place[node]}:
                into.setdefault(place[node], {}).update(out_of)
    return place, edges


def _contacts(circuit: Circuit, state: State) -> Iterator[tuple[str, ...]]:
    """Return the nodes that closed contacts join in one state."""
    for name, position in state.switches:
        part = circuit.by_name[name]
        for run in closed_contacts(part, position):
            yield tuple(part.at(terminal) for terminal in run)
    pulled = {name for name, where in state.connectors if where == "pulled"}
    for pair in mated(circuit):
        if pulled.isdisjoint(pair):
            for near, here, other, there in joints_of(circuit, pair):
                yield circuit.by_name[near].at(here), circuit.by_name[other].at(there)


def _cubes(rows: Iterable[tuple[int, ...]]) -> list[tuple[tuple[int, ...], ...]]:
    """Return rows put together: where two differ on one axis only, they become one with both
    positions there.
    """
    cubes: list[tuple[tuple[int, ...], ...]] = [tuple((number,) for number in row) for row in rows]
    for axis in range(len(cubes[0]) if cubes else 0):
        alike: dict[tuple[tuple[int, ...], ...], list[int]] = {}
        for cube in cubes:
            alike.setdefault((*cube[:axis], (), *cube[axis + 1 :]), []).extend(cube[axis])
        cubes = [
            (*key[:axis], tuple(sorted(set(numbers))), *key[axis + 1 :])
            for key, numbers in alike.items()
        ]
    return sorted(cubes)
