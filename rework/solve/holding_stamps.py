"""Stamps of parts that hold their volts, and of those that do nothing in normal use: indicators,
zener diodes, gas regulators, varistors, relay coils.
"""

from __future__ import annotations

from rework.circuit.parts import Part
from rework.solve.devices import SILICON, Rectifier
from rework.solve.draft import StampDraft

#: Volts of an indicator whose file states none, and ohms of its slope (common practice, no source).
INDICATOR_VOLTS, INDICATOR_OHMS = 2.0, 10.0
#: Ohms of the slope of a zener diode and of a gas regulator (common practice, no source).
ZENER_OHMS, GAS_OHMS = 10.0, 100.0
#: Volts over which they begin to conduct.
_SOFTNESS = 0.05
#: Ohms of a varistor below its volts (common practice, no source).
VARISTOR_OHMS = 1e9


def _holds(volts: float, ohms: float) -> Rectifier:
    return Rectifier(1 / ohms, volts, 1.0, _SOFTNESS)


def indicator(draft: StampDraft, part: Part) -> None:
    """A light-emitting diode: its volts, and a little slope."""
    volts = part.value("voltage")
    if volts is None:
        volts = INDICATOR_VOLTS
        draft.notes.append(f"{part.name} has no volts in the file: taken as {volts:g} V")
    draft.device(part, "", _holds(volts, INDICATOR_OHMS), ("anode",), "cathode")


def holds_volts(draft: StampDraft, part: Part) -> None:
    """A zener diode, from cathode to anode, or a gas regulator, from anode to cathode."""
    volts = part.value("voltage")
    if volts is None:
        draft.fault(
            part,
            f"{part.name} has no volts in the file",
            f"write the volts it holds, as in {part.name} {part.kind} 12 V",
        )
    elif part.kind == "gas regulator":
        draft.device(part, "", _holds(volts, GAS_OHMS), ("anode",), "cathode")
        draft.notes.append(f"{part.name} is taken as lit, {volts:g} V and {GAS_OHMS:g} ohm")
    else:
        draft.device(part, "1", _holds(volts, ZENER_OHMS), ("cathode",), "anode")
        draft.device(part, "2", SILICON, ("anode",), "cathode")


def varistor(draft: StampDraft, part: Part) -> None:
    """A surge absorber below its volts."""
    draft.resistance(part, (part.node("1"), part.node("2")), VARISTOR_OHMS, spread=0.0)
    draft.notes.append(f"{part.name} is taken as not conducting")


def coil(draft: StampDraft, part: Part) -> None:
    """The coil of a relay; its contacts are as drawn, whatever the coil gets."""
    first, second = part.traits.terminals
    draft.resistance(part, (part.node(first), part.node(second)), part.value("resistance"))
    draft.notes.append(
        f"the contacts of {part.name} are taken as drawn; its coil current is ignored"
    )
