"""What is left in the capacitors after the plug is out, and how long until it no longer matters.

Every capacitor is taken as charged to the peak that its rectifiers can reach, and left to the
resistances that are there with tubes cold and rectifiers blocking. A capacitor across the line
holds the peak of the line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from rework.circuit.circuit import Circuit
from rework.touch.direct import Direct
from rework.touch.network import UNIT, Floats, solve
from rework.touch.person import assumed
from rework.touch.study import Study
from rework.touch.updates import moving, spread

#: Joules below which a capacitor is not listed: what none of the rules for accessible capacitors
#: reaches.
LEAST_JOULES = 1e-4
#: Beyond so many ohms only the anchors of the sum are left, and they are not in the set.
MOST_OHMS = 1e8


@dataclass(frozen=True, slots=True)
class Stored:
    """One capacitor: farads, the worst volts on it, joules, and seconds to 60 V and to 34 V in each
    position of switches and umbilicals.

    ``positions`` holds the words of a position, the ohms that discharge it (infinite where nothing
    does), and the seconds to 60 V and to 34 V with every other capacitor discharging through the
    same resistances. Of a capacitor whose farads are not written nothing is known: everything is
    infinite.
    """

    part: str
    farads: float
    volts: float
    joules: float
    positions: tuple[tuple[str, float, float, float], ...]

    @property
    def slowest(self) -> float:
        """Seconds to 60 V in the worst position."""
        return max((seconds for _, _, seconds, _ in self.positions), default=0.0)


def seconds_to(
    volts: ArrayLike, farads: Sequence[float], ohms: ArrayLike, down_to: float
) -> list[float]:
    """Return the seconds each capacitor takes to fall to ``down_to`` volts for good, all
    discharging together.

    ``ohms`` is the matrix of resistances seen from the capacitors. From ``v = -R C dv/dt``: with
    ``C^1/2 R C^1/2 = Q T Q'``, ``v(t) = C^-1/2 Q exp(-t/T) Q' C^1/2 v(0)``; one alone takes ``R C
    ln(V/V1)``.
    """
    start, root = np.asarray(volts, float), np.sqrt(np.asarray(farads, float))
    taus, modes = np.linalg.eigh(root[:, None] * np.asarray(ohms) * root)
    taus = np.maximum(taus, 1e-12)
    parts = (modes / root[:, None]) * (modes.T @ (root * start))
    times = np.concatenate([[0.0], np.geomspace(1e-4, 1e5, 1801)])
    course = abs(parts @ np.exp(-times[None, :] / taus[:, None]))
    above = course > down_to
    found = []
    for row, still in zip(course, above, strict=True):
        last = int(np.flatnonzero(still)[-1]) if still.any() else -1
        if last + 1 == len(times):
            found.append(math.inf)
        elif last < 1:
            found.append(float(times[last + 1]))
        else:
            share = math.log(row[last] / down_to) / math.log(row[last] / max(row[last + 1], 1e-30))
            found.append(float(times[last] + share * (times[last + 1] - times[last])))
    return found


def stored(circuit: Circuit, *, changes: tuple[tuple[str, float], ...] = ()) -> tuple[Stored, ...]:
    """Return every capacitor that is left with energy worth telling, the largest first."""
    unsized = tuple(
        Stored(
            part.name, math.inf, math.inf, math.inf, (("as it is", math.inf, math.inf, math.inf),)
        )
        for part in circuit.parts
        if part.kind in ("capacitor", "electrolytic") and part.value("capacitance") is None
    )
    return unsized + _stored(Study(circuit, assumed(changes), open_conductors=False))


def _stored(study: Study) -> tuple[Stored, ...]:
    numbers = [
        number
        for number, element in enumerate(study.elements)
        if element.kind == "capacitor" and element.farads > 0
    ]
    if not numbers:
        return ()
    patterns = study.frame.elements.take(numbers)
    volts = np.zeros(len(numbers))
    ohms: dict[str, Floats] = {}
    steady, none = Direct(study), moving(study, ((0,) * len(study.axes),))
    charging = moving(study, (steady.charging,))
    for rows, _, solved in study.blocks():
        alternating = spread(solved, charging, patterns, study.feeds).across[:, 0]
        across = spread(solved, charging, steady.across, study.feeds).across[:, 0]
        charged = steady.volts(
            spread(steady.solved(rows), none, patterns, steady.sources).across, across
        )[:, 0]
        peak = abs(charged) + math.sqrt(2) * study.volts * abs(alternating)
        for number, row in enumerate(rows):
            if any(where == "pulled" for _, where in row.umbilicals):
                continue  # charged while everything is connected
            volts = np.maximum(volts, peak[number][:, list(row.feeds())].max(axis=1))
    for row in {(row.switches, row.umbilicals): row for row in study.rows if row.hot}.values():
        still = study.admittance((row,), hertz=0.0)
        for number, element in enumerate(study.elements):
            if element.gate[:1] in (("blade",), ("earth",)) or element.kind == "capacitor":
                still[0, number] = 0.0  # the plug is out, and leakage is not to be relied on
        words = (
            ", ".join(
                f"{name} {where}"
                for name, where in (*row.switches, *row.umbilicals)
                if where != "mated"
            )
            or "as it is"
        )
        ohms[words] = (
            spread(solve(steady.frame, still), none, patterns, patterns).across[0, 0] * UNIT
        )
    return tuple(
        sorted(_each(study, numbers, volts, ohms), key=lambda one: (-one.joules, one.part))
    )


def _each(
    study: Study, numbers: list[int], volts: Floats, ohms: Mapping[str, Floats]
) -> Iterator[Stored]:
    farads = [study.elements[number].farads for number in numbers]
    times = {
        words: [seconds_to(volts, farads, found, end) for end in (60.0, 34.0)]
        for words, found in ohms.items()
    }
    for place, number in enumerate(numbers):
        held = float(volts[place])
        joules = farads[place] * held**2 / 2
        if joules < LEAST_JOULES:
            continue
        rows: list[tuple[str, float, float, float]] = []
        for words, found in ohms.items():
            own = abs(float(found[place, place]))
            if own < MOST_OHMS:
                rows.append((words, own, times[words][0][place], times[words][1][place]))
            else:
                sixty, low = (math.inf if held > end else 0.0 for end in (60.0, 34.0))
                rows.append((words, math.inf, sixty, low))
        yield Stored(study.elements[number].part, farads[place], held, joules, tuple(rows))
