"""What the sums say of a job, before and after: run once, used by every paper.

What could not be computed keeps its reason.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from rework.circuit.circuit import Circuit
from rework.language.bench import Voltmeter
from rework.papers.states import NO_STATES, States, states
from rework.report.figures import NOT_COMPUTED
from rework.rules.run import JobRun
from rework.solve.chart import Chart
from rework.solve.ohms import OhmsReading
from rework.solve.signal import Signal
from rework.touch.outcomes import FaultReport
from rework.touch.stored import AfterUnplugging
from rework.touch.touch import TouchReport

#: Draws for the bands on paper; the command volts takes more.
SAMPLES = 400
#: The solvers keep dense matrices: a circuit of more parts is left to their own commands.
MOST_PARTS = 160


@dataclass(frozen=True, slots=True)
class Side:
    """The numbers of one circuit; None where there are none, and ``why`` then says the reason in a
    sentence, by name.
    """

    chart: Chart | None = None
    ohms: tuple[OhmsReading, ...] | None = None
    signal: Signal | None = None
    touch: TouchReport | None = None
    faults: FaultReport | None = None
    stored: AfterUnplugging | None = None
    why: tuple[tuple[str, str], ...] = ()

    def reason(self, name: str) -> str:
        """Return why ``name`` has no numbers, as a sentence that begins with "Not computed"."""
        reason = dict(self.why).get(name, "")
        return (
            f"{NOT_COMPUTED.capitalize()}: {reason}." if reason else f"{NOT_COMPUTED.capitalize()}."
        )


@dataclass(frozen=True, slots=True)
class Numbers:
    """The numbers of a job before and after; ``bench`` is the finished set in the states of the
    test plan.
    """

    before: Side = Side()
    after: Side = Side()
    bench: States = NO_STATES


#: How many sums ``numbers`` does; it calls ``step`` after each.
SUMS = 13


def numbers(run: JobRun, step: Callable[[int], None] | None = None) -> Numbers:
    """Return every number the papers want of a job that was run to its end."""
    done = step or (lambda _: None)
    meter = run.job.bench.meter
    before, after = _side(run.before, meter, done), _side(run.after, meter, done)
    bench = states(run.after, after.chart)
    done(1)
    return Numbers(before, after, bench)


def _side(circuit: Circuit, meter: Voltmeter, step: Callable[[int], None]) -> Side:
    from rework.solve.charged import charged
    from rework.solve.chart import volts
    from rework.solve.network import CannotSolve
    from rework.solve.ohms import ohms
    from rework.solve.signal import signal
    from rework.touch.faults import faults
    from rework.touch.stored import after_unplugging
    from rework.touch.touch import touch

    results: dict[str, Any] = {}
    why: list[tuple[str, str]] = []
    sums: dict[str, Callable[[Circuit], Any]] = {
        "chart": lambda circuit: volts(circuit, samples=SAMPLES, meter=meter),
        "ohms": ohms,
        "signal": signal,
        "touch": touch,
        "faults": faults,
        # From the volts of the chart, so that both papers print the same.
        "stored": lambda state: after_unplugging(
            state, volts=charged(results["chart"].capacitors) if "chart" in results else None
        ),
    }
    for name, of in sums.items():
        if len(circuit.parts) > MOST_PARTS:
            why.append(
                (
                    name,
                    (
                        f"the circuit has {len(circuit.parts):,} parts, more than the {MOST_PARTS}"
                        " that are computed for paper"
                    ),
                )
            )
        else:
            try:
                results[name] = of(circuit)
            except CannotSolve as error:
                why.append((name, str(error)))
        step(1)
    return replace(Side(why=tuple(why)), **results)
