"""A whole circuit with a candidate in it, in every state that is asked about, and what is read off
its steady states.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rework.circuit.circuit import Circuit
from rework.solve.assemble import assemble
from rework.solve.cold import HIGH_LINE
from rework.solve.many import Wanted, steady_states
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.periodic import INSTANTS, Steady, mains_steady
from rework.supply.amplifier import Amplifier
from rework.supply.forms import Choice
from rework.supply.guess import start
from rework.supply.needs import Needs

Floats = NDArray[np.float64]
LOW_LINE = 0.9
#: Instants of a period in the states that are looked at for their means and peaks; the nominal one
#: has those of ``rework volts``.
FEWER = 192


@dataclass(frozen=True, eq=False)
class SupplyStates:
    """A whole circuit in every state: nominal, low and high line at idle, nominal at full signal,
    and the high line with cold tubes.
    """

    amp: Amplifier
    whole: Circuit
    needs: Needs
    network: Network
    nominal: Steady
    low: Steady
    high: Steady
    full: Steady
    cold_network: Network
    cold: Steady

    def across(self, network: Network, steady: Steady, start: str, end: str) -> Floats:
        """Return the volts from one node to another over a period, (instants,)."""
        return np.asarray(network.volts(steady.x, start) - network.volts(steady.x, end))

    def bplus(self, network: Network, steady: Steady) -> Floats:
        """Return B+ at the umbilical over a period, (instants,)."""
        return self.across(network, steady, self.amp.node("bplus"), self.amp.node("common"))

    def own(self, name: str) -> str:
        """Return the supply's part of that name as the whole circuit has it."""
        return f"{self.amp.name}/{name}"

    def resistor(self, name: str) -> tuple[float, float] | None:
        """Return mean-square amps and watts of a resistor of the supply, nominal line, None where
        there is none.
        """
        for number, branch in enumerate(self.network.ohmic):
            if branch.name == self.own(name):
                volts = self.nominal.x @ self.network.ohmic_at[number]
                return (
                    float((volts**2).mean()) / branch.value**2,
                    float((volts**2).mean()) / branch.value,
                )
        return None


def states_of(
    amp: Amplifier, choices: Sequence[tuple[Choice, Circuit]], needs: Needs
) -> tuple[SupplyStates | CannotSolve, ...]:
    """Return every choice, with its whole circuit, in all its states, or why it has none.

    All are solved together, state by state.
    """
    built = [_networks(whole) for _, whole in choices]
    alive = {
        number: _StackedChoice(amp, choices[number][0], needs, *pair)
        for number, pair in enumerate(built)
        if not isinstance(pair, CannotSolve)
    }
    rough = _solved(alive, "network", 1.0, {n: t.start() for n, t in alive.items()})
    begun = {n: first.x for n, first in rough.items() if isinstance(first, Steady)}
    nominal = _solved(alive, "network", 1.0, {n: _finer(x) for n, x in begun.items()})
    high = _solved(alive, "network", HIGH_LINE, begun)
    low = _solved(alive, "network", LOW_LINE, begun)
    full = _solved(alive, "loaded", 1.0, begun)
    cold_starts = {n: trial.cold_start() for n, trial in alive.items()}
    cold = _solved(alive, "cold", HIGH_LINE, cold_starts)
    states: list[SupplyStates | CannotSolve] = []
    for number, (_, whole) in enumerate(choices):
        pair = built[number]
        if isinstance(pair, CannotSolve):
            states.append(pair)
            continue
        solved = [rough[number]]
        if isinstance(rough[number], Steady):
            solved += [state[number] for state in (nominal, low, high, full, cold)]
        failed = [each for each in solved if isinstance(each, CannotSolve)]
        steady = [each for each in solved if isinstance(each, Steady)]
        network, cold_network = pair
        if failed:
            states.append(failed[0])
            continue
        _, at_nominal, at_low, at_high, at_full, when_cold = steady
        states.append(
            SupplyStates(
                amp,
                whole,
                needs,
                network,
                at_nominal,
                at_low,
                at_high,
                at_full,
                cold_network,
                when_cold,
            )
        )
    return tuple(states)


def _networks(whole: Circuit) -> tuple[Network, Network] | CannotSolve:
    """Return a whole circuit's network with warm and with cold tubes, or why it has none."""
    try:
        return assemble(whole), assemble(whole, emission=False)
    except CannotSolve as error:
        return error


@dataclass(frozen=True, eq=False)
class _StackedChoice:
    """A choice with its networks, and where their steady states are begun."""

    amp: Amplifier
    choice: Choice
    needs: Needs
    network: Network
    cold: Network

    @property
    def loaded(self) -> Network:
        """The network with what full signal draws more than idle."""
        return _loaded(self.amp, self.needs, self.network)

    def start(self) -> Floats:
        """Return unknowns (FEWER, n) near the steady state on the nominal line."""
        return start(
            self.amp, self.choice, self.needs, self.network, instants=FEWER, factor=1.0, cold=False
        )

    def cold_start(self) -> Floats:
        """Return unknowns (FEWER, n) near that on the high line with cold tubes."""
        return start(
            self.amp,
            self.choice,
            self.needs,
            self.cold,
            instants=FEWER,
            factor=HIGH_LINE,
            cold=True,
        )


