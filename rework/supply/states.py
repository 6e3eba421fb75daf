"""A whole circuit with a candidate in it, in every state that is asked about, and what is read off
its steady states.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from rework.circuit.circuit import Circuit
from rework.solve.assemble import assemble
from rework.solve.chart import HIGH_LINE
from rework.solve.many import Wanted, steady_states
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.periodic import INSTANTS, Steady, mains_steady
from rework.supply.amplifier import Amplifier
from rework.supply.forms import Choice
from rework.supply.guess import start
from rework.supply.needs import Needs

LOW_LINE = 0.9
#: Instants of a period in the states that are looked at for their means and peaks; the nominal one
#: has those of ``rework volts``.
FEWER = 192


@dataclass(frozen=True, eq=False)
class States:
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

    def across(self, network: Network, steady: Steady, one: str, other: str):
        return network.volts(steady.x, one) - network.volts(steady.x, other)

    def bplus(self, network: Network, steady: Steady):
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
) -> tuple[States | CannotSolve, ...]:
    """Return every choice, with its whole circuit, in all its states, or why it has none.

    All are solved together, state by state.
    """
    import numpy as np

    networks: list[Network | CannotSolve] = []
    colds: list[Network | None] = []
    for _, whole in choices:
        try:
            networks.append(assemble(whole))
            colds.append(assemble(whole, emission=False))
        except CannotSolve as error:
            del networks[len(colds) :]
            networks.append(error)
            colds.append(None)
    alive = [number for number, network in enumerate(networks) if isinstance(network, Network)]
    found: dict[str, dict[int, Steady | CannotSolve]] = {}

    def solve(
        name: str, factor: float, networks_of: dict[int, Network], starts: dict[int, Any]
    ) -> None:
        order = sorted(starts)
        made = steady_states(
            [Wanted(networks_of[number], factor, starts[number]) for number in order]
        )
        found[name] = {
            number: _or_from_nothing(one, networks_of[number], factor, len(starts[number]))
            for number, one in zip(order, made, strict=True)
        }

    def begun(name: str) -> dict[int, Any]:
        return {number: one.x for number, one in found[name].items() if isinstance(one, Steady)}

    own = {number: networks[number] for number in alive}
    cold = {number: colds[number] for number in alive}
    solve(
        "rough",
        1.0,
        own,
        {
            number: start(
                amp, choices[number][0], needs, own[number], instants=FEWER, factor=1.0, cold=False
            )
            for number in alive
        },
    )
    at = np.arange(INSTANTS) * FEWER / INSTANTS
    solve(
        "nominal",
        1.0,
        own,
        {
            number: np.stack(
                [
                    np.interp(at, np.arange(FEWER + 1), np.append(column, column[0]))
                    for column in x.T
                ],
                1,
            )
            for number, x in begun("rough").items()
        },
    )
    near = begun("rough")
    solve("high", HIGH_LINE, own, near)
    solve("low", LOW_LINE, own, near)
    solve(
        "full", 1.0, {number: _loaded(amp, needs, network) for number, network in own.items()}, near
    )
    solve(
        "cold",
        HIGH_LINE,
        cold,
        {
            number: start(
                amp,
                choices[number][0],
                needs,
                cold[number],
                instants=FEWER,
                factor=HIGH_LINE,
                cold=True,
            )
            for number in alive
        },
    )
    made: list[States | CannotSolve] = []
    for number, (_, whole) in enumerate(choices):
        steady = (
            [
                found[name].get(number)
                for name in ("rough", "nominal", "low", "high", "full", "cold")
            ]
            if number in alive
            else [networks[number]]
        )
        wrong = next((one for one in steady if isinstance(one, CannotSolve)), None)
        made.append(
            wrong or States(amp, whole, needs, own[number], *steady[1:5], cold[number], steady[5])
        )
    return tuple(made)


def _or_from_nothing(
    one: Steady | CannotSolve, network: Network, factor: float, instants: int
) -> Steady | CannotSolve:
    """Return a steady state, one that did not settle from its start looked for again from nothing."""
    if isinstance(one, Steady):
        return one
    try:
        return mains_steady(network, factor=factor, instants=instants)
    except CannotSolve as error:
        return error


def _loaded(amp: Amplifier, needs: Needs, network: Network) -> Network:
    """Return a network with what full signal draws more than idle as a resistor from B+ to common."""
    amps = needs.full_amps - needs.idle_amps + needs.extra_amps
    if abs(amps) < 1e-6:
        return network
    a, b = (network.node_of[amp.node(port)] for port in ("bplus", "common"))
    return replace(
        network, branches=(*network.branches, Branch("full signal", "r", a, b, needs.bplus / amps))
    )


def rms(wave) -> float:
    """Return the root of the mean square of a wave."""
    return float((wave**2).mean() ** 0.5)


def line_amps(network: Network, steady: Steady) -> float:
    """Return the RMS amps from the line."""
    return rms(steady.x[:, network.rows["line"]])


def rectified(solved: States, steady: Steady) -> list[tuple[str, Any, Any]]:
    """Return name, amps and volts of every rectifier section of the supply over a period."""
    network, row, found = solved.network, 0, []
    volts = steady.x @ network.reads.T
    for device in network.ordered:
        if not solved.amp.own(device.name):
            found.append((device.name, steady.currents[:, row], volts[:, row]))
        row += device.law.controls
    return found


def delivered(solved: States) -> float:
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


def windings_of(solved: States, choice: Choice) -> list[tuple[str, float, float, float]]:
    """Return row, mean-square amps, ohms, and volt-amperes (of secondaries of T1 alone, unloaded
    volts) of every winding in use.
    """
    network, found = solved.network, []
    for name, row in network.rows.items():
        part, _, winding = name.partition(".")
        if part not in (solved.own("T1"), solved.own("T2")) or winding == "core":
            continue
        square = float((solved.nominal.x[:, row] ** 2).mean())
        item = choice.transformer if part == solved.own("T1") else choice.second
        values = {name: values for name, values in solved.whole.by_name[part].windings}[
            winding.split(".")[0]
        ]
        halves = 2 if winding.endswith((".1", ".2")) else 1
        volts = next(value.amount for value in values if value.dimension == "voltage") / halves
        power = (
            volts * square**0.5
            if item is choice.transformer and not winding.startswith("primary")
            else 0.0
        )
        found.append((name, square, -network.fixed_g[row, row], power))
    return found
