"""What the parts of a circuit hand in while its model is built: elements, what may be there beside
them, and notes of what is not written.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cached_property

from rework.anatomy.defaults import SPREAD
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.safety.net import State
from rework.safety.ties import bonded_to_earth, umbilical_states
from rework.touch.element import EitherWay, Element, Variant

#: Insulation to metalwork that is not earthed, of all parts at once.
TO_METAL = EitherWay("insulation", "to unearthed metal")
#: Ohms that nothing is taken to fall below.
LEAST_OHMS = 1e-3
#: The largest tolerance that is taken at its word: beyond it a resistance would reach nought.
MOST_TOLERANCE = 0.99
#: How far the ohms of a part of its size may be off, either way: two standard deviations.
USUAL_TOLERANCE = 2 * SPREAD


class Builder:
    """Collects what a circuit is to a current. ``assumed`` is what the netlist does not say, by
    name (see ``person.assumed``); the pots that are ``held`` stay where they are drawn.
    """

    def __init__(
        self, circuit: Circuit, assumed: Mapping[str, float], held: Collection[str] = ()
    ) -> None:
        self.circuit, self.assumed, self.held = circuit, assumed, held
        self.variants: list[Variant] = []
        self.unknown: list[str] = []
        self.unproved: list[str] = []
        self.usual: list[str] = []

    @cached_property
    def earthed(self) -> frozenset[str]:
        """The nodes that conductors join to the earth of a plug, whichever umbilical is pulled."""
        states = [State(connectors=connectors) for connectors in umbilical_states(self.circuit)]
        return frozenset.intersection(*(bonded_to_earth(self.circuit, state) for state in states))

    def pair(
        self,
        part: Part,
        first: str,
        second: str,
        siemens: float = 0.0,
        name: str = "",
        *,
        farads: float = 0.0,
        henries: float = 0.0,
        gate: tuple[str, ...] = (),
        rectifies: bool = False,
        kind: str = "part",
        cold: float = 0.0,
        slack: float = 0.0,
    ) -> Element:
        """Return a path between two terminals of one part."""
        return Element(
            part.name,
            name or f"{part.name} {first}-{second}",
            (part.at(first), part.at(second)),
            siemens,
            farads=farads,
            henries=henries,
            gate=gate,
            rectifies=rectifies,
            kind=kind,
            cold=cold,
            slack=slack,
        )

    def maybe(
        self, element: Element, axis: EitherWay, *, position: int = 1, ohms: float | None = None
    ) -> Element:
        """Return the element after noting that in one position of an axis ``ohms`` (those of a
        conducting tube) lie across it.
        """
        if axis.kind == "insulation":
            self.unproved.append(element.name)
        self.variants.append(
            Variant(
                axis,
                position,
                element.part,
                element.name,
                element.ends,
                1 / (ohms or self.assumed["conducting_ohm"]),
                rectifies=element.rectifies,
            )
        )
        return element

    def missing(self, words: str) -> None:
        """Take note, once, of what is not written."""
        if words not in self.unknown:
            self.unknown.append(words)

    def not_written(self, element: Element, what: str) -> Element:
        """Return a path that is tried open and as a short, because a value is not written."""
        self.missing(
            f"{element.part} has no {what} written: taken as a short and as open, whichever is"
            " worse",
        )
        return self.maybe(
            element, EitherWay("unknown", element.part), ohms=self.assumed["short_ohm"]
        )

    def as_usual(
        self, part: Part, first: str, second: str, name: str, ohms: float, henries: float = 0.0
    ) -> Element:
        """Return a path of the ohms that parts of its size have, because none are written: at the
        end of their spread that passes more, and at the other.
        """
        words = f"{ohms:.3g} ohm" + (f" and {henries:.2g} H" if henries else "")
        self.usual.append(
            f"{part.name} has no resistance written: taken as {words}, as parts of its size have,"
            f" and {USUAL_TOLERANCE:.0%} less or more, whichever is worse"
        )
        least = ohms * (1 - USUAL_TOLERANCE)
        missing = slack(USUAL_TOLERANCE)
        return self.pair(part, first, second, 1 / least, name, henries=henries, slack=missing)

    def insulated(self, part: Part, terminal: str, metal_part: Part, metal: str) -> Element:
        """Return the insulation from a part to metalwork.

        Where that is not earthed no standard vouches for it: it is also tried broken down.
        """
        inside, node = part.at(terminal), metal_part.at(metal)
        name = (
            f"{part.name} to its {metal}"
            if part is metal_part
            else f"{part.name} to the {metal} of {metal_part.name}"
        )
        if node not in self.earthed:
            self.unproved.append(name)
            self.variants.append(
                Variant(
                    TO_METAL, 1, part.name, name, (inside, node), 1 / self.assumed["conducting_ohm"]
                )
            )
        return Element(
            part.name,
            name,
            (inside, node),
            0.0,
            farads=self.assumed["metalwork_farad"],
            kind="insulation",
        )

    def tolerance(self, part: Part) -> float:
        """Return the tolerance of a part, as a fraction; the assumed one where none is written."""
        written = part.value("fraction")
        return min(self.assumed["tolerance"] if written is None else written, MOST_TOLERANCE)

    def low(self, part: Part, ohms: float) -> tuple[float, float]:
        """Return the siemens of a resistance at the low end of its tolerance, and the share that is
        missing at the high end.
        """
        tolerance = self.tolerance(part)
        return 1 / max(ohms * (1 - tolerance), LEAST_OHMS), slack(tolerance)


def slack(tolerance: float) -> float:
    """Return the share of an admittance at the end of its tolerance that passes more which is
    missing at the other end: ``1 - (1 - t) / (1 + t)``.
    """
    return 2 * tolerance / (1 + tolerance)
