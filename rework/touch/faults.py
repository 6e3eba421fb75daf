"""Every single fault in every state, from one factorisation a state.

The faults are changes of low rank (see ``updates``), put in on top of every combination of what
varies part by part. ``verdicts`` keeps the worst of each, ``turning`` brings it to the worst corner
of tolerances, ``fault_report`` reports it.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.touch.direct import Direct
from rework.touch.effects import Effects, Probe
from rework.touch.failures import single_faults
from rework.touch.fault_report import report, ruling
from rework.touch.outcomes import FaultReport, Rank
from rework.touch.person import Limit, MeasuringNetwork, assumed, limit, networks
from rework.touch.study import FEEDS, Study
from rework.touch.turning import turn
from rework.touch.verdicts import Judge

#: Up to so many combinations of what varies part by part all are tried under every fault; beyond
#: it, each alone.
MOST_COMBINATIONS = 32
#: Figures worked out at a time.
MOST_FIGURES = 600_000


def faults(
    circuit: Circuit,
    *,
    network: str = "iec",
    limit_name: str = "0.5",
    open_conductors: bool = False,
    changes: tuple[tuple[str, float], ...] = (),
    held: Collection[str] = (),
    step: Callable[[float], None] | None = None,
) -> FaultReport:
    """Return every single fault of a circuit in every way round of the plug, switch position and
    condition of the parts.

    ``open_conductors`` also tries each fault while the neutral, the earth or both are open, which
    is a second fault. ``step`` is called with the share of the work done since the last call.
    Other arguments as for ``touch``.
    """
    study = Study(
        circuit,
        assumed(changes),
        open_conductors=open_conductors,
        umbilicals=False,
        held=held,
    )
    judge = _judged(study, networks()[network], limit(limit_name), step)
    turn(judge)
    return report(judge)


@dataclass(frozen=True, slots=True)
class FaultCount:
    """How many single faults of a set were tried, leave more than the limit, and are not known."""

    tried: int
    over: int
    unknown: int


def fault_count(circuit: Circuit, held: Collection[str] = ()) -> FaultCount:
    """Return how many of the ``faults`` of a circuit have which verdict; ``held`` as there."""
    study = Study(circuit, assumed(), open_conductors=False, umbilicals=False, held=held)
    judge = _judged(study, networks()["iec"], limit("0.5"), figures=False)
    turn(judge, figures=False)
    verdicts = [
        ruling(judge, number).verdict
        for number, fault in enumerate(judge.every if judge.rows else ())
        if fault.kind != "outlet"
    ]
    return FaultCount(len(verdicts), verdicts.count("over"), verdicts.count("not known"))


def shocking_nodes(circuit: Circuit, held: Collection[str] = ()) -> frozenset[str]:
    """Return the nodes within reach at which any of the ``faults`` of a circuit leaves more direct
    current than the limit; ``held`` as there.
    """
    study = Study(circuit, assumed(), open_conductors=False, umbilicals=False, held=held)
    judge = _judged(study, networks()["iec"], limit("0.5"), figures=False)
    turn(judge, figures=False)
    over = [
        judge.direct.rank[number] == Rank.OVER
        for number, fault in enumerate(judge.every if judge.rows else ())
        if fault.kind != "outlet"
    ]
    return frozenset(
        node
        for place, port in enumerate(judge.probe.ports)
        if any(ranks[place] for ranks in over)
        for node in (port.node, port.other)
    )


def _judged(
    study: Study,
    person: MeasuringNetwork,
    least: Limit,
    step: Callable[[float], None] | None = None,
    *,
    figures: bool = True,
) -> Judge:
    """Return the judge who has seen every fault in every state; ``figures`` as there."""
    whole, every = Probe(study), single_faults(study)
    # Bare contacts are within reach under one fault each, and they are many.
    probe = Probe(study, [port for port in whole.ports if not port.pulled] or whole.ports)
    combos = study.combinations(MOST_COMBINATIONS, study.but_insulation)
    judge = Judge(whole, person, least, every, combos, figures=figures)
    if probe.ports and every:
        pulled = [number for number, fault in enumerate(every) if fault.kind == "umbilical"]
        each = {
            rank: [
                number
                for number, fault in enumerate(every)
                if fault.changes == rank and number not in pulled
            ]
            for rank in (0, 1)
        }
        many = [number for number, fault in enumerate(every) if fault.changes > 1]
        steady = Direct(study) if study.rectifiers else None
        count = len(combos) * len(every) * (len(probe.patterns) + len(FEEDS))
        for rows, admittance, solved in study.blocks(each=count // 4):
            effects = Effects(probe, every, rows, admittance, solved, combos, steady)
            judge.healthy(rows, effects)
            of_fault = len(rows) * len(combos) * len(FEEDS) * len(probe.seen_ports)
            size = max(1, MOST_FIGURES // of_fault)
            for numbers in each.values():
                for start in range(0, len(numbers), size):
                    judge.weigh(
                        rows, effects, numbers[start : start + size], numbers[start : start + size]
                    )
            for number in set(pulled) - set(many):
                fault = every[number]
                effect = Effects(whole, [fault], rows, admittance, solved, combos, steady)
                judge.weigh(rows, effect, [number], [0])
            for number in many:
                judge.weigh(
                    rows,
                    Effects.alone(whole, every[number], rows, admittance, combos, steady),
                    [number],
                    [0],
                )
            if step:
                step(len(rows) / len(study.rows))
    return judge
