"""Many circuits at once give what each gives alone, and one that cannot be solved spoils none of
the others.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.circles import Circles
from rework.solve.many import NEAR, RAISED, SOFTENED, Wanted, steady_states
from rework.solve.network import CannotSolve
from rework.solve.periodic import mains_steady


def supply(load: float, behind: str = ""):
    circuit, problems = read_circuit(f"""mains 117 V 60 Hz
P1 plug : line=L, neutral=N
T1 transformer 50 VA : primary 117 V dcr 9 ohm = L -- N, hv 120 V dcr 40 ohm = A1 -- A2
D1 bridge : ac1=A1, ac2=A2, plus=B, minus=COMMON
C1 electrolytic 47 uF 250 V : B -- COMMON
R1 resistor {load:g} ohm : B -- COMMON
{behind}""")
    assert circuit, problems
    return assemble(circuit)


def test_circuits_of_several_sizes_on_several_lines_give_what_each_gives_alone():
    networks = [
        supply(2000),
        supply(
            3000,
            "L1 choke 5 H 150 ohm : B -- C\nC2 electrolytic 22 uF 250 V : C -- COMMON\nR2 resistor"
            " 5k : C -- COMMON\n",
        ),
        supply(10000),
    ]
    alone = [
        mains_steady(network, factor=factor, instants=192)
        for network, factor in zip(networks, (1.0, 1.1, 0.9), strict=True)
    ]
    starts = [steady.x * 0.97 for steady in alone]
    together = steady_states(
        [
            Wanted(network, factor, start)
            for network, factor, start in zip(networks, (1.0, 1.1, 0.9), starts, strict=True)
        ]
    )
    for one, other in zip(alone, together, strict=True):
        assert np.abs(one.x - other.x).max() < 1e-5
        assert other.balance == pytest.approx(one.balance, abs=1e-6)


def test_one_that_hangs_in_the_air_or_does_not_settle_is_told_alone():
    good = supply(2000)
    steady = mains_steady(good, instants=192)
    loose = supply(2000)
    loose.fixed_g[:, 0] = loose.fixed_g[0, :] = 0.0
    loose.ohmic_at[:, 0] = loose.reads[:, 0] = loose.caps_at[:, 0] = loose.c[:, 0] = loose.c[
        0, :
    ] = 0.0
    loose.g = loose.conductances()
    far = replace(supply(2000), volts_peak=1e9)
    found = steady_states(
        [
            Wanted(good, 1.0, steady.x * 0.9),
            Wanted(loose, 1.0, steady.x),
            Wanted(far, 1.0, steady.x),
        ]
    )
    assert np.abs(found[0].x - steady.x).max() < 1e-5
    assert isinstance(found[1], CannotSolve)
    assert "connected to nothing that fixes its volts" in str(found[1])
    assert isinstance(found[2], CannotSolve)
    assert found[2].problems[0].hint


def test_the_longer_ways_come_from_nothing_to_where_the_short_one_comes_from_near():
    network = supply(2000)
    steady = mains_steady(network, instants=32)
    for way, start in ((NEAR, steady.x * 0.97), (SOFTENED, 0 * steady.x), (RAISED, 0 * steady.x)):
        (found,) = steady_states([Wanted(network, 1.0, start)], way)
        assert np.abs(found.x - steady.x).max() < 1e-5, way


def test_one_without_an_answer_leaves_the_steps_of_the_others_as_they_are():
    good, bad = supply(2000), supply(2000)
    circles = Circles([good, bad], 32, [1 / 60 / 32] * 2)
    circles.g[1] = circles.c[1] = circles.reads[1] = 0.0
    slopes = np.broadcast_to(1e-3 * np.eye(len(good.reads)), (32, *good.reads.shape[:1] * 2))
    excess = np.ones((32, good.n))
    step, none = circles.steps([0, 1], [slopes, slopes], [excess, excess])
    (alone,) = circles.steps([0], [slopes], [excess])
    assert none is None
    assert np.abs(step - alone).max() < 1e-6 * np.abs(alone).max()


def test_nothing_wanted_is_nothing_found():
    assert steady_states([]) == ()
