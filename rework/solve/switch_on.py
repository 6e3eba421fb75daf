"""From the switch: B+ rising out of empty capacitors with the tubes cold, its peak, and the rush of
current into cold heaters and empty capacitors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.solve.arrays import Floats
from rework.solve.assemble import assemble
from rework.solve.devices import DeviceLaw, Rectifier
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.tube_stamps import COLD_RATIO
from rework.tubes import library

#: Steps in a period, and the most periods that are followed; an instant is solved when no
#: controlling voltage moves by more in a step, volts.
STEPS, PERIODS, ENOUGH = 64, 24, 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Rise:
    """The unknowns ``x`` (instants, n) at ``seconds`` after the switch, and the ``laws`` they were
    solved with.
    """

    network: Network
    seconds: Floats
    x: Floats
    laws: tuple[DeviceLaw, ...]

    def peak(self, node: str, other: str) -> float:
        """Return the most volts there were between two nodes."""
        return float(np.abs(self.network.between(self.x, node, other)).max())


def rise(
    circuit: Circuit, *, factor: float = 1.0, periods: int = PERIODS, start: float = 0.0
) -> Rise:
    """Return B+ from the switch: rectifiers at work at once, other tubes cold, the line ``factor``
    times its volts, from ``start`` of a period after its zero.

    Second-order backward differences. A rectifier that must warm up first is slower and stays under
    this. Raises CannotSolve where a step does not settle.
    """
    network = assemble(circuit, emission=False)
    return _risen(network, factor=factor, periods=periods, starts=(start,))[0]


def _risen(
    network: Network, *, factor: float, periods: int, starts: Sequence[float]
) -> tuple[Rise, ...]:
    """Return the rises of a network from the switch, all its volts nothing at first, one for each
    of the ``starts``; solved side by side.
    """
    if not network.hertz:
        raise CannotSolve(
            Problem(
                "the line is direct current, so there is no switch-on to follow",
                hint="state the line's hertz",
            )
        )
    dt = 1 / network.hertz / STEPS
    c = network.c / dt
    x = np.zeros((periods * STEPS + 1, len(starts), network.n))
    laws = tuple(
        law.softer(0.3) if isinstance(law, Rectifier) else law
        for law in (device.law for device in network.ordered)
    )
    angles = 2 * np.pi * np.add.outer(np.arange(len(x)) / STEPS, starts)
    line = factor * network.volts_peak * np.sin(angles)
    into = np.zeros(network.n)
    into[list(network.sources)] = 1.0
    first = _Instant(network, network.g + c, laws)
    others = _Instant(network, network.g + 1.5 * c, laws)
    for k in range(1, len(x)):
        past = 2 * x[k - 1] - 0.5 * x[k - 2] if k > 1 else x[0]
        known = line[k][:, None] * into + past @ c.T
        x[k] = (others if k > 1 else first).solved(known, _ahead(x, k), k * dt)
    seconds = dt * np.arange(len(x), dtype=np.float64)
    return tuple(Rise(network, seconds, x[:, number], laws) for number in range(len(starts)))


def _ahead(x: Floats, k: int) -> Floats:
    """Return where the unknowns are at instant ``k`` if they go on as they went: on a parabola."""
    ahead: Floats = x[k - 1]
    return ahead if k < 3 else 3 * ahead - 3 * x[k - 2] + x[k - 3]


class _Instant:
    """The equations of one instant, where storage and conductances together are ``fixed`` (n, n):
    solved at the ports of the devices alone, by Newton (Woodbury, Memorandum 42, Statistical
    Research Group, Princeton, 1950).
    """

    def __init__(self, network: Network, fixed: Floats, laws: Sequence[DeviceLaw]) -> None:
        self.network, self.runs = network, network.runs(laws)
        reads = network.reads
        #: The slopes that the devices have without volts are part of the matrix, so that it has an
        #: inverse where they alone hold a node.
        self.held = network.device_currents(np.zeros(network.n), laws=laws)[1]
        inverse = np.linalg.inv(fixed + reads.T @ self.held @ reads)
        self.inverse, self.ports = inverse.T.copy(), (inverse @ reads.T).T.copy()
        self.sees: Floats = reads @ inverse @ reads.T

    def solved(self, known: Floats, start: Floats, seconds: float) -> Floats:
        """Return the unknowns (rises, n) under the right-hand sides ``known``, looked for from
        ``start``, ``seconds`` after the switch. Raises CannotSolve where they do not settle.
        """
        network, one = self.network, np.eye(len(self.sees))
        free = known @ self.inverse
        without, volts = free @ network.reads.T, start @ network.reads.T
        step: Floats = np.zeros_like(volts)
        for count in range(100):
            out, entries = network.entries_at(volts, self.runs)
            slopes = network.squares(entries) - self.held
            excess = volts + (out - volts @ self.held.T) @ self.sees.T - without
            solved = np.linalg.solve(one + self.sees @ slopes, excess[..., None])
            step = solved[..., 0].astype(np.float64, copy=False)
            moved = float(np.abs(step).max(initial=0.0))
            volts = volts - step * (1.0 if count < 12 or moved < 1 else 0.5)
            if moved < ENOUGH:
                # What the last step makes of the currents, by their slopes.
                amps = out - (volts + step) @ self.held.T - (slopes @ step[..., None])[..., 0]
                return free - amps @ self.ports
        moving = np.abs(step @ network.reads).max(0)
        raise CannotSolve(
            Problem(
                f"switch-on does not settle {seconds * 1e3:.1f} ms after the switch; node"
                f" {network.names[int(moving.argmax())]} keeps moving",
                hint="look at the values of the parts there",
            )
        )


def inrush(circuit: Circuit) -> dict[tuple[str, str], float]:
    """Return the peak amps through each rectifier section (name, unit) when the switch closes at a
    peak of the line, either one, the capacitors empty and the rectifier hot or solid: off and on
    again. Empty where a step does not settle, or on direct current.
    """
    most: dict[tuple[str, str], float] = {}
    try:
        network = assemble(circuit, emission=False)
        for first in _risen(network, factor=1.0, periods=1, starts=(0.25, 0.75)):
            currents, _ = network.device_entries(first.x, laws=first.laws)
            for device, row in zip(network.ordered, network.starts, strict=True):
                if isinstance(device.law, Rectifier):
                    peak = float(currents[:, row].max())
                    most[device.key] = max(most.get(device.key, 0.0), peak)
    except CannotSolve:
        return {}
    return most


@dataclass(frozen=True, slots=True)
class Rush:
    """Current from the line at the switch: RMS amps over the first period, and the peak."""

    rms_amps: float
    peak_amps: float


def rush(circuit: Circuit) -> Rush:
    """Return the current from the line at the switch, every load counted: heaters and thermistors
    cold, capacitors empty, solid rectifiers and directly heated tubes at work, other tubes not.

    The switch closes at a peak of the line, either one. A heater is a seventh of its hot resistance
    cold (republished; another source says a quarter, so this errs high). On direct current, and
    where a step does not settle, only the heaters count.
    """
    network = cold_network(circuit)
    line = network.rows["line"]
    worst = Rush(_resistive(network), 0.0)
    try:
        starts = (0.25, 0.75) if network.hertz else ()
        for first in _risen(network, factor=1.0, periods=1, starts=starts) if starts else ():
            amps = first.x[1:, line]
            rms, peak = float((amps**2).mean() ** 0.5), float(np.abs(amps).max())
            worst = Rush(max(worst.rms_amps, rms), max(worst.peak_amps, peak))
    except CannotSolve:
        pass
    return worst if worst.peak_amps else replace(worst, peak_amps=worst.rms_amps * 2**0.5)


def heater_rush(circuit: Circuit) -> float:
    """Return the RMS amps from the line at the switch, every heater and thermistor cold and no
    rectifier yet at work.
    """
    return _resistive(cold_network(circuit))


def cold_network(circuit: Circuit) -> Network:
    """Return the circuit as the switch meets it: heaters and thermistors cold, and of the tubes
    only directly heated rectifiers at work.
    """
    tubes = {part.name: library.find(part.type) for part in circuit.parts if part.kind == "tube"}
    slow = {name for name, tube in tubes.items() if tube is None or not tube.heater.directly_heated}
    network = assemble(circuit, emission=False, cold=slow)

    def cooled(branch: Branch) -> Branch:
        part = circuit.by_name.get(branch.name.rpartition(".")[0] or branch.name)
        if part is not None and part.kind == "tube":
            return replace(branch, value=branch.value / COLD_RATIO)
        if part is not None and part.kind == "thermistor":
            ohms = part.value("resistance", role="cold") or branch.value
            return replace(branch, value=ohms)
        return branch

    return replace(network, branches=tuple(map(cooled, network.branches)))


def _resistive(network: Network) -> float:
    """Return the RMS amps from the line with nothing rectified."""
    source = np.zeros(network.n, complex)
    source[list(network.sources)] = network.volts_peak / (2**0.5 if network.hertz else 1)
    matrix = network.g + 2j * np.pi * network.hertz * network.c + 1e-12 * np.eye(network.n)
    return float(abs(np.linalg.solve(matrix, source)[network.rows["line"]]))
