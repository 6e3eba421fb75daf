"""Tolerances: the worst corner found by turning parts by their sensitivities, against every corner
of random networks solved by a nodal analysis of the tests' own.
"""

from __future__ import annotations

import itertools
import math
import random
from pathlib import Path

import pytest
from handworked import BARE, tied
from nodal import person_ohm, reading, thevenin

from rework.cli import main
from rework.touch.touch import touch

CASES = Path(__file__).parents[1] / "cases"
VOLTS, HERTZ = 132.0, 60.0
NETWORKS = 25


def network(seed: int) -> list[tuple[str, str, str, float, float]]:
    """Return (name, node, node, ohms, tolerance) of a random network from L and N to K and M."""
    draw = random.Random(seed)
    nodes = ["L", "N", "A", "B", "K", "M"]
    pairs = list(itertools.combinations(nodes[2:], 2)) + [
        (one, other) for one in nodes[:2] for other in nodes[2:]
    ]
    chosen = draw.sample(pairs, 7)
    while not {"K", "M"} <= {node for pair in chosen for node in pair}:
        chosen = draw.sample(pairs, 7)
    return [
        (f"R{number}", *pair, 10 ** draw.uniform(3, 4.5), draw.choice((0.05, 0.1, 0.2)))
        for number, pair in enumerate(chosen, 1)
    ]


def by_every_corner(parts, port: tuple[str, str]) -> float:
    """Return the largest reading over all corners, both ways of the plug and open conductors."""
    worst = 0.0
    for ends in itertools.product((-1, 1), repeat=len(parts)):
        branches = [
            (one, other, 1 / (ohms * (1 + end * tolerance)))
            for (_, one, other, ohms, tolerance), end in zip(parts, ends, strict=True)
        ]
        for sources in (
            [("L", VOLTS), ("N", 0)],
            [("L", 0), ("N", VOLTS)],
            [("L", VOLTS)],
            [("N", VOLTS)],
        ):
            volts, ohms = thevenin(branches, sources, port)
            if abs(volts) * math.sqrt(2) > 35:
                worst = max(worst, reading(volts / (ohms + person_ohm(HERTZ)), HERTZ))
    return worst


@pytest.mark.parametrize("seed", range(NETWORKS))
def test_the_worst_corner_is_that_of_trying_every_corner(seed):
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
    for touched in touch(circuit, changes=BARE).touches:
        port = (touched.node, touched.other or "0")
        worst = by_every_corner(parts, port)
        if worst > 1e-6:
            assert touched.reading == pytest.approx(worst, rel=2e-3), port


def test_a_dividers_shunt_is_at_its_high_end_and_its_series_part_at_its_low_end():
    circuit = tied(
        "T1 transformer : primary 120 V 1 ohm = L -- N, secondary 120 V 1 ohm = HV -- M",
        "R1 resistor 47k 20% : HV -- K",
        "R2 resistor 10k 20% : K -- M",
        touchable="K, M",
    )
    pair = next(one for one in touch(circuit, changes=BARE).touches if one.other)
    assert pair.volts == pytest.approx(132 * 12 / (12 + 37.6), rel=2e-3)
    assert pair.less == (("R2", "high"),)


def test_a_direct_divider_is_at_its_worst_corner_too():
    circuit = tied(
        "D1 diode silicon : L -- B",
        "C1 electrolytic 50 uF 0% : B -- N",
        "R1 resistor 10k 20% : B -- K",
        "R2 resistor 10k 20% : K -- N",
        touchable="K",
    )
    (touched,) = touch(circuit, changes=BARE).touches
    source = 132 * math.sqrt(2) * 12 / 20
    assert touched.dc_volts == pytest.approx(source, rel=5e-3)
    assert touched.dc_amps == pytest.approx(source / (8e3 * 12e3 / 20e3 + 2000), rel=0.02)


def test_the_tolerance_of_a_pot_counts_and_one_of_nothing_changes_nothing():
    """A 100 kohm track is 80 kohm at worst where nothing is written, 99 kohm where 1 % is."""

    def amps(words: str) -> float:
        circuit = tied(f"R1 pot 100k {words} : ccw=L, wiper=K, cw=N", touchable="K")
        (touched,) = touch(circuit, changes=(*BARE, ("line_ohm", 1.0))).touches
        return touched.ohms

    def track(words: str) -> float:
        circuit = tied(f"R1 pot 100k {words} : ccw=L, cw=K, unused wiper", touchable="K")
        (touched,) = touch(circuit, changes=BARE).touches
        return touched.ohms

    assert amps("1%") < 2  # the wiper at one end is on a blade
    assert track("") == pytest.approx(80e3, rel=1e-3)
    assert track("1%") == pytest.approx(99e3, rel=1e-3)
    assert track("0%") == pytest.approx(100e3, rel=1e-3)


def test_the_wiper_of_a_tapped_pot_is_also_tried_at_its_tap():
    """With the tap on a blade, 250 kohm are between it and either end of the wiper's turn."""
    pot = "R1 pot 1M 0% tap 250k : ccw=M, wiper=K, cw=N, tap=L"
    circuit = tied(pot, "R2 resistor 10M 0% : M -- N", touchable="K")
    (touched,) = touch(circuit, changes=(*BARE, ("line_ohm", 1.0))).touches
    assert touched.ohms < 2
    circuit = tied(pot.replace("wiper=K", "unused wiper").replace("ccw=M", "ccw=K"), touchable="K")
    (touched,) = touch(circuit, changes=BARE).touches
    assert touched.ohms == pytest.approx(250e3, rel=1e-3)


def test_a_capacitor_beside_the_hand_is_at_its_low_end():
    circuit = tied(
        "T1 transformer : primary 120 V 1 ohm = L -- N, secondary 120 V 1 ohm = HV -- M",
        "C1 capacitor 1 uF 20% : HV -- K",
        "C2 capacitor 2 uF 20% : K -- M",
        touchable="K, M",
    )
    pair = next(one for one in touch(circuit, changes=BARE).touches if one.other)
    assert pair.volts == pytest.approx(132 * 1.2 / (1.2 + 1.6), rel=2e-3)
    assert pair.less == (("C2", "low"),)


@pytest.mark.parametrize("name", ["divider-tolerances", "divider-inside-tolerances"])
def test_a_divider_that_tolerances_bring_over_the_limit_is_over(name, capsys):
    assert main(["touch", str(CASES / f"{name}.circuit")]) == 1
    rows = capsys.readouterr().out.splitlines()
    row = next(line for line in rows if line.startswith("OUT ") and "earth" in line)
    assert row.split()[2:4] == ["11", "11"]  # reading and through the network, mA
    assert row.endswith("OVER")
