"""Does a set work, in figures: the operating point against every rating, tubes that draw nothing,
gain and watts before and after.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import islice
from math import log10

import numpy as np

from rework.anatomy.amplifier import of
from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.anatomy.heaters import HEATER_LIMIT
from rework.anatomy.heating import Heating, Warmth
from rework.anatomy.lost import removed
from rework.circuit.circuit import Circuit
from rework.circuit.edits import EditError, FitPart, apply_edit
from rework.circuit.place import Problem
from rework.solve.assemble import assemble
from rework.solve.bias import Bias, bias_alone
from rework.solve.cold import cold_states
from rework.solve.network import CannotSolve, NotSettled
from rework.solve.over import stresses
from rework.solve.part_tables import part_tables
from rework.solve.places import path_of
from rework.solve.plates import Plate, plates
from rework.solve.signal import DEAD, Loudest, loudest
from rework.solve.spread import at
from rework.solve.stress import Stress, Verdict
from rework.solve.tables import CapacitorRow, tube_rows

#: A fall of gain or watts by this is told with its cause (half the power; own choice, no source).
FALL_DB = 3.0
#: Kinds that may pass the signal on, the likeliest first; no more parts than this are put back.
_PASSING, _MOST_CAUSES = ("capacitor", "electrolytic", "resistor"), 8
#: A fuse may carry this share of its rating in use (common practice, no source: three quarters of a
#: rating is what a fuse is chosen for; over its rating it ages and blows).
FUSE_SHARE = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Performance:
    """A solved set: gain from input to speaker (volts per volt, 1 kHz, controls loudest), watts at
    the onset of clipping, mean B+ volts of the first rail, stresses on parts, units that draw no
    plate current, plates of resistance-coupled stages, RMS amps of the line. ``is_heard`` says
    whether the file names an input and a speaker to measure at; ``problems`` say what has no
    numbers and why: the figures concerned are None. ``settles`` is false where that is only because
    the sums did not come to an end.
    """

    gain: float | None
    watts: float | None
    hum_volts: float | None
    rail: str
    rail_volts: float | None
    line_amps: float | None
    stresses: tuple[Stress, ...]
    capacitors: tuple[CapacitorRow, ...]
    dead: tuple[str, ...]
    plates: tuple[Plate, ...]
    stops: dict[str, float]
    is_heard: bool
    problems: tuple[Problem, ...]
    settles: bool = True


def performance(
    circuit: Circuit, *, stops: Mapping[str, float] | None = None, rated: bool = True
) -> Performance:
    """Return what a set does in figures; where it has none, ``problems`` say why.

    Parameters
    ----------
    circuit
        The set.
    stops
        The loudest position of each control where it is known, as from before a job.
    rated
        Whether parts are held to their ratings, at switch-on too: that takes another solution.
    """
    loud: Loudest | None = None
    rest: Bias | None = None
    problems: tuple[Problem, ...] = ()
    is_heard = settles = True
    try:
        path_of(circuit)
    except CannotSolve:
        is_heard = False
    try:
        loud = loudest(circuit, stops=_known(circuit, stops))
        rest = loud.bias
    except CannotSolve as error:
        problems, settles = error.problems, not isinstance(error, NotSettled)
        try:
            rest = bias_alone(assemble(circuit))
        except CannotSolve as beneath:
            problems = beneath.problems
    stressed, capacitors = _stresses(circuit, rest) if rated and rest is not None else ((), ())
    return Performance(
        gain=loud.gain if loud else None,
        watts=loud.full.watts if loud else None,
        hum_volts=loud.hum.volts if loud else None,
        rail=_rail(circuit),
        rail_volts=None if rest is None else _volts(rest, _rail(circuit)),
        line_amps=None if rest is None else _line_amps(rest),
        stresses=stressed,
        capacitors=capacitors,
        dead=() if rest is None else tuple(_dead(rest)),
        plates=() if rest is None else tuple(plates(circuit, rest)),
        stops=dict(loud.stops) if loud else {},
        is_heard=is_heard,
        problems=problems,
        settles=settles,
    )


def _known(circuit: Circuit, stops: Mapping[str, float] | None) -> Mapping[str, float] | None:
    pots = {part.name for part in circuit.parts if part.kind == "pot"}
    return stops if stops is not None and pots == set(stops) else None


def _rail(circuit: Circuit) -> str:
    """Return a node of the first rail that is in the amplifier itself, else of the first of all,
    else where the last rectifier gives its volts; "" without one.
    """
    anatomy = of(circuit)
    nodes: dict[str, list[str]] = {}
    for node, point in anatomy.wiring.points_of.items():
        nodes.setdefault(point, []).append(node)
    named = [nodes[rail.point] for rail in anatomy.rails]
    inside = [[node for node in each if "/" not in node] for each in named]
    given = [nodes.get(each.cathode or "", []) for each in reversed(anatomy.rectifiers)]
    return next((min(each) for each in (*inside, *named, *given) if each), "")


def _volts(rest: Bias, node: str) -> float | None:
    if node not in rest.network.node_of:
        return None
    return float(rest.network.volts(rest.steady.x, node).mean())


def _line_amps(rest: Bias) -> float | None:
    line = rest.network.rows.get("line")
    return None if line is None else float((rest.steady.x[:, line] ** 2).mean() ** 0.5)


def _dead(rest: Bias) -> Iterator[str]:
    """Yield the units that draw no plate current."""
    network, row = rest.network, 0
    amps = network.device_currents(rest.point, laws=rest.laws)[0]
    for device in network.ordered:
        if len(device.from_) > 1 and amps[row] < DEAD:
            yield f"{device.name} {device.unit}".strip()
        row += len(device.from_)


def _stresses(circuit: Circuit, rest: Bias) -> tuple[tuple[Stress, ...], tuple[CapacitorRow, ...]]:
    drawn = at(rest, np.zeros((1, len(rest.knobs))))
    cold = cold_states(circuit, rest.steady.x[::2])
    parts = part_tables(circuit, rest, cold)
    rows = tube_rows(circuit, rest, drawn)
    return stresses(circuit, rest, tubes=rows, corners=(), parts=parts), parts.capacitors


def settled(rows: Iterable[FunctionRow], now: Performance) -> tuple[FunctionRow, ...]:
    """Return the rows of the wiring, a heater on smoothed direct current with its solved volts; one
    that is off its volts has a row of its own among those of ``solved_rows``.
    """
    known = {stress.part: stress for stress in now.stresses if stress.key == "heater_volts"}
    seen: list[FunctionRow] = []
    for row in rows:
        stress = known.get(row.subject)
        behind = row.aspect is Aspect.HEATER and row.working is Working.UNKNOWN and row.part
        if not behind or stress is None:
            seen.append(row)
        elif stress.verdict not in (Verdict.OVER, Verdict.UNDER):
            seen.append(
                replace(row, working=Working.WORKS, value=stress.amount, rated=stress.rating)
            )
    return tuple(seen)


def solved_rows(circuit: Circuit, now: Performance) -> tuple[FunctionRow, ...]:
    """Return a row for every part with a rating, for every tube that draws nothing, and what has no
    numbers.
    """
    fuses = tuple(_fuses(circuit, now))
    return (
        *_over(circuit, now),
        *_kept(circuit, now, {row.subject for row in fuses}),
        *_silent(circuit, now),
        *fuses,
        *_odd_plates(now),
        *_unsolved(circuit, now),
    )


def _over(circuit: Circuit, now: Performance) -> Iterator[FunctionRow]:
    """Yield each part over a rating, once; a heater on volts that no file states is not known, and
    of one that is off its volts by the wiring alone, a lamp or a motor, nothing more is told.
    """
    warmth = Heating(of(circuit).heaters).warmth()
    unheated = {row.part for row in warmth if row.volts is None and not row.rectifier}
    shown = {row.part for row in warmth if row.volts is not None and not _is_warm(row)}
    for stress in now.stresses:
        if stress.key in ("heater_volts", "volts") and stress.part in shown:
            continue  # the wiring shows it already
        if stress.verdict in (Verdict.OVER, Verdict.UNDER) and stress.part not in unheated:
            unheated.add(stress.part)
            yield _rating_row(stress, Working.FAULT)


def _kept(circuit: Circuit, now: Performance, told: Collection[str]) -> Iterator[FunctionRow]:
    """Yield each part within all its ratings, with the one that it is nearest to; ``told`` are
    parts that have a row of their own, as the volts of heaters, lamps and motors have.
    """
    warmed = {row.part for row in Heating(of(circuit).heaters).warmth()}
    nearest: dict[str, Stress] = {}
    broken = {*told}
    for stress in now.stresses:
        if stress.key in ("heater_volts", "volts") and stress.part in warmed:
            continue
        if stress.verdict in (Verdict.OVER, Verdict.UNDER):
            broken.add(stress.part)
        known = nearest.get(stress.part)
        if stress.rating and (known is None or _share(stress) > _share(known)):
            nearest[stress.part] = stress
    for stress in nearest.values():
        if stress.part not in broken:
            yield _rating_row(stress, Working.WORKS)


def _rating_row(stress: Stress, working: Working) -> FunctionRow:
    """Return what a part bears beside its rating."""
    return FunctionRow(
        Aspect.RATING,
        stress.part,
        working,
        stress.amount,
        stress.rating,
        place=stress.key,
        part=stress.of,
        unit=stress.unit,
    )


def _share(stress: Stress) -> float:
    return stress.amount / stress.rating if stress.rating else 0.0


def _is_warm(row: Warmth) -> bool:
    """Return whether a heater is within its limits as far as the wiring shows."""
    return abs((row.volts or 0.0) / row.rated - 1) <= HEATER_LIMIT


def _silent(circuit: Circuit, now: Performance) -> Iterator[FunctionRow]:
    idle = {stage.label for stage in of(circuit).stages if stage.kind == "idle"}
    for label in now.dead:
        if label not in idle:
            yield FunctionRow(Aspect.CURRENT, label, Working.FAULT, 0.0, unit="A")


def _odd_plates(now: Performance) -> Iterator[FunctionRow]:
    """Yield the stages that a load or bias resistor of another decade would put where they are."""
    for plate in now.plates:
        if plate.is_odd and plate.stage not in now.dead:
            yield FunctionRow(Aspect.POINT, plate.stage, Working.NOTE, plate.volts, plate.supply)


def _fuses(circuit: Circuit, now: Performance) -> Iterator[FunctionRow]:
    """Yield the line fuses that carry more than their rating in use."""
    line = of(circuit).line
    for part in circuit.parts:
        rating = part.value("current") if part.traits.is_overcurrent else None
        if (
            rating is None
            or now.line_amps is None
            or not line.intersection(of(circuit).wiring.ends(part))
        ):
            continue
        working = Working.FAULT if now.line_amps > FUSE_SHARE * rating else Working.WORKS
        yield FunctionRow(Aspect.FUSE, part.name, working, now.line_amps, rating, unit="A")


def _unsolved(circuit: Circuit, now: Performance) -> Iterator[FunctionRow]:
    if any(_silent(circuit, now)):
        return  # the tubes without current are told
    if now.problems and (of(circuit).inputs and of(circuit).loads):
        silent = now.is_heard and now.rail_volts is not None and now.settles
        working = Working.FAULT if silent else Working.UNKNOWN
        yield FunctionRow(Aspect.NUMBERS, "", working, place=now.problems[0].message)


def compared(
    before: Circuit, was: Performance, after: Circuit, now: Performance, lost: Iterable[FunctionRow]
) -> tuple[FunctionRow, ...]:
    """Return rows for gain and watts after a job, rated by those before it; a fall of more than 3
    dB is a fault, with the part that causes it where putting one back restores it.

    ``lost`` are the rows of what the job did not put back.
    """
    if was.gain is None or was.watts is None or now.gain is None or now.watts is None:
        return ()
    falls = (20 * log10(was.gain / now.gain), 10 * log10(was.watts / max(now.watts, 1e-9)))
    cause = _cause(before, after, now, lost) if max(falls) > FALL_DB else ""
    return tuple(
        FunctionRow(
            aspect,
            "",
            Working.FAULT if fall > FALL_DB else Working.WORKS,
            value,
            old,
            part=cause if fall > FALL_DB else "",
            unit=unit,
        )
        for aspect, fall, value, old, unit in (
            (Aspect.GAIN, falls[0], now.gain, was.gain, ""),
            (Aspect.WATTS, falls[1], now.watts, was.watts, "W"),
        )
    )


def _cause(before: Circuit, after: Circuit, now: Performance, lost: Iterable[FunctionRow]) -> str:
    """Return the part that was not put back, and that brings the gain back most when it is: what
    is known to be missed first, then any other that was taken out.
    """
    best, cause = now.gain or 0.0, ""
    missed = [
        part
        for row in lost
        if row.aspect is Aspect.LOST and (part := before.part(row.part)) is not None
    ]
    passing = sorted(
        (part for part in removed(before, after) if part.kind in _PASSING),
        key=lambda part: _PASSING.index(part.kind),
    )
    for part in islice(dict.fromkeys([*missed, *passing]), _MOST_CAUSES):
        if not all(node in after.at for _, node in part.pins):
            continue
        try:
            fitted = apply_edit(
                after, FitPart(replace(part, name=after.free_part_name(f"{part.name}-")))
            )
            gain = loudest(fitted, stops=now.stops or None).gain
        except (EditError, CannotSolve):
            continue
        if gain > 1.2 * best:
            best, cause = gain, part.name
    return cause
