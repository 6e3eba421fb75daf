"""Single faults of random networks against the nodal analysis of the tests: each resistor open and
short, in both ways of the plug, every resistor at the end that passes more.
"""

from __future__ import annotations

import math
import random

import pytest
from handworked import BARE, tied
from nodal import person_ohm, reading, thevenin

from rework.touch.faults import faults

VOLTS, HERTZ = 132.0, 60.0


def network(seed: int) -> list[tuple[str, str, str, float]]:
    """Return (name, node, node, ohms): a chain from the line to KNOB and back, with bridges; from
    seed 12 of resistances that the solver keeps among its nodes instead of its branches.
    """
    draw = random.Random(seed)
    decades = (4, 6) if seed < 12 else (6, 6.3)
    pairs = [("L", "A"), ("A", "B"), ("B", "K"), ("K", "C"), ("C", "N"), ("A", "C"), ("B", "N")]
    return [
        (f"R{number}", one, other, float(f"{10 ** draw.uniform(*decades):.5g}"))
        for number, (one, other) in enumerate(pairs, 1)
    ]


def expected(parts, fault: str | None, how: str) -> float:
    """Return the worst reading at K over both ways of the plug."""
    branches = []
    for name, one, other, ohms in parts:
        if name == fault and how == "open":
            continue
        branches.append((one, other, 1 / ohms + (100.0 if name == fault else 0.0)))
    worst = 0.0
    for sources in ([("L", VOLTS), ("N", 0)], [("L", 0), ("N", VOLTS)]):
        volts, ohms = thevenin(branches, sources, ("K", "0"))
        if abs(volts) * math.sqrt(2) > 35:
            worst = max(worst, reading(volts / (ohms + person_ohm(HERTZ)), HERTZ))
    return worst


@pytest.mark.parametrize("seed", range(16))
def test_every_open_and_short_has_the_current_of_the_nodal_analysis(seed):
    parts = network(seed)
    circuit = tied(
        *(
            f"{name} resistor {ohms:.1f} ohm 0% : {one} -- {other}"
            for name, one, other, ohms in parts
        ),
        touchable="K",
    )
    report = faults(circuit, changes=BARE)
    assert report.healthy == pytest.approx(expected(parts, None, ""), rel=1e-3, abs=1e-9)
    told = {outcome.fault.what: outcome for outcome in report.outcomes}
    for name, *_ in parts:
        for how in ("open", "short"):
            outcome, worst = told[f"{name} {how}"], expected(parts, name, how)
            assert outcome.reading == pytest.approx(worst, rel=2e-3, abs=1e-9), (name, how)
            assert (outcome.verdict == "over") == (worst > 0.5e-3), (name, how)


def test_a_grid_never_passes_on_what_the_plate_brings_to_the_cathode():
    """Plate on the line, cathode and grid over 10 megohm to the neutral. From the neutral 22 uA
    reach the knob; what the plate brings would be 132 V over 1 megohm.
    """
    triode = (
        "V1 tube 6J5 : plate=L, grid=G, cathode=K, 2=N, 7=N, unused 1",
        "R1 resistor 10M 0% : K -- N",
        "R2 resistor 1M 0% : G -- KNOB",
        "R3 resistor 10M 0% : G -- N",
    )
    report = faults(tied(*triode, touchable="KNOB"), changes=BARE)
    short = next(one for one in report.outcomes if "shorted to its grid" in one.fault.what)
    assert report.healthy == pytest.approx(132 / 6e6, rel=0.02)
    assert short.reading == pytest.approx(132 / 1e6, rel=0.02)
    plate = faults(tied(*triode, touchable="K, KNOB"), changes=BARE)
    assert plate.healthy > 50e-3  # the cathode itself gets all of it
