"""Amplifiers made of stages at random: each is read back from its drawing, and the shares of
crossings and bends are held to the bars. ``python tests/bench/schematics.py [COUNT]``, 200 at first.

A small sample of the same runs in ``tests/draw/test_schematic.py``.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "draw"))

from random_amplifiers import amplifier
from svg_reading import circuit_of

from rework.draw import measure
from rework.draw.drawing import schematic


def main(count: int) -> int:
    """Draw so many amplifiers; print what is out of the bars and return whether anything is."""
    crossings = bends = pins = worse = 0
    slowest = 0.0
    for seed in range(1000, 1000 + count):
        circuit = circuit_of(amplifier(random.Random(seed)))
        started = time.process_time()
        sheets = schematic(circuit)
        slowest = max(slowest, time.process_time() - started)
        for name, sheet in sheets.items():
            measured = measure.measures(sheet)
            crossings += measured.crossings
            bends += measured.bends
            pins += measured.pins
            if measured.overlaps or measured.through:
                worse += 1
                print(f"{seed} sheet {name!r}: {measured.overlaps} {measured.through}")
    print(f"{crossings / pins:.4f} crossings and {bends / pins:.2f} bends a pin; {slowest:.2f} s")
    return int(worse > 0 or bends > 0.45 * pins or crossings > pins / 15)


if __name__ == "__main__":
    raise SystemExit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
