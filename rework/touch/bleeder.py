"""The bleeder that takes the charge off the bare contacts of a pulled connector, tried."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import FitPart, apply_edit
from rework.circuit.graph import contracted
from rework.circuit.parts import Part, Value
from rework.circuit.preferred import BLEEDER_VOLTS, E12, WATTS, rating

#: Resistors of less are seldom made for 350 V (common practice, no source).
LEAST_WATTS = 0.5
#: Ohms that are tried: 100 ohm to 820 kohm.
TRIED = tuple(float(f"{digits}e{power}") for power in range(1, 5) for digits in E12)


@dataclass(frozen=True, slots=True)
class Bleeder:
    """A resistor from one node to another: ohms, the watts and volts that it is made for (None
    where nothing so large is made), and the seconds to 60 V at the contacts with it fitted, at the
    end of tolerances that takes longer.
    """

    name: str
    nodes: tuple[str, str]
    ohms: float
    watts: float
    volts: float | None
    seconds: float

    @property
    def part(self) -> Part:
        """The resistor as a part of the netlist."""
        values = [Value("resistance", self.ohms), Value("power", self.watts)]
        values += [] if self.volts is None else [Value("voltage", self.volts)]
        pins = tuple(zip(("1", "2"), self.nodes, strict=True))
        return Part(self.name, "resistor", values=tuple(values), words=("bleeder",), pins=pins)


def slowest_bleeder(
    circuit: Circuit,
    contacts: tuple[str, str],
    volts: float,
    most_seconds: float,
    seconds: Callable[[Circuit], float],
) -> Bleeder | None:
    """Return the resistor of most ohms with which two contacts are at 60 V in time, None where no
    resistor that is made does it.

    ``seconds`` is asked of the circuit with each resistor fitted; more ohms never take less.
    """
    name, nodes = circuit.free_part_name("R"), places(circuit, contacts)

    def fitted(ohms: float) -> Bleeder | None:
        watts = rating(max(volts**2 / ohms, LEAST_WATTS), WATTS)
        if watts is None:
            return None
        bleeder = Bleeder(name, nodes, ohms, watts, rating(volts, BLEEDER_VOLTS), 0.0)
        taken = seconds(apply_edit(circuit, FitPart(bleeder.part)))
        return replace(bleeder, seconds=taken)

    def too_slow(ohms: float) -> bool:
        bleeder = fitted(ohms)
        return bleeder is not None and bleeder.seconds > most_seconds

    number = bisect_left(TRIED, True, key=too_slow)
    bleeder = fitted(TRIED[number - 1]) if number else None
    return bleeder if bleeder is not None and bleeder.seconds <= most_seconds else None


def places(circuit: Circuit, contacts: tuple[str, str]) -> tuple[str, str]:
    """Return the nodes of the set that conductors join to two contacts, where a resistor is easily
    fitted: those with most pins, of the amplifier before those of what was attached.
    """
    point = contracted(circuit)

    def easiest(contact: str) -> str:
        joined = [node for node in circuit.nodes if point[node] == point[contact]]
        return min(joined, key=lambda node: ("/" in node, -len(circuit.at[node]), node))

    return easiest(contacts[0]), easiest(contacts[1])
