"""Links around a period, held to one dense solution of all instants, whatever grows on the way."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg

from rework.language.resolve import read_circuit
from rework.solve.arcs import Arcs
from rework.solve.assemble import assemble
from rework.solve.circle import Circle


def dense(linked, free):
    """Return the same from one matrix of all instants, by scipy."""
    instants, rank, _ = free.shape
    whole = np.eye(instants * rank)
    for k in range(instants):
        for back, weight in ((1, 2.0), (2, -0.5)):
            j = (k - back) % instants
            whole[k * rank : (k + 1) * rank, j * rank : (j + 1) * rank] -= weight * linked[k]
    return scipy.linalg.solve(whole, free.reshape(instants * rank, -1)).reshape(free.shape)


@pytest.mark.parametrize("instants", [1, 2, 3, 7, 64, 96])
@pytest.mark.parametrize("growth", [0.1, 0.9, 1.5, 4.0])
def test_what_grows_or_dies_around_the_circle_is_solved_to_all_its_digits(instants, growth):
    """A growth of 4 an instant is 10^58 a period of 96: a set that swings by itself."""
    draw = np.random.default_rng(instants)
    linked = draw.normal(size=(instants, 4, 4)) * growth / 4
    free = draw.normal(size=(instants, 4, 3))
    expected = dense(linked, free)
    assert Arcs(linked).solved(free) == pytest.approx(
        expected, rel=1e-8, abs=1e-9 * abs(expected).max()
    )


def test_circuits_side_by_side_are_solved_each_by_itself():
    draw = np.random.default_rng(5)
    linked, free = draw.normal(size=(2, 12, 3, 3)), draw.normal(size=(2, 12, 3, 2))
    both = Arcs(linked).solved(free)
    for each, alone in enumerate(both):
        assert alone == pytest.approx(dense(linked[each], free[each]), rel=1e-8)


def test_without_storage_there_is_nothing_to_link():
    assert Arcs(np.zeros((8, 0, 0))).solved(np.zeros((8, 0, 2))).shape == (8, 0, 2)


#: A core of henries beside picofarads: what is stored spans sixteen decades.
WIDE = """circuit "core and strays"
mains 220 V 50 Hz
P1 plug two-blade : line=L, neutral=N
T1 transformer 4 VA : primary 220 V = L -- N, secondary 20 V = A -- N
R1 resistor 1M : A -- B
C1 capacitor 22 pF : B -- N
C2 capacitor 10 pF : A -- B
R2 resistor 10M : B -- N
"""


def test_a_step_beside_a_core_keeps_what_strays_store():
    """Held to one dense solution of all instants; a stray that is lost leaves a step too short."""
    circuit, problems = read_circuit(WIDE, file="wide.circuit")
    assert circuit is not None, problems
    network = assemble(circuit)
    instants, n = 8, network.n
    circle = Circle(network, instants, 1e-3 / 64)
    assert circle.u @ circle.v == pytest.approx(circle.c, rel=1e-6, abs=1e-18)
    whole = np.kron(np.eye(instants), circle.fixed)
    for back, weight in ((1, -2.0), (2, 0.5)):
        whole += np.kron(np.roll(np.eye(instants), back, 0), weight * circle.c)
    excess = np.random.default_rng(3).normal(size=(instants, n)) * 1e-6
    step = circle.step(np.zeros((instants, len(network.entries[0]))), excess)
    expected = scipy.linalg.solve(whole, excess.ravel()).reshape(instants, n)
    assert step == pytest.approx(expected, rel=1e-4, abs=1e-6 * np.abs(expected).max())
