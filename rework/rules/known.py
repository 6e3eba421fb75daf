"""What conditions are asked about: one circuit, and what fills the gap of a condition."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from rework.anatomy import units
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.rules.facts import Facts
from rework.tubes.tubetype import TubeType


@dataclass(frozen=True, slots=True)
class Operand:
    """What fills the gap of a condition: the word as given, the part or the point it names, or
    neither.
    """

    text: str
    part: Part | None = None
    point: str | None = None


class Known:
    """Everything conditions may ask about one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.facts = Facts(circuit)

    @cached_property
    def output_bias_parts(self) -> frozenset[str]:
        """The names of every part of a back-bias network."""
        return frozenset(name for stage in self.facts.back_biased for name in stage.parts)

    def points_of(self, operand: Operand) -> frozenset[str]:
        """Return the point of a node, or every point a part is on."""
        if operand.part is not None and operand.point is None:
            return self.facts.points(node for _, node in operand.part.pins)
        return frozenset({operand.point}) if operand.point is not None else frozenset()

    def point_of(self, operand: Operand) -> str:
        """Return the point a word names: its own, or that of the node of this name."""
        return operand.point if operand.point is not None else self.facts.point(operand.text)


def tube_of(operand: Operand) -> TubeType | None:
    """Return what the library knows of the tube that an operand names, or None."""
    return None if operand.part is None else units.tube_of(operand.part)
