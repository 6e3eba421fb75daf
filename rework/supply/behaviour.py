"""What an option does when it is switched on: B+, watts, hum, stability, transformers, heat, and
what is over its rating.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from rework.anatomy.rectifiers import rectifies
from rework.anatomy.signal import is_signal_transformer
from rework.anatomy.units import tube_of
from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.rules.facts import Facts
from rework.solve.assemble import assemble
from rework.solve.cold import HIGH_LINE
from rework.solve.linear import linearised
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import mains_steady
from rework.solve.signal import Loudest
from rework.solve.stability import MOTORBOATING, modes
from rework.solve.stress import Stress, rating
from rework.supply.bench import AmplifierBench, RatingLimit, capacitors, ratings
from rework.supply.feed import Feed
from rework.supply.findings import Findings, Option, PrimaryLoad
from rework.supply.states import rms

Floats = NDArray[np.float64]
#: Instants of a line period in which the capacitors of a cold set are looked at.
INSTANTS = 96
#: A heater is balanced where the volts of its two ends are within this ratio, and these volts.
EVEN_RATIO, EVEN_VOLTS = 1.2, 0.05


def solved_rows(findings: Findings, circuit: Circuit, played: Loudest) -> Findings:
    """Return the findings with the rows that come of solving the circuit: B+, watts, hum,
    stability, transformers, heat.
    """
    option = findings.option
    network, steady = played.bias.network, played.bias.steady
    rail, back = (
        float(network.volts(steady.x, node).mean()) if node in network.node_of else 0.0
        for node in (option.rail, option.back)
    )
    slow = [mode for mode in modes(linearised(played.bias)) if 0 < mode.hertz < MOTORBOATING]
    least = slow[0] if slow else None
    heat = steady.watts_in
    highest, balanced = _heater_volts(option, circuit, played)
    about = f"{option.isolator} "
    return replace(
        findings,
        bplus=rail - back,
        watts=played.full.watts,
        hum=played.hum.volts,
        hum_below=played.hum.below_full_db,
        damping=least.damping if least else 1.0,
        swings_at=least.hertz if least else None,
        grows=tuple((mode.hertz, mode.node) for mode in played.grows),
        loads=tuple(_loads(circuit, played)),
        heat=heat,
        heat_old=heat - _losses(option, played),
        string_volts=highest,
        balanced=balanced,
        assumed=tuple(note for note in network.notes if option.isolator and note.startswith(about)),
    )


def _loads(circuit: Circuit, played: Loudest) -> Iterator[PrimaryLoad]:
    """Yield the load of every transformer on the line."""
    network, x = played.bias.network, played.bias.steady.x
    for part in circuit.parts:
        if part.kind not in ("transformer", "autotransformer") or is_signal_transformer(part):
            continue
        rows = {
            name.partition(".")[2]: row
            for name, row in network.rows.items()
            if name.partition(".")[0] == part.name
        }
        primary = next((name for name in rows if name.startswith("primary")), None)
        if primary is None:
            continue
        stem = primary.split(".")[0]
        ends = [node for end, node in part.pins if end in (f"{stem}.start", f"{stem}.finish")]
        volts = network.volts(x, ends[0]) - network.volts(x, ends[-1])
        secondaries = [
            row
            for name, row in rows.items()
            if name != "core" and not name.startswith("primary") and "." not in name
        ]
        yield PrimaryLoad(
            part.name,
            rms(x[:, rows[primary]]) * rms(volts),
            part.value("apparent-power"),
            max((abs(float(x[:, row].mean())) for row in secondaries), default=0.0),
            _magnetising(network, played, rows),
        )


def _magnetising(network: Network, played: Loudest, rows: Mapping[str, int]) -> float:
    """Return the RMS amps that magnetise a core, as its primary would draw them alone: the sum of
    all windings by their turns.
    """
    core = rows.get("core")
    if core is None:
        return 0.0
    x = played.bias.steady.x
    primary = next(row for name, row in rows.items() if name.startswith("primary"))
    flow = np.zeros(len(x))
    for name, row in rows.items():
        if name != "core":
            flow += network.fixed_c[core, row] * x[:, row]
    flow /= network.fixed_c[core, primary]
    return rms(flow - flow.mean())


def _losses(option: Option, played: Loudest) -> float:
    """Return the watts turned to heat in what is on a chassis of its own."""
    if not option.supply:
        return 0.0
    network, steady, watts = played.bias.network, played.bias.steady, 0.0
    lead = f"{option.supply}/"
    across = steady.x @ network.ohmic_at.T
    for number, branch in enumerate(network.ohmic):
        if branch.name.startswith(lead):
            watts += float((across[:, number] ** 2).mean()) / branch.value
    for name, row in network.rows.items():
        if name.startswith(lead) and not name.endswith(".core"):
            ohms = -float(network.fixed_g[row, row])
            watts += ohms * float((steady.x[:, row] ** 2).mean())
    volts, row = steady.x @ network.reads.T, 0
    for device in network.ordered:
        at, row = row, row + len(device.from_)
        if device.name.startswith(lead):
            watts += float((volts[:, at:row] * steady.currents[:, at:row]).sum(-1).mean())
    return watts


def _heater_volts(option: Option, circuit: Circuit, played: Loudest) -> tuple[float, bool]:
    """Return the highest volts RMS of a heater against the amplifier's return, and whether each
    heater's two ends are at the same volts about it.
    """
    network, x = played.bias.network, played.bias.steady.x
    back = network.volts(x, option.back) if option.back in network.node_of else np.zeros(len(x))
    lead = f"{option.supply}/" if option.supply else "/"
    highest, even = 0.0, True
    for part in circuit.parts:
        tube = tube_of(part)
        if tube is None or tube.is_rectifier or part.name.startswith(lead):
            continue
        nodes = [part.node(pin) for pin in tube.pins_of("heater")]
        waves = [network.volts(x, node) - back for node in nodes if node in network.node_of]
        ends = [rms(wave - wave.mean()) for wave in waves]
        if ends:
            highest = max(highest, *ends)
            even = even and max(ends) <= EVEN_RATIO * min(ends) + EVEN_VOLTS
    return highest, even and not Facts(circuit).heaters.parts


def over_ratings(
    option: Option, circuit: Circuit, volts: float, played: Loudest
) -> tuple[RatingLimit, ...]:
    """Return what of the amplifier is over its rating at a B+, the amplifier taken by itself."""
    lead = f"{option.supply}/" if option.supply else "/"
    parts = tuple(part for part in circuit.parts if not part.name.startswith(lead))
    rectifiers = tuple(part.name for part in parts if rectifies(part))
    alone = circuit.with_parts(tuple(part for part in parts if part.name != option.isolator))
    back = option.back
    if back not in circuit.at:
        back = next(iter(sorted(Facts(circuit).common)), back)
    if not any(part.kind == "plug" for part in alone.parts):
        pins = (("line", option.rail), ("neutral", back))
        plug = Part("P1", "plug", words=("two-blade",), pins=pins)
        alone = alone.with_parts((plug, *alone.parts))
    over = ratings(AmplifierBench(alone, Feed(option.rail, back, rectifiers), volts)).over
    cold = _cold(circuit, played)
    if cold is None:
        return over
    return (*(limit for limit in over if limit.stress.key != "cold_volts"), *cold)


def _steady(network: Network, start: Floats | None) -> Floats:
    """Return the steady state on the high line, from the warm one where that leads there."""
    if start is not None:
        try:
            warm = mains_steady(network, factor=HIGH_LINE, instants=INSTANTS, start=start)
            return np.asarray(warm.x)
        except CannotSolve:
            pass  # begun from nothing below
    return np.asarray(mains_steady(network, factor=HIGH_LINE, instants=INSTANTS).x)


def _cold(circuit: Circuit, played: Loudest) -> tuple[RatingLimit, ...] | None:
    """Return the capacitors over their rating on the high line while the tubes are cold, on the
    supply as it is; None where that has no numbers.
    """
    warm = played.bias.steady.x
    try:
        network = assemble(circuit, emission=False)
        alike = network.names == played.bias.network.names
        x = _steady(network, HIGH_LINE * warm[:: max(len(warm) // INSTANTS, 1)] if alike else None)
    except CannotSolve:
        return None
    over = []
    for part, start, end in capacitors(circuit):
        limit = rating(part, "volts")
        if limit is None:
            continue
        peak = float(np.abs(network.volts(x, start) - network.volts(x, end)).max())
        if peak > limit:
            over.append(
                RatingLimit(Stress(part.name, part.kind, "cold_volts", peak, "V", limit), None)
            )
    return tuple(over)
