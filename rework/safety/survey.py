"""One circuit seen the way the checks see it: computed once, when asked, and never stored in the
circuit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cached_property
from heapq import merge

from rework.anatomy import amplifier
from rework.anatomy.amplifier import Anatomy
from rework.anatomy.links import mated
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.safety.net import CAPACITOR, Net, Points, State
from rework.safety.primary import PrimarySide
from rework.safety.states import Heat
from rework.safety.ties import Ties, bonded_to_earth, trace_ties, umbilical_states, worst_ties

#: Kinds that only lead, break or protect the line.
IN_LINE = frozenset(
    {"fuse", "breaker", "switch", "thermistor", "connector", "trace", "wire", "shielded cable"}
)


class Survey:
    """A circuit with its ties, the points its conductors make of its nodes, and where its metal and
    its earth are.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit

    @property
    def anatomy(self) -> Anatomy:
        """What the circuit is as an amplifier."""
        return amplifier.of(self.circuit)

    @cached_property
    def ties(self) -> Ties:
        """What is tied to the mains in the worst case."""
        return worst_ties(self.circuit)

    @cached_property
    def net(self) -> Net:
        """The circuit as groups of joined terminals, all contacts closed."""
        return self.ties.net

    @cached_property
    def heat(self) -> Heat:
        """In which states a node is hot."""
        return Heat(self.circuit, self.ties)

    @cached_property
    def plugs(self) -> tuple[Part, ...]:
        """The plugs, in the order of the file."""
        return tuple(self.of_kind("plug"))

    @cached_property
    def point(self) -> Points:
        """The points that conductors and mated contacts make of the nodes."""
        return self.net.joined(closed=False)

    @cached_property
    def rail(self) -> Points:
        """The same, fuses and closed switches counted as conductors."""
        return self.net.joined(closed=True)

    def conduction_tied(self, node: str | None) -> bool:
        """Return whether a node is tied to the mains by conduction."""
        return node is not None and self.ties.tied.get(node) == "conduction"

    def of_kind(self, *kinds: str) -> Iterator[Part]:
        """Return the parts of some kinds, in the order of the file."""
        return (
            self.circuit.parts[number] for number in merge(*(self._of_kind[kind] for kind in kinds))
        )

    @cached_property
    def _of_kind(self) -> defaultdict[str, list[int]]:
        of_kind: defaultdict[str, list[int]] = defaultdict(list)
        for number, part in enumerate(self.circuit.parts):
            of_kind[part.kind].append(number)
        return of_kind

    # what may stand on the mains

    @cached_property
    def primary(self) -> PrimarySide:
        """Which parts belong on the mains."""
        return PrimarySide(self.circuit, self.ties, self.always_earthed)

    def strangers(self, node: str) -> tuple[tuple[Part, str], ...]:
        """Return the (part, terminal) pairs on a tied node that have no business on the mains, in
        the order of the file.
        """
        if node not in self._strangers:
            self._strangers[node] = tuple(
                (part, terminal)
                for part, terminal in self.circuit.at.get(node, ())
                if not self.primary.belongs(part, terminal, node)
            )
        return self._strangers[node]

    @cached_property
    def _strangers(self) -> dict[str, tuple[tuple[Part, str], ...]]:
        return {}

    # earth and metal

    @cached_property
    def always_earthed(self) -> frozenset[str]:
        """Nodes joined to the plug's earth by conductors with the umbilicals mated, and still
        earthed or free of ties without.
        """
        return frozenset(node for node in self.ties.earthed if node not in self.ties.tied)

    @cached_property
    def before_earth(self) -> frozenset[str]:
        """Nodes that conduction ties to a blade on a way that does not pass through earth."""
        net, earthed = self.net, self.ties.earthed
        reached = {node for node in self.ties.blades if node not in earthed}
        waiting = list(reached)
        while waiting:
            for number in net.at.get(waiting.pop(), ()):
                if net.how[number] < CAPACITOR:
                    onward = {node for _, node in net.pins[number]} - earthed - reached
                    reached |= onward
                    waiting += onward
        return frozenset(reached)

    @cached_property
    def pulled_states(self) -> tuple[State, ...]:
        """Every state of the umbilicals to try but the one with all mated."""
        return tuple(
            State(connectors=connectors) for connectors in list(umbilical_states(self.circuit))[1:]
        )

    def ties_pulled(self, state: State) -> Ties:
        """Return what is tied with umbilicals pulled, switches closed in every position."""
        if state not in self._pulled:
            self._pulled[state] = trace_ties(self.circuit, state=state)
        return self._pulled[state]

    def earthed_pulled(self, state: State) -> frozenset[str]:
        """Return the nodes still joined to the plug's earth with umbilicals pulled."""
        return bonded_to_earth(self.circuit, state)

    @cached_property
    def _pulled(self) -> dict[State, Ties]:
        return {}

    @cached_property
    def mated(self) -> tuple[tuple[str, str], ...]:
        """The pairs of connector halves."""
        return mated(self.circuit)

    # names for people

    def pin(self, part: Part, terminal: str) -> str:
        """Return a terminal as a person says it: ``V1 pin 3``, ``T1 primary.start``."""
        return f"{part.name} pin {terminal}" if terminal.isdigit() else f"{part.name} {terminal}"


def listed(names: Iterable[str], *, last: str = "and") -> str:
    """Return names as a list for a person: ``R1, R2 and C3``."""
    names = list(names)
    return (
        f" {last} ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else "".join(names)
    )
