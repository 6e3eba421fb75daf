"""Which motions of an amplifier grow, which of them are meant to, and what tames the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rework.circuit.circuit import Circuit
from rework.solve.bias import Bias
from rework.solve.feedback import Loop, loops
from rework.solve.linear import linearised
from rework.solve.network import Network
from rework.solve.oscillation import Swing, swing
from rework.solve.periodic import mains_steady
from rework.solve.places import SignalPath
from rework.solve.remedies import StabilityRemedy, remedies
from rework.solve.stability import Mode, growing, modes

#: Words in the remark of a tube that is meant to oscillate.
MEANT = ("oscillator", "tremolo", "vibrato")


@dataclass(frozen=True, slots=True, eq=False)
class Motions:
    """The motions that grow, those that are meant to, what the worst comes to and what tames it;
    ``others`` are all but the meant, ``quiet`` is the operating point with the first remedy in.
    """

    grows: tuple[Mode, ...]
    meant: tuple[Mode, ...]
    others: tuple[Mode, ...]
    feedback: tuple[Loop, ...]
    swing: Swing | None
    remedies: tuple[StabilityRemedy, ...]
    quiet: Bias


def motions_of(circuit: Circuit, loud: Bias, path: SignalPath) -> Motions:
    """Return the outcome of the natural motions of a circuit at ``loud``."""
    natural = modes(linearised(loud))
    feedback, others = loops(loud, path), unmeant(circuit, loud.network, natural)
    meant = growing([mode for mode in natural if mode not in others])
    bad = growing(others)
    tamed = remedies(loud, path) if bad or any(loop.is_reversed for loop in feedback) else ()
    return Motions(
        bad,
        meant,
        others,
        feedback,
        swing(loud, bad[0].node, bad[0].rate) if bad else None,
        tuple(remedy for remedy, _ in tamed),
        _quiet(tamed[0][1]) if bad and tamed else loud,
    )


def unmeant(circuit: Circuit, network: Network, natural: Sequence[Mode]) -> tuple[Mode, ...]:
    """Return the motions of a circuit without those that grow and are meant to: at a tube that the
    file marks as an oscillator.
    """
    return tuple(
        mode for mode in natural if not mode.grows or not _is_meant(circuit, network, mode)
    )


def _quiet(cured: Bias) -> Bias:
    """Return a changed circuit with its own steady state on the line."""
    return replace(cured, steady=mains_steady(cured.network))


def _is_meant(circuit: Circuit, network: Network, mode: Mode) -> bool:
    """Return whether a motion is strongest at a tube whose remark says that it oscillates."""
    return any(
        network.names[network.node_of[node]] == mode.node
        for part in circuit.parts
        if part.kind == "tube" and any(word in part.remark.lower() for word in MEANT)
        for _, node in part.pins
        if network.node_of[node] >= 0
    )
