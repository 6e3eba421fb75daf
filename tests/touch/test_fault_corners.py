"""Faults at the worst corner of tolerances: against every corner of random networks solved by a
nodal analysis of the tests' own, and against dividers worked by hand.
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest
from handworked import BARE, tied
from nodal import person_ohm, reading, thevenin
from test_corners import HERTZ, VOLTS, network

from rework.cli import main
from rework.touch.faults import fault_count, faults
from rework.touch.person import assumed
from rework.touch.touch import touch

CASES = Path(__file__).parents[1] / "cases"
SHORT = assumed()["short_ohm"]


def by_every_corner(parts, fault: str, port: tuple[str, str]) -> float:
    """Return the largest reading over all corners with a part open or short, plug either way."""
    name, _, how = fault.partition(" ")
    worst = 0.0
    for ends in itertools.product((-1, 1), repeat=len(parts)):
        branches = [
            (one, other, 1 / (ohms * (1 + end * tolerance)))
            for (part, one, other, ohms, tolerance), end in zip(parts, ends, strict=True)
            if (part, how) != (name, "open")
        ]
        if how == "short":
            one, other = next(part[1:3] for part in parts if part[0] == name)
            branches.append((one, other, 1 / SHORT))
        for line, neutral in ((VOLTS, 0), (0, VOLTS)):
            volts, ohms = thevenin(branches, [("L", line), ("N", neutral)], port)
            if abs(volts) * math.sqrt(2) > 35:
                worst = max(worst, reading(volts / (ohms + person_ohm(HERTZ)), HERTZ))
    return worst


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_under_every_fault_the_worst_corner_is_that_of_trying_every_corner(seed):
    parts = network(seed)
    circuit = tied(
        *(
            f"{name} resistor {ohms:.6g} ohm {100 * tolerance:g}% : {one} -- {other}"
            for name, one, other, ohms, tolerance in parts
        ),
        "open A, B, M",
        touchable="K, M",
    )
    parts = [(name, one, other, float(f"{ohms:.6g}"), t) for name, one, other, ohms, t in parts]
    compared = 0
    for outcome in faults(circuit, changes=BARE).outcomes:
        if outcome.fault.part.startswith("R"):
            port = (outcome.node, outcome.other or "0")
            worst = by_every_corner(parts, outcome.fault.what, port)
            if worst > 1e-6:
                assert outcome.reading == pytest.approx(worst, rel=2e-3), outcome.fault.what
                compared += 1
    assert compared >= 10


def divider(*rows: str):
    return tied(
        "T1 transformer : primary 120 V 1 ohm = L -- N, secondary 120 V 1 ohm = HV -- M",
        *rows,
        "R2 resistor 10k 20% : K -- M",
        touchable="K, M",
    )


def test_a_fault_that_changes_nothing_leaves_the_corner_that_touch_has():
    circuit = divider("R1 resistor 33k 20% : HV -- K", "R3 resistor 1M 20% : HV -- M")
    pair = next(one for one in touch(circuit, changes=BARE).touches if one.other)
    report = faults(circuit, changes=BARE)
    still = next(each for each in report.outcomes if each.fault.what == "R3 open")
    assert (still.node, still.other) == (pair.node, pair.other)
    assert still.reading == pytest.approx(pair.reading, rel=1e-3)
    assert not still.adds
    assert report.healthy == pytest.approx(pair.reading, rel=1e-3)


def test_a_fault_is_over_where_only_its_worst_corner_is():
    """With R3 open K is at 132 V x 8 / (8 + 35.2) = 24.4 V where both pass most, under 35 V peak;
    where R2 is high and R1 low at 33.6 V.
    """
    circuit = divider("R1 resistor 44k 20% : HV -- K", "R3 resistor 4.7k 5% : K -- M")
    over = {each.fault.what: each for each in faults(circuit, changes=BARE).outcomes}["R3 open"]
    assert 132 * 8 / (8 + 35.2) * math.sqrt(2) < 35 < 132 * 12 / (12 + 35.2) * math.sqrt(2)
    assert over.verdict == "over"
    assert over.volts == pytest.approx(132 * 12 / (12 + 35.2), rel=2e-3)
    assert fault_count(circuit).over == sum(
        each.verdict == "over" for each in faults(circuit).outcomes
    )


def test_direct_current_under_a_fault_is_at_its_worst_corner_too():
    circuit = tied(
        "D1 diode silicon : L -- B",
        "C1 electrolytic 50 uF 0% : B -- N",
        "R1 resistor 22k 20% : B -- K",
        "R2 resistor 22k 20% : K -- N",
        "R3 resistor 2.2k 20% : K -- N",
        touchable="K",
    )
    opened = next(
        each for each in faults(circuit, changes=BARE).outcomes if each.fault.what == "R3 open"
    )
    source = 132 * math.sqrt(2) * 1.2 / 2
    assert opened.dc_volts == pytest.approx(source, rel=5e-3)
    assert opened.dc_amps == pytest.approx(source / (22e3 * 0.96 / 2 + 2000), rel=0.02)


@pytest.mark.parametrize(("tolerance", "verdict"), [("1%", "cleared"), ("20%", "over")])
def test_a_fuse_ends_a_fault_only_where_it_opens_at_the_end_that_passes_less(tolerance, verdict):
    """A 0.6 A fuse to UL 248-14 is open within two minutes at twice its rating, 1.2 A. With R2
    short 132 V drive 1.3 A through 101 ohm and 1.1 A through 120 ohm.
    """
    circuit = tied(
        "T1 transformer : primary 120 V 1 ohm = L -- N, secondary 120 V 1 ohm = HV -- M",
        "F1 fuse 0.6 A 250 V : HV -- L2",
        "R2 resistor 100k 1% : L2 -- K",
        f"R1 resistor 100 ohm {tolerance} 200 W : K -- M",
        touchable="K, M",
    )
    outcomes = {each.fault.what: each for each in faults(circuit, changes=BARE).outcomes}
    assert outcomes["R2 short"].verdict == verdict
    if verdict == "over":
        assert outcomes["R2 short"].ended.amps == pytest.approx(132 / 122, rel=0.01)


@pytest.mark.parametrize("name", ["divider-tolerances", "divider-inside-tolerances"])
def test_a_divider_that_tolerances_bring_over_the_limit_is_over_under_faults(name, capsys):
    assert main(["faults", str(CASES / f"{name}.circuit")]) == 1
    text = capsys.readouterr().out
    assert "OVER THE LIMIT WITHOUT ANY FAULT" in text


def test_metal_that_a_fault_makes_live_is_told_in_a_set_that_is_over_already():
    """The pickup is on the line as it stands; the earthed chassis becomes live until F1 opens."""
    circuit = tied(
        "F1 fuse 0.5 A 250 V : L -- L2",
        "W1 wire : E -- CHASSIS",
        "CH1 chassis : CHASSIS",
        "R1 resistor 1k 5 W : L2 -- N",
        "R2 resistor 10k 2 W : L2 -- TIP",
        "J1 jack input : tip=TIP, sleeve=CHASSIS",
        touchable="CHASSIS",
        plug="three-pin",
        earth=", earth=E",
    )
    report = faults(circuit)
    assert report.healthy > report.limit_amps
    assert report.exit_status == 1
    lead = next(
        each
        for each in report.outcomes
        if each.fault.what == "line lead L2 off its lug and onto CHASSIS"
    )
    assert lead.adds
    assert lead.node == "CHASSIS"
    assert lead.verdict == "cleared"
    assert lead.bond_volts > 30
