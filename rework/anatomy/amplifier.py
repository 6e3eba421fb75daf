"""The whole of what an amplifier is, computed piece by piece when asked for.

`of` is the entry: ``of(circuit).stages``, ``of(circuit).common`` and so on. What is computed stays
with the circuit, as its own views do; nothing of it counts when circuits are compared.
"""

from __future__ import annotations

from functools import cached_property

from rework.anatomy import grounds
from rework.anatomy.heaters import Heaters
from rework.anatomy.line import line_sides, on_the_line
from rework.anatomy.line_string import LineString
from rework.anatomy.ports import SignalPort
from rework.anatomy.power import Rail, Supply
from rework.anatomy.rectifiers import RectifierSection, rectifiers
from rework.anatomy.signal import SignalWays
from rework.anatomy.stages import Chain, Coupling, Feedback, Output, SignalStage
from rework.anatomy.units import TubeUnit, units_of
from rework.anatomy.wiring import Wiring
from rework.circuit.circuit import Circuit


class Anatomy:
    """One circuit as an amplifier: points, line, supply, heaters, stages. Read only.

    Parameters
    ----------
    circuit
        The circuit.
    mated
        Whether the contacts of mated connectors join the chassis that they connect. Without it
        every umbilical counts as pulled.
    """

    def __init__(self, circuit: Circuit, *, mated: bool = True) -> None:
        self.circuit = circuit
        self.wiring = Wiring(circuit, mated=mated)

    @cached_property
    def units(self) -> tuple[TubeUnit, ...]:
        """Every unit of every tube of a known type, in the order of the file."""
        return tuple(
            unit
            for part in self.circuit.parts
            if part.kind == "tube"
            for unit in units_of(part, self.wiring)
        )

    # line, metal, earth

    @cached_property
    def line_sides(self) -> tuple[frozenset[str], ...]:
        """The two sides of the line, as points; more with more plugs."""
        return line_sides(self.wiring)

    @cached_property
    def line(self) -> frozenset[str]:
        """The points on any side of the line."""
        return frozenset().union(*self.line_sides)

    @cached_property
    def metal(self) -> frozenset[str]:
        """The points that are metal in reach of a hand."""
        return grounds.metal(self.wiring)

    @cached_property
    def chassis(self) -> frozenset[str]:
        """The points of the chassis and of frames, cores, shafts, sleeves and shields."""
        return self.wiring.points(
            node
            for part in self.circuit.parts
            for terminal, node in part.pins
            if part.kind == "chassis"
            or terminal in ("core", "frame", "shaft", "sleeve", "shield", "screen")
        )

    @cached_property
    def earthed(self) -> frozenset[str]:
        """The points on the earth blade of a plug or on an earth stud."""
        return grounds.earthed(self.wiring)

    # supply

    @cached_property
    def _supply(self) -> Supply:
        return Supply(self.wiring, self.units, self.line, self.metal)

    @cached_property
    def rectifiers(self) -> tuple[RectifierSection, ...]:
        """Every rectifier, in the order of the file."""
        return rectifiers(self.wiring, self.units)

    @cached_property
    def rail(self) -> frozenset[str]:
        """The points of B+."""
        return self._supply.points

    @cached_property
    def common(self) -> frozenset[str]:
        """The circuit's own negative."""
        return self._supply.common()

    @cached_property
    def b_minus(self) -> frozenset[str]:
        """The points of B-, where resistors or chokes are between it and common (back bias)."""
        return self._supply.b_minus(self.common)

    @cached_property
    def rails(self) -> tuple[Rail, ...]:
        """The points of B+ in their order, from where it comes in."""
        return self._supply.rails(self.common | self.b_minus | self.chassis)

    def is_filter(self, part: str) -> bool:
        """Return whether a part is a capacitor that filters B+."""
        return self._supply.is_filter(self.circuit.by_name[part])

    # heaters

    @cached_property
    def heaters(self) -> Heaters:
        """The heaters as they are fed: strings, sources, taps."""
        return Heaters(self.wiring)

    @cached_property
    def line_string(self) -> LineString:
        """The heater string across the line, as a conversion takes it apart."""
        neutral = self.common | self.earthed | self.metal
        return LineString(self.wiring, self.line_sides, neutral)

    # signal

    @cached_property
    def still(self) -> frozenset[str]:
        """The points that carry no signal: B+, common, B-, chassis, earth, line."""
        low = self.common | self.b_minus | self.chassis | self.earthed
        return self.rail | low | self.line

    @cached_property
    def signal(self) -> SignalWays:
        """What passes a signal."""
        mains = frozenset(
            part.name
            for part in self.circuit.parts
            if on_the_line(self.wiring, self.line_sides, part)
        )
        return SignalWays(self.wiring, self.units, self.still, mains)

    @cached_property
    def chain(self) -> Chain:
        """The stages with their couplings."""
        return Chain(self.signal)

    @property
    def stages(self) -> tuple[SignalStage, ...]:
        """Every unit that amplifies, channel by channel in the order of the signal."""
        return self.chain.stages

    @property
    def couplings(self) -> tuple[Coupling, ...]:
        """Every way on which a signal goes forward."""
        return self.chain.couplings

    @property
    def feedbacks(self) -> tuple[Feedback, ...]:
        """Every way on which a signal comes back."""
        return self.chain.feedbacks

    @property
    def outputs(self) -> tuple[Output, ...]:
        """What drives the loads."""
        return self.chain.outputs

    @property
    def inputs(self) -> tuple[SignalPort, ...]:
        """Where a signal comes in."""
        return self.chain.inputs

    @property
    def loads(self) -> tuple[SignalPort, ...]:
        """Where it goes out."""
        return self.chain.loads


def of(circuit: Circuit) -> Anatomy:
    """Return the anatomy of a circuit, all connectors mated; the same one each time it is asked for
    of the same value.
    """
    kept = vars(circuit)
    if "_anatomy" not in kept:
        kept["_anatomy"] = Anatomy(circuit)
    anatomy: Anatomy = kept["_anatomy"]
    return anatomy


def apart(circuit: Circuit) -> Anatomy:
    """Return the anatomy of a circuit with every connector pulled, kept likewise."""
    kept = vars(circuit)
    if "_anatomy_apart" not in kept:
        kept["_anatomy_apart"] = Anatomy(circuit, mated=False)
    anatomy: Anatomy = kept["_anatomy_apart"]
    return anatomy
