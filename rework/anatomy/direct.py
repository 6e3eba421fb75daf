"""Ways of direct current: what leads from one point to another without a tube, a rectifier or a
capacitor in it, and through how many ohms.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from itertools import pairwise

from rework.anatomy.heaters import closed_points
from rework.anatomy.signal import PASSES_DIRECT, passing_pairs
from rework.anatomy.wiring import Wiring
from rework.circuit.kinds import KINDS, Law
from rework.circuit.parts import Part, strands

#: Ohms taken for a winding, a coil or a resistor that states none.
_UNSTATED = {"resistor": 1e3, "pot": 1e5}
_WOUND = 1.0
#: Laws of parts that a hand sees as copper.
_COPPER = frozenset({Law.LINK, Law.POLES})


class DirectWays:
    """Direct current's ways in one circuit, fuses whole and switches on.

    Parameters
    ----------
    wiring
        The points of the circuit.
    positions
        Switches by name that are in another position.
    """

    def __init__(self, wiring: Wiring, positions: Mapping[str, str] | None = None) -> None:
        self.wiring = wiring
        self._closed = closed_points(wiring, positions)

    def point(self, node: str) -> str:
        """Return the point of a node, fuses and closed switches counted as conductors."""
        return self.closed(self.wiring.point(node))

    def closed(self, point: str) -> str:
        """Return what a point of the wiring is with fuses and closed switches as conductors."""
        return self._closed.get(point, point)

    @cached_property
    def at(self) -> dict[str, tuple[tuple[str, str, float], ...]]:
        """Every point with (part, other point, ohms) of what leads on from it."""
        joined: dict[str, list[tuple[str, str, float]]] = {}
        for part in self.wiring.circuit.parts:
            for first, second, ohms in _passages(part):
                here, there = self.point(part.at(first)), self.point(part.at(second))
                if here != there:
                    joined.setdefault(here, []).append((part.name, there, ohms))
                    joined.setdefault(there, []).append((part.name, here, ohms))
        return {point: tuple(onward) for point, onward in joined.items()}

    def ohms_from(
        self,
        starts: Iterable[str],
        *,
        stop: frozenset[str] = frozenset(),
        most: float = 1e9,
        without: frozenset[str] = frozenset(),
    ) -> dict[str, float]:
        """Return every point reached with the least ohms to it (Dijkstra, Numer. Math. 1, 1959).

        Ways end at a point of ``stop`` and where they come to more than ``most`` ohms; they never
        lead through a part named in ``without``.
        """
        least = dict.fromkeys(starts, 0.0)
        line = [(0.0, point) for point in least]
        while line:
            ohms, point = heapq.heappop(line)
            if ohms > least[point] or (point in stop and ohms > 0):
                continue
            for name, other, more in self.at.get(point, ()):
                total = ohms + more
                if name not in without and total <= most and total < least.get(other, float("inf")):
                    least[other] = total
                    heapq.heappush(line, (total, other))
        return least


def _passages(part: Part) -> Iterator[tuple[str, str, float]]:
    """Yield the pairs of terminals that direct current gets between in a part, with the ohms."""
    law = KINDS[part.kind].law
    if law == Law.WINDINGS:
        for run in strands(part):
            if len(run) > 1:
                for first, second in pairwise(run):
                    yield first, second, _WOUND
    elif law in (Law.TRACK, Law.BREAK_CONTACT):
        ohms = part.value("resistance") or _UNSTATED["pot"] if law == Law.TRACK else 0.0
        for first, second in passing_pairs(part):
            yield first, second, ohms / 2
    elif law in PASSES_DIRECT and law not in _COPPER:
        said = part.value("resistance")
        ohms = said if said is not None else _UNSTATED.get(part.kind, _WOUND)
        for first, second in passing_pairs(part):
            yield first, second, ohms
    else:
        yield from _through_a_coil(part)


def _through_a_coil(part: Part) -> Iterator[tuple[str, str, float]]:
    """Yield the ends of a speaker, a dummy load, or a pickup or microphone with a coil."""
    ends = ("1", "2") if part.kind in ("speaker", "dummy load") else ("signal", "shield")
    coil = ends == ("1", "2") or bool({"magnetic", "dynamic"} & set(part.words))
    if coil and all(part.node(end) is not None for end in ends):
        yield *ends, part.value("resistance") or _WOUND
