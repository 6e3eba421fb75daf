"""The tap on a turntable motor's winding that feeds a heater: the winding is an autotransformer."""

from __future__ import annotations

from dataclasses import dataclass

from rework.anatomy.units import tube_of
from rework.anatomy.wiring import Wiring
from rework.circuit.parts import Part
from rework.circuit.taps import ROLE


@dataclass(frozen=True, slots=True)
class MotorTap:
    """The tap of a motor: its volts RMS against the end ``back``, of the ``whole`` volts between
    ``front`` and ``back``; ``heater`` names the tube whose rating stands for what the file does not
    state.
    """

    front: str
    tap: str
    back: str
    volts: float
    whole: float
    heater: str = ""

    @property
    def share(self) -> float:
        """Volts at the tap for each volt on the winding."""
        return self.volts / self.whole


def motor_tap(wiring: Wiring, part: Part) -> MotorTap | None:
    """Return the tap of a motor, None where it has none that is connected or its volts cannot be
    known.

    Its volts are those that the file states (``tap 25 V``), else those of the heater from the tap
    to an end of the winding.
    """
    first, second, tap = part.node("1"), part.node("2"), part.node("tap")
    if part.kind != "motor" or tap is None or first is None or second is None:
        return None
    mains = wiring.circuit.mains
    whole = part.value("voltage") or (mains.volts if mains is not None else 0.0)
    stated = part.value("voltage", role=ROLE)
    back, heater, rated = _hanging(wiring, tap, (second, first))
    volts = stated or rated
    if not volts or volts >= whole:
        return None
    front = first if back == second else second
    return MotorTap(front, tap, back, volts, whole, "" if stated else heater)


def _hanging(wiring: Wiring, tap: str, ends: tuple[str, str]) -> tuple[str, str, float]:
    """Return the end that the heater on a tap goes to, its tube and its volts; the first end and
    nothing where none does.
    """
    for part in wiring.circuit.parts:
        tube = tube_of(part)
        if tube is None or tube.heater.volts is None:
            continue
        nodes = [
            {wiring.point(node) for pin in tube.pins_of(name) if (node := part.node(pin))}
            for name in ("heater1", "heater2")
        ]
        for end in ends:
            here, there = wiring.point(tap), wiring.point(end)
            if any(here in first and there in second for first, second in (nodes, nodes[::-1])):
                return end, part.name, tube.heater.volts.value
    return ends[0], "", 0.0
