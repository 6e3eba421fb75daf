"""Values that a rule may write behind the name of a part: what a resistor has to be that takes the
place of a heater, or goes in series with a motor.

``{V}.heater-ohms`` in a rule is the value for the part that ``?V`` or the parameter stands for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.circuit.preferred import E24, WATTS, nearest, rating
from rework.language.quantity import write_value
from rework.tubes import library

#: A resistor is fitted for this many times the watts it takes (common practice, no source).
RESERVE = 2.0
#: Volts that are known within this share of the line's need no resistor (common practice, no
#: source: what lines vary by).
LINE_SHARE = 0.10


def heater_drop(part: Part) -> tuple[float, float] | None:
    """Return the volts and amps of a tube's heater as it is ordinarily fed, None where they are not
    known.
    """
    tube = library.find(part.type) if part.kind == "tube" else None
    return None if tube is None else (tube.heater.volts.value, tube.heater.amps.value)


def motor_drop(part: Part, circuit: Circuit) -> tuple[float, float] | None:
    """Return the volts and amps of a resistor that holds a motor at its volts on the line; None
    where the motor is for the line, or does not say its volts and amps.
    """
    volts, amps = part.value("voltage"), part.value("current")
    watts = part.value("power")
    if part.kind != "motor" or circuit.mains is None or volts is None:
        return None
    drop = circuit.mains.volts - volts
    amps = amps if amps is not None else watts / volts if watts is not None else None
    if amps is None or drop <= LINE_SHARE * circuit.mains.volts:
        return None
    return drop, amps


def _ohms(drop: tuple[float, float] | None) -> str:
    """Return the preferred resistance for volts and amps, as text."""
    return "" if drop is None else write_value(Value("resistance", nearest(drop[0] / drop[1], E24)))


def _watts(drop: tuple[float, float] | None) -> str:
    if drop is None:
        return ""
    watts = RESERVE * drop[0] * drop[1]
    return write_value(Value("power", rating(watts, WATTS) or watts))


#: What may stand behind the name of a part, with what works it out.
COMPUTED: dict[str, Callable[[Part, Circuit], str]] = {
    "heater-ohms": lambda part, _: _ohms(heater_drop(part)),
    "heater-watts": lambda part, _: _watts(heater_drop(part)),
    "series-ohms": lambda part, circuit: _ohms(motor_drop(part, circuit)),
    "series-watts": lambda part, circuit: _watts(motor_drop(part, circuit)),
}
#: Names that stand for something in every rule.
IMPLIED = ("mains-volts",)


def implied(circuit: Circuit) -> dict[str, str]:
    """Return what the names stand for that every rule knows."""
    mains = circuit.mains
    return {"mains-volts": "" if mains is None else write_value(Value("voltage", mains.volts))}


def computed_names(names: Mapping[str, str], circuit: Circuit) -> dict[str, str]:
    """Return the computed values of every part that a name stands for, by ``NAME.word``."""
    parts = {name: circuit.part(text) for name, text in names.items()}
    return {
        f"{name}.{word}": text
        for name, part in parts.items()
        if part is not None
        for word, work_out in COMPUTED.items()
        if (text := work_out(part, circuit))
    }
