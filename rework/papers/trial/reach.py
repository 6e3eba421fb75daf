"""The places that the tests read: metal in reach, what is earthed, blades, pins of tubes."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import KINDS
from rework.circuit.parts import Part
from rework.papers.places import one_point, pin_words
from rework.report.figures import band, volts
from rework.solve.chart import Chart

_ELEMENTS = ("plate", "screen", "cathode", "grid")
#: RMS volts from which a pin is on a winding: a DC reading there says nothing.
_ALTERNATING = 20.0


def metal(circuit: Circuit) -> tuple[str, ...]:
    """Return every place in reach of a hand: by the kind of part, and as the file says."""
    pins = [
        pin_words(part, terminal)
        for part in circuit.parts
        for terminal, _ in part.pins
        if _in_reach(part, terminal)
    ]
    named = [
        f"point {node}"
        for node in circuit.touchable
        if not any(_in_reach(part, terminal) for part, terminal in circuit.at.get(node, ()))
    ]
    return tuple(dict.fromkeys([*pins, *named]))


def earthed(circuit: Circuit) -> tuple[str, ...]:
    """Return the places in reach that conductors and mated contacts join to a plug's earth."""
    point = one_point(circuit)
    earth = {
        point[node]
        for part in circuit.parts
        if part.kind == "plug"
        for terminal, node in part.pins
        if terminal == "earth"
    }
    return tuple(
        dict.fromkeys(
            pin_words(part, terminal)
            for part in circuit.parts
            for terminal, node in part.pins
            if _in_reach(part, terminal) and point[node] in earth
        )
    )


def _in_reach(part: Part, terminal: str) -> bool:
    return terminal in KINDS[part.kind].touched


def pin_rows(circuit: Circuit, chart: Chart | None, names: frozenset[str]) -> tuple[str, ...]:
    """Return the pins of tubes to read, each with the band of the chart's state; the plates of
    rectifiers, which are on a winding, are left out.
    """
    pins = [
        (pin_words(circuit.by_name[pin.part], pin.pin), pin)
        for pin in (chart.pins if chart else ())
        if pin.part in circuit.by_name
    ]
    on_line = {place for place, pin in pins if pin.ac_volts > _ALTERNATING}
    expected = {place: band(pin.low, pin.high) or volts(pin.volts) for place, pin in pins}
    words = [
        pin_words(part, terminal)
        for part in circuit.parts
        if part.name in names
        for terminal, _ in part.pins
    ]
    return tuple(
        f"{place}: {expected[place]}" if place in expected else place
        for place in words
        if any(element in place for element in _ELEMENTS) and place not in on_line
    )


def heater_rows(chart: Chart | None) -> tuple[str, ...]:
    """Return the heaters to read, each with the volts of the chart's state."""
    return tuple(
        f"{row.part} heater: {row.volts:.2f} V AC" for row in (chart.heaters if chart else ())
    )


def winding_rows(chart: Chart | None, circuit: Circuit) -> tuple[str, ...]:
    """Return the windings of power transformers, with the RMS volts of the chart's state."""
    power = {part.name for part in circuit.parts if part.kind == "transformer"}
    return tuple(
        f"{row.part} {row.winding}: {row.rms_volts:.3g} V AC"
        for row in (chart.windings if chart else ())
        if row.part in power
    )
