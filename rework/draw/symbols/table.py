"""The table: the symbol of every kind of part, in one style for a drawing.

A kind that is not in the table is drawn as a labelled box with its terminals by name.
"""

from __future__ import annotations

from collections.abc import Callable

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part
from rework.draw.symbols import ends, magnetic, passive, rectifying
from rework.draw.symbols.pen import Style, Symbol

#: Line volts from which a set is drawn in the style of IEC 60617.
_IEC_VOLTS = 150.0

SYMBOLS: dict[str, Callable[[Part, Style], Symbol]] = {
    "resistor": passive.resistor,
    "thermistor": passive.thermistor,
    "varistor": passive.varistor,
    "barretter": passive.resistor,
    "pot": passive.pot,
    "lamp": passive.lamp,
    "capacitor": passive.capacitor,
    "electrolytic": passive.electrolytic,
    "choke": passive.choke,
    "fuse": passive.fuse,
    "breaker": passive.breaker,
    "dummy load": passive.dummy_load,
    "battery": passive.battery,
    "gas regulator": passive.gas_regulator,
    "trace": passive.conductor,
    "wire": passive.conductor,
    "diode": rectifying.diode,
    "selenium": rectifying.diode,
    "zener": rectifying.zener,
    "light-emitting diode": rectifying.light_emitting_diode,
    "led": rectifying.light_emitting_diode,
    "bridge": rectifying.bridge,
    "transistor": rectifying.transistor,
    "optocoupler": rectifying.optocoupler,
    "transformer": magnetic.transformer,
    "autotransformer": magnetic.transformer,
    "output transformer": magnetic.transformer,
    "relay": magnetic.relay,
    "inlet filter": magnetic.inlet_filter,
    "plug": ends.plug,
    "outlet": ends.outlet,
    "switch": ends.switch,
    "jack": ends.jack,
    "pickup": ends.pickup,
    "microphone": ends.microphone,
    "speaker": ends.speaker,
    "headphones": ends.headphones,
    "motor": ends.motor,
    "connector": ends.connector,
    "chassis": ends.chassis_metal,
    "earth": ends.chassis_metal,
}
#: Kinds whose symbols are made elsewhere: a tube unit by unit, a cable core by core.
BY_UNIT = ("tube", "shielded cable")


def style_of(circuit: Circuit) -> Style:
    """Return the style of the country the line belongs to: US up to 150 V, IEC above it."""
    return "iec" if circuit.mains is not None and circuit.mains.volts > _IEC_VOLTS else "us"


def symbol_of(part: Part, style: Style) -> Symbol:
    """Return the symbol of a part, lying or upright as it is drawn first.

    Terminals that the kind's symbol has no lead for make it a labelled box: nothing the file binds
    may be lost.
    """
    terminals = [terminal for terminal, _ in part.pins]
    make = SYMBOLS.get(part.traits.symbol)
    if make is not None:
        try:
            symbol = make(part, style)
        except (IndexError, KeyError, ValueError):
            return ends.box(terminals)
        rest = [terminal for terminal in terminals if symbol.lead(terminal) is None]
        if not rest:
            return symbol
        if METALWORK.issuperset(rest) and len(symbol.leads) == 2:
            return passive.cased(symbol, rest)
    return ends.box(terminals)
