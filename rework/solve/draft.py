"""A circuit on its way to equations: what every part puts in, by the names of the points it is
between.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.devices import DeviceLaw
from rework.solve.network import TUBE_SPREAD, Coil
from rework.solve.windings import Winding

#: Tolerances where the file gives none, by kind (common practice, no source).
TOLERANCE = {"resistor": 0.10, "pot": 0.20}
#: Least ohms of a winding, and of the line.
LEAST_OHMS = 1e-3
#: A resistance over this is taken for a slip of the multiplier, ohms.
MOST_OHMS = 1e12


@dataclass(frozen=True, slots=True)
class Current:
    """A branch current by the name of its row; a point of the same name is another unknown."""

    row: str


@dataclass(frozen=True, slots=True)
class Stamp:
    """One entry of a matrix: ``g`` or ``c``, its row and column (a point by its name, or a current)
    and what it adds.
    """

    matrix: Literal["g", "c"]
    row: str | Current
    column: str | Current
    value: float


@dataclass(frozen=True, slots=True)
class Tie:
    """A conductance ("r") or capacitance ("c") between two points, with its tolerance."""

    name: str
    kind: Literal["r", "c"]
    a: str
    b: str
    value: float
    tolerance: float


@dataclass(frozen=True, slots=True)
class Valve:
    """A law from the points ``ends`` to the point ``to``."""

    name: str
    unit: str
    law: DeviceLaw
    ends: tuple[str, ...]
    to: str
    spread: float


@dataclass(frozen=True, slots=True)
class Condition:
    """How a circuit is looked at: pots turned (``rotation``, 0 at ccw to 1 at cw, their own place
    otherwise), whether the tubes emit but the rectifiers, whether there is a line, laws put in by
    part, the tubes that are ``cold``, rectifiers among them, and the node that volts are counted
    from where the circuit itself does not say.
    """

    rotation: Mapping[str, float] = field(default_factory=dict)
    emission: bool = True
    powered: bool = True
    overrides: Mapping[str, DeviceLaw] = field(default_factory=dict)
    cold: frozenset[str] = frozenset()
    reference: str = ""


class StampDraft:
    """What the parts of a circuit have put in so far. ``point`` names the point of every node."""

    def __init__(self, circuit: Circuit, point: Mapping[str, str], condition: Condition) -> None:
        self.circuit, self.point, self.condition = circuit, point, condition
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.ties: list[Tie] = []
        self.valves: list[Valve] = []
        self.rows: dict[str, list[Stamp]] = {}
        self.coils: list[Coil] = []
        self.windings: list[Winding] = []
        self.sources: list[tuple[str, str, str]] = []

    def fault(self, part: Part, message: str, hint: str) -> None:
        """Note what prevents numbers, and its remedy."""
        self.problems.append(Problem(message, part.place, hint=hint))

    def resistance(
        self,
        part: Part,
        ends: tuple[str | None, str | None],
        ohms: float | None,
        *,
        name: str = "",
        spread: float | None = None,
    ) -> None:
        """Put ohms between two nodes; nothing where an end is not connected. ``spread`` stands for
        the tolerance of the file or of the kind.
        """
        a, b = ends
        if a is None or b is None:
            return
        if ohms is None:
            self.fault(
                part,
                f"{part.name} has no resistance in the file",
                f"write its ohms, as in {part.name} {part.kind} 100 ohm",
            )
        elif ohms < LEAST_OHMS:
            self.fault(part, f"{part.name} has no ohms at all ({ohms:g})", "write it as a wire")
        elif ohms > MOST_OHMS:
            self.fault(
                part,
                f"{part.name} has an absurd resistance ({ohms:g} ohm)",
                "look at its multiplier",
            )
        else:
            tolerance = spread
            if tolerance is None:
                tolerance = part.value("fraction")
            if tolerance is None:
                tolerance = TOLERANCE.get(part.kind, 0.1)
            self.tie(part, "r", (a, b), ohms, tolerance, name=name)

    def tie(
        self,
        part: Part,
        kind: Literal["r", "c"],
        ends: tuple[str, str],
        value: float,
        tolerance: float,
        *,
        name: str = "",
    ) -> None:
        """Put ohms or farads between two nodes."""
        if not 0 <= tolerance < 0.9:
            self.fault(
                part,
                f"{part.name} has an absurd tolerance ({tolerance:.0%})",
                "look at its per cent",
            )
        a, b = (self.point[end] for end in ends)
        self.ties.append(Tie(name or part.name, kind, a, b, value, tolerance))

    def winding(self, name: str, a: str, b: str, ohms: float) -> None:
        """Give the current from node ``a`` to ``b`` a row of its own: v = ohms i."""
        a, b, current = self.point[a], self.point[b], Current(name)
        self.rows[name] = [
            Stamp("g", a, current, 1.0),
            Stamp("g", b, current, -1.0),
            Stamp("g", current, a, 1.0),
            Stamp("g", current, b, -1.0),
            Stamp("g", current, current, -max(ohms, LEAST_OHMS)),
        ]

    def device(
        self,
        part: Part,
        unit: str,
        law: DeviceLaw,
        ends: tuple[str, ...],
        to: str,
        *,
        spread: float = TUBE_SPREAD,
    ) -> None:
        """Put a law between terminals of a part; ``spread`` is one standard deviation of its
        emission. Where one of them is left unused no current flows, and there is no law.
        """
        points = [self.point[node] for end in (*ends, to) if (node := part.node(end)) is not None]
        if len(points) <= len(ends):
            return
        self.valves.append(Valve(part.name, unit, law, tuple(points[:-1]), points[-1], spread))
