"""What is tied to the mains: reachability from the plug blades, straight from the parts.

One breadth-first search over nodes and the groups of terminals that parts join: first through what
conducts, then also through capacitors, last also through the insulation between what is inside a
part and its own metalwork. Linear in the number of pins; no graph library.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from itertools import combinations
from typing import Literal

from rework.anatomy.links import mated
from rework.circuit.circuit import Circuit
from rework.safety.net import CAPACITOR, INSULATION, Net, State
from rework.safety.ways import Ways, WayStep

Through = Literal["conduction", "capacitor"]

#: Up to this many umbilicals every combination of mated and pulled is tried; beyond it none, each
#: one alone, and all.
MOST_UMBILICALS = 4


class _Search:
    """The search in one net: ``reached`` holds every tied node, ``by_capacitor`` those that only
    capacitors reach.

    Each group is crossed once. ``blocked`` nodes are not entered.
    """

    def __init__(
        self,
        net: Net,
        seeds: Iterable[str],
        earthed: frozenset[str],
        *,
        blocked: Iterable[str] = (),
    ) -> None:
        self.net = net
        self.seeds = tuple(dict.fromkeys(seeds))
        self.earthed = earthed
        self.blocked = tuple(blocked)
        self.earth_held = False
        self.by_capacitor: dict[str, None] = {}
        self.reached: dict[str, None] = dict.fromkeys((*self.seeds, *self.blocked))
        self._later: dict[int, list[tuple[int, int, str]]] = {CAPACITOR: [], INSULATION: []}
        self._entered = bytearray(len(net.how))
        self._conduct(list(self.seeds))
        self._follow(CAPACITOR)
        self._follow(INSULATION)
        for node in self.blocked:
            self.reached.pop(node, None)

    def _conduct(self, line: list[str]) -> None:
        """Search through what conducts, and keep what does not for later with the depth at which it
        was met.
        """
        how, pins, at = self.net.how, self.net.pins, self.net.at
        reached, entered, later = self.reached, self._entered, self._later
        depth = 0
        while line:
            following: list[str] = []
            for node in line:
                for number in at.get(node, ()):
                    if entered[number]:
                        continue
                    if how[number] >= CAPACITOR:
                        later[how[number]].append((depth, number, node))
                        continue
                    entered[number] = 1
                    for _, other in pins[number]:
                        if other not in reached:
                            reached[other] = None
                            following.append(other)
            line, depth = following, depth + 1

    def _follow(self, allowed: int) -> None:
        """Go on from the crossings kept for later, nearest to the blades first, through everything
        up to ``allowed``.
        """
        net = self.net
        waiting: dict[int, list[tuple[int, str]]] = {}
        for depth, number, node in self._later[allowed]:
            waiting.setdefault(depth, []).append((number, node))
        depth = min(waiting, default=0)
        while waiting:
            following: list[str] = []
            for number, node in waiting.pop(depth, ()):
                if net.how[number] > allowed:
                    self._later[net.how[number]].append((depth, number, node))
                elif not self._entered[number] and net.enters(number, node):
                    following += self._cross(number, node)
            depth += 1
            if following:
                waiting.setdefault(depth, []).extend(
                    (number, node) for node in following for number in net.at.get(node, ())
                )

    def _cross(self, number: int, node: str) -> list[str]:
        """Return the nodes that are newly reached through one group from one node."""
        self._entered[number] = 1
        newly: list[str] = []
        for _, other in self.net.crossed(number):
            if other in self.reached:
                continue
            if number in self.net.held and other in self.earthed:
                self.earth_held = True
                continue
            self.reached[other] = None
            newly.append(other)
            if self.net.how[number] == CAPACITOR or node in self.by_capacitor:
                self.by_capacitor[other] = None
        return newly


class Ties:
    """What is tied to the mains, and how it got there. Read only.

    ``tied`` gives every tied node with ``conduction`` or ``capacitor`` (insulation that does not
    count as isolation is counted as conduction); ``earthed`` the nodes joined to the earth of a
    three-pin plug by conductors; ``blades`` the (plug, blade) at each node where the mains come in.
    """

    def __init__(
        self,
        searches: list[_Search],
        blades: Mapping[str, tuple[str, str]],
        earthed: frozenset[str],
    ) -> None:
        self._searches = searches
        self._ways: dict[int, Ways] = {}
        self.blades = blades
        self.earthed = earthed
        self.tied: dict[str, Through] = {}
        self._beside: dict[str, int] = {}  # nodes not tied in the first search: the search
        for number, search in enumerate(searches):
            for node in search.reached:
                through: Through = "capacitor" if node in search.by_capacitor else "conduction"
                if node not in self.tied or (
                    through == "conduction" and self.tied[node] == "capacitor"
                ):
                    self.tied[node] = through
                    if number:
                        self._beside[node] = number

    @cached_property
    def only_pulled(self) -> frozenset[str]:
        """The nodes that are tied only while an umbilical is pulled, for want of the earth that
        came through it.
        """
        return frozenset(node for node in self._beside if node not in self._searches[0].reached)

    @property
    def net(self) -> Net:
        """The circuit as groups of joined terminals, umbilicals mated."""
        return self._searches[0].net

    def path(self, node: str) -> tuple[WayStep, ...]:
        """Return the way from a plug blade to a node as a hand would trace it (see :class:`Ways`).

        Raises KeyError where the node is not tied.
        """
        number = self._beside.get(node, 0)
        if number not in self._ways:
            search = self._searches[number]
            self._ways[number] = Ways(
                search.net, search.seeds, search.earthed, blocked=search.blocked
            )
        return self._ways[number].path(node, self.blades)


def blade_nodes(circuit: Circuit) -> dict[str, tuple[str, str]]:
    """Return the nodes at the blades of every plug, with (plug, blade).

    The earth pin is no blade; anything else is.
    """
    blades: dict[str, tuple[str, str]] = {}
    for part in circuit.parts:
        if part.kind == "plug":
            for terminal, node in part.pins:
                if terminal != "earth":
                    blades.setdefault(node, (part.name, terminal))
    return blades


def bonded_to_earth(circuit: Circuit, state: State | None = None) -> frozenset[str]:
    """Return the nodes joined to the earth pin of a plug by wires, traces, cables and mated
    contacts only.
    """
    return _earthed(circuit, Net(circuit, state)) if _earth_pins(circuit) else frozenset()


def _earth_pins(circuit: Circuit) -> tuple[str, ...]:
    return tuple(
        node
        for part in circuit.parts
        if part.kind == "plug"
        for terminal, node in part.pins
        if terminal == "earth"
    )


def _earthed(circuit: Circuit, net: Net) -> frozenset[str]:
    return net.conductor_reach(_earth_pins(circuit))


def trace_ties(circuit: Circuit, *, state: State | None = None) -> Ties:
    """Return what is tied to the mains.

    Without a state this is the worst case: every switch closed in every position, umbilicals mated;
    and, where earthing is what keeps a Y capacitor or the metalwork of a part from being a tie,
    also every umbilical pulled that may carry the earth. Both blades count, for outlets are wired
    the wrong way round too.

    Notes
    -----
    Breadth-first search, O(pins).
    """
    net, blades = Net(circuit, state), blade_nodes(circuit)
    earthed = _earthed(circuit, net)
    searches = [_Search(net, blades, earthed)]
    if state is None and searches[0].earth_held:
        for connectors in list(umbilical_states(circuit))[1:]:
            pulled = Net(circuit, State(connectors=connectors))
            still = _earthed(circuit, pulled)
            if still != earthed:
                searches.append(_Search(pulled, blades, still))
    return Ties(searches, blades, earthed)


def trace_from(
    circuit: Circuit,
    blades: Mapping[str, tuple[str, str]],
    state: State,
    *,
    blocked: Iterable[str] = (),
) -> Ties:
    """Return what is tied in one state to the blades given (node to plug and blade), on ways that
    enter no blocked node.
    """
    net = Net(circuit, state)
    earthed = _earthed(circuit, net)
    return Ties([_Search(net, blades, earthed, blocked=tuple(blocked))], blades, earthed)


def umbilical_states(circuit: Circuit) -> Iterator[tuple[tuple[str, str], ...]]:
    """Return the states of the umbilicals to try, each (first half, ``mated`` or ``pulled``); all
    mated comes first.
    """
    names = [pair[0] for pair in mated(circuit)]
    counts = range(len(names) + 1) if len(names) <= MOST_UMBILICALS else (0, 1, len(names))
    for count in counts:
        for chosen in combinations(names, count):
            yield tuple((name, "pulled" if name in chosen else "mated") for name in names)


_last: tuple[Circuit, Ties] | None = None


def worst_ties(circuit: Circuit) -> Ties:
    """Return ``trace_ties(circuit)``, remembered for the circuit asked about last (circuits are
    immutable).
    """
    global _last
    last = _last
    if last is None or last[0] is not circuit:
        last = _last = (circuit, trace_ties(circuit))
    return last[1]


def is_mains_tied(circuit: Circuit, node: str) -> bool:
    """Return whether a node is tied to the mains in the worst case, through conduction or a
    capacitor.
    """
    return circuit.node_named(node) in worst_ties(circuit).tied
