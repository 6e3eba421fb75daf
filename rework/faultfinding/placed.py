"""Whether everything that a job says of the bench is about something its set has."""

from __future__ import annotations

from collections.abc import Iterator

from rework.circuit.circuit import Circuit
from rework.circuit.kinds import Law
from rework.circuit.parts import Part
from rework.circuit.place import Place, Problem
from rework.faultfinding import points
from rework.faultfinding.points import across, probe
from rework.faultfinding.signs import FUSE
from rework.language.bench import BenchState, Noticed, Quantity, Reading
from rework.language.mistakes import a_or_an, nearest
from rework.language.symptoms import Symptom
from rework.rules.run import JobRun
from rework.solve.network import CannotSolve
from rework.solve.places import path_of


def side_read(run: JobRun) -> str:
    """Return which set the last reading, sign or state of a job is of; the finished one where there
    is none.
    """
    bench = run.job.bench
    said = [(reading.place.line, reading.state.side) for reading in bench.readings]
    said += [(sign.place.line, sign.state.side) for sign in bench.noticed]
    said += [(place.line, state.side) for state, place in bench.states]
    return max(said, default=(0, "after"))[1]


def problems(run: JobRun) -> tuple[Problem, ...]:
    """Return an error for every reading, sign or proof at a point that its set does not have."""
    return tuple(dict.fromkeys(_misplaced(run)))


def _misplaced(run: JobRun) -> Iterator[Problem]:
    bench = run.job.bench
    circuits = {"before": run.before, "after": run.after}
    for state, place in bench.states:
        yield from _state(circuits[state.side], state, place)
    for reading in bench.readings:
        yield from _reading(circuits[reading.state.side], reading)
    for sign in bench.noticed:
        yield from _noticed(circuits[sign.state.side], sign)
    for word, named in (("proved", bench.proved), ("repaired", bench.repaired)):
        for text, place in named:
            if not any(c.part(text) or probe(c, text) for c in circuits.values()):
                yield _nowhere(run.after, text, place, BenchState(), f"{word} {text}")


def _reading(circuit: Circuit, reading: Reading) -> Iterator[Problem]:
    line = f"reading {reading.at}"
    if reading.of is Quantity.AMPS:
        yield from _current(circuit, reading, line)
        return
    if reading.to or across(circuit, reading.at) is None:
        for text in filter(None, (reading.at, reading.to)):
            if probe(circuit, text) is None:
                yield _nowhere(circuit, text, reading.place, reading.state, line)
    if reading.of is Quantity.SIGNAL and not _has_input(circuit):
        yield Problem(
            "the set has no jack that a generator could go to, or no speaker",
            reading.place,
            line,
            "a set with a signal path; or AC alone for what is there without a generator",
        )


def _current(circuit: Circuit, reading: Reading, line: str) -> Iterator[Problem]:
    """Yield an error for amps that are not in the lead of a part, or of one whose current is not
    computed.
    """
    part = circuit.part(reading.at) or circuit.part(reading.at.rpartition(".")[0])
    if part is None and circuit.node_named(reading.at) in circuit.at:
        said = f"{reading.at} is a point of the set, and amps flow in the lead of a part"
    elif part is None or (part.kind == "tube" and probe(circuit, f"{part.name}.plate") is None):
        yield _nowhere(circuit, reading.at, reading.place, reading.state, line)
        return
    elif part.traits.law not in _CARRIES:
        said = f"the current in {part.name}, {a_or_an(part.kind)}, is not computed"
    elif points.figure(circuit, "", reading) is None:
        yield _nowhere(circuit, reading.at, reading.place, reading.state, line)
        return
    else:
        return
    yield Problem(
        said,
        reading.place,
        line,
        "a tube, resistor, fuse, choke or winding: reading V3.cathode 45 mA",
    )


#: Laws of the parts whose current is computed.
_CARRIES = frozenset(
    {
        Law.TUBE,
        Law.RESISTANCE,
        Law.LINK,
        Law.COIL,
        Law.WINDINGS,
        Law.JUNCTION,
        Law.LAMP,
        Law.MOTOR,
        Law.THERMISTOR,
    }
)


def _noticed(circuit: Circuit, sign: Noticed) -> Iterator[Problem]:
    part = circuit.part(sign.part)
    if part is None and sign.part not in ("", FUSE):
        yield _nowhere(circuit, sign.part, sign.place, sign.state, f"noticed {sign.part}")
    elif part is not None and not _shows(part, sign.sign):
        yield Problem(
            f"{part.name}, {a_or_an(part.kind)}, cannot be {sign.sign.value}",
            sign.place,
            f"noticed {part.name}",
            _SHOWN_BY[sign.sign],
        )


#: What shows a sign, for whoever wrote it of something else.
_SHOWN_BY = {
    Symptom.DARK: "a tube or a lamp, as in noticed V2 dark",
    Symptom.LIT: "a tube or a lamp, as in noticed V2 lit",
    Symptom.RED: "a tube whose plate glows, as in noticed V3 red",
    Symptom.BLUE: "a tube with gas in it, as in noticed V3 blue",
    Symptom.BLOWN: "a fuse, as in noticed F1 blown",
}


def _shows(part: Part, sign: Symptom) -> bool:
    """Return whether a part can show a sign."""
    match sign:
        case Symptom.DARK | Symptom.LIT:
            return part.kind == "tube" or part.traits.law is Law.LAMP
        case Symptom.RED | Symptom.BLUE:
            return part.kind == "tube"
        case Symptom.BLOWN:
            return part.traits.is_overcurrent
        case _:
            return True


def _has_input(circuit: Circuit) -> bool:
    try:
        path_of(circuit)
    except CannotSolve:
        return False
    return True


def _state(circuit: Circuit, state: BenchState, place: Place) -> Iterator[Problem]:
    """Yield an error for each tube that a state pulls and the set does not have."""
    for name in state.without:
        part = circuit.part(name)
        if part is None:
            yield _nowhere(circuit, name, place, state, f"bench {state.side} without {name}")
        elif part.kind != "tube":
            yield Problem(
                f"{name} is {a_or_an(part.kind)}, which is not pulled from a socket",
                place,
                f"bench {state.side} without {name}",
                "tubes of the set, as in bench after without V3",
            )


def _nowhere(circuit: Circuit, text: str, place: Place, state: BenchState, line: str) -> Problem:
    if (whole := circuit.part(text)) is not None:
        pins = ", ".join(f"{text}.{terminal}" for terminal, _ in whole.pins)
        return Problem(
            f"{text} has {len(whole.pins)} leads: say which", place, line, f"one of {pins}"
        )
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
