"""A mutation run by mutmut over what decides about safety: small changes to the program, one at a
time, and whether the tests notice.

    pip install mutmut==3.8.1
    python tests/bench/mutants.py --count 300 --seed 1

All functions of ``MUTATED`` are changed in a copy of the project, mutants are sampled from all of
them with a fixed seed, and each is held to the tests that reach its function. Prints what survives
as a difference, the share that was killed, and the exit status is 1 below ``--least``. With
``--folder`` the copy stays: a run that was broken off goes on where it was.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

import mutmut.__main__ as mutmut
from mutmut.runners.harness import PytestRunner
from mutmut.state import state
from mutmut.workers import isolation

ROOT = Path(__file__).parents[2]
#: What is changed: whether something is live, what a hand gets, what a part of the set is, and what
#: is over its rating.
MUTATED = (
    "rework/anatomy/*",
    "rework/safety/*",
    "rework/touch/*",
    "rework/solve/over.py",
    "rework/solve/stress.py",
    "rework/supply/bench.py",
    "rework/supply/marks.py",
)
#: The tests that may kill a mutant.
TESTS = (
    "tests/anatomy",
    "tests/safety",
    "tests/touch",
    "tests/sets",
    "tests/supply",
    "tests/solve/test_stress.py",
    "tests/solve/test_solve_cases.py",
    "tests/solve/test_solve_function.py",
    "tests/commands/test_new_circuit.py",
    "tests/commands/test_summary.py",
    "tests/commands/test_whole_answers.py",
    "tests/language/test_bench_lines.py",
)
COPIED = (".ci", "circuits", "grammar", "rework", "tests")
READ = ("README.md", "DEVELOPERS.md")
#: mutmut's exit codes of a mutant that lived: its tests passed, or no test reaches it.
LIVED = (0, 33)
#: A test of so many seconds is not run on a mutant.
LONG = 40.0


def prepare(folder: Path) -> None:
    """Copy the project and say what is to be changed."""
    for name in COPIED:
        shutil.copytree(ROOT / name, folder / name, dirs_exist_ok=True)
    for name in READ:
        shutil.copy(ROOT / name, folder / name)
    # JSON strings and lists are TOML too.
    settings = {
        "source_paths": ["rework"],
        "only_mutate": MUTATED,
        "pytest_add_cli_args_test_selection": TESTS,
        "pytest_add_cli_args": ["-p", "no:cacheprovider"],
        "also_copy": [name for name in (*COPIED, *READ) if name != "rework"],
        # Tests are collected once, and a mutant is a fork of what has collected them.
        "process_isolation": "forkserver",
        "timeout_multiplier": 1.0,
        "timeout_constant": 30.0,
    }
    lines = [f"{key} = {json.dumps(value)}" for key, value in settings.items()]
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    (folder / "pyproject.toml").write_text(
        "\n".join((text, "[tool.mutmut]", *lines, "")), encoding="utf-8"
    )


def generate() -> None:
    """Write the mutants and find out which tests reach which function; what is there stays.

    mutmut has no command that stops there: the names to sample from are known only then.
    """
    mutmut.set_mutant_under_test("mutant_generation")
    Path("mutants").mkdir(exist_ok=True)
    mutmut.copy_src_dir()
    mutmut.copy_also_copy_files()
    mutmut.setup_source_paths()
    mutmut.create_mutants(2)
    mutmut.collect_or_load_stats(mutmut.get_mutant_runner(2))


class QuickestFirst(PytestRunner):
    """Holds a mutant to the quickest of its tests first, and leaves the longest out: what they
    alone notice has survived.
    """

    def _pytest_args_regular_run(self, tests: Iterable[str]) -> list[str]:
        seconds = state().duration_by_test
        in_order = sorted(tests, key=lambda name: seconds.get(name, 0.0))
        quick = [name for name in in_order if seconds.get(name, 0.0) < LONG]
        return ["-x", "-q", "-p", "no:cacheprovider", *(quick or in_order or TESTS)]


def outcomes() -> dict[str, int | None]:
    """Return mutmut's exit code of each mutant, None for one that was not run."""
    codes: dict[str, int | None] = {}
    for file in sorted(Path("mutants").rglob("*.meta")):
        codes |= json.loads(file.read_text(encoding="utf-8"))["exit_code_by_key"]
    return dict(sorted(codes.items()))


def run(names: list[str]) -> None:
    """Hold these mutants to their tests, which have passed without them when they were timed."""
    isolation.PytestRunner = QuickestFirst
    isolation.ForkServerRunner.run_clean_tests = lambda *_, **__: 0
    mutmut._run(names, 2)


def main() -> int:
    """Run the mutants asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--least", type=float, default=0.9, help="share that has to be killed")
    parser.add_argument("--folder", type=Path, help="where the copy stays")
    asked = parser.parse_args()
    folder = asked.folder or Path(tempfile.mkdtemp())
    if not (folder / "pyproject.toml").exists():
        folder.mkdir(exist_ok=True)
        prepare(folder)
    os.chdir(folder)
    generate()
    every = outcomes()
    chosen = sorted(random.Random(asked.seed).sample(list(every), min(asked.count, len(every))))
    left = [name for name in chosen if every[name] is None]
    if left:
        run(left)
        every = outcomes()
    survivors = [name for name in chosen if every[name] in LIVED]
    for name in survivors:
        print(mutmut.get_diff_for_mutant(name, path=mutmut.find_mutant(name).path))
    share = 1 - len(survivors) / len(chosen)
    print(f"{len(chosen)} mutants of {len(every)}, {share:.1%} killed, seed {asked.seed}")
    return int(share < asked.least)


if __name__ == "__main__":
    sys.exit(main())
