"""A tube that no file describes, as far as the netlist itself states it: heater and elements.

It is enough for a heater string to add up and for stages to be named. Whether anything inside such
a tube is isolated is not known, so the mains check takes all its pins as joined.
"""

from __future__ import annotations

from types import MappingProxyType

from rework.circuit.parts import Part
from rework.tubes import elements
from rework.tubes.figure import Figure
from rework.tubes.tubetype import Heater, HeaterWay, TubeType

#: The role of the heater volts on the line of an unlisted tube.
HEATER_ROLE = "heater"
#: Where the figures of an unlisted tube come from.
_SOURCE, _GRADE = "the netlist", "memory"


def element_named(text: str) -> str:
    """Return the canonical element that a word names, such as ``plate`` for ``anode``; nothing for
    a word that names none, or both ends of the heater.
    """
    unit, meant, every = elements.read_name(text)
    if not meant or every:
        return ""
    name = f"{unit}.{meant[0]}" if unit else meant[0]
    return name if elements.is_element(name) else ""


def stated(part: Part) -> TubeType | None:
    """Return what the netlist states of an unlisted tube, or None where it states no heater with
    both its ends.
    """
    volts, amps = part.value("voltage", role=HEATER_ROLE), part.value("current")
    pins = tuple(dict.fromkeys([*(pin for pin, _ in part.pins), *part.unused]))
    carried = {pin: pin if elements.is_element(pin) else "internal" for pin in pins}
    if volts is None or amps is None or not set(elements.HEATER) <= set(carried):
        return None
    rated = Figure(volts, "V", _SOURCE, _GRADE), Figure(amps, "A", _SOURCE, _GRADE)
    between = (frozenset({elements.HEATER[0]}), frozenset({elements.HEATER[1]}))
    nothing: MappingProxyType[str, Figure] = MappingProxyType({})
    return TubeType(
        type=part.type,
        aliases=(),
        kind="unlisted",
        base="",
        basing="",
        socket_pins=pins,
        elements=tuple((pin, (element,)) for pin, element in carried.items()),
        pins_source=_SOURCE,
        pins_grade=_GRADE,
        heater=Heater(*rated, (HeaterWay(between, *rated),), (), False, None),
        ratings=nothing,
        typical=(),
        stages=(),
        curves=(),
        capacitances=(),
        relatives=(),
        lookalikes=(),
        notes=(),
    )
