"""Every schematic held to the bars: a table of what each sheet measures, and what misses.

``python tests/bench/schematics.py [random FROM COUNT | large | FILE ...] [--all] [--pictures DIR]``:
200 amplifiers made of stages at random when asked for ``random``, chains of stages of some 60 and
150 parts, with the bars of their time, for ``large``; else the files, circuits and jobs
(both sides of a job, in the same places); without any, all demos, sets and cases. Printed are sheets
that miss a bar, with ``--all`` every sheet. A small sample runs in ``tests/draw/test_schematic.py``.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "draw"))

from idioms import misplaced
from random_amplifiers import amplifier, long_chain
from svg_reading import circuit_of

from rework.circuit.circuit import Circuit
from rework.draw import measure, readback
from rework.draw.drawing import Sheets, pair, schematic
from rework.draw.ink import svg
from rework.draw.overlay import found_by
from rework.draw.paper import to_png
from rework.language.files import read_circuit_file
from rework.rules.job_file import try_job_file
from rework.safety.check import check

ROOT = Path(__file__).parents[2]
#: Stages of a chain of some 60 parts and of some 150, and the seconds of one core it may take.
_LARGE = ((10, 1.5), (27, 6.0))
#: Crossings on a sheet, and for each so many pins one; bends a pin (issue, bars).
_CROSSINGS, _PINS_A_CROSSING, _BENDS = 4, 15, 0.45


@dataclass(frozen=True, slots=True)
class Sides:
    """What was drawn under a name: each side's circuit and sheets, and the seconds of one core."""

    name: str
    circuits: tuple[Circuit, ...]
    sheets: tuple[Sheets, ...]
    seconds: float


def drawn(path: Path) -> Sides | None:
    """Return what a file draws; None where the file has errors."""
    name = str(path.relative_to(ROOT)) if path.is_relative_to(ROOT) else str(path)
    if path.suffix == ".job":
        run = try_job_file(str(path), [])
        if run is None:
            return None
        overlays = found_by(check(run.before)), found_by(check(run.after))
        started = time.process_time()
        both = pair(run.before, run.after, overlays=overlays)
        return Sides(name, (run.before, run.after), both, time.process_time() - started)
    circuit, _ = read_circuit_file(path)
    if circuit is None:
        return None
    started = time.process_time()
    sheets = schematic(circuit)
    return Sides(name, (circuit,), (sheets,), time.process_time() - started)


def misses(circuit: Circuit, sheets: Sheets) -> Iterator[tuple[str, str, measure.Measures]]:
    """Yield each sheet of a side with what it misses, "" for nothing, and its measures."""
    wrong = readback.faults(tuple(sheets.values()), circuit)
    for name, sheet in sheets.items():
        measured = measure.measures(sheet)
        said = [*wrong, *measured.overlaps, *measured.through, *misplaced(circuit, sheet)]
        if measured.crossings > min(_CROSSINGS, measured.pins / _PINS_A_CROSSING):
            said.append(f"{measured.crossings} crossings")
        if measured.bends > _BENDS * measured.pins:
            said.append(f"{measured.bends / measured.pins:.2f} bends a pin")
        if measured.text_mm < 2.4 or measured.number_mm < 1.8:
            said.append(f"type of {measured.text_mm:.2f} mm")
        said += [f"{p.key} where no wire went" for p in sheet.placed if _is_cut(p.key)]
        yield name, "; ".join(said), measured


def _is_cut(key: str) -> bool:
    """True for a flag at which a net ends that no wire could join."""
    words = key.split()
    return len(words) == 3 and words[0] == "flag" and words[1].isdigit()


def report(sides: Sides, *, everything: bool) -> tuple[int, int]:
    """Print the rows of a name; return how many sheets there are and how many miss a bar."""
    count = bad = 0
    for side, (circuit, sheets) in enumerate(zip(sides.circuits, sides.sheets, strict=True)):
        when = ("before", "after")[side] if len(sides.circuits) > 1 else ""
        for name, said, measured in misses(circuit, sheets):
            count, bad = count + 1, bad + bool(said)
            if said or everything:
                print(
                    f"{sides.name:48} {when:6} {name:10} {measured.pins:4} pins"
                    f" {measured.crossings:3} crossings {measured.bends / max(1, measured.pins):.2f}"
                    f" bends {sides.seconds:5.2f} s  {said}",
                    flush=True,
                )
    return count, bad


def pictures(sides: Sides, folder: Path) -> None:
    """Write every sheet as a picture."""
    stem = Path(sides.name).stem
    for side, sheets in enumerate(sides.sheets):
        when = ("-before", "-after")[side] if len(sides.sheets) > 1 else ""
        for name, sheet in sheets.items():
            path = folder / f"{stem}{when}{'-' + name.replace('/', '-') if name else ''}.png"
            path.write_bytes(to_png(svg(sheet)))


def large() -> Iterator[Sides]:
    """Yield chains of stages, drawn; raise AssertionError where one takes too long."""
    for stages, most in _LARGE:
        circuit = circuit_of(long_chain(stages))
        started = time.process_time()
        sheets = schematic(circuit)
        seconds = time.process_time() - started
        assert seconds < most, f"{len(circuit.parts)} parts take {seconds:.2f} s"
        yield Sides(f"chain of {len(circuit.parts)} parts", (circuit,), (sheets,), seconds)


def subjects(asked: argparse.Namespace) -> Iterator[Sides]:
    """Yield what was asked for, drawn."""
    if asked.what[:1] == ["random"]:
        first, count = (int(n) for n in (*asked.what[1:], "1000", "200")[:2])
        for seed in range(first, first + count):
            circuit = circuit_of(amplifier(random.Random(seed)))
            started = time.process_time()
            sheets = schematic(circuit)
            yield Sides(f"random {seed}", (circuit,), (sheets,), time.process_time() - started)
        return
    if asked.what == ["large"]:
        yield from large()
        return
    paths = [Path(name).resolve() for name in asked.what] or [
        path
        for folder in ("circuits", "tests/sets", "tests/cases")
        for suffix in ("circuit", "job")
        for path in sorted((ROOT / folder).rglob(f"*.{suffix}"))
    ]
    for path in paths:
        if (sides := drawn(path)) is not None:
            yield sides


def main() -> int:
    """Print the table; return whether anything misses a bar."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", nargs="*")
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--pictures", type=Path)
    asked = parser.parse_args()
    total = missed = 0
    slowest = (0.0, "")
    for sides in subjects(asked):
        count, bad = report(sides, everything=asked.all)
        total, missed = total + count, missed + bad
        slowest = max(slowest, (sides.seconds, sides.name))
        if asked.pictures:
            asked.pictures.mkdir(parents=True, exist_ok=True)
            pictures(sides, asked.pictures)
    print(f"{missed} of {total} sheets miss a bar; slowest {slowest[0]:.2f} s ({slowest[1]})")
    return int(missed > 0)


if __name__ == "__main__":
    raise SystemExit(main())
