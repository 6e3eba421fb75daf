"""What is left in the capacitors after the plug is out, and how long until it no longer matters.

Every capacitor is taken as charged to the peak that its rectifiers can reach, and left to the resistances that are there
with tubes cold and rectifiers blocking. A capacitor across the line holds the peak of the line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rework.circuit.circuit import Circuit
from rework.safety.current.direct import direct
from rework.safety.current.network import UNIT, Frame, seen, solve
from rework.safety.current.parts import CONDITIONS, EARTH
from rework.safety.current.person import assumed
from rework.safety.current.study import FEEDS, Study

#: Joules below which a capacitor is not listed: what none of the rules for accessible capacitors reaches.
LEAST_JOULES = 1e-4


@dataclass(frozen=True, slots=True)
class Stored:
    """One capacitor: farads, the worst volts on it, joules, and seconds to 60 V and to 34 V in each position of the switches.

    ``ohms`` is what discharges it, infinite where nothing does; ``positions`` pairs the words of a position with
    (ohms, seconds to 60 V, seconds to 34 V). Other capacitors that discharge through the same resistances make it slower.
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

    def words(self) -> str:
        """Return the finding as a sentence."""
        charge = f"{self.part}: {self.volts:.0f} V, {self.joules:.3g} J"
        if self.volts <= 34:
            return f"{charge}"
        told = [f"{where}: nothing discharges it" if math.isinf(ohms) else f"{where}: {ohms:.3g} ohm, {sixty:.3g} s to 60 V, {low:.3g} s to 34 V"
                for where, ohms, sixty, low in self.positions]
        return f"{charge}; " + "; ".join(told)


def seconds_to(volts: float, farads: float, ohms: float, down_to: float) -> float:
    """Return the seconds a capacitor takes through a resistance: ``t = R C ln(V / V1)``; 0 where it is there already."""
    return 0.0 if volts <= down_to else ohms * farads * math.log(volts / down_to)


def stored(circuit: Circuit, *, changes: tuple[tuple[str, float], ...] = ()) -> tuple[Stored, ...]:
    """Return every capacitor that is left with energy worth telling, the largest first."""
    return _stored(Study(circuit, assumed(changes), open_conductors=False, umbilicals=False))


def _stored(study: Study) -> tuple[Stored, ...]:
    import numpy as np

    numbers = [number for number, element in enumerate(study.elements) if element.kind == "capacitor" and element.farads > 0]
    if not numbers:
        return ()
    patterns = study.frame.elements.take(numbers)
    volts = np.zeros(len(numbers))
    ohms: dict[str, np.ndarray] = {}
    cold = next(number for number, condition in enumerate(CONDITIONS) if not condition.conducting and condition.hot)
    for rows, _, solved in study.blocks():
        peak = math.sqrt(2) * study.volts * abs(seen(solved, patterns, study.feeds).volts)
        for number, row in enumerate(rows):
            if not study.condition(row).conducting:
                volts = np.maximum(volts, peak[number, :, list(row.feeds())].max(axis=0))
        found = direct(study, rows, study.admittance(rows), solved, patterns)
        if found is not None:
            volts = np.maximum(volts, abs(found[1][:, :, : len(FEEDS) - 1]).max(axis=(0, 2)))
    for row in {(row.switches, row.umbilicals): row for row in study.rows}.values():
        still = study.admittance((row,), hertz=0.0)
        still[0] = [element.siemens[cold] if passed or element.kind in ("tube", "rectifier") else 0.0
                    for element, passed in zip(study.elements, still[0], strict=True)]
        for number, element in enumerate(study.elements):
            if element.gate[:1] in (("blade",), ("earth",)) or element.kind == "capacitor":
                still[0, number] = 0.0  # the plug is out, and leakage is not to be relied on
        frame = Frame((*study.frame.names, EARTH), EARTH, [(element.nodes[:2], element.weights[:2]) for element in study.elements],
                      study.frame.branches)
        words = ", ".join(f"{name} {where}" for name, where in row.switches) or "any position"
        ohms[words] = abs(solve(frame, still).own(patterns)[0]) * UNIT
    return tuple(sorted(_each(study, numbers, volts, ohms), key=lambda one: (-one.joules, one.part)))


def _each(study: Study, numbers: list[int], volts, ohms: Mapping[str, object]):
    for place, number in enumerate(numbers):
        element = study.elements[number]
        joules = element.farads * float(volts[place]) ** 2 / 2
        if joules < LEAST_JOULES:
            continue
        rows = []
        for words, found in ohms.items():
            # Beyond this only the anchors of the sum are left, and they are not in the set.
            path = float(found[place]) if found[place] < 1e8 else math.inf
            rows.append((words, path, *(seconds_to(float(volts[place]), element.farads, path, end) if volts[place] > end else 0.0 for end in (60.0, 34.0))))
        yield Stored(element.part, element.farads, float(volts[place]), joules, tuple(rows))
