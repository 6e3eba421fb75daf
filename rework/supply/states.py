"""A whole circuit with a candidate in it, in every state that is asked about, and what is read off its steady states."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from rework.circuit.circuit import Circuit
from rework.solve.assemble import assemble
from rework.solve.chart import HIGH_LINE
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.periodic import INSTANTS, Steady, mains_steady
from rework.supply.amplifier import Amplifier
from rework.supply.forms import Choice
from rework.supply.guess import start
from rework.supply.needs import Needs

LOW_LINE = 0.9
#: Instants of a period in the states that are looked at for their means and peaks; the nominal one has those of ``rework volts``.
FEWER = 192


class States:
    """The whole circuit with a candidate in it, in every state that is asked about."""

    def __init__(self, amp: Amplifier, whole: Circuit, choice: Choice, needs: Needs) -> None:
        import numpy as np

        self.amp, self.whole, self.needs = amp, whole, needs
        self.network = assemble(whole)
        rough = self._steady(self.network, 1.0, FEWER, start(amp, choice, needs, self.network, instants=FEWER, factor=1.0, cold=False))
        at = np.arange(INSTANTS) * FEWER / INSTANTS
        fine = np.stack([np.interp(at, np.arange(FEWER + 1), np.append(column, column[0])) for column in rough.x.T], 1)
        self.nominal = self._steady(self.network, 1.0, INSTANTS, fine)
        self.high = self._steady(self.network, HIGH_LINE, FEWER, rough.x)
        self.low = self._steady(self.network, LOW_LINE, FEWER, rough.x)
        self.full = self._steady(self._loaded(needs.full_amps - needs.idle_amps + needs.extra_amps), 1.0, FEWER, rough.x)
        self.cold_network = assemble(whole, emission=False)
        self.cold = self._steady(self.cold_network, HIGH_LINE, FEWER, start(amp, choice, needs, self.cold_network, instants=FEWER, factor=HIGH_LINE, cold=True))

    def _steady(self, network: Network, factor: float, instants: int, begin: Any) -> Steady:
        """Return the steady state from ``begin``, or where that does not settle from nothing."""
        try:
            return mains_steady(network, factor=factor, instants=instants, start=begin)
        except CannotSolve:
            return mains_steady(network, factor=factor, instants=instants)

    def _loaded(self, amps: float) -> Network:
        """Return the network with what full signal draws more than idle as a resistor from B+ to common."""
        if abs(amps) < 1e-6:
            return self.network
        a, b = (self.network.node_of[self.amp.node(port)] for port in ("bplus", "common"))
        return replace(self.network, branches=(*self.network.branches, Branch("full signal", "r", a, b, self.needs.bplus / amps)))

    def across(self, network: Network, steady: Steady, one: str, other: str):
        return network.volts(steady.x, one) - network.volts(steady.x, other)

    def bplus(self, network: Network, steady: Steady):
        return self.across(network, steady, self.amp.node("bplus"), self.amp.node("common"))

    def own(self, name: str) -> str:
        """Return the supply's part of that name as the whole circuit has it."""
        return f"{self.amp.name}/{name}"

    def resistor(self, name: str) -> tuple[float, float] | None:
        """Return mean-square amps and watts of a resistor of the supply, nominal line, None where there is none."""
        for number, branch in enumerate(self.network.ohmic):
            if branch.name == self.own(name):
                volts = self.nominal.x @ self.network.ohmic_at[number]
                return float((volts**2).mean()) / branch.value**2, float((volts**2).mean()) / branch.value
        return None


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
    """Return the mean amps that leave by the umbilical at idle: what the rectifier gives less bleeder and dividers."""
    network, steady, drawn = solved.network, solved.nominal, 0.0
    at = network.node_of[solved.amp.node("bplus")]
    for number, branch in enumerate(network.ohmic):
        if at in (branch.a, branch.b) and solved.amp.own(branch.name):
            drawn += float((steady.x @ network.ohmic_at[number]).mean()) / branch.value * (1 if branch.a == at else -1)
    for name, row in network.rows.items():
        if not name.endswith(".core") and solved.amp.own(name) and name != "line" and not name.startswith("line.") and network.fixed_g[at, row]:
            drawn += float(steady.x[:, row].mean()) * network.fixed_g[at, row]
    row = 0
    for device in network.ordered:
        for end in device.from_:
            if end == at and solved.amp.own(device.name):
                drawn += float(steady.currents[:, row].mean())
            row += 1
    return drawn


def windings_of(solved: States, choice: Choice) -> list[tuple[str, float, float, float]]:
    """Return row, mean-square amps, ohms, and volt-amperes (of secondaries of T1 alone, unloaded volts) of every winding in use."""
    network, found = solved.network, []
    for name, row in network.rows.items():
        part, _, winding = name.partition(".")
        if part not in (solved.own("T1"), solved.own("T2")) or winding == "core":
            continue
        square = float((solved.nominal.x[:, row] ** 2).mean())
        item = choice.transformer if part == solved.own("T1") else choice.second
        values = {name: values for name, values in solved.whole.by_name[part].windings}[winding.split(".")[0]]
        halves = 2 if winding.endswith((".1", ".2")) else 1
        volts = next(value.amount for value in values if value.dimension == "voltage") / halves
        power = volts * square**0.5 if item is choice.transformer and not winding.startswith("primary") else 0.0
        found.append((name, square, -network.fixed_g[row, row], power))
    return found
