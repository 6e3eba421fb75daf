"""How often `rework trouble` is right, on sets drawn from tolerances with one thing wrong.

    python tests/bench/troubles.py pager [before|after] [--draws 3] [--seed 1]

prints the table of criteria. Every trouble of the list is put in, its parts, tubes and line drawn,
and the meter's own error added; nothing of it is tuned. It takes minutes.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rework.faultfinding.diagnosis import TroubleBoard, board
from rework.faultfinding.figures import METER, METER_OHMS, METER_VOLTS
from rework.faultfinding.live_work import reasons
from rework.faultfinding.next_reading import next_readings
from rework.faultfinding.rank import ALIKE, Ranking, ranking
from rework.faultfinding.trouble import TroubleKind
from rework.language.bench import Quantity
from rework.rules.job_file import run_job_file
from rework.solve.spread import at as drawn_points

CIRCUITS = Path(__file__).parents[2] / "circuits"


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
    direct = [m for m, figure in enumerate(figures) if figure.of is Quantity.DC]
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
            Quantity.DC: np.hypot(METER * shows[:, m], METER_VOLTS),
            Quantity.OHMS: np.hypot(METER, METER_OHMS / np.exp(shows[:, m])),
        }.get(figure.of, expected.noise[n, m] ** 0.5)
        shows[:, m] += chance.standard_normal(draws) * size
    return [Truth(n, shows[k]) for k in range(draws) if points.converged[k]]


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


def scored(on: TroubleBoard, some: list[Truth], columns: list[int], label: str) -> list[tuple]:
    rows = []
    for truth in some:
        if truth.suspect and not differs(on, truth.suspect, columns):
            continue
        ranks = ranking(on.expected, columns, truth.shows[columns])
        key = on.expected.suspects[truth.suspect].trouble.key
        rows.append((*places(ranks, key), on.expected.suspects[truth.suspect].trouble.kind, ranks))
    table = np.array([row[:4] for row in rows], float)
    first, three, likeliest, _ = table.mean(0)
    print(
        f"{label}: {len(rows)} that differ: right class first {first:.3f}, class in three"
        f" {three:.3f}, among the three likeliest {likeliest:.3f}"
    )
    return rows


def sureness(rows: list[tuple]) -> None:
    chance, right = np.array([row[3] for row in rows]), np.array([row[0] for row in rows], float)
    for low in np.arange(0.0, 1.0, 0.1):
        at = (chance >= low) & (chance < low + 0.1 + 1e-9 * (low > 0.85))
        if at.sum() > 9:
            print(
                f"    said {low:.1f} to {low + 0.1:.1f}: {at.sum():4d} sets, said"
                f" {chance[at].mean():.2f}, right {right[at].mean():.2f}"
            )


def slips(on: TroubleBoard, some: list[Truth], columns: list[int], chance) -> None:
    """One direct voltage of a sound or troubled set read a decade off."""
    direct = [c for c in columns if on.expected.figures[c].of is Quantity.DC]
    named = tried = 0
    for truth in some:
        big = [c for c in direct if abs(truth.shows[c]) > 1.0]
        if not big:
            continue
        slip = int(chance.choice(big))
        shows = truth.shows.copy()
        shows[slip] /= 10.0
        ranks = ranking(on.expected, columns, shows[columns])
        tried += 1
        named += ranks.again is not None and columns[ranks.again] == slip
    print(f"one decimal slip: named in {named / max(tried, 1):.3f} of {tried}")


def chosen(on: TroubleBoard, some: list[Truth], chance) -> None:
    """Readings until a class is sure, the next one chosen by the tool."""
    counts, powered, right, live_in_danger = [], [], 0, 0
    for truth in some:
        taken: list[int] = []
        ranks = ranking(on.expected, taken, [])
        while ranks.groups[0].chance < 0.9 and len(taken) < 25:
            perils = reasons(ranks, isolated=on.side == "before")
            following = next_readings(ranks, on.offered, powered=not perils)
            if not following:
                break
            column = following[0].column
            live = on.expected.figures[column].of is not Quantity.OHMS
            live_in_danger += bool(perils) and live
            taken.append(column)
            ranks = ranking(on.expected, taken, truth.shows[taken])
        counts.append(len(taken))
        powered.append(sum(on.expected.figures[c].of is not Quantity.OHMS for c in taken))
        key = on.expected.suspects[truth.suspect].trouble.key
        right += key in dict(ranks.groups[0].members)
    print(
        f"next reading: {len(counts)} sets, readings median {np.median(counts):.0f} mean"
        f" {np.mean(counts):.1f}, powered mean {np.mean(powered):.1f}, right class"
        f" {right / len(counts):.3f}, powered readings offered in danger {live_in_danger}"
    )


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("demo")
    parser.add_argument("side", nargs="?", default="after")
    parser.add_argument("--draws", type=int, default=1)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--loops", type=int, default=40)
    asked = parser.parse_args()
    chance = np.random.default_rng(asked.seed)
    start = time.process_time()
    run = run_job_file(str(CIRCUITS / asked.demo / f"{asked.demo}.job"))
    behind = replace(run.job.bench, isolated=asked.side == "before")  # a hot set needs it
    on = board(replace(run, job=replace(run.job, bench=behind)), asked.side)
    print(
        f"{asked.demo} {asked.side}: {len(on.expected.suspects)} suspects,"
        f" {len(on.unsolved)} without numbers, solved in {time.process_time() - start:.1f} s CPU"
    )
    drawn = [
        truth
        for n in range(1, len(on.expected.suspects))
        for truth in truths(on, n, asked.draws, chance)
    ]
    some = columns_of(on, Quantity.OHMS, Quantity.DC, most=10)
    sureness(scored(on, drawn, some, "ohms and ten DC"))
    every = columns_of(on, *Quantity)
    rows = scored(on, drawn, every, "everything")
    sureness(rows)
    opens = [row for row in rows if row[4] is TroubleKind.CAPACITOR_OPEN]
    if opens:
        print(f"open capacitors with signals: in three {np.mean([r[1] for r in opens]):.3f}")
    sound = truths(on, 0, 60, chance)
    called = [
        ranking(on.expected, some, truth.shows[some]).groups[0].suspect == 0 for truth in sound
    ]
    print(f"sound sets called sound: {np.mean(called):.3f} of {len(called)}")
    picked = [drawn[k] for k in chance.choice(len(drawn), min(120, len(drawn)), replace=False)]
    slips(on, picked, some, chance)
    chosen(on, picked[: asked.loops], chance)
    print(f"{time.process_time() - start:.0f} s CPU in all")
    return 0


if __name__ == "__main__":
    sys.exit(main())
