"""Sets behind a series lamp: its filament has the ohms that its own volts make it have, in a sound
set and under every trouble.
"""

from __future__ import annotations

from collections.abc import Sequence

from rework.circuit.circuit import Circuit
from rework.faultfinding.case import Case, UnsolvedTrouble, solved_cases
from rework.faultfinding.trouble import SingleTrouble
from rework.solve.bench import filament_ohms, with_series_resistance

#: Share of its volts that a lamp begins with; how far its ohms may be off, as a share, in a set to
#: begin from and in others, and how often they are sought: each step leaves less than half of the
#: error.
BEGIN, SETTLED, NEAR, MOST = 0.2, 0.01, 0.05, 6

#: What the part of the lamp is called, with a number.
_STEM = "LAMP"

_Wanted = tuple[SingleTrouble, Circuit]
_Solved = Case | UnsolvedTrouble


def solved_behind_lamp(
    wanted: Sequence[_Wanted], watts: float, *, line: float | None, sound: Case | None = None
) -> list[_Solved]:
    """Return every circuit solved behind a lamp of ``watts`` made for its line, the filament at the
    heat that the set gives it; ``sound`` is one that is, to begin from.
    """
    volts = line or next((c.mains.volts for _, c in wanted if c.mains is not None), 0.0)
    if not volts:
        return list(solved_cases(wanted, line=line, sound=sound))
    names = [circuit.free_part_name(_STEM) for _, circuit in wanted]
    first = _ohms_of(sound, names[0]) or filament_ohms(BEGIN * volts, watts, volts)
    enough = SETTLED if sound is None else NEAR
    ohms, solved = [first] * len(wanted), dict[int, _Solved]()
    left = list(range(len(wanted)))
    for _ in range(MOST):
        some = [(wanted[n][0], with_series_resistance(wanted[n][1], ohms[n])) for n in left]
        solved |= zip(left, solved_cases(some, line=line, sound=sound), strict=True)
        before = {n: ohms[n] for n in left}
        for n in left:
            case = solved[n]
            if isinstance(case, Case):  # before a fuse opens the lamp has all volts
                across = volts if case.blown else _lamp_volts(case, names[n])
                ohms[n] = filament_ohms(across, watts, volts)
        left = [n for n in left if abs(ohms[n] / before[n] - 1) > enough]
        if not left:
            break
    return [solved[n] for n in range(len(wanted))]


def _ohms_of(case: Case | None, name: str) -> float | None:
    """Return the ohms that the lamp of a solved set has."""
    lamp = case.circuit.part(name) if case is not None else None
    return lamp.value("resistance") if lamp is not None else None


def _lamp_volts(case: Case, name: str) -> float:
    """Return the RMS volts across the lamp."""
    network = case.bias.network
    place = next((n for n, branch in enumerate(network.ohmic) if branch.name == name), None)
    if place is None:
        return 0.0
    across = case.bias.steady.x @ network.ohmic_at[place]
    return float((across**2).mean() ** 0.5)
