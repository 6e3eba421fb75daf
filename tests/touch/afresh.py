"""A fault put into the matrix and solved again: the check on the updates."""

from __future__ import annotations

import numpy as np

from rework.touch.direct import ANCHOR as FAINT
from rework.touch.failures import Fault
from rework.touch.network import ANCHOR, Frame, Patterns, solve
from rework.touch.parts import EARTH
from rework.touch.study import Row, Study


def with_fault(
    study: Study,
    fault: Fault,
    rows: tuple[Row, ...],
    combo: tuple[int, ...],
    admittance: np.ndarray | None = None,
    *,
    level: bool = False,
):
    """Return the solved network of some rows with a fault and a combination in it; that of other
    ``admittance``, and at 0 Hz with ``level``, as ``Direct`` solves it.

    What is new comes last among the unknowns, so that the patterns of the study still fit.
    """
    anchor = ANCHOR if admittance is None else FAINT
    at = dict(zip(study.axes, combo, strict=True))
    names = {study.elements[number].name for number in fault.opened}
    admittance = study.admittance(rows) if admittance is None else admittance.copy()
    admittance[:, list(fault.opened)] = 0.0
    for number, variant in enumerate(study.variants, len(study.elements)):
        there = at[variant.axis] == variant.position and (
            variant.axis.kind in ("pot", "tap") or variant.name not in names
        )
        admittance[:, number] = variant.siemens if there else 0.0
    count, turned = 2 if level else None, rows[0].turned
    wanted = [
        (element.nodes[:count], ((turned and element.turned) or element.weights)[:count])
        for element in study.elements
    ]
    wanted += [(variant.nodes, (1.0, -1.0)) for variant in study.variants] + [
        (nodes, (1.0, -1.0)) for nodes, _ in fault.added
    ]
    new = [siemens for _, siemens in fault.added]
    branches = (*study.frame.branches, *range(len(study.frame.elements), len(wanted)))
    frame = Frame((*study.frame.names, EARTH), EARTH, wanted, branches)
    return solve(
        frame,
        np.concatenate(
            [admittance, np.tile(np.array(new, admittance.dtype), (len(rows), 1))], axis=1
        ),
        anchor=anchor,
    )


def seen(solved, ports: Patterns, feeds: Patterns) -> tuple[np.ndarray, np.ndarray]:
    """Return (volts, ohms) in units of ports, (rows, ports[, feeds])."""
    return solved.between_and_own(ports, feeds)
