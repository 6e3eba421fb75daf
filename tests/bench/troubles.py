"""How often `rework trouble` is right, on sets drawn from tolerances with one thing wrong.

    python tests/bench/troubles.py pager [before|after] [--draws 1000] [--seed 1] [--meter 20k|1M]

prints the criteria of one set, demo or set of tests/sets, and at the end its row for the table of
DEVELOPERS.md. Every trouble of the list is put in as often as the draws allow, its parts, tubes and
line drawn, and the meter's own error added; nothing of it is tuned. It takes minutes.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, replace
from math import ceil
from pathlib import Path

import numpy as np

from rework.circuit.edits import EditError
from rework.faultfinding.case import Case, solved_cases
from rework.faultfinding.diagnosis import TroubleBoard, board
from rework.faultfinding.figures import FLOOR_OHMS, METER, METER_OHMS, METER_VOLTS, POINTER, shown
from rework.faultfinding.live_work import reasons
from rework.faultfinding.next_reading import next_readings
from rework.faultfinding.rank import ALIKE, Ranking, Weighing, ranking, weighed
from rework.faultfinding.trouble import TroubleKind
from rework.language.bench import USUAL_RANGES, Quantity, Voltmeter
from rework.rules.job_file import run_job_file
from rework.solve.spread import at as drawn_points

ROOT = Path(__file__).parents[2]
METERS = {
    "10M": Voltmeter(),
    "1M": Voltmeter(1e6),
    "20k": Voltmeter(0.0, 20e3, USUAL_RANGES),
}


#: Volts by which the point at rest may be off the mean of the steady state.
AT_REST = 1.0


def job_of(name: str) -> str:
    """Return the job file of a demo, or of a set of the tests."""
    for folder in (ROOT / "circuits", ROOT / "tests" / "sets"):
        if (job := folder / name / f"{name}.job").exists():
            return str(job)
    raise SystemExit(f"no demo and no set is called {name}")


@dataclass(frozen=True)
class Truth:
    """One drawn set: the suspect that is in it and what every figure shows (figures)."""

    suspect: int
    shows: np.ndarray


def truths(on: TroubleBoard, n: int, draws: int, chance: np.random.Generator) -> list[Truth]:
    """Return drawn sets with one suspect in them: direct volts solved anew for each, all else by
    its slopes, the meter's error on top.
    """
    expected, case = on.expected, on.expected.cases[n]
    bias, figures = case.bias, expected.figures
    even = chance.uniform(-1, 1, (draws, len(bias.knobs)))
    bell = np.clip(chance.standard_normal(even.shape), -3, 3)
    normal = np.array([knob.is_normal for knob in bias.knobs])
    share = np.array([knob.share for knob in bias.knobs])
    off = np.where(normal, bell, even)
    points = drawn_points(bias, share * off)
    unit = np.where(normal, off, off * 3**0.5)  # in standard deviations
    place = {name: k for k, name in enumerate(expected.knobs)}
    columns = [place[f"{knob.kind} {knob.name}"] for knob in bias.knobs]
    shows = expected.mean[n] + unit @ expected.slopes[n][:, columns].T
    still = drawn_points(bias, np.zeros((1, len(bias.knobs)))).x[0]
    # what rectifies without being a rectifier (a triode in its socket) is at rest without volts:
    # its direct volts go by their slopes
    is_at_rest = bool(np.abs(still - bias.point).max() < AT_REST)
    direct = [m for m, figure in enumerate(figures) if figure.of is Quantity.DC and is_at_rest]
    for m in direct:
        ends = [p.node_in(case.circuit, case.trouble) for p in (figures[m].at, figures[m].to)]
        known = [bias.network.node_of.get(end, -1) for end in ends]
        row = np.zeros(bias.network.n)
        for at, sign in zip(known, (1.0, -1.0), strict=True):
            if at >= 0:
                row[at] += sign
        free = float(row @ bias.point)
        left = expected.mean[n, m] / free if abs(free) > 0.05 else 1.0
        shows[:, m] = expected.mean[n, m] + (points.x @ row - free) * min(max(left, 0.0), 1.0)
    for m, figure in enumerate(figures):
        size = {
            Quantity.DC: _meter_error(figure.meter, shows[:, m]),
            Quantity.OHMS: _ohms_error(figure, shows[:, m]),
        }.get(figure.of, expected.noise[n, m] ** 0.5)
        shows[:, m] += chance.standard_normal(draws) * size
    return [Truth(n, shows[k]) for k in range(draws) if points.converged[k] or not is_at_rest]


def _meter_error(meter: Voltmeter, volts: np.ndarray) -> np.ndarray:
    if meter.per_volt:
        return np.array([POINTER * meter.range_for(one) for one in volts.tolist()])
    return np.hypot(METER * volts, METER_VOLTS)


def _ohms_error(figure, read: np.ndarray) -> np.ndarray:
    """Return what an ohmmeter is off by, on the scale of its figure."""
    ohms = np.maximum(np.exp(read) - FLOOR_OHMS, 0.0)
    return np.hypot(METER * ohms, METER_OHMS) / (ohms + FLOOR_OHMS)


def columns_of(on: TroubleBoard, *wanted: Quantity, most: int = 1000) -> list[int]:
    kept: list[int] = []
    for quantity in wanted:
        some = [n for n in on.offered if on.expected.figures[n].of is quantity]
        kept += some[:most] if quantity is Quantity.DC else some
    return kept


def differs(on: TroubleBoard, n: int, columns: list[int]) -> bool:
    """Return whether a suspect's readings are not those of the sound set."""
    between = on.expected.mean[n, columns] - on.expected.mean[0, columns]
    slopes = on.expected.slopes[0][columns]
    both = slopes @ slopes.T + np.diag(on.expected.noise[0, columns])
    return float(between @ np.linalg.solve(both, between)) > ALIKE


