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
import random
import shutil
import subprocess
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
    "tests/cases",
    "tests/sets",
    "tests/supply/test_fusing.py",
    "tests/supply/test_design.py",
    "tests/supply/test_needs.py",
    "tests/solve/test_stress.py",
    "tests/solve/test_solve_cases.py",
    "tests/solve/test_solve_function.py",
    "tests/commands/test_summary.py",
)
COPIED = (".ci", "circuits", "grammar", "rework", "tests")
READ = ("README.md", "DEVELOPERS.md")
#: mutmut's exit codes of a mutant that lived: its tests passed, or no test reaches it.
LIVED = (0, 33)


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
    }
    lines = [f"{key} = {json.dumps(value)}" for key, value in settings.items()]
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    (folder / "pyproject.toml").write_text(
        "\n".join((text, "[tool.mutmut]", *lines, "")), encoding="utf-8"
    )


def generate(folder: Path) -> None:
    """Write the mutants and find out which tests reach which function; what is there stays.

    mutmut has no command that stops there: the names to sample from are known only then.
    """
    steps = (
        "import mutmut.__main__ as mutmut",
        "mutmut.set_mutant_under_test('mutant_generation')",
        "mutmut.makedirs('mutants', exist_ok=True)",
        "mutmut.copy_src_dir(); mutmut.copy_also_copy_files(); mutmut.setup_source_paths()",
        "mutmut.create_mutants(2)",
        "mutmut.collect_or_load_stats(mutmut.get_mutant_runner(2))",
    )
    subprocess.run([sys.executable, "-c", "\n".join(steps)], cwd=folder, check=True)


def outcomes(folder: Path) -> dict[str, int | None]:
    """Return mutmut's exit code of each mutant, None for one that was not run."""
    files = sorted((folder / "mutants").rglob("*.meta"))
    codes: dict[str, int | None] = {}
    for file in files:
        codes |= json.loads(file.read_text(encoding="utf-8"))["exit_code_by_key"]
    return dict(sorted(codes.items()))


def run(folder: Path, names: list[str]) -> None:
    """Hold these mutants to their tests."""
    subprocess.run([sys.executable, "-m", "mutmut", "run", *names], cwd=folder, check=False)


def difference(folder: Path, name: str) -> str:
    """Return the change of a mutant."""
    shown = subprocess.run(
        [sys.executable, "-m", "mutmut", "show", name],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    return shown.stdout


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
    generate(folder)
    every = outcomes(folder)
    chosen = sorted(random.Random(asked.seed).sample(list(every), min(asked.count, len(every))))
    run(folder, [name for name in chosen if every[name] is None])
    every = outcomes(folder)
    tried = [name for name in chosen if every[name] is not None]
    survivors = [name for name in tried if every[name] in LIVED]
    for name in survivors:
        print(difference(folder, name))
    share = 1 - len(survivors) / len(tried)
    print(f"{len(tried)} mutants of {len(every)}, {share:.1%} killed, seed {asked.seed}")
    return int(share < asked.least)


if __name__ == "__main__":
    sys.exit(main())
