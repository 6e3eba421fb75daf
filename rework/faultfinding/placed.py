"""Whether everything that a job says of the bench is about something its set has."""

from __future__ import annotations

from collections.abc import Iterator

from rework.circuit.circuit import Circuit
from rework.circuit.place import Place, Problem
from rework.faultfinding.points import probe
from rework.faultfinding.signs import FUSE
from rework.language.bench import BenchState, Noticed, Reading
from rework.language.mistakes import nearest
from rework.rules.run import JobRun


def side_read(run: JobRun) -> str:
    """Return which set the last reading or sign of a job is of; the finished one where there is
    none.
    """
    bench = run.job.bench
    said: list[Reading | Noticed] = [*bench.readings, *bench.noticed]
    last = max(said, key=lambda one: one.place.line, default=None)
    return last.state.side if last is not None else "after"


def problems(run: JobRun) -> tuple[Problem, ...]:
    """Return an error for every reading, sign or proof at a point that its set does not have."""
    return tuple(_misplaced(run))


def _misplaced(run: JobRun) -> Iterator[Problem]:
    bench = run.job.bench
    circuits = {"before": run.before, "after": run.after}
    for reading in bench.readings:
        circuit = circuits[reading.state.side]
        for text in filter(None, (reading.at, reading.to)):
            if probe(circuit, text) is None and circuit.part(text) is None:
                yield _nowhere(circuit, text, reading.place, reading.state, f"reading {reading.at}")
    for sign in bench.noticed:
        circuit = circuits[sign.state.side]
        if sign.part not in ("", FUSE) and circuit.part(sign.part) is None:
            yield _nowhere(circuit, sign.part, sign.place, sign.state, f"noticed {sign.part}")
    for word, named in (("proved", bench.proved), ("repaired", bench.repaired)):
        for text, place in named:
            if not any(c.part(text) or probe(c, text) for c in circuits.values()):
                yield _nowhere(run.after, text, place, BenchState(), f"{word} {text}")


def _nowhere(circuit: Circuit, text: str, place: Place, state: BenchState, line: str) -> Problem:
    name, _, pin = text.rpartition(".")
    near = nearest(name or text, [*circuit.by_name, *circuit.at])
    part = circuit.part(name)
    if part is not None:
        pins = ", ".join(terminal for terminal, _ in part.pins)
        return Problem(
            f"{name} has no pin {pin} with anything on it",
            place,
            line,
            f"one of {pins}",
        )
    return Problem(
        f"the set {state.side} its job has nothing called {text}",
        place,
        line,
        "a point, or a part and its pin such as V3.plate",
        f"did you mean {near}{'.' + pin if name and near in circuit.by_name else ''}?"
        if near
        else "",
    )