def places(ranks: Ranking, key: str) -> tuple[bool, bool, bool, float]:
    """Return whether a trouble is in the first class, in the first three, and one of the three
    likeliest troubles; and the chance of the first class.
    """
    groups = [dict(group.members) for group in ranks.groups]
    keys = sorted(((c, k) for g in groups for k, c in g.items()), reverse=True)
    in_three = any(key in group for group in groups[:3])
    return key in groups[0], in_three, key in [k for _, k in keys[:3]], ranks.groups[0].chance


#: A class of more troubles than this is not yet an answer: the loop reads on.
ANSWER = 12


@dataclass(frozen=True)
class Score:
    """How a kind of readings did: the share of sets that differ, of these the share in the first
    class, of classes in three, of troubles among the three likeliest; ``worst`` is how far what was
    said is from how often it was right, in the tenth where that is most. ``blind`` is the most that
    was said of any one open capacitor where the readings do not show it.
    """

    sets: int
    first: float
    three: float
    likeliest: float
    worst: float
    capacitors: float
    blind: float


def scored(
    on: TroubleBoard, some: list[Truth], columns: list[int], against: Weighing, label: str
) -> Score:
    rows, blind = [], 0.0
    differ = {n: differs(on, n, columns) for n in {truth.suspect for truth in some}}
    for truth in some:
        trouble = on.expected.suspects[truth.suspect].trouble
        is_open = trouble.kind is TroubleKind.CAPACITOR_OPEN
        if not differ[truth.suspect] and not is_open:
            continue
        ranks = ranking(on.expected, columns, truth.shows[columns], against=against)
        if not differ[truth.suspect]:
            said = {key: chance for group in ranks.groups for key, chance in group.members}
            blind = max(blind, *(c for k, c in said.items() if k.startswith("capacitor-open")), 0.0)
            continue
        rows.append((*places(ranks, trouble.key), trouble.kind))
    table = np.array([row[:4] for row in rows], float)
    first, three, likeliest, _ = table.mean(0)
    opens = [row[1] for row in rows if row[4] is TroubleKind.CAPACITOR_OPEN]
    print(
        f"{label}: {len(rows)} that differ: right class first {first:.3f}, class in three"
        f" {three:.3f}, among the three likeliest {likeliest:.3f}"
    )
    for kind in TroubleKind:
        of_kind = [row[1] for row in rows if row[4] is kind]
        if of_kind and np.mean(of_kind) < 0.92:
            print(f"    {kind}: in three {np.mean(of_kind):.2f} of {len(of_kind)}")
    worst = sureness(table[:, 3], table[:, 0])
    capacitors = float(np.mean(opens)) if opens else float("nan")
    print(
        f"    open capacitors that these readings do not show: one said to be {blind:.2f} at most"
    )
    return Score(len(rows), first, three, likeliest, worst, capacitors, blind)


