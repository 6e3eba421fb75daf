"""A set as a bench has it during a test: tubes out, umbilical unplugged, a lamp in series.

Each state is a circuit of its own, so that whatever is reported of a test is solved in the state
that the test creates.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from math import pow

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.solve.chart import Chart, volts

#: Exponent of the current of an incandescent lamp over its volts: V ~ I^1.9. A. Arecchi,
#: T. Messadi, R. J. Koshel, Field Guide to Illumination, SPIE Press 2007, p. 21 (printed for 95 to
#: 105 % of the current; below half the volts it is an extrapolation).
CURRENT_EXPONENT = 1 / 1.9
#: Ohms of the hot filament over those of the cold one (the same source).
HOT_TO_COLD = 15.0
#: Watts of the lamps there are; common practice, no source.
LAMPS = (25.0, 40.0, 60.0, 75.0, 100.0, 150.0, 200.0, 300.0)
#: The lamp has at least so many times the watts of the set, so that the set gets some 0.8 of the
#: line: own arithmetic from the law above.
LAMP_TO_SET = 2.0
#: The change of the lamp's ohms, as a share, at which they are settled: less than lamps of one mark
#: differ; and the most steps, each of which halves the error at least.
_SETTLED, _MOST = 0.03, 12


@dataclass(frozen=True, slots=True)
class BehindLamp:
    """A set behind a series lamp: the chart of the state, RMS volts on the lamp and on the set,
    and the watts the lamp is marked with.
    """

    watts: float
    chart: Chart
    lamp_volts: float
    set_volts: float


def lamp_for(watts: float) -> float:
    """Return the watts of the lamp to use in series with a set that takes ``watts``."""
    wanted = LAMP_TO_SET * watts
    return next((lamp for lamp in LAMPS if lamp >= wanted), LAMPS[-1])


def filament_ohms(lamp_volts: float, watts: float, rated_volts: float) -> float:
    """Return the ohms of an incandescent lamp with ``lamp_volts`` RMS across it.

    R = V / I with I = I0 (V / V0)^(1 / 1.9), and never under the cold filament's, R0 / 15.
    """
    hot = rated_volts**2 / watts
    share = max(lamp_volts / rated_volts, 0.0)
    return max(hot * pow(share, 1 - CURRENT_EXPONENT), hot / HOT_TO_COLD)


def without_tubes(circuit: Circuit, names: Collection[str]) -> Circuit:
    """Return the circuit with the tubes of those names pulled out of their sockets."""
    return circuit.with_parts(tuple(part for part in circuit.parts if part.name not in names))


def umbilical_unplugged(circuit: Circuit) -> Circuit:
    """Return the circuit with every connector parted from its mate."""

    def parted(part: Part) -> Part:
        kept = tuple(setting for setting in part.settings if setting[0] != "mates")
        return replace(part, settings=kept) if part.kind == "connector" else part

    return circuit.with_parts(tuple(map(parted, circuit.parts)))


def with_series_resistance(circuit: Circuit, ohms: float) -> Circuit:
    """Return the circuit with a resistance in the line lead of its plug."""
    name, node = circuit.free_part_name("LAMP"), circuit.free_node_name("LAMP")
    parts: list[Part] = []
    for part in circuit.parts:
        line = part.node("line") if part.kind == "plug" else None
        if line is None:
            parts.append(part)
            continue
        moved = tuple((at, node if at == "line" else other) for at, other in part.pins)
        lamp = Part(
            name,
            "resistor",
            values=(Value("resistance", ohms),),
            pins=(("1", node), ("2", line)),
        )
        parts += [replace(part, pins=moved), lamp]
    return circuit.with_parts(tuple(parts))


def behind_lamp(
    circuit: Circuit, watts: float, *, samples: int, amps: float | None = None
) -> BehindLamp:
    """Return the steady state of a set behind a lamp of ``watts``, made for the volts of the line.

    The filament's ohms follow its RMS volts and are sought by substitution: they rise with less
    than the square root of the volts, so that each step leaves less than half of the error.
    ``amps`` is what the set takes without the lamp, where it is known, to begin from.

    Raises
    ------
    CannotSolve
        Where the circuit has no steady state.
    ValueError
        Where the circuit does not say what line it is for.
    """
    if circuit.mains is None:
        raise ValueError("the circuit does not say what line it is for")
    line = circuit.mains.volts
    ohms = _first_ohms(line, watts, amps)
    for _ in range(_MOST):
        chart = volts(with_series_resistance(circuit, ohms), samples=samples)
        lamp_volts = ohms * chart.line_amps
        before, ohms = ohms, filament_ohms(lamp_volts, watts, line)
        if abs(ohms / before - 1) <= _SETTLED:
            break
    return BehindLamp(watts, chart, lamp_volts, _set_volts(line, lamp_volts, chart))


def _first_ohms(line: float, watts: float, amps: float | None) -> float:
    """Return the ohms of the lamp with the set taken as a resistance; cold where it is unknown."""
    if not amps:
        return filament_ohms(0.0, watts, line)
    ohms = filament_ohms(0.0, watts, line)
    for _ in range(20):
        ohms = filament_ohms(line * ohms / (ohms + line / amps), watts, line)
    return ohms


def _set_volts(line: float, lamp_volts: float, chart: Chart) -> float:
    """Return the RMS volts left for the set: those of its first primary, else the difference."""
    across = [
        row.rms_volts
        for row in chart.windings
        if row.winding.startswith("primary") and row.rms_volts > (line - lamp_volts) / 2
    ]
    return across[0] if across else max(line - lamp_volts, 0.0)
