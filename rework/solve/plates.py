"""Where the plates of resistance-coupled stages are between cathode and B+."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.anatomy.amplifier import of
from rework.circuit.circuit import Circuit
from rework.solve.bias import Bias

#: A plate is told of when it is outside these shares of what feeds it. Of the resistance-coupled
#: stages of all sets on hand the lowest stands at 0.16 and the highest at 0.56; a load or bias
#: resistor ten times off puts it outside (own choice, no source).
LEAST_SHARE, MOST_SHARE = 0.1, 0.8


@dataclass(frozen=True, slots=True)
class Plate:
    """One stage: mean volts of its plate, and of the supply of its load, over its cathode."""

    stage: str
    volts: float
    supply: float

    @property
    def is_odd(self) -> bool:
        """Whether the stage is nearly cut off or bottomed."""
        return not LEAST_SHARE <= self.volts / self.supply <= MOST_SHARE


def plates(circuit: Circuit, rest: Bias) -> Iterator[Plate]:
    """Yield the plates of the stages that a resistor feeds from a rail."""
    anatomy = of(circuit)
    rails = anatomy.rail | {rail.point for rail in anatomy.rails}
    named: dict[str, str] = {}
    for node, point in anatomy.wiring.points_of.items():
        named.setdefault(point, node)

    def volts(point: str) -> float | None:
        node = named.get(point, "")
        if node not in rest.network.node_of:
            return None
        return float(rest.network.volts(rest.steady.x, node).mean())

    for stage in anatomy.stages:
        plate, cathode = next(iter(stage.unit.plates), None), stage.unit.at("cathode")
        if stage.kind != "amplifier" or plate is None or cathode is None:
            continue
        fed = _fed_from(circuit, plate, rails)
        at = [volts(point) for point in (plate, cathode, fed)] if fed else []
        if len(at) == 3 and all(volts is not None for volts in at):
            high, low, supply = (volts or 0.0 for volts in at)
            if supply - low > 1.0:
                yield Plate(stage.label, high - low, supply - low)


def _fed_from(circuit: Circuit, plate: str, rails: frozenset[str]) -> str:
    """Return the point of a rail that a resistor joins to a plate, "" without one."""
    wiring = of(circuit).wiring
    for part in circuit.parts:
        ends = wiring.ends(part) if part.kind == "resistor" else ()
        if plate in ends:
            for other in ends:
                if other != plate and other in rails:
                    return other
    return ""
