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
from pathlib import Path

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
#: Not among them: minutes each under mutmut's eyes, and what they hold others hold in seconds.
LEFT_OUT = (
    "tests/safety/test_report.py::test_two_hash_seeds_give_the_same_bytes",
    "tests/safety/test_report.py::test_the_check_loads_no_heavy_library",
    "tests/supply/test_design.py::test_the_same_list_gives_the_same_bytes",
    "tests/supply/test_options.py",
    "tests/touch/test_against_the_check.py",
)
COPIED = (".ci", "circuits", "grammar", "rework", "tests")
READ = ("README.md", "DEVELOPERS.md")


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
        "pytest_add_cli_args": [
            *("-p", "no:cacheprovider"),
            *(f"--deselect={name}" for name in LEFT_OUT),
        ],
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
    import mutant_run  # mutmut reads its settings where it is imported

    mutant_run.generate()
    every = mutant_run.outcomes()
    chosen = sorted(random.Random(asked.seed).sample(list(every), min(asked.count, len(every))))
    left = [name for name in chosen if every[name] is None]
    if left:
        mutant_run.run(left)
        every = mutant_run.outcomes()
    survivors = [name for name in chosen if every[name] in mutant_run.LIVED]
    for name in survivors:
        print(mutant_run.difference(name))
    share = 1 - len(survivors) / len(chosen)
    print(f"{len(chosen)} mutants of {len(every)}, {share:.1%} killed, seed {asked.seed}")
    return int(share < asked.least)


if __name__ == "__main__":
    sys.exit(main())