def sureness(chance: np.ndarray, right: np.ndarray) -> float:
    """Print what was said beside how often it was right; return the largest difference."""
    worst = 0.0
    for low in np.arange(0.0, 1.0, 0.1):
        at = (chance >= low) & (chance < low + 0.1 + 1e-9 * (low > 0.85))
        if at.sum() > 29:
            said, was = chance[at].mean(), right[at].mean()
            worst = max(worst, abs(said - was))
            print(f"    said {said:.2f}: right {was:.2f} of {at.sum()}")
    return worst


def slips(
    on: TroubleBoard, some: list[Truth], columns: list[int], against: Weighing, chance
) -> float:
    """Return how often one direct voltage that was read a decade off is named."""
    direct = [c for c in columns if on.expected.figures[c].of is Quantity.DC]
    named = tried = 0
    for truth in some:
        big = [c for c in direct if abs(truth.shows[c]) > 1.0]
        if not big:
            continue
        slip = int(chance.choice(big))
        shows = truth.shows.copy()
        shows[slip] /= 10.0
        ranks = ranking(on.expected, columns, shows[columns], against=against)
        tried += 1
        named += ranks.again is not None and columns[ranks.again] == slip
    print(f"one decimal slip: named in {named / max(tried, 1):.3f} of {tried}")
    return named / max(tried, 1)


def is_answered(ranks: Ranking) -> bool:
    """Return whether a class of few troubles has nine tenths of the chance."""
    first = ranks.groups[0]
    return first.chance >= 0.9 and len(first.members) <= ANSWER


@dataclass(frozen=True)
class Search:
    """How the readings went that the tool chose: the median until a class has nine tenths of the
    chance and how often it is right then; the median until one of a dozen troubles at most has
    that, the mean of those with the set on, and how often it is right, of the sets where there is
    one.
    """

    to_a_class: float
    class_right: float
    to_few: float
    powered: float
    few_right: float


def chosen(on: TroubleBoard, some: list[Truth]) -> Search:
    """Return how the readings go until a class of few is sure, the next one chosen by the tool, in
    sets that differ from a sound one where everything is read.
    """
    every = columns_of(on, *Quantity)
    sure, early, counts, powered, right = [], [], [], [], []
    live_in_danger = unanswered = 0
    for truth in (truth for truth in some if differs(on, truth.suspect, every)):
        key = on.expected.suspects[truth.suspect].trouble.key
        taken: list[int] = []
        at = 0
        ranks = ranking(on.expected, taken, [])
        while not is_answered(ranks) and len(taken) < 25:
            perils = reasons(ranks, isolated=on.side == "before")
            following = next_readings(ranks, on.offered, powered=bool(taken) and not perils)
            if not following:
                break
            column = following[0].column
            live = on.expected.figures[column].of is not Quantity.OHMS
            live_in_danger += bool(perils) and live
            taken.append(column)
            ranks = ranking(on.expected, taken, truth.shows[taken])
            if not at and ranks.groups[0].chance >= 0.9:
                at = len(taken)
                early.append(key in dict(ranks.groups[0].members))
        sure.append(at or 25)
        if not is_answered(ranks):
            unanswered += 1
            continue
        counts.append(len(taken))
        powered.append(sum(on.expected.figures[c].of is not Quantity.OHMS for c in taken))
        right.append(key in dict(ranks.groups[0].members))
    assert sure, "no set of these differs from a sound one"
    print(
        f"next reading: a class at .9 after {np.median(sure):.0f}, right {np.mean(early):.3f}; of a"
        f" dozen at most: {len(counts)} sets and {unanswered} without, median"
        f" {np.median(counts):.0f} mean {np.mean(counts):.1f}, powered mean"
        f" {np.mean(powered):.1f}, right {np.mean(right):.3f}; powered readings offered in danger"
        f" {live_in_danger}"
    )
    return Search(
        float(np.median(sure)),
        float(np.mean(early)),
        float(np.median(counts)),
        float(np.mean(powered)),
        float(np.mean(right)),
    )


