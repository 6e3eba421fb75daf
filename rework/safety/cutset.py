"""The fewest pins and conductors to cut so that nothing of the mains reaches where it must not.

A minimum cut by augmenting paths (Ford and Fulkerson 1956), at most ``most`` of them, so O(most n).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.circuit.kinds import KINDS
from rework.safety.net import CONDUCTS
from rework.safety.survey import Survey

#: An element that can be cut: a part with one terminal, or a whole part (terminal empty).
Element = tuple[str, str]
_Vertex = tuple[str, ...]
_END: _Vertex = ("end",)
#: Parts that are cut as a whole: a conductor is taken out, not unsoldered at one end.
_WHOLE = frozenset({"wire", "trace", "shielded cable"})
#: Parts of the line itself, which a cut never goes through.
_KEPT = frozenset({"plug", "fuse", "breaker", "switch"})


@dataclass(frozen=True, slots=True)
class Cut:
    """Elements to cut, and the nodes that stay on the side of the line."""

    elements: tuple[Element, ...]
    line_side: frozenset[str]


def smallest_cut(survey: Survey, kept: frozenset[Element], *, most: int) -> Cut | None:
    """Return a smallest cut between the blades and every hazard, the one nearest to the line;
    None where more than ``most`` elements would be cut, or what is ``kept`` joins them.

    A hazard is a node within reach, or a part with no business on the mains: reaching one of its
    pins is enough.
    """
    flow = _Flow(survey, kept)
    for _ in range(most + 1):
        if not flow.augment():
            return flow.cut()
    return None


class _Flow:
    """Unit flow from the blades to the hazards, with the elements as arcs of capacity one."""

    def __init__(self, survey: Survey, kept: frozenset[Element]) -> None:
        self.survey, self.kept = survey, kept
        self._used: dict[tuple[_Vertex, _Vertex], int] = {}
        self._element: dict[tuple[_Vertex, _Vertex], Element] = {}
        self._forward: dict[_Vertex, list[_Vertex]] = {}
        self._backward: dict[_Vertex, list[_Vertex]] = {}
        self._starts: list[_Vertex] = [("node", node) for node in survey.ties.blades]
        self._build()

    def _arc(self, first: _Vertex, second: _Vertex, element: Element | None = None) -> None:
        if element is not None and element not in self.kept:
            self._element[first, second] = element
        self._forward.setdefault(first, []).append(second)
        self._backward.setdefault(second, []).append(first)

    def _build(self) -> None:
        survey, net = self.survey, self.survey.net
        seen: set[int] = set()
        self._strange = {
            (part.name, terminal)
            for node in survey.ties.tied
            for part, terminal in survey.strangers(node)
        }
        for node in survey.ties.tied:
            at: _Vertex = ("node", node)
            if node in survey.circuit.within_reach and not self._by_strangers(node):
                self._arc(at, _END)
            for name, terminal in ((part.name, pin) for part, pin in survey.strangers(node)):
                pin: _Vertex = ("pin", name, terminal)
                self._arc(at, pin, (name, terminal))
                self._arc(pin, ("part", name))
                self._arc(("part", name), _END, (name, ""))
            for number in net.at.get(node, ()):
                if number not in seen:
                    seen.add(number)
                    self._group(number)

    def _by_strangers(self, node: str) -> bool:
        """Return whether a node of the line is in reach only by parts that do not belong there."""
        touched = [
            (part, terminal)
            for part, terminal in self.survey.circuit.at.get(node, ())
            if terminal in KINDS[part.kind].touched
        ]
        return (
            node in self.survey.primary.line
            and node not in self.survey.circuit.touchable
            and all(
                part.kind != "chassis" and (part.name, terminal) in self._strange
                for part, terminal in touched
            )
        )

    def _group(self, number: int) -> None:
        """Add the arcs of one group of joined terminals of a part that belongs on the mains."""
        survey, net = self.survey, self.survey.net
        part = net.part[number]
        kept = part.kind in _KEPT or net.how[number] > CONDUCTS
        hubs: tuple[_Vertex, _Vertex] = (("in", str(number)), ("out", str(number)))
        whole = part.kind in _WHOLE
        self._arc(*hubs, (part.name, "") if whole else None)
        for terminal, node in net.pins[number]:
            if node not in survey.ties.tied or not net.enters(number, node):
                continue
            if (part.name, terminal) in self._strange:
                continue
            element = None if kept or whole else self._pin(number, terminal, node)
            self._arc(("node", node), hubs[0], element)
        for terminal, node in net.crossed(number):
            if number in net.held and node in survey.ties.earthed:
                continue
            element = None if kept or whole else self._pin(number, terminal, node)
            self._arc(hubs[1], ("node", node), element)

    def _pin(self, number: int, terminal: str, node: str) -> Element:
        """Return a pin of a group; of mated contacts that of the half which is on the node."""
        part, mate = self.survey.net.part[number], self.survey.net.mate.get(number, "")
        on_mate = bool(mate) and part.node(terminal) != node
        return (mate if on_mate else part.name, terminal)

    def augment(self) -> bool:
        """Send one more unit to the end; return whether that was possible."""
        waiting = list(self._starts)
        came: dict[_Vertex, _Vertex] = dict.fromkeys(waiting, ())
        while waiting:
            following: list[_Vertex] = []
            for vertex in waiting:
                for other in self._onward(vertex):
                    if other not in came:
                        came[other] = vertex
                        following.append(other)
            if _END in came:
                self._send(came)
                return True
            waiting = following
        return False

    def _onward(self, vertex: _Vertex) -> Iterator[_Vertex]:
        """Return where one more unit can go from a vertex, or be taken back along."""
        for other in self._forward.get(vertex, ()):
            if (vertex, other) not in self._element or not self._used.get((vertex, other)):
                yield other
        for other in self._backward.get(vertex, ()):
            if self._used.get((other, vertex)):
                yield other

    def _send(self, came: dict[_Vertex, _Vertex]) -> None:
        vertex = _END
        while came[vertex]:
            before = came[vertex]
            if self._used.get((vertex, before)):
                self._used[vertex, before] -= 1
            else:
                self._used[before, vertex] = self._used.get((before, vertex), 0) + 1
            vertex = before

    def cut(self) -> Cut:
        """Return the smallest cut nearest to the line, once nothing more gets through."""
        side: dict[_Vertex, None] = dict.fromkeys(self._starts)
        waiting = list(side)
        while waiting:
            for second in self._onward(waiting.pop()):
                if second not in side:
                    side[second] = None
                    waiting.append(second)
        crossing = {
            element: None
            for (first, second), element in self._element.items()
            if first in side and second not in side
        }
        line_side = (node for node in self.survey.ties.tied if ("node", node) in side)
        return Cut(tuple(sorted(crossing)), frozenset(line_side))
