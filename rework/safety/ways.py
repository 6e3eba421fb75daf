"""The way from a plug blade to a tied node, as a hand would trace it: through fuse and switch,
along conductors before parts, and backwards through a primary only where nothing else leads there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from heapq import heappop, heappush
from typing import NamedTuple

from rework.safety.net import CAPACITOR, CONDUCTOR, INSULATION, Net

#: Cost of one crossing. A hundred thousand crossings of one sort cost less than one of the next.
_CONDUCTOR = 1
_PART = 10**6
_BACKWARDS = 10**12
_CAPACITOR = 10**18
_INSULATION = 10**24


class WayStep(NamedTuple):
    """One part on the way from a plug blade: in by ``into``, out by ``out_of``, and the node that
    is reached.

    The first step is the plug itself, with an empty ``into``. For a mated connector ``part`` is the
    half that is entered and ``mate`` the half that is left; otherwise ``mate`` is empty.
    """

    part: str
    into: str
    out_of: str
    node: str
    mate: str = ""


class Ways:
    """The cheapest way to every node that the seeds reach in one net (Dijkstra 1959), O(n log n).

    Every way is one that the search for ties goes too: through insulation only from inside a part
    to its metalwork, and not into ``earthed`` metal through a class Y capacitor or insulation.
    """

    def __init__(
        self, net: Net, seeds: Iterable[str], earthed: frozenset[str], *, blocked: Iterable[str]
    ) -> None:
        self.net = net
        self._came: dict[str, tuple[int, str]] = {}
        self._steps: dict[str, WayStep] = {}
        cost = dict.fromkeys(seeds, 0)
        shut = frozenset(blocked)
        heap = [(0, number, node) for number, node in enumerate(cost)]
        count = len(heap)
        while heap:
            spent, _, node = heappop(heap)
            if spent > cost[node]:
                continue
            for number in net.at.get(node, ()):
                if not net.enters(number, node):
                    continue
                onward = spent + self._cost(number)
                for _, other in net.crossed(number):
                    if other in shut or onward >= cost.get(other, onward + 1):
                        continue
                    if number in net.held and other in earthed:
                        continue
                    cost[other] = onward
                    self._came[other] = (number, node)
                    heappush(heap, (onward, count, other))
                    count += 1

    def _cost(self, number: int) -> int:
        net = self.net
        how = net.how[number]
        if how == INSULATION:
            return _INSULATION
        if how == CAPACITOR:
            return _CAPACITOR
        if how == CONDUCTOR or net.is_closed(number):
            return _CONDUCTOR
        if all(terminal.startswith("primary") for terminal, _ in net.pins[number]):
            return _BACKWARDS
        return _PART

    def path(self, node: str, blades: Mapping[str, tuple[str, str]]) -> tuple[WayStep, ...]:
        """Return the steps from a blade to a node. Raises KeyError where it is not reached."""
        steps: list[WayStep] = []
        while node in self._came:
            number, before = self._came[node]
            if node not in self._steps:
                self._steps[node] = self._step(number, before, node)
            steps.append(self._steps[node])
            node = before
        plug, blade = blades[node]
        return (WayStep(plug, "", blade, node), *reversed(steps))

    def _step(self, number: int, before: str, node: str) -> WayStep:
        pins = self.net.pins[number]
        into = next(terminal for terminal, at in pins if at == before)
        out_of = next(terminal for terminal, at in reversed(pins) if at == node)
        part, mate = self.net.part[number].name, self.net.mate.get(number, "")
        if mate and pins[0][1] != before:
            return WayStep(mate, into, out_of, node, part)
        return WayStep(part, into, out_of, node, mate)