def doubles(on: TroubleBoard, columns: list[int], against: Weighing, count: int, chance) -> float:
    """Return how often one of two troubles, both put in, is among the three first classes."""
    expected, found, tried = on.expected, 0, 0
    figures = [expected.figures[c] for c in columns]
    edits = [n for n in range(1, len(expected.suspects)) if expected.suspects[n].trouble.step < 0]
    while tried < count:
        one, other = (expected.suspects[n] for n in chance.choice(edits, 2, replace=False))
        if one.trouble.part == other.trouble.part:
            continue
        both = replace(one.trouble, laws=(*one.trouble.laws, *other.trouble.laws))
        try:
            circuit = other.trouble.made(one.circuit)
        except EditError:
            continue
        (case,) = solved_cases([(both, circuit)], sound=expected.cases[0])
        if not isinstance(case, Case):
            continue
        told = shown(case, figures)
        read = told.mean + chance.standard_normal(len(figures)) * told.noise**0.5 / 3
        ranks = ranking(expected, columns, read, against=against)
        keys = {key for group in ranks.groups[:3] for key, _ in group.members}
        tried += 1
        found += not keys.isdisjoint((one.trouble.key, other.trouble.key))
    print(f"two troubles: one of them in three classes {found / max(tried, 1):.3f} of {tried}")
    return found / max(tried, 1)


def asked_for() -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("name")
    parser.add_argument("side", nargs="?", default="after")
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--loops", type=int, default=60)
    parser.add_argument("--pairs", type=int, default=40)
    parser.add_argument("--meter", choices=tuple(METERS), default="10M")
    return parser.parse_args()


def main() -> int:
    asked = asked_for()
    chance = np.random.default_rng(asked.seed)
    start = time.process_time()
    run = run_job_file(job_of(asked.name))
    # a hot set is read behind an isolation transformer
    bench = replace(run.job.bench, isolated=asked.side == "before", meter=METERS[asked.meter])
    on = board(replace(run, job=replace(run.job, bench=bench)), asked.side)
    count = len(on.expected.suspects) - 1
    print(
        f"{asked.name} {asked.side}: {count} suspects, {len(on.expected.unsolved)} without"
        f" numbers, solved in {time.process_time() - start:.1f} s CPU"
    )
    drawn = [
        truth
        for n in range(1, count + 1)
        for truth in truths(on, n, ceil(asked.draws / count), chance)
    ]
    some = columns_of(on, Quantity.OHMS, Quantity.DC, most=10)
    held = weighed(on.expected, some)
    ten = scored(on, drawn, some, held, "ohms and ten DC")
    every = columns_of(on, *Quantity)
    held_by_all = weighed(on.expected, every)
    all_ = scored(on, drawn, every, held_by_all, "everything")
    ranks = [
        ranking(on.expected, some, truth.shows[some], against=held)
        for truth in truths(on, 0, 200, chance)
    ]
    sound = [one.groups[0].suspect == 0 and one.is_explained for one in ranks]
    most = [
        max((c for g in one.groups for k, c in g.members if k != "sound "), default=0.0)
        for one in ranks
    ]
    print(
        f"sound sets called sound: {np.mean(sound):.3f} of {len(sound)}; one trouble at most"
        f" {max(most):.2f}, over .3 in {np.mean(np.array(most) > 0.3):.3f}"
    )
    picked = [drawn[k] for k in chance.choice(len(drawn), min(200, len(drawn)), replace=False)]
    slip = slips(on, picked, some, held, chance)
    steps = chosen(on, picked[: asked.loops])
    two = doubles(on, some, held, asked.pairs, chance)
    figures = (
        ten.first,
        ten.likeliest,
        ten.three,
        all_.likeliest,
        all_.three,
        all_.capacitors,
        ten.blind,
    )
    row = [f"{one:.3f}".lstrip("0") for one in figures]
    row += [f"{ten.worst:.2f}", f"{all_.worst:.2f}", f"{np.mean(sound):.2f}", f"{slip:.2f}"]
    row += [f"{steps.to_a_class:.0f}", f"{steps.class_right:.2f}", f"{steps.to_few:.0f}"]
    row += [f"{steps.powered:.1f}", f"{steps.few_right:.2f}", f"{two:.2f}"]
    print(f"| {asked.name} {asked.side} {asked.meter} | {len(drawn)} | " + " | ".join(row) + " |")
    print(f"{time.process_time() - start:.0f} s CPU in all")
    return 0


if __name__ == "__main__":
    sys.exit(main())
