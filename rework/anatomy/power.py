"""The supply side: the points of B+ in their order, filter, common and B-."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from rework.anatomy.blocks import on_the_way
from rework.anatomy.grounds import COMMON_NAMES, named_common
from rework.anatomy.links import mated
from rework.anatomy.rectifiers import rectifiers
from rework.anatomy.units import TubeUnit
from rework.anatomy.wiring import Wiring
from rework.circuit.parts import Part

#: Kinds through which B+ is handed on from one point of the supply to the next.
ALONG_THE_RAIL = frozenset({"resistor", "choke", "fuse"})
#: Kinds that carry the current of the whole set back to B- and make bias on the way.
_IN_THE_RETURN = frozenset({"resistor", "choke", "pot", "lamp", "fuse"})
#: Parts in a row between common and B-, at most; published circuits have one to three.
_LONGEST_RETURN = 4
#: Farads from which a capacitor without polarity filters B+ too (own choice, no source: coupling
#: and bypass capacitors of tube sets end at 0.5 uF).
FILTERS_FROM = 1e-6


@dataclass(frozen=True, slots=True)
class Rail:
    """One point of B+.

    ``fed_from`` is the rail before it (None for the first), ``through`` the parts between,
    ``capacitors`` those that filter it, ``bleeders`` resistors from it to common or B-.
    """

    point: str
    fed_from: str | None
    through: tuple[str, ...]
    capacitors: tuple[str, ...]
    bleeders: tuple[str, ...]


class Supply:
    """B+ of one circuit: computed from the plates and screens back to where it comes from.

    Parameters
    ----------
    wiring, units
        The points and the tubes of the circuit.
    line
        The points of the line.
    metal
        Metal in reach, from `metal`.
    """

    def __init__(
        self,
        wiring: Wiring,
        units: tuple[TubeUnit, ...],
        line: frozenset[str],
        metal: frozenset[str],
    ) -> None:
        self.wiring = wiring
        self.units = units
        self.line = line
        self.metal = metal
        self.direct = wiring.circuit.mains is not None and wiring.circuit.mains.hertz == 0
        self.plates = frozenset(p for unit in units if unit.amplifies for p in unit.plates)
        self.screens = self._elements("screen")
        self.points = self._rail_points()

    def _elements(self, *names: str) -> frozenset[str]:
        return frozenset(
            point
            for unit in self.units
            if unit.amplifies
            for name, _, point in unit.elements
            if name in names
        )

    def _rail_points(self) -> frozenset[str]:
        stop = self._stops()
        consumers = self.plates | self.screens or self._ways_out() - stop
        edges: list[tuple[str, str, str]] = []
        seen: set[str] = set()
        wanted = sorted(consumers - stop)
        while wanted:
            point = wanted.pop()
            if point in seen:
                continue
            seen.add(point)
            for part, terminal in self.wiring.at.get(point, ()):
                for other in self._onward(part, terminal):
                    if other not in stop:
                        edges.append((part.name, point, other))
                        wanted.append(other)
        kept = frozenset(
            point
            for point in seen
            if point not in consumers
            or self._is_supplied(point)
            or (point not in self.screens - self.plates and self._is_held(point))
            or (point not in self.plates and self._hands_on(point, stop))
        )
        return self._between(kept, edges, consumers)

    def _between(
        self, kept: frozenset[str], edges: list[tuple[str, str, str]], consumers: frozenset[str]
    ) -> frozenset[str]:
        """Return those rails that lie on a way from where B+ comes in to a plate or screen: a tap
        of a divider does not. Where nothing says where it comes in, all are kept.
        """
        sources = {point for point in kept if self._is_supplied(point)}
        if not sources:
            return kept
        kept = self._holding_still(kept, edges, sources)
        joined = [
            *edges,
            *(("", "source", point) for point in sorted(sources)),
            *(("", "consumer", point) for point in sorted(consumers)),
        ]
        _, passed = on_the_way(joined, "source", "consumer")
        return kept & (passed | sources)

    def _ways_out(self) -> frozenset[str]:
        """Return the points at which a circuit without tubes hands on what it makes: its ports and
        connectors.
        """
        pins = (
            node
            for part in self.wiring.circuit.parts
            if part.kind == "connector"
            for _, node in part.pins
        )
        return self.wiring.points((*pins, *(node for _, node in self.wiring.circuit.ports)))

    def _holding_still(
        self, kept: frozenset[str], edges: list[tuple[str, str, str]], sources: set[str]
    ) -> frozenset[str]:
        """Return those rails that are supplied, held still by a capacitor, fed through a fuse, or
        feed more than one load, and what lies before them: the middle of a plate load, or the plate
        side of a plate stopper, is none of these.
        """
        joined: dict[str, dict[tuple[str, str], None]] = {}
        for name, first, second in edges:
            joined.setdefault(first, {})[name, second] = None
            joined.setdefault(second, {})[name, first] = None
        before: dict[str, str | None] = dict.fromkeys(sorted(sources))
        fused: set[str] = set()
        line = deque(before)
        while line:
            point = line.popleft()
            for name, second in joined.get(point, ()):
                if second in kept and second not in before:
                    before[second] = point
                    line.append(second)
                    if self.wiring.circuit.by_name[name].traits.is_overcurrent:
                        fused.add(second)
        still: set[str] = set()
        for point in before:
            loads = [second for _, second in joined.get(point, ()) if before[point] != second]
            if (
                point in sources
                or point in fused
                or len(loads) > 1
                or self._has_capacitor(point)
                or point in self.screens
            ):
                here: str | None = point
                while here is not None and here not in still:
                    still.add(here)
                    here = before[here]
        unreached = kept - before.keys() if self.plates | self.screens else frozenset[str]()
        return frozenset(still) | unreached

    def _has_capacitor(self, point: str) -> bool:
        """Return whether a capacitor leads from a point to metal or to a named common, or holds it
        still.
        """
        low = self.metal | named_common(self.wiring)
        return any(
            self._filters(part, point)
            or (
                part.kind in ("capacitor", "electrolytic")
                and bool(low.intersection(self.wiring.ends(part)))
            )
            for part in self.wiring.parts_at(point)
        )

    def _stops(self) -> frozenset[str]:
        names = frozenset(
            point
            for name, point in self.wiring.names
            if any(name.upper() in known for known in COMMON_NAMES)
        )
        minus = frozenset(
            point
            for part in self.wiring.circuit.parts
            if part.kind == "electrolytic" and (point := self.wiring.of(part, "minus")) is not None
        )
        grids = self._elements("grid", "signal-grid") - self.plates - self.screens
        line = frozenset[str]() if self.direct else self.line
        return (self._elements("cathode") | grids | self.metal | line | names | minus) - (
            self._brought_in if self.direct else frozenset()
        )

    @cached_property
    def _mated(self) -> frozenset[str]:
        """Names of the connectors that are not pulled."""
        if not self.wiring.mated:
            return frozenset()
        return frozenset(name for pair in mated(self.wiring.circuit) for name in pair)

    @property
    def _brought_in(self) -> frozenset[str]:
        """The points that a direct-current line brings in, its common left out."""
        return self.line - named_common(self.wiring) - self.metal

    def _is_supplied(self, point: str) -> bool:
        """Return whether a rectifier, a connector or a direct-current line brings B+ to a point."""
        if self.direct and point in self.line:
            return True
        if point in self._rectified:
            return True
        return any(
            part.kind == "connector" and part.name not in self._mated
            for part, _ in self.wiring.at.get(point, ())
        )

    @cached_property
    def _rectified(self) -> frozenset[str]:
        """The points where rectifiers give B+."""
        return frozenset(
            rectifier.cathode
            for rectifier in rectifiers(self.wiring, self.units)
            if rectifier.cathode is not None
        )

    def _is_held(self, point: str) -> bool:
        """Return whether a filter capacitor holds a plate's point still: a cathode follower's."""
        return any(self._filters(part, point) for part in self.wiring.parts_at(point))

    def _filters(self, part: Part, point: str) -> bool:
        ends = self.wiring.ends(part)
        if len(ends) != 2 or ends[0] == ends[1]:
            return False
        other = ends[1] if ends[0] == point else ends[0]
        if part.kind == "electrolytic":
            return self.wiring.of(part, "plus") == point and other not in self.plates
        return (
            part.kind == "capacitor"
            and (part.value("capacitance") or 0.0) >= FILTERS_FROM
            and other not in self.plates | self._elements("grid")
        )

    def _hands_on(self, point: str, stop: frozenset[str]) -> bool:
        """Return whether a screen's point feeds more than that screen: two ways on, a choke, or an
        output transformer.
        """
        ways = [
            part
            for part, terminal in self.wiring.at.get(point, ())
            if any(on not in stop for on in self._onward(part, terminal))
        ]
        return len(ways) > 1 or any(part.kind in ("choke", "output transformer") for part in ways)

    def _onward(self, part: Part, terminal: str) -> Iterator[str]:
        if part.kind in ALONG_THE_RAIL:
            yield from (self.wiring.point(node) for end, node in part.pins if end != terminal)
        elif _is_primary(part, terminal):
            yield from (
                self.wiring.point(node)
                for end, node in part.pins
                if end != terminal and _is_primary(part, end)
            )

    def is_filter(self, part: Part) -> bool:
        """Return whether a part is a filter capacitor: an electrolytic with its plus on B+, or a
        bipolar one, or as large a capacitor without polarity, from B+ to something that is none.
        """
        if part.kind == "electrolytic":
            if "bipolar" in part.words:
                return sum(point in self.points for point in self.wiring.ends(part)) == 1
            return self.wiring.of(part, "plus") in self.points
        ends = [point for point in self.wiring.ends(part) if point in self.points]
        return len(ends) == 1 and self._filters(part, ends[0])

    def _low_end(self, part: Part) -> str | None:
        """Return the point at the end of a filter capacitor that is not on B+."""
        low = [point for point in self.wiring.ends(part) if point not in self.points]
        return low[0] if low else self.wiring.of(part, "minus")

    def common(self) -> frozenset[str]:
        """Return the circuit's own negative: by its name, else the busiest point that the minus of
        a filter capacitor is on, else a name an attached circuit gave, else the busiest point that
        cathode resistors and grid leaks may end on.
        """
        named = named_common(self.wiring)
        if named:
            return named
        minus = [
            point
            for part in self.wiring.circuit.parts
            if part.kind == "electrolytic" and self.is_filter(part)
            if (point := self._low_end(part)) is not None
        ]
        if minus:
            return frozenset({max(sorted(set(minus)), key=self._pins)})
        attached = frozenset(
            point
            for name, point in self.wiring.names
            if name.rpartition("/")[2].upper() in COMMON_NAMES[0]
        )
        if attached:
            return attached
        poles = {
            point
            for part in self.wiring.circuit.parts
            if part.kind == "bridge" and (point := self.wiring.of(part, "minus")) is not None
        }
        cathodes = self._elements("cathode") | poles
        return frozenset({max(sorted(cathodes), key=self._pins)} if cathodes else ())

    def _pins(self, point: str) -> int:
        return len(self.wiring.at.get(point, ()))

    def rails(self, low: frozenset[str]) -> tuple[Rail, ...]:
        """Return the points of B+ from where it comes in to the last stage, each behind the one it
        is fed from. ``low`` are common, B- and chassis.
        """
        supplied = sorted(point for point in self.points if self._is_supplied(point))
        first = supplied or sorted(self.points, key=lambda point: (-self._pins(point), point))[:1]
        fed: dict[str, tuple[str | None, tuple[str, ...]]] = dict.fromkeys(first, (None, ()))
        line = deque(first)
        while line:
            point = line.popleft()
            for part, terminal in self.wiring.at.get(point, ()):
                for other in self._onward(part, terminal):
                    if other in self.points and other not in fed:
                        fed[other] = (point, (part.name,))
                        line.append(other)
        for point in sorted(self.points - fed.keys()):
            fed[point] = (None, ())
        return tuple(
            Rail(
                point,
                before,
                through,
                tuple(
                    part.name for part in self.wiring.parts_at(point) if self._filters(part, point)
                ),
                tuple(self._bleeders(point, low)),
            )
            for point, (before, through) in fed.items()
        )

    def _bleeders(self, point: str, low: frozenset[str]) -> Iterator[str]:
        for part in self.wiring.parts_at(point):
            ends = self.wiring.ends(part)
            if part.kind == "resistor" and len(ends) == 2 and low.intersection(ends):
                yield part.name

    def b_minus(self, common: frozenset[str]) -> frozenset[str]:
        """Return the points of B- where it is not the common: what resistors or chokes join to the
        common, and the supply returns to.
        """
        named = frozenset(
            point for name, point in self.wiring.names if name.upper() in COMMON_NAMES[1]
        )
        poles = set(named) | self._negative_poles()
        reached = self._return_reach(common)
        return frozenset(p for p in poles - common if p in reached and p not in self.points)

    def _negative_poles(self) -> set[str]:
        poles: set[str] = set()
        for part in self.wiring.circuit.parts:
            if part.kind == "bridge" or (part.kind == "electrolytic" and self.is_filter(part)):
                point = self.wiring.of(part, "minus")
                if point is not None:
                    poles.add(point)
        return poles

    def _return_reach(self, common: frozenset[str]) -> frozenset[str]:
        reached = dict.fromkeys(common, 0)
        line = deque(sorted(common))
        while line:
            point = line.popleft()
            if reached[point] == _LONGEST_RETURN:
                continue
            for part in self.wiring.parts_at(point):
                if part.kind in _IN_THE_RETURN:
                    for other in self.wiring.ends(part):
                        if other not in reached and other not in self.points:
                            reached[other] = reached[point] + 1
                            line.append(other)
        return frozenset(reached)


def _is_primary(part: Part, terminal: str) -> bool:
    """Return whether a terminal is on the plate side of an output or interstage transformer."""
    return terminal.startswith("primary") and (
        part.kind == "output transformer"
        or (part.kind == "transformer" and "interstage" in part.words)
    )
