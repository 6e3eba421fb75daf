"""Two hundred amplifiers made of stages: each is read back from its drawing, and the shares of
crossings and bends are printed. On demand.
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


def test_two_hundred_random_amplifiers_read_back():
    crossings, bends, pins, slowest = 0, 0, 0, 0.0
    for seed in range(200):
        circuit = circuit_of(amplifier(random.Random(1000 + seed)))
        started = time.process_time()
        (sheet,) = schematic(circuit).values()
        slowest = max(slowest, time.process_time() - started)
        measured = measure.measures(sheet)
        assert measured.overlaps == ()
        crossings, bends, pins = (
            crossings + measured.crossings,
            bends + measured.bends,
            pins + measured.pins,
        )
    print(f"{crossings / pins:.4f} crossings and {bends / pins:.2f} bends a pin; {slowest:.2f} s")
    assert bends <= 0.45 * pins
