"""The voltage chart: every pin and node with its band, currents, dissipation and volts against
rating, the supply, corners, and what is over.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.language.bench import Voltmeter
from rework.solve.assemble import assemble
from rework.solve.bias import Bias, bias, refined
from rework.solve.cold import Cold, cold_states
from rework.solve.corners import Corner, corners
from rework.solve.meter import DIGITAL, loaded
from rework.solve.over import PRIMARY, stresses
from rework.solve.part_tables import part_tables
from rework.solve.positions import Position, positions
from rework.solve.seen import outside_seen
from rework.solve.spread import Spread, spread
from rework.solve.stress import Stress
from rework.solve.switch_on import rush
from rework.solve.tables import (
    CapacitorRow,
    HeaterRow,
    NodeRow,
    PartRow,
    PinRow,
    RectifierRow,
    SupplyRow,
    TubeRow,
    WindingRow,
    node_rows,
    pin_rows,
    supply_rows,
    tube_rows,
)

#: What is noted where the circuit with its tubes cold does not settle: the volts at switch-on are
#: then no more than an estimate.
NO_COLD = (
    "with its tubes cold the circuit did not settle, so the volts of capacitors at switch-on are"
    " given as their volts in use and a tenth more. Without load B+ is higher: measure it with the"
    " tubes out"
)


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything ``rework volts`` says of one circuit.

    ``stresses`` hold every part against its ratings, ``warnings`` are sentences on what looks wrong
    in the netlist, ``notes`` on what was assumed. ``line_watts`` and ``line_amps`` (RMS) from the
    line; ``rush_amps`` (RMS over the first period) and ``rush_peak_amps`` at the switch, heaters
    cold and capacitors empty. ``positions`` is where controls and switches stand.
    """

    title: str
    common: str
    chassis: str
    nodes: tuple[NodeRow, ...]
    supply: tuple[SupplyRow, ...]
    pins: tuple[PinRow, ...]
    tubes: tuple[TubeRow, ...]
    heaters: tuple[HeaterRow, ...]
    resistors: tuple[PartRow, ...]
    capacitors: tuple[CapacitorRow, ...]
    rectifiers: tuple[RectifierRow, ...]
    windings: tuple[WindingRow, ...]
    corners: tuple[Corner, ...]
    stresses: tuple[Stress, ...]
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    line_watts: float
    line_amps: float
    rush_amps: float
    rush_peak_amps: float
    balance: float
    residual: float
    samples: int
    failed: int
    meter: str = DIGITAL.words
    positions: tuple[Position, ...] = ()

    @property
    def flagged(self) -> tuple[Stress, ...]:
        """The stresses that are over their rating, or close to it; a capacitor that is over in use
        is not listed at switch-on too.
        """
        flagged = [stress for stress in self.stresses if stress.verdict]
        in_use = {stress.part for stress in flagged if stress.key == "volts"}
        return tuple(
            stress
            for stress in flagged
            if not (stress.key == "cold_volts" and stress.part in in_use)
        )

    @property
    def without_rating(self) -> tuple[Stress, ...]:
        """The stresses that no rating is there for: none of these parts can be found over it. The
        primary of a transformer that has a rating in volt-amperes is held to that.
        """
        held = {s.part for s in self.stresses if s.key == "volt_amperes" and s.rating is not None}
        return tuple(
            stress
            for stress in self.stresses
            if stress.rating is None
            and stress.is_main
            and not (stress.part in held and stress.of.startswith(PRIMARY))
        )


def volts(
    circuit: Circuit,
    *,
    samples: int = 1000,
    seed: int = 1,
    step: Callable[[int], None] | None = None,
    meter: Voltmeter = DIGITAL,
) -> Chart:
    """Return the voltage chart of a circuit as ``meter`` shows it, with bands from ``samples``
    draws.

    Raises CannotSolve where it has no numbers.

    ``step`` is called with the number of draws after every stack of them.
    """
    network = assemble(circuit)
    rest = bias(network)
    drawn = spread(rest, samples, seed=seed, step=step)
    cold = cold_states(circuit, rest.steady.x[::2])
    return _chart(circuit, rest, drawn, cold, meter)


def _pulled(nodes: Sequence[NodeRow], meter: Voltmeter) -> tuple[str, ...]:
    """Return a sentence on every node that the meter pulls down."""
    return tuple(
        f"{row.node}: a {meter.words} meter changes what it measures; it shows"
        f" {row.volts:.3g} V, and without it there are {row.without_meter:.3g} V"
        for row in nodes
        if row.without_meter is not None and "." not in row.node
    )


def _line_amps(rest: Bias) -> float:
    """Return the RMS current from the line, 0 where none is drawn."""
    row = rest.network.rows.get("line")
    return float((rest.steady.x[:, row] ** 2).mean() ** 0.5) if row is not None else 0.0


def _chart(
    circuit: Circuit, rest: Bias, drawn: Spread, cold: Cold | None, meter: Voltmeter
) -> Chart:
    network, steady = rest.network, rest.steady
    at_switch = rush(circuit)
    chassis = next((p.pins[0][1] for p in circuit.parts if p.kind == "chassis" and p.pins), "")
    nodes = node_rows(rest, drawn, chassis, loaded(rest, drawn, meter))
    supply = supply_rows(circuit, network, nodes, cold)
    limits = corners(rest, tuple(row.node for row in supply))
    tubes = tube_rows(circuit, rest, drawn)
    fine = refined(rest)
    parts = part_tables(circuit, fine, cold)
    return Chart(
        title=circuit.title,
        common=network.reference,
        chassis=chassis,
        nodes=nodes,
        supply=supply,
        pins=pin_rows(circuit, nodes),
        tubes=tubes,
        heaters=parts.heaters,
        resistors=parts.resistors,
        capacitors=parts.capacitors,
        rectifiers=parts.rectifiers,
        windings=parts.windings,
        corners=limits,
        stresses=stresses(circuit, fine, tubes=tubes, corners=limits, parts=parts),
        warnings=network.warnings,
        notes=(
            *network.notes,
            *outside_seen(circuit, fine),
            *(() if cold else (NO_COLD,)),
            *_pulled(nodes, meter),
        ),
        line_watts=steady.watts_in,
        line_amps=_line_amps(fine),
        rush_amps=at_switch.rms_amps,
        rush_peak_amps=at_switch.peak_amps,
        balance=steady.balance,
        residual=steady.residual,
        samples=len(drawn.converged),
        failed=int((~drawn.converged).sum()),
        meter=meter.words,
        positions=positions(circuit),
    )
