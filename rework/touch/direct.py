"""Direct volts: every rectifier charges to the peak of the alternating volts across it, and what is
left is resistance.

An estimate on the high side: rectifiers charge to the peak without load beyond the resistances
drawn, and what each of them drives counts with its sign. Its peak is the one that it sees while all
of them conduct a little, so that stray capacitance cannot lift a winding that only they hold.
"""

from __future__ import annotations

import math

import numpy as np

from rework.touch.element import Element, Variant
from rework.touch.network import Floats, Frame, Numbers, Patterns, Solved, solve
from rework.touch.parts import EARTH
from rework.touch.study import Row, Study
from rework.touch.updates import HALFWAY, Moving, moving


class Direct:
    """A study at 0 Hz: rectifiers as resistances, the plates of all other tubes conducting, or all
    their grids, or none; wipers all at either end.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        paths: list[Element | Variant] = [*study.elements, *study.variants]
        self.frame = Frame(
            (*study.frame.names, EARTH),
            EARTH,
            [(path.nodes[:2], (1.0, -1.0)) for path in paths],
            study.frame.branches,
        )
        #: The anodes and cathodes, in either frame: both number their unknowns alike.
        self.across: Patterns = self.frame.elements.take(study.rectifiers)
        #: A volt in series with each of them, from cathode to anode; where it is out, its volt
        #: drives nothing.
        self.sources: Patterns = study.frame.currents(
            [((number,), (1.0,)) for number in study.rectifiers]
        )
        rectifying = {variant.axis for variant in study.variants if variant.rectifies}
        #: The combination in which the peaks are found.
        self.charging = tuple(HALFWAY if axis in rectifying else 0 for axis in study.axes)
        #: Nothing conducts, plates do, grids do; a missing value is a short in the latter two.
        kinds = ((), ("conducts", "unknown"), ("grid", "unknown"))
        combos = (
            tuple(
                int((axis.kind in conducting and axis not in rectifying) or axis.kind == end)
                for axis in study.axes
            )
            for conducting in kinds
            for end in ("", "pot")
        )
        self.combos = tuple(dict.fromkeys(combos))
        self.varies: Moving = moving(study, self.combos)

    def admittance(self, rows: tuple[Row, ...]) -> Numbers:
        """Return the conductance of every element, (rows, elements), rectifiers charging."""
        still = self.study.admittance(rows, hertz=0.0)
        still[:, self.study.rectifiers] = 1 / self.study.assumed["rectifier_ohm"]
        return still

    def solved(self, rows: tuple[Row, ...]) -> Solved:
        """Return the network at 0 Hz."""
        return solve(self.frame, self.admittance(rows))

    def volts(self, share: Numbers, across: Numbers) -> Floats:
        """Return the direct volts at ports.

        ``share`` are the volts of the ports for one volt of each source, (rows, combinations, ...,
        ports, rectifiers), ``across`` the alternating volts at one volt of line across the
        rectifiers, (rows, ..., rectifiers, feeds).
        """
        peaks = math.sqrt(2) * self.study.volts * abs(across)
        volts: Floats = -np.real(share @ peaks[:, None])
        return volts
