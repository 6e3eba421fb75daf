"""How often `rework trouble` calls something that is not on its list by another name, nearly sure.

    python tests/bench/unlisted.py pager [before|after] [--wrongs 100] [--seed 1]

Wrongs that the list does not have are put into a set: a bridge of 1 ohm to 1 Mohm between any two
points, a lead on any other point, and both at once. Ohms everywhere and ten direct voltages are
read, a third of the meter's error on top.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import replace

import numpy as np
from troubles import columns_of, job_of

from rework.circuit.edits import Action, Bridge, EditError, MoveLead
from rework.faultfinding.case import Case, solved_cases
from rework.faultfinding.diagnosis import TroubleBoard, board
from rework.faultfinding.figures import shown_in_all
from rework.faultfinding.rank import ranking, weighed
from rework.faultfinding.told import sureness_of
from rework.faultfinding.trouble import SingleTrouble, TroubleKind
from rework.language.bench import Quantity
from rework.rules.job_file import run_job_file
from rework.solve.points import points

#: Told with more than this chance.
SURE = 0.9


def wrongs(on: TroubleBoard, count: int, chance: np.random.Generator) -> list[SingleTrouble]:
    """Return wrongs that can be made on a set."""
    circuit, made = on.circuit, []
    pins = [(p.name, t) for p in circuit.parts for t, _ in p.pins if p.kind != "plug"]
    while len(made) < count:
        some = [[_bridge], [_move], [_bridge, _move]][int(chance.integers(3))]
        actions = tuple(make(circuit.nodes, pins, chance) for make in some)
        wrong = SingleTrouble(TroubleKind.RESISTOR_OFF, "", actions=actions)
        try:
            wrong.made(circuit)
        except EditError:
            continue
        made.append(wrong)
    return made


def _bridge(nodes, pins, chance) -> Action:
    a, b = chance.choice(len(nodes), 2, replace=False)
    return Bridge(nodes[a], nodes[b], float(10 ** chance.uniform(0, 6)))


def _move(nodes, pins, chance) -> Action:
    part, terminal = pins[int(chance.integers(len(pins)))]
    return MoveLead(part, terminal, nodes[int(chance.integers(len(nodes)))])


def at_the_place(on: TroubleBoard, wrong: SingleTrouble, told: SingleTrouble) -> bool:
    """Return whether what is told is about a part whose lead was moved, or between the points that
    a bridge joins: whoever looks there sees it.
    """
    point = points(on.circuit)
    part = on.circuit.part(told.part)
    there = {point[node] for _, node in part.pins} if part is not None else set()
    for action in wrong.actions:
        if isinstance(action, MoveLead) and action.part == told.part:
            return True
        ends = {action.a, action.b} if isinstance(action, Bridge) else {action.node}
        if {point[end] for end in ends} <= there:
            return True
    return False


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("name")
    parser.add_argument("side", nargs="?", default="after")
    parser.add_argument("--wrongs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chance = np.random.default_rng(asked.seed)
    run = run_job_file(job_of(asked.name))
    bench = replace(run.job.bench, isolated=asked.side == "before")
    on = board(replace(run, job=replace(run.job, bench=bench)), asked.side)
    tried = wrongs(on, asked.wrongs, chance)
    cases = solved_cases([(w, w.made(on.circuit)) for w in tried], sound=on.expected.cases[0])
    solved = [case for case in cases if isinstance(case, Case)]
    columns = columns_of(on, Quantity.OHMS, Quantity.DC, most=10)
    held = weighed(on.expected, columns)
    shows = shown_in_all(solved, [on.expected.figures[n] for n in columns])
    said: Counter[str] = Counter()
    for case, show in zip(solved, shows, strict=True):
        error = chance.standard_normal(len(columns)) * show.noise**0.5 / 3
        ranks = ranking(on.expected, columns, show.mean + error, against=held)
        first = ranks.groups[0]
        if not ranks.is_explained:
            said["nothing on the list"] += 1
        elif first.suspect == 0:
            said["sound"] += 1
        elif first.chance > SURE:
            keys = {key for key, _ in first.members}
            told = [
                trouble
                for suspect in on.expected.suspects
                if suspect.trouble.key in keys
                for trouble in (suspect.trouble, *suspect.alike)
            ]
            is_there = any(at_the_place(on, case.trouble, trouble) for trouble in told)
            said["its place, sure" if is_there else "another place, sure"] += 1
            if not is_there:
                certain = sureness_of(ranks, first)
                print(f"{case.trouble.actions}: {told[0].key} {first.chance:.2f}, {certain}")
        else:
            said["another, unsure"] += 1
    print(f"{asked.name} {asked.side}: {len(solved)} of {asked.wrongs} solved; {dict(said)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
