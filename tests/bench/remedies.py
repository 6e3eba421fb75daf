"""Every remedy of many mistakes held to what it promises: ``python tests/bench/remedies.py 5000``.

A second number is the seed. Mistakes are made on the demos and on the sets of ``tests/sets``, finished and as found; each remedy that is told is
applied by the public edits and checked again, and by an independent search. Prints how many hazards
had a remedy, and every promise that was broken; exit status 1 where there is one.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from itertools import chain
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "safety"))

from hot_sets import CLEAN, read  # noqa: E402  the folder of the tests is put on the path first
from mistakes import bridges, broken_promise, moves  # noqa: E402

from rework.rules.job_file import run_job_file  # noqa: E402
from rework.safety.check import check  # noqa: E402


def main(count: int, seed: int = 11) -> int:
    """Make so many mistakes and print what comes of their remedies."""
    folders = (ROOT / "circuits", ROOT / "tests" / "sets")
    paths = [path for folder in folders for path in sorted(folder.glob("*/*.job"))]
    jobs = [run_job_file(str(path)) for path in paths]
    sets = [read(CLEAN), *chain.from_iterable((job.after, job.before) for job in jobs)]
    rng, tally, broken = random.Random(seed), Counter[str](), 0
    makers = [(bridges(circuit, rng), moves(circuit, rng)) for circuit in sets]
    for number in range(count):
        wrong = next(makers[number % len(makers)][number // len(makers) % 2])
        report = check(wrong)
        place = number % len(makers)
        finished = place == 0 or place % 2 == 1  # the clean set, then each job after and before
        for hazard in report.hazards:
            tally["finished" if finished else "as found", bool(hazard.remedies)] += 1
        if finished and report.hazards and not all(hazard.remedies for hazard in report.hazards):
            mistake = [part for part in wrong.parts if part not in sets[number % len(makers)].parts]
            print("no remedy:", [(part.name, part.kind, part.pins) for part in mistake])
        promise = broken_promise(wrong, report)
        if promise:
            broken += 1
            print(f"mistake {number}: {promise}", flush=True)
    print(dict(tally), f"{broken} broken of {count}")
    return int(bool(broken))


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3] or ("500",))))