def _solved(
    trials: Mapping[int, _StackedChoice], of: str, factor: float, starts: Mapping[int, Floats]
) -> dict[int, Steady | CannotSolve]:
    """Return the steady states of one network of every trial that has a start, all at once."""
    order = sorted(starts)
    networks: dict[int, Network] = {number: getattr(trials[number], of) for number in order}
    wanted = [Wanted(networks[number], factor, starts[number]) for number in order]
    return {
        number: _or_from_nothing(steady, networks[number], factor, len(starts[number]))
        for number, steady in zip(order, steady_states(wanted), strict=True)
    }


def _finer(x: Floats) -> Floats:
    """Return unknowns (FEWER, n) at INSTANTS instants of the period."""
    at = np.arange(INSTANTS) * FEWER / INSTANTS
    columns = (np.append(column, column[0]) for column in x.T)
    return np.stack([np.interp(at, np.arange(FEWER + 1), column) for column in columns], 1)


def _or_from_nothing(
    steady: Steady | CannotSolve, network: Network, factor: float, instants: int
) -> Steady | CannotSolve:
    """Return a steady state; one that did not settle from its start is begun again from nothing."""
    if isinstance(steady, Steady):
        return steady
    try:
        return mains_steady(network, factor=factor, instants=instants)
    except CannotSolve as error:
        return error


def _loaded(amp: Amplifier, needs: Needs, network: Network) -> Network:
    """Return a network with what full signal draws more than idle, as a resistor across B+."""
    amps = needs.full_amps - needs.idle_amps + needs.extra_amps
    if abs(amps) < 1e-6:
        return network
    a, b = (network.node_of[amp.node(port)] for port in ("bplus", "common"))
    return replace(
        network, branches=(*network.branches, Branch("full signal", "r", a, b, needs.bplus / amps))
    )


def rms(wave: Floats) -> float:
    """Return the root of the mean square of a wave."""
    return float((wave**2).mean() ** 0.5)


def line_amps(network: Network, steady: Steady) -> float:
    """Return the RMS amps from the line."""
    return rms(steady.x[:, network.rows["line"]])


@dataclass(frozen=True, eq=False)
class Section:
    """One rectifier section of the supply over a period: amps and volts, (instants,)."""

    name: str
    amps: Floats
    volts: Floats


def rectified(solved: SupplyStates, steady: Steady) -> list[Section]:
    """Return every rectifier section of the supply over a period."""
    network, row = solved.network, 0
    volts = steady.x @ network.reads.T
    sections = []
    for device in network.ordered:
        if not solved.amp.own(device.name):
            sections.append(Section(device.name, steady.currents[:, row], volts[:, row]))
        row += device.law.controls
    return sections


def delivered(solved: SupplyStates) -> float:
    """Return the mean amps that leave by the umbilical at idle: what the rectifier gives less
    bleeder and dividers.
    """
    network, steady, drawn = solved.network, solved.nominal, 0.0
    at = network.node_of[solved.amp.node("bplus")]
    for number, branch in enumerate(network.ohmic):
        if at in (branch.a, branch.b) and solved.amp.own(branch.name):
            drawn += (
                float((steady.x @ network.ohmic_at[number]).mean())
                / branch.value
                * (1 if branch.a == at else -1)
            )
    for name, row in network.rows.items():
        if (
            not name.endswith(".core")
            and solved.amp.own(name)
            and name != "line"
            and not name.startswith("line.")
            and network.fixed_g[at, row]
        ):
            drawn += float(steady.x[:, row].mean()) * network.fixed_g[at, row]
    row = 0
    for device in network.ordered:
        for end in device.from_:
            if end == at and solved.amp.own(device.name):
                drawn += float(steady.currents[:, row].mean())
            row += 1
    return drawn


@dataclass(frozen=True, slots=True)
class Wound:
    """One winding in use: the row of its current, the transformer and the winding, mean-square
    amps, ohms, and the volt-amperes it gives (0 for one fed by the line).
    """

    row: str
    part: str
    winding: str
    mean_square: float
    ohms: float
    volt_amps: float

    @property
    def watts(self) -> float:
        """The heat in its copper."""
        return self.mean_square * self.ohms


def windings_of(solved: SupplyStates, choice: Choice) -> list[Wound]:
    """Return every winding in use of the supply's transformers."""
    network = solved.network
    iron = {solved.own(each.part): each for each in choice.iron()}
    wounds = []
    for name, row in network.rows.items():
        part, _, winding = name.partition(".")
        if part not in iron or winding == "core":
            continue
        stem = winding.split(".")[0]
        square = float((solved.nominal.x[:, row] ** 2).mean())
        values = dict(solved.whole.by_name[part].windings)[stem]
        halves = 2 if winding.endswith((".1", ".2")) else 1
        volts = next(value.amount for value in values if value.dimension == "voltage") / halves
        feeds = not stem.startswith("primary") and not iron[part].reversed
        power = volts * square**0.5 if feeds else 0.0
        ohms = -float(network.fixed_g[row, row])
        wounds.append(Wound(name, iron[part].part, stem, square, ohms, power))
    return wounds
