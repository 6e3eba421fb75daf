"""Ratios against named baselines in the same run: ``python tests/bench/ratios.py``, or one table of
``size``, ``start`` and ``summary``. Nothing here is asserted. Seconds are of the processor, so that
a busy machine does not count, but where it says "by the clock".

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
    """Return the median seconds of some runs; of several after one that does not count."""
    if runs > 1:
        work()
    times = []
    for _ in range(runs):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
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


def cold(*commands: tuple[str, ...]) -> list[float]:
    """Return the least seconds of a whole process of each command in twelve rounds, after one in
    which compiled modules are kept as on a user's machine; they take turns, so that a machine that
    gets busier or slower does so for all.
    """
    rounds = [[_process(words)[0] for words in commands] for _ in range(13)]
    return [min(times) for times in zip(*rounds[1:], strict=True)]


def _process(words: tuple[str, ...]) -> tuple[float, float]:
    """Return the seconds of a whole process, and those by the clock."""
    environment = {
        name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
    }
    start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *words], capture_output=True, env=environment, check=False)
    clock, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, clock


#: The commands that ``rework summary`` sums up.
SUMMED = ("check", "touch", "faults", "volts", "signal")


def spent(*words: str) -> tuple[float, float]:
    """Return the least seconds of a whole process, and those by the clock, in three runs."""
    times, clock = zip(*(_process(words) for _ in range(3)), strict=True)
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


def sizes() -> None:
    """Print what reading and checking cost by the number of parts."""
    parser = bare_parser()
    print(
        "| parts | bare LALR parse, s | parse + build, ratio | csgraph, s | trace_ties, ratio |"
        " whole check, ratio | whole check, s |"
    )
    print("|---|---|---|---|---|---|---|")
    for count, runs in ((100, 9), (1_000, 7), (10_000, 3), (100_000, 1)):
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
            f" {whole / graph:.2f} | {whole:.3f} |",
            flush=True,
        )


def starts() -> None:
    """Print what a whole process costs: a set with hazards, and a job."""
    jobs = ("pager.circuit", "pager.job")
    ours = [("-m", "rework", "check", str(ROOT / "circuits" / "pager" / name)) for name in jobs]
    yardstick, *times = cold(("-c", "import lark, networkx"), *ours)
    print(f"\ncold start: import lark, networkx {yardstick:.3f} s")
    for name, seconds in zip(jobs, times, strict=True):
        print(f"rework check {name}: {seconds:.3f} s, ratio {seconds / yardstick:.2f}")


def main() -> None:
    """Print the tables that are asked for, or all."""
    tables = {"size": sizes, "start": starts, "summary": summaries}
    for name in sys.argv[1:] or tables:
        tables[name]()


if __name__ == "__main__":
    main()
