"""What mutmut does to a copy of the project that is the folder one stands in; see ``mutants``.

mutmut reads its settings there as it is imported: import this only then.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import mutmut.__main__ as mutmut
from mutmut.runners.harness import PytestRunner
from mutmut.state import state
from mutmut.workers import isolation

#: mutmut's exit codes of a mutant that lived: its tests passed, or no test reaches it.
LIVED = (0, 33)
#: A test of so many seconds is not run on a mutant.
LONG = 40.0


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
        return ["-x", "-q", "-p", "no:cacheprovider", *(quick or in_order)]


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


def difference(name: str) -> str:
    """Return what a mutant changes."""
    return str(mutmut.get_diff_for_mutant(name, path=mutmut.find_mutant(name).path))
