"""Ratios against named baselines in the same run: ``python tests/bench/ratios.py``. Nothing here is
asserted.

Baselines: lark's bare LALR parse (one call, trees) of the same text; scipy's
csgraph.connected_components on the same graph, its building from name lists counted; the cold start
of a process that imports lark and networkx.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy
from lark import Lark
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rework.language.resolve import read_circuit
from rework.language.syntax import grammar_folder
from rework.safety.check import check
from rework.safety.ties import trace_ties

ROOT = Path(__file__).parents[2]


def netlist(count: int) -> str:
    """Return a text of so many parts: a line side, an isolating transformer, and a ladder of
    resistors behind it. The check finds nothing in it: where it does, a remedy is tried, and what
    is timed is a second check.
    """
    head = [
        "P1 plug three-pin : line=L1, neutral=N1, earth=CH",
        "F1 fuse 1 A slow : L1 -- L2",
        "S1 switch SPST 250 V 3 A : L2 -- L3",
        "T1 transformer 50 VA : primary 117 V = L3 -- N1, hv 250 V 100 mA = X0 -- CH, core=CH",
        "M1 chassis : CH",
    ]
    rows = [
        f"R{i} resistor 220k 10% 1/2 W : X{i // 2} -- X{i // 2 + 1}"
        for i in range(count - len(head))
    ]
    return (
        "\n".join(
            [*head, *rows, f"R0Z resistor 1k 1 W : X{(count - len(head) - 1) // 2 + 1} -- CH"]
        )
        + "\n"
    )


def median(work: Callable[[], object], runs: int) -> float:
    """Return the median seconds of some runs after one that does not count."""
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def bare_parser() -> Lark:
    """Return a plain parser of a whole file with the same grammar: no transformer, one call, trees."""
    grammar = (
        (grammar_folder() / "circuit.lark").read_text(encoding="utf-8").replace("%ignore BLANK", "")
    )
    grammar += "\nfile: (part NEWLINE)*\nNEWLINE: /\\n/\nSPACES: /[ \\t]+/\n%ignore SPACES\n"
    return Lark(
        grammar.replace(", BLANK)", ")"),
        parser="lalr",
        start="file",
        import_paths=[str(grammar_folder())],
    )


def csgraph_components(circuit) -> int:
    """Return how many components scipy counts: names numbered, matrix built, components counted."""
    number: dict[str, int] = {}
    ends = [
        [number.setdefault(node, len(number)) for _, node in part.pins][:2]
        for part in circuit.parts
        if len(part.pins) > 1
    ]
    rows, columns = numpy.array(ends).T
    return connected_components(
        coo_matrix((numpy.ones(len(rows)), (rows, columns)), shape=(len(number),) * 2),
        directed=False,
    )[0]


def cold(*words: str) -> float:
    """Return the median seconds of a whole process, compiled modules kept as on a user's machine."""
    environment = {
        name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
    }
    return median(
        lambda: subprocess.run(
            [sys.executable, *words], capture_output=True, env=environment, check=False
        ),
        9,
    )


#: The commands that ``rework summary`` sums up.
SUMMED = ("check", "touch", "faults", "volts", "signal")


def spent(*words: str) -> tuple[float, float]:
    """Return the least seconds of processor time and by the clock of a whole process in three
    runs.
    """
    environment = {
        name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
    }
    times, clock = [], []
    for _ in range(3):
        start = time.perf_counter()
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, *words], capture_output=True, env=environment, check=False)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime - before.ru_utime)
        clock.append(time.perf_counter() - start)
    return min(times), min(clock)


def summaries() -> None:
    """Print what ``rework summary`` of every demo costs, against the commands that it sums up; the
    aims are 1.5 s by the clock on two quiet cores, and half of their processor time.
    """
    print("\n| job | by the clock, s | summary, s | the commands it sums up, s | share |")
    print("|---|---|---|---|---|")
    for job in sorted((ROOT / "circuits").glob("*/*.job")):
        own, clock = spent("-m", "rework", "summary", str(job))
        each = sum(spent("-m", "rework", command, str(job))[0] for command in SUMMED)
        share = f"{own / each:.2f}"
        print(f"| {job.stem} | {clock:.2f} | {own:.2f} | {each:.2f} | {share} |", flush=True)


def main() -> None:
    """Print the tables."""
    parser = bare_parser()
    print(
        "| parts | bare LALR parse, s | parse + build, ratio | csgraph, s | trace_ties, ratio |"
        " whole check, ratio |"
    )
    print("|---|---|---|---|---|---|")
    for count, runs in ((100, 9), (1_000, 7), (10_000, 5), (100_000, 3)):
        text = netlist(count)
        circuit, problems = read_circuit(text, file="bench.circuit")
        assert circuit is not None, problems
        bare, ours = (
            median(lambda: parser.parse(text), runs),
            median(lambda: read_circuit(text, file="bench.circuit"), runs),
        )
        graph = median(lambda: csgraph_components(circuit), runs)

        def fresh():
            return circuit.with_parts(circuit.parts)

        ties, whole = (
            median(lambda: trace_ties(fresh()), runs),
            median(lambda: check(fresh()), runs),
        )
        print(
            f"| {count:,} | {bare:.4f} | {ours / bare:.2f} | {graph:.4f} | {ties / graph:.2f} |"
            f" {whole / graph:.2f} |",
            flush=True,
        )
    yardstick = cold("-c", "import lark, networkx")
    ours = cold("-m", "rework", "check", str(ROOT / "circuits/pager/pager.circuit"))
    print(
        f"\ncold start of rework check against import lark, networkx: {ours / yardstick:.2f}"
        f" ({ours:.3f} s against {yardstick:.3f} s)"
    )
    summaries()


if __name__ == "__main__":
    main()
