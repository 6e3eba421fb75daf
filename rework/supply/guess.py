"""Where a steady state is begun: a rectifier's volts as they very nearly are, so that Newton ends
in a few steps instead of fifty.

Only the volts that a law depends on matter, those of tubes and rectifiers: the rest is linear and
right after one step.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from rework.solve.assemble import assemble
from rework.solve.network import Network
from rework.solve.newton import operating_point
from rework.supply.amplifier import STIFF, Amplifier
from rework.supply.forms import Choice, fed_volts, silicon_volts
from rework.supply.needs import Needs

Floats = NDArray[np.float64]
#: What a capacitor input is taken to give of the peak under load and without, and a choke input of
#: the RMS volts.
LOADED, UNLOADED, CHOKED = 0.85, 0.99, 0.88
#: Volts that a conducting tube is taken to drop.
TUBE_DROP = 20.0


def start(
    amp: Amplifier,
    choice: Choice,
    needs: Needs,
    network: Network,
    *,
    instants: int,
    factor: float,
    cold: bool,
) -> Floats:
    """Return unknowns (instants, n) to begin the steady state of a whole circuit from, the line
    ``factor`` times its volts.
    """
    peak = sqrt(2) * fed_volts(choice, needs.mains.volts) * factor
    ohms = choice.path_ohms
    amps = 0.0 if cold else needs.idle_amps
    held = (
        peak * UNLOADED
        if cold
        else peak / sqrt(2) * CHOKED
        if choice.filter == "L-C"
        else peak * LOADED
    )
    bplus = max(held - amps * ohms, 1.0)
    x = np.zeros((instants, network.n))
    resting = _resting(amp, bplus, cold)
    common = resting[amp.node("common")]

    def put(node: str, volts: float | Floats) -> None:
        at = network.node_of.get(node, -1)
        if at >= 0:
            x[:, at] = volts

    for node, volts in resting.items():
        if amp.own(node):
            put(node, volts)
    wave = peak * np.sin(2 * np.pi * np.arange(instants) / instants)
    choked = choice.filter == "L-C" and not cold
    first = np.abs(wave) - TUBE_DROP if choked else np.full(instants, held)
    for node in ("BP", "BO"):
        put(f"{amp.name}/{node}", common + bplus)
    for node in ("BR", "BS"):
        put(f"{amp.name}/{node}", common + first)
    if choice.filter == "C":
        first = np.full(instants, bplus)
    drop = TUBE_DROP if choice.rectifier == "tube" else silicon_volts(choice.rectifier)
    for node, end in zip(("HV1", "HV2"), _ends(choice, first, wave, drop), strict=True):
        put(f"{amp.name}/{node}", common + end)
    return x


def _ends(choice: Choice, first: Floats, wave: Floats, drop: float) -> tuple[Floats, Floats]:
    """Return the volts of the two ends of the winding: the first capacitor's ``first`` holds an end
    that conducts a drop above it.
    """
    top = first + drop
    if choice.rectifier == "bridge":
        halves = (first + wave) / 2, (first - wave) / 2
        return (
            np.clip(halves[0], -drop / 2, first + drop / 2),
            np.clip(halves[1], -drop / 2, first + drop / 2),
        )
    return np.minimum(wave, top), np.minimum(-wave, top)


def _resting(amp: Amplifier, bplus: float, cold: bool) -> dict[str, float]:
    """Return the volts of every node of the amplifier on direct B+."""
    network = assemble(amp.stand_in, emission=not cold, cold=())
    into = np.zeros(network.n)
    for port, sign in (("bplus", 1.0), ("common", -1.0)):
        at = network.node_of[amp.node(port)]
        if at >= 0:
            into[at] += sign
    x = operating_point(network, bplus / STIFF * into).x[0]
    return {node: float(network.volts(x, node)) for node in network.node_of}
