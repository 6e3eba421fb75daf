"""Direct volts: every rectifier charges to the peak of the alternating volts across it, and what is left is resistance.

An estimate on the high side: rectifiers charge to the peak without load beyond the resistances drawn.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rework.safety.current.network import UNIT, Frame, Patterns, Solved, solve
from rework.safety.current.parts import EARTH
from rework.safety.current.study import Row, Study

if TYPE_CHECKING:
    import numpy as np


def direct(study: Study, rows: tuple[Row, ...], admittance: np.ndarray, solved: Solved, patterns: Patterns):
    """Return (rows, volts, ohms) of the ports at 0 Hz, or None where there is no rectifier or no fitting row.

    Only rows in which tubes and rectifiers do not conduct are used, for in them the alternating volts across a rectifier
    are those that it charges to. ``volts`` has the shape (rows, ports, feeds).
    """
    import numpy as np

    rectifiers = [number for number, element in enumerate(study.elements) if element.rectifies]
    chosen = [number for number, row in enumerate(rows) if not study.condition(row).conducting]
    if not rectifiers or not chosen:
        return None
    across = study.frame.elements.take(rectifiers)
    peaks = math.sqrt(2) * study.volts * abs(solved.between(across, study.feeds))[chosen]
    some = tuple(rows[number] for number in chosen)
    still = study.admittance(some, hertz=0.0)
    siemens = 1 / study.assumed["rectifier_ohm"]
    still[:, rectifiers] = siemens
    frame = Frame(study.frame.names + (EARTH,), EARTH, [(element.nodes[:2], element.weights[:2]) for element in study.elements], study.frame.branches)
    dc = solve(frame, still)
    # A source of E from anode to cathode behind R drives E / R into the cathode and out of the anode.
    volts = -np.einsum("spr,srf->spf", dc.between(patterns, across), peaks) * siemens * UNIT
    return some, volts, dc.own(patterns) * UNIT
