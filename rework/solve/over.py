"""What is over its rating, or close to it, in a voltage chart: one sentence each, the part first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.bias import Bias
from rework.tubes import library

if TYPE_CHECKING:
    from rework.solve.chart import Chart

#: A resistor above this share of its watts is told of (common practice, no source: twice the
#: watts).
RESISTOR_SHARE = 0.6
#: A heater further than this from its volts is told of (common practice; makers print five to ten
#: per cent).
HEATER_SHARE = 0.10
#: A winding may be over its amps or a transformer over its volt-amperes by this, which rounding of
#: the written values explains.
ROUNDING = 1.02


def flags(circuit: Circuit, found: Bias, chart: Chart) -> tuple[str, ...]:
    """Return a sentence on every part that is over its rating, the part first."""
    return tuple(
        sentence
        for part in (_tubes, _heaters, _resistors, _capacitors, _rectifiers, _windings)
        for sentence in part(circuit, found, chart)
    )


def unrated(chart: Chart) -> tuple[str, ...]:
    """Return the parts that have no rating written to be held to: none of these can be found over
    it.
    """
    rows = [
        *chart.resistors,
        *chart.capacitors,
        *(row for row in chart.windings if row.rating is None and row.rms_amps > 0),
    ]
    found = [row.part for row in rows if not row.rating] + [
        tube.part for tube in chart.tubes if not tube.plate_watts_rating
    ]
    return tuple(dict.fromkeys(found))


def _tubes(circuit: Circuit, found: Bias, chart: Chart) -> Iterator[str]:
    for tube in chart.tubes:
        name = f"{tube.part} ({tube.type}{' ' + tube.unit if tube.unit else ''})"
        for what, value, rating, unit in (
            ("plate takes", tube.plate_watts, tube.plate_watts_rating, "W"),
            ("screen takes", tube.screen_watts, tube.screen_watts_rating, "W"),
            ("plate stands at", tube.plate_volts, tube.plate_volts_rating, "V"),
            ("screen stands at", tube.screen_volts, tube.screen_volts_rating, "V"),
        ):
            if value is not None and rating is not None and value > rating:
                yield f"{name}: the {what} {value:.3g} {unit}, over its {rating:g} {unit}"
        corner = next(
            (
                row
                for row in chart.corners
                if row.what == f"{tube.part} {tube.unit}".strip() + " plate"
            ),
            None,
        )
        if (
            tube.plate_watts_rating
            and tube.plate_watts <= tube.plate_watts_rating < tube.plate_watts_high
        ):
            worst = f", {corner.high:.3g} W in the worst corner" if corner else ""
            yield (
                f"{name}: within its {tube.plate_watts_rating:g} W as drawn, but"
                f" {tube.plate_watts_high:.3g} W at the edge of the band{worst}"
            )
        elif (
            tube.plate_watts_rating
            and corner
            and tube.plate_watts <= tube.plate_watts_rating < corner.high
        ):
            yield (
                f"{name}: within its {tube.plate_watts_rating:g} W over the band, but"
                f" {corner.high:.3g} W in the worst corner"
            )


def _heaters(circuit: Circuit, found: Bias, chart: Chart) -> Iterator[str]:
    for one in chart.heaters:
        off = one.volts / one.rated - 1
        if abs(off) > HEATER_SHARE:
            yield (
                f"{one.part} ({one.type}): its heater has {one.volts:.3g} V, {abs(off):.0%}"
                f" {'over' if off > 0 else 'under'} its {one.rated:g} V"
            )
    network, x = found.network, found.steady.x
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        limit = tube.ratings.get("heater_cathode_volts") if tube else None
        if limit is None:
            continue
        heaters = [
            node for pin, node in part.pins if tube.element(pin).startswith(("heater", "lamp"))
        ]
        cathodes = [node for pin, node in part.pins if "cathode" in tube.element(pin)]
        peak = max(
            (
                float(abs(network.volts(x, a) - network.volts(x, b)).max())
                for a in heaters
                for b in cathodes
            ),
            default=0.0,
        )
        if peak > limit.value:
            yield (
                f"{part.name} ({tube.type}): {peak:.0f} V peak between heater and cathode, over its"
                f" {limit.value:g} V"
            )


def _resistors(circuit: Circuit, found: Bias, chart: Chart) -> Iterator[str]:
    for one in chart.resistors:
        if one.rating and one.watts > RESISTOR_SHARE * one.rating:
            over = "over" if one.watts > one.rating else "more than 60 % of"
            yield (
                f"{one.part}: takes {one.watts:.3g} W, {over} its {one.rating:g} W; fit one of at"
                f" least {2 * one.watts:.2g} W"
            )


def _capacitors(circuit: Circuit, found: Bias, chart: Chart) -> Iterator[str]:
    for one in chart.capacitors:
        if one.rating and one.volts > one.rating:
            yield f"{one.part}: {one.volts:.4g} V in use, over its {one.rating:g} V"
        elif one.rating and one.cold_volts > one.rating:
            yield (
                f"{one.part}: {one.cold_volts:.4g} V at switch-on (tubes cold, line 10 % high),"
                f" over its {one.rating:g} V"
            )


def _rectifiers(circuit: Circuit, found: Bias, chart: Chart) -> Iterator[str]:
    for part in circuit.parts:
        rows = [row for row in chart.rectifiers if row.part == part.name]
        if not rows:
            continue
        total, peak, inverse = (
            sum(row.mean_amps for row in rows),
            max(row.peak_amps for row in rows),
            max(row.inverse_volts for row in rows),
        )
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None:
            yield from _solid(part, total / (2 if part.kind == "bridge" else 1), inverse)
        elif tube.is_rectifier:
            for name, value, word, unit, scale in (
                ("dc_amps", total, "gives", "mA", 1e3),
                ("peak_amps", peak, "peaks at", "mA", 1e3),
                ("inverse_volts", inverse, "meets", "V inverse", 1.0),
            ):
                figure = tube.ratings.get(name)
                if figure and value > figure.value:
                    yield (
                        f"{part.name} ({tube.type}): {word} {value * scale:.3g} {unit}, over its"
                        f" {figure.value * scale:g} {unit}"
                    )
            yield from _first_capacitor(circuit, found, part, tube)


def _solid(part: Part, amps: float, inverse: float) -> Iterator[str]:
    rated_amps, rated_volts = part.value("current"), part.value("voltage")
    if rated_amps and amps > rated_amps:
        yield f"{part.name}: gives {amps * 1e3:.3g} mA, over its {rated_amps * 1e3:g} mA"
    if rated_volts and inverse > rated_volts:
        yield f"{part.name}: meets {inverse:.0f} V inverse, over its {rated_volts:g} V"


def _first_capacitor(circuit: Circuit, found: Bias, part: Part, tube) -> Iterator[str]:
    limit = tube.ratings.get("first_capacitor_farads")
    network = found.network
    cathodes = {network.node_of[node] for pin, node in part.pins if "cathode" in tube.element(pin)}
    farads = sum(
        one.value("capacitance") or 0.0
        for one in circuit.parts
        if one.kind in ("capacitor", "electrolytic")
        and cathodes & {network.node_of[node] for _, node in one.pins}
    )
    if limit and farads > 1.05 * limit.value:
        yield (
            f"{part.name} ({tube.type}): {farads * 1e6:.3g} uF stand on its cathode, over the"
            f" {limit.value * 1e6:g} uF it may have there"
        )


def _windings(circuit: Circuit, found: Bias, chart: Chart) -> Iterator[str]:
    for row in chart.windings:
        if row.rating is None:
            continue
        choke = circuit.by_name[row.part].kind == "choke"
        amps = abs(row.mean_amps) if choke else row.rms_amps
        if amps > ROUNDING * row.rating:
            yield (
                f"{row.part}{' ' + row.winding if row.winding else ''}: carries {amps * 1e3:.3g} mA"
                f" {'DC' if choke else 'RMS'}, over its {row.rating * 1e3:g} mA"
            )
    for part in circuit.parts:
        rated = part.value("apparent-power") if part.kind == "transformer" else None
        primary = sum(
            row.volt_amps
            for row in chart.windings
            if row.part == part.name and row.winding.startswith("primary")
        )
        if rated and primary > ROUNDING * rated:
            yield f"{part.name}: takes {primary:.3g} VA, over its {rated:g} VA"
