"""How to discharge the filter capacitors of a set: resistor, seconds, volts that are left."""

from __future__ import annotations

from math import ceil, log, sqrt

from rework.circuit.circuit import Circuit

#: The resistor that a bench discharges through, ohms and watts. Common practice, no source; at
#: 340 V it takes 12 W for an instant and 6 J from 100 uF, which a 5 W wirewound part stands.
RESISTOR, WATTS = 10e3, 5.0
#: Volts that may be left before a part is touched, and the least time to hold the resistor on.
LEFT, LEAST = 5.0, 5.0
#: A capacitor of less is empty before the resistor is in place.
SMALLEST = 0.5e-6


def discharge_seconds(farads: float, volts: float, ohms: float = RESISTOR) -> float:
    """Return the seconds in which a capacitor falls from ``volts`` to 5 V through ``ohms``.

    t = R C ln(V / 5 V), the discharge of a capacitor through a resistor.
    """
    return ohms * farads * log(volts / LEFT) if volts > LEFT else 0.0


def discharge_words(circuit: Circuit) -> str:
    """Return how to discharge the filter capacitors of a set: the slowest of them, by its name.

    A capacitor is taken as charged to its rated volts or to the peak of a line that is 10 % high,
    whichever is more, and as 20 % over its marked capacitance.
    """
    peak = 1.1 * sqrt(2) * circuit.mains.volts if circuit.mains else 0.0
    slowest = max(
        (
            (discharge_seconds(1.2 * farads, max(part.value("voltage") or 0.0, peak)), part.name)
            for part in circuit.parts
            if part.kind == "electrolytic" and (farads := part.value("capacitance") or 0) > SMALLEST
        ),
        default=(0.0, ""),
    )
    seconds = max(LEAST, ceil(slowest[0]))
    slow = f" {slowest[1]} is the slowest." if slowest[1] else ""
    return (
        f"Discharge every filter capacitor through {RESISTOR / 1e3:.0f} kohm, {WATTS:g} W, for at"
        f" least {seconds:.0f} s.{slow} Then measure across it: it must read under {LEFT:g} V."
    )
