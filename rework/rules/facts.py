"""What conditions ask of a circuit, computed once and only when asked.

A circuit never carries any of it. What an amplifier is, anatomy says; here it is asked with every
connector pulled, so that a rule never reaches into the chassis at the other end of an umbilical.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

from rework.anatomy.amplifier import Anatomy, apart, of
from rework.anatomy.back_bias import BackBias, back_biased
from rework.anatomy.line import fed_by_winding
from rework.anatomy.line_string import LineString
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.safety.ties import Ties, trace_ties


class Facts:
    """One circuit seen the way conditions see it.

    Every node is named by the first of the nodes its conductors join.
    """

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.anatomy: Anatomy = apart(circuit)
        self.wiring = self.anatomy.wiring

    @property
    def group(self) -> dict[str, str]:
        """Every node with the name of the point it is, conductors contracted."""
        return self.wiring.points_of

    @property
    def at(self) -> dict[str, tuple[tuple[Part, str], ...]]:
        """Every point with the (part, terminal) pairs on it, conductors left out."""
        return self.wiring.at

    def point(self, node: str) -> str:
        """Return the point a node (or a joined name) is part of."""
        return self.wiring.point(node)

    def of(self, part: Part, terminal: str) -> str | None:
        """Return the point at a terminal, or None where it is on nothing."""
        return self.wiring.of(part, terminal)

    def points(self, nodes: Iterable[str]) -> frozenset[str]:
        """Return the points that some nodes are part of."""
        return self.wiring.points(nodes)

    # the mains

    @cached_property
    def ties(self) -> Ties:
        """What is tied to the mains."""
        return trace_ties(self.circuit)

    @property
    def line_sides(self) -> tuple[frozenset[str], ...]:
        """The sides of the line."""
        return self.anatomy.line_sides

    @property
    def line(self) -> frozenset[str]:
        """The points on either side of the line."""
        return self.anatomy.line

    @cached_property
    def _through_contacts(self) -> dict[str, frozenset[str]]:
        whole = of(self.circuit).wiring
        joined: dict[str, set[str]] = {}
        for node, point in self.group.items():
            joined.setdefault(whole.point(node), set()).add(point)
        return {point: frozenset(points) for points in joined.values() for point in points}

    def through_contacts(self, point: str) -> frozenset[str]:
        """Return a point with those that the contacts of mated connectors join it to."""
        return self._through_contacts.get(point, frozenset({point}))

    @cached_property
    def earthed(self) -> frozenset[str]:
        """The points that conductors join to an earth."""
        earthed = of(self.circuit).earthed
        whole = of(self.circuit).wiring
        return frozenset(
            point for node, point in self.group.items() if whole.point(node) in earthed
        )

    @property
    def always_earthed(self) -> frozenset[str]:
        """The points that conductors join to an earth with every umbilical pulled."""
        return self.anatomy.earthed

    # the signal side

    @property
    def metal(self) -> frozenset[str]:
        """The points that are metal in reach of a hand."""
        return self.anatomy.metal

    @property
    def common(self) -> frozenset[str]:
        """The circuit's own negative."""
        return self.anatomy.common

    @property
    def rail(self) -> frozenset[str]:
        """The points of B+."""
        return self.anatomy.rail

    def is_filter(self, part: Part) -> bool:
        """Return whether a part is a capacitor that filters B+."""
        return self.anatomy.is_filter(part.name)

    def fed_by_winding(self, part: Part) -> bool:
        """Return whether an isolating winding, and no line, is behind a rectifier."""
        return fed_by_winding(self.wiring, self.line, part)

    @cached_property
    def heaters(self) -> LineString:
        """The heater string across the line."""
        return LineString(self.wiring, self.line_sides, self.common | self.earthed | self.metal)

    @property
    def string_points(self) -> frozenset[str]:
        """The points inside the heater string, common left out."""
        return self.heaters.points - self.common

    @cached_property
    def back_biased(self) -> tuple[BackBias, ...]:
        """The output stages with back bias."""
        return back_biased(self.anatomy)
