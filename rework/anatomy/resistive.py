"""A network of resistances and sources behind ohms, solved for the volts of its points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

#: Siemens from every point to nothing, so that a part of the network on no source has volts: zero.
_LEAK = 1e-9


@dataclass(frozen=True, slots=True)
class Resistance:
    """A resistance of ``ohms`` between two points."""

    start: str
    end: str
    ohms: float


@dataclass(frozen=True, slots=True)
class DrivenWinding:
    """A source of ``volts`` behind ``ohms``, for every volt per volt on its primary."""

    part: str
    start: str
    end: str
    volts: float
    ohms: float


def solved(resistances: Iterable[Resistance], sources: Iterable[DrivenWinding]) -> dict[str, float]:
    """Return the volts of every point of a network of resistances and sources behind ohms (node
    equations by Gaussian elimination; a heater circuit has a few dozen points).
    """
    driven = list(sources)
    edges = [(edge.start, edge.end, 1 / edge.ohms) for edge in resistances]
    edges += [(source.start, source.end, 1 / source.ohms) for source in driven]
    names = sorted({point for first, second, _ in edges for point in (first, second)})
    row = {name: number for number, name in enumerate(names)}
    size = len(names)
    table = [[0.0] * (size + 1) for _ in names]
    for number in range(size):
        table[number][number] = _LEAK
    for first, second, siemens in edges:
        for here, there in ((row[first], row[second]), (row[second], row[first])):
            table[here][here] += siemens
            table[here][there] -= siemens
    for source in driven:
        table[row[source.start]][size] += source.volts / source.ohms
        table[row[source.end]][size] -= source.volts / source.ohms
    for number in range(size):
        pivot = max(range(number, size), key=lambda r: abs(table[r][number]))
        table[number], table[pivot] = table[pivot], table[number]
        lead = table[number]
        for r in range(number + 1, size):
            if table[r][number]:
                factor = table[r][number] / lead[number]
                table[r] = [a - factor * b for a, b in zip(table[r], lead, strict=True)]
    volts = [0.0] * size
    for number in reversed(range(size)):
        rest = sum(table[number][k] * volts[k] for k in range(number + 1, size))
        volts[number] = (table[number][size] - rest) / table[number][number]
    return dict(zip(names, volts, strict=True))
