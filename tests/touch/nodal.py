"""Nodal analysis written down once more for the tests, with nothing of the program in it.

The network is a list of (node, node, siemens); the person is the IEC 60990 figure 4 network. Earth
is node "0", to which the neutral is joined at the service.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

LINE_OHM = 0.25
BRANCH = tuple[str, str, complex]


def person_ohm(hertz: float) -> complex:
    """1500 ohm and 0.22 uF in parallel, then 500 ohm with 10 kohm and 22 nF across it."""
    w = 2j * math.pi * hertz
    return 1 / (1 / 1500 + w * 0.22e-6) + 1 / (1 / 500 + 1 / (10e3 + 1 / (w * 22e-9)))


def reading(amps: complex, hertz: float) -> float:
    """U2 over 500 ohm: the volts on 22 nF behind 10 kohm, across the 500 ohm."""
    w = 2j * math.pi * hertz
    body = 1 / (1 / 500 + 1 / (10e3 + 1 / (w * 22e-9)))
    return abs(amps * body / (1 + w * 22e-9 * 10e3) / 500)


def thevenin(
    branches: Sequence[BRANCH], sources: Sequence[tuple[str, complex]], port: tuple[str, str]
) -> tuple[complex, complex]:
    """Return (volts, ohms) of an open port; ``sources`` are (node, volts) behind 0.25 ohm."""
    nodes = sorted({node for one, other, _ in branches for node in (one, other)} - {"0"})
    nodes = sorted({*nodes, *port, *(node for node, _ in sources)} - {"0"})
    number = {node: place for place, node in enumerate(nodes)}
    matrix = np.eye(len(nodes), dtype=complex) * 1e-12
    amps = np.zeros((len(nodes), 2), complex)
    every = [*branches, *((node, "0", 1 / LINE_OHM) for node, _ in sources)]
    for one, other, siemens in every:
        for a, b in ((one, other), (other, one)):
            if a != "0":
                matrix[number[a], number[a]] += siemens
                if b != "0":
                    matrix[number[a], number[b]] -= siemens
    for node, volts in sources:
        amps[number[node], 0] += volts / LINE_OHM
    for node, sign in zip(port, (1, -1), strict=True):
        if node != "0":
            amps[number[node], 1] += sign
    volts = np.linalg.solve(matrix, amps)

    def across(column: int) -> complex:
        ends = [volts[number[node], column] if node != "0" else 0j for node in port]
        return complex(ends[0] - ends[1])

    return across(0), across(1)
