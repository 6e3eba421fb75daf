"""Which parts may be on the mains: the primary side of a set, shown by kind and by what it leads
to.
"""

from __future__ import annotations

from rework.anatomy.links import X_CLASSES, Y_CLASSES
from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS, METALWORK
from rework.circuit.parts import Part
from rework.safety.net import CONDUCTS
from rework.safety.ties import Ties

#: Kinds that belong to the mains where they lead to nothing but the primary side: a bleeder across
#: a class X capacitor, a neon lamp with its resistor, line-filter chokes, a lamp limiter.
_PASSIVE = frozenset({"resistor", "lamp", "choke"})
#: Kinds besides contacts and fuses through which a line conductor goes on being the line.
_LEADING = frozenset({"thermistor", "inlet filter"})
#: A network of such parts with more nodes than this is not a line filter.
_MOST_NODES = 64


class PrimarySide:
    """What of one circuit belongs on the mains.

    ``always_earthed`` are the nodes that conductors join to the earth of the plug in every state in
    which they could be tied.
    """

    def __init__(self, circuit: Circuit, ties: Ties, always_earthed: frozenset[str]) -> None:
        self._circuit, self._ties, self._always_earthed = circuit, ties, always_earthed
        self._line: frozenset[str] | None = None
        self._judged: dict[str, bool] = {}

    @property
    def line(self) -> frozenset[str]:
        """The nodes that conductors, fuses, thermistors, filters and closed contacts join to a
        blade.
        """
        if self._line is None:
            self._line = frozenset(self._ties.net.reach(self._ties.blades, self._leads))
        return self._line

    def _leads(self, number: int) -> bool:
        """Return whether a group of terminals of the net leads the line on."""
        net = self._ties.net
        leads = net.part[number].kind in _LEADING and net.how[number] == CONDUCTS
        return net.is_closed(number) or leads

    def belongs(self, part: Part, terminal: str, node: str) -> bool:
        """Return whether a part may be on the mains with one terminal, at a tied node."""
        if part.kind in _PASSIVE:
            return self._is_filter(part)
        if part.kind in ("capacitor", "electrolytic"):
            return part.kind == "capacitor" and self._may_bridge(part, node)
        if part.kind == "transformer":
            return terminal.startswith("primary")
        if part.kind == "shielded cable":
            return not terminal.startswith("shield")
        return KINDS[part.kind].primary_side and terminal not in METALWORK

    def _may_bridge(self, part: Part, node: str) -> bool:
        """Return whether a capacitor may stand here: X or Y between two line conductors, Y from one
        to earth.
        """
        class_, others = part.setting("class"), [at for _, at in part.pins if at != node]
        tied = self._ties.tied
        across = all(tied.get(at) == "conduction" for at in (node, *others))
        if class_ in Y_CLASSES:
            return across or all(other in self._always_earthed for other in others)
        return class_ in X_CLASSES and across

    def _is_filter(self, part: Part) -> bool:
        """Return whether a part is in a network that leads from the line to primary-side parts
        only.
        """
        if part.name not in self._judged:
            self._judge(part)
        return self._judged[part.name]

    def _judge(self, first: Part) -> None:
        """Judge the network of passive parts that ``first`` is in, all of them alike."""
        network, nodes = {first.name: first}, dict.fromkeys(node for _, node in first.pins)
        waiting, good, meets_line = list(nodes), True, False
        while waiting and good:
            node = waiting.pop()
            if node in self.line:
                meets_line = True
                continue
            if node in self._circuit.within_reach or len(nodes) > _MOST_NODES:
                good = False
                break
            onward = self._ties.net.reach((node,), self._leads)
            for part, terminal in self._circuit.at.get(node, ()):
                if part.kind in _PASSIVE:
                    good = good and self._judged.get(part.name, True)
                    network[part.name] = part
                    onward += tuple(other for _, other in part.pins)
                elif not self.belongs(part, terminal, node):
                    good = False
            waiting += [other for other in dict.fromkeys(onward) if other not in nodes]
            nodes.update(dict.fromkeys(onward))
        self._judged.update(dict.fromkeys(network, good and meets_line))
