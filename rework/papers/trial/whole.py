"""The whole test plan of a finished set."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.papers.numbers import Side
from rework.papers.states import States
from rework.papers.trial.outlet import on_the_outlet
from rework.papers.trial.performance import performance
from rework.papers.trial.plan import PlannedTest, numbered
from rework.papers.trial.powered import amplifier, supply_alone
from rework.papers.trial.unplugged import unplugged


def trial(circuit: Circuit, known: Side, solved: States) -> tuple[PlannedTest, ...]:
    """Return the tests in their order.

    Parameters
    ----------
    circuit
        The finished set.
    known
        The figures of the finished set.
    solved
        Its states on the bench; without numbers the plan says that they are not computed.
    """
    return numbered(
        (
            *unplugged(circuit, known),
            *supply_alone(circuit, known, solved),
            *amplifier(circuit, known, solved),
            *on_the_outlet(circuit, known),
            *performance(known),
        )
    )
