"""What every reading would be under every trouble: the whole list solved, as arrays."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.edits import EditError
from rework.circuit.kinds import Law
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.faultfinding.case import Case, UnsolvedTrouble, overloads, solved_cases
from rework.faultfinding.figures import bent, shown, shown_in_all
from rework.faultfinding.lamped import solved_behind_lamp
from rework.faultfinding.points import BenchFigure
from rework.faultfinding.trouble import HARMLESS, SOUND, SOUND_SHARE, SingleTrouble
from rework.language.bench import BenchState
from rework.solve.arrays import Floats
from rework.solve.bench import without_tubes
from rework.solve.network import CannotSolve
from rework.solve.points import points

#: The finished set, nothing pulled, no lamp.
WHOLE = BenchState()
#: A sound set that is this much over a rating is not what makes a trouble dangerous.
OVER = 1.2


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """One trouble on the list with its circuit; ``alike`` are troubles that make the same circuit
    of it, so that nothing can tell them apart.
    """

    trouble: SingleTrouble
    circuit: Circuit
    alike: tuple[SingleTrouble, ...] = ()

    @property
    def weight(self) -> float:
        """How likely it is, with those that are the same."""
        return self.trouble.weight + sum(trouble.weight for trouble in self.alike)


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """What each of the ``figures`` would be under each of the ``suspects``, the sound set first.

    ``mean`` (suspects, figures) and ``noise`` the same shape are on the scale of each figure,
    ``slopes`` (suspects, figures, knobs) for one standard deviation of each of the ``knobs``.
    ``cases`` are the
    solved circuits, ``unsolved`` the troubles without numbers.
    """

    suspects: tuple[Suspect, ...]
    figures: tuple[BenchFigure, ...]
    mean: Floats
    slopes: Floats
    noise: Floats
    knobs: tuple[str, ...]
    cases: tuple[Case, ...]
    unsolved: tuple[UnsolvedTrouble, ...]

    def covariance(self, columns: Sequence[int]) -> Floats:
        """Return the covariance (suspects, columns, columns) of some figures: tolerances, tubes and
        line in common, meter and model each for itself.
        """
        slopes = self.slopes[:, columns]
        both: Floats = slopes @ np.swapaxes(slopes, 1, 2)
        at = np.arange(len(columns))
        both[:, at, at] += self.noise[:, columns]
        return both


def suspects(
    circuit: Circuit, listed: Sequence[tuple[SingleTrouble, Circuit | None]]
) -> tuple[tuple[Suspect, ...], tuple[UnsolvedTrouble, ...]]:
    """Return the sound set and every trouble with its circuit, those that make the same circuit
    together; and the troubles that cannot be made on it.

    ``listed`` gives the circuit of a trouble that is not an edit of this one.
    """
    nothing = _wiring(circuit, ())
    first: dict[object, Suspect] = {nothing: Suspect(SOUND, circuit)}
    failed = []
    for trouble, left in listed:
        try:
            changed = left if left is not None else trouble.made(circuit)
        except EditError as error:
            failed.append(UnsolvedTrouble(trouble, (Problem(str(error)),)))
            continue
        key = _wiring(changed, trouble.laws)
        known = first.get(key)
        if known is None:
            first[key] = Suspect(trouble, changed)
        elif known.trouble.kind is not SOUND.kind:
            first[key] = replace(known, alike=(*known.alike, trouble))
    wrong = sum(suspect.weight for key, suspect in first.items() if key != nothing)
    sound = replace(SOUND, weight=SOUND_SHARE / (1 - SOUND_SHARE) * wrong if wrong else 1.0)
    first[nothing] = Suspect(sound, circuit)
    return tuple(first.values()), tuple(failed)


def _wiring(circuit: Circuit, laws: object) -> object:
    """Return what two circuits have in common where no meter can tell them apart: a resistor or
    capacitor by its value and what is at its ends, so that it does not matter which of two in
    parallel is out; every other part by its name.
    """
    point = points(circuit)
    count = Counter(point[node] for part in circuit.parts for _, node in part.pins)
    plain = [part for part in circuit.parts if _is_plain(part)]
    nameless = {part.name for part in plain}
    while True:
        nets = _nets(circuit, point, nameless)
        held = {
            part.name
            for part in plain
            if part.name in nameless and not all(nets.get(point[node]) for _, node in part.pins)
        }
        if not held:
            break
        nameless -= held  # what is at its ends has no other name
    values = Counter(
        _value(part, [nets[point[node]] for _, node in part.pins])
        for part in plain
        if part.name in nameless
    )
    named = (part for part in circuit.parts if part.name not in nameless)
    joined = frozenset(pins for at, pins in nets.items() if count[at] > 1)
    return joined, frozenset(values.items()), frozenset(map(_content, named)), laws


def _is_plain(part: Part) -> bool:
    is_passive = part.traits.law is Law.RESISTANCE or part.is_capacitor
    return is_passive and len(part.pins) == 2 and not part.unused


def _nets(
    circuit: Circuit, point: Mapping[str, str], nameless: Collection[str]
) -> dict[str, frozenset[str]]:
    """Return the pins at every point of the parts that count by their name."""
    pins: dict[str, set[str]] = {}
    for part in circuit.parts:
        if not part.is_conductor and part.name not in nameless:
            for terminal, node in part.pins:
                pins.setdefault(point[node], set()).add(f"{part.name}.{terminal}")
    return {at: frozenset(names) for at, names in pins.items()}


def _value(part: Part, ends: Sequence[frozenset[str]]) -> object:
    at = tuple(ends) if part.traits.polar else frozenset(ends)
    return part.kind, part.type, part.values, at


def _content(part: Part) -> object:
    return None if part.is_conductor else (part.name, part.type, part.values, part.windings)


def expected(
    listed: Sequence[Suspect],
    figures: Sequence[BenchFigure],
    *,
    sound: Case | None = None,
    line: float | None = None,
    state: BenchState = WHOLE,
    step: Callable[[int], None] | None = None,
) -> Expected:
    """Return what each figure would be under each suspect, the sound set first, in one state of the
    bench.

    ``sound`` is the first of them solved, where it is already. Raises CannotSolve where it has no
    numbers. ``step`` is called with the number of suspects after each piece of work.
    """

    def solved(some: Sequence[Suspect], known: Case | None) -> list[Case | UnsolvedTrouble]:
        wanted = [(s.trouble, without_tubes(s.circuit, state.without)) for s in some]
        if state.lamp:
            return solved_behind_lamp(wanted, state.lamp, line=line, sound=known)
        return list(solved_cases(wanted, line=line, sound=known))

    if sound is None:
        (first,) = solved(listed[:1], None)
        if isinstance(first, UnsolvedTrouble):
            raise CannotSolve(*first.problems)
        sound = first
    done: list[Case | UnsolvedTrouble] = [sound]
    for start in range(1, len(listed), CHUNK):
        some = listed[start : start + CHUNK]
        done += solved(some, sound)
        if step:
            step(len(some))
    kept = [(s, c) for s, c in zip(listed, done, strict=True) if isinstance(c, Case)]
    unsolved = tuple(case for case in done if isinstance(case, UnsolvedTrouble))
    return _read(kept, figures, unsolved, line_read=line is not None)


def _read(
    kept: Sequence[tuple[Suspect, Case]],
    figures: Sequence[BenchFigure],
    unsolved: tuple[UnsolvedTrouble, ...],
    *,
    line_read: bool,
) -> Expected:
    """Return what a meter shows of each figure in cases that are solved."""
    readings = shown_in_all([case for _, case in kept], figures, line_read=line_read)
    knobs = tuple(dict.fromkeys(name for read in readings for name in read.knobs))
    mean = np.array([read.mean for read in readings])
    slopes = np.array([_spread_out(read.slopes, read.knobs, knobs) for read in readings])
    levels = _levels([suspect for suspect, _ in kept], mean)
    return Expected(
        tuple(suspect for suspect, _ in kept),
        tuple(figures),
        mean,
        np.concatenate([slopes, levels[:, :, None]], 2),
        np.array([read.noise for read in readings]) + bent(kept[0][1], figures),
        (*knobs, SEVERITY),
        tuple(case for _, case in kept),
        unsolved,
    )


def widened(expected: Expected, figures: Sequence[BenchFigure], *, line_read: bool) -> Expected:
    """Return the same suspects with more figures, read off the circuits that are solved."""
    new = tuple(dict.fromkeys(figure for figure in figures if figure not in expected.figures))
    if not new:
        return expected
    kept = list(zip(expected.suspects, expected.cases, strict=True))
    return joined(expected, _read(kept, new, (), line_read=line_read))


def sharpened(expected: Expected, cases: Mapping[int, Case], *, line_read: bool) -> Expected:
    """Return the same with some suspects, by their place, read off better solved ``cases``."""
    mean, every = expected.mean.copy(), list(expected.cases)
    for place, case in cases.items():
        mean[place] = shown(case, expected.figures, line_read=line_read).mean
        every[place] = case
    return replace(expected, mean=mean, cases=tuple(every))


def _levels(listed: Sequence[Suspect], mean: Floats) -> Floats:
    """Return one standard deviation (suspects, figures) of what lies between the levels of a
    trouble on the list, for it may have any of them: readings go straight from level to level, and
    are spread evenly over half of the way to each neighbour.
    """
    spread = np.zeros_like(mean)
    chains: dict[str, list[int]] = {}
    for n, suspect in enumerate(listed):
        if suspect.trouble.kind in HARMLESS:
            chains.setdefault(suspect.trouble.key, []).append(n)
    for places in chains.values():
        none = HARMLESS[listed[places[0]].trouble.kind]
        rungs = [(listed[n].trouble.level, n) for n in places]
        rungs += [(none, 0)] if none is not None else []
        order = [n for _, n in sorted(rungs)]
        for at, n in enumerate(order):
            if n:
                beside = order[max(at - 1, 0)], order[min(at + 1, len(order) - 1)]
                ways = max(len({n, *beside}) - 1, 1)
                spread[n] = (mean[beside[1]] - mean[beside[0]]) / ways / 12**0.5
    return spread


def _spread_out(slopes: Floats, names: Sequence[str], knobs: Sequence[str]) -> Floats:
    """Return slopes (..., names) by the knobs that a larger list has (..., knobs)."""
    place = {name: k for k, name in enumerate(knobs)}
    wide = np.zeros((*slopes.shape[:-1], len(knobs)))
    wide[..., [place[name] for name in names]] = slopes
    return wide


def joined(first: Expected, second: Expected) -> Expected:
    """Return the figures of two states of the bench side by side, for the suspects that have
    numbers in both; what a part does in one state it does in the other.
    """
    keys = [_identity(suspect) for suspect in second.suspects]
    pairs = [
        (n, keys.index(key)) for n, key in enumerate(map(_identity, first.suspects)) if key in keys
    ]
    left, right = (list(column) for column in zip(*pairs, strict=True))
    knobs = tuple(dict.fromkeys((*first.knobs, *second.knobs)))
    slopes = [
        _spread_out(expected.slopes[places], expected.knobs, knobs)
        for expected, places in ((first, left), (second, right))
    ]
    return Expected(
        tuple(first.suspects[n] for n in left),
        (*first.figures, *second.figures),
        np.concatenate([first.mean[left], second.mean[right]], 1),
        np.concatenate(slopes, 1),
        np.concatenate([first.noise[left], second.noise[right]], 1),
        knobs,
        tuple(first.cases[n] for n in left),
        (*first.unsolved, *second.unsolved),
    )


def _identity(suspect: Suspect) -> tuple[str, str]:
    return suspect.trouble.key, suspect.trouble.severity


#: The knob of how bad a trouble is.
SEVERITY = "severity"
#: Circuits that are solved between two steps of progress.
CHUNK = 128


def dangers(case: Case, sound: Case) -> tuple[str, ...]:
    """Return what burns more than its rating under a trouble, and not in the sound set, the worst
    first.
    """
    before, now = overloads(sound), overloads(case)
    over = [
        (share, name)
        for name, share in now.items()
        if share > OVER and share > OVER * before.get(name, 0.0)
    ]
    return tuple(name for _, name in sorted(over, reverse=True))
