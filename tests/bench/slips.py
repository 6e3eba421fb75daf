"""Random slips in the four demos under other names: ``python tests/bench/slips.py 500``.

A circuit is wired with a slip (two or three with ``--slips N``) and written down under other names (with
measured values and no ratings with ``--measured``), and ``rework diff --by-structure`` is to name it. Prints how many were named as with the true names (part
and pin), how many in as few entries but another way, and every one that was not; exit status 1 where
fewer than 95 % are named, or one is called equal.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "compare"))

from boards import renamed  # noqa: E402  the folder of the tests is put on the path first
from slip_kinds import SLIPS, entries, measured, same_slips, slipped  # noqa: E402

from rework.compare.difference import difference  # noqa: E402
from rework.compare.match import match, with_names_of  # noqa: E402
from rework.rules.job_file import run_job_file  # noqa: E402


def main(count: int, slips: int, drift: bool) -> int:
    """Make so many slips and print how they are named."""
    jobs = [run_job_file(str(path)) for path in sorted((ROOT / "circuits").glob("*/*.job"))]
    sets = [circuit for job in jobs for circuit in (job.before, job.after)]
    chance, tally, seconds = random.Random(17), Counter[str](), []
    for number in range(count):
        plan = sets[number % len(sets)]
        built = plan
        kinds = [SLIPS[(number // len(sets) + turn) % len(SLIPS)] for turn in range(slips)]
        for kind in kinds:
            built = slipped(built, chance, kind)
        wanted = entries(difference(plan, built))
        if drift:
            built = measured(built, chance)
        written = renamed(built, chance, parts=True)
        start = time.perf_counter()
        matching = match(plan, written)
        nodes = None if matching.nodes is None else dict(matching.nodes)
        found = difference(plan, with_names_of(plan, written, matching), nodes=nodes)
        seconds.append(time.perf_counter() - start)
        told = entries(found)
        if drift:
            told = Counter({one: count for one, count in told.items() if one[0] != "changed"})
            wanted = Counter({one: count for one, count in wanted.items() if one[0] != "changed"})
        verdict = (
            "equal"
            if found.is_empty
            else "named"
            if same_slips(plan, wanted, told)
            else "as short"
            if told.total() <= wanted.total()
            else "longer"
        )
        tally[verdict] += 1
        if verdict != "named":
            what = " + ".join(kind.__name__ for kind in kinds)
            print(f"{number} {plan.title[:30]} {what}: {verdict}")
            print("   wanted", dict(wanted - told), "\n   told  ", dict(told - wanted))
    print(
        dict(tally), f"of {count}; {max(seconds):.2f} s at most, {sum(seconds) / count:.3f} s each"
    )
    return int(tally["equal"] > 0 or tally["named"] < 0.95 * count)


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("count", type=int, nargs="?", default=500)
    asked.add_argument("--slips", type=int, default=1)
    asked.add_argument("--measured", action="store_true")
    words = asked.parse_args()
    sys.exit(main(words.count, words.slips, words.measured))
