"""Large circuits go by harmonics and by one sparse pattern; small ones by dense matrices.

Where both can be had, they say the same.
"""

from pathlib import Path

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.rules.job_file import run_job_file
from rework.solve import bias as bias_module
from rework.solve import many, newton, periodic
from rework.solve.assemble import assemble
from rework.solve.bias import bias
from rework.solve.many import Wanted, steady_states
from rework.solve.network import CannotSolve
from rework.solve.spread import spread

CIRCUITS = Path(__file__).parents[2] / "circuits"


@pytest.fixture
def large_from(monkeypatch):
    """Lets a test say from how many unknowns a circuit counts as large."""

    def set_to(unknowns: int) -> None:
        for module in (bias_module, many, newton, periodic):
            monkeypatch.setattr(module, "LARGE", unknowns)

    return set_to


@pytest.mark.parametrize(
    ("name", "side"),
    [("pager", "before"), ("pager", "after"), ("rink", "after"), ("skihut", "after")],
)
def test_both_ways_agree_on_the_demos(name, side, large_from):
    network = assemble(getattr(run_job_file(str(CIRCUITS / name / f"{name}.job")), side))
    large_from(10_000)
    plain = bias(network)
    drawn = spread(plain, 60)
    large_from(1)
    by_harmonics = bias(network)
    again = spread(by_harmonics, 60)
    nodes = network.n - len(network.rows)
    assert np.abs(plain.steady.x - by_harmonics.steady.x)[:, :nodes].max() < 1e-6
    assert by_harmonics.steady.residual < 1e-9
    assert abs(by_harmonics.steady.balance) < 1e-3
    # tenths of a millivolt for a part wholly off are what speaker ripple is rectified to, left out;
    # IN hangs on 10 gigohms alone
    size = np.abs(plain.slopes[:nodes]).max(1, keepdims=True)
    far = np.abs(plain.slopes - by_harmonics.slopes)[:nodes] > 1e-3 * size + 1e-3
    assert not far[size[:, 0] > 0.05].any()
    seen = (plain.steady.x - plain.steady.mean)[:, :nodes].std(0) > 1e-3
    assert np.abs(plain.ripples - by_harmonics.ripples)[:nodes][seen].max() < 0.01
    assert again.converged.all()
    assert np.abs(drawn.x - again.x)[:, :nodes].max() < 0.02


def test_a_loose_node_of_a_large_circuit_is_named(large_from):
    network = assemble(
        read_circuit("""mains 117 V 60 Hz
P1 plug : line=L, neutral=COMMON
D1 diode : anode=L, cathode=B1
C1 electrolytic 50 uF : B1 -- COMMON
R1 resistor 2k : B1 -- COMMON
R2 resistor 2k : B1 -- B2
R3 resistor 2k : B2 -- COMMON
""")[0]
    )
    large_from(1)
    at = network.node_of["B2"]
    network.fixed_g = network.fixed_g.copy()
    network.ohmic_at[:, at] = 0.0
    network.g = network.conductances()
    with pytest.raises(CannotSolve) as told:
        periodic.mains_steady(network)
    assert "B2 is connected to nothing that fixes its volts" in told.value.problems[0].message


def test_large_circuits_of_a_choice_are_solved_one_by_one(large_from):
    network = assemble(run_job_file(str(CIRCUITS / "pager" / "pager.job")).after)
    start = periodic.mains_steady(network, instants=96).x
    together = steady_states([Wanted(network, factor, start) for factor in (1.0, 0.95)])
    large_from(1)
    singly = steady_states([Wanted(network, factor, start) for factor in (1.0, 0.95)])
    for one, other in zip(together, singly, strict=True):
        assert np.abs(one.mean - other.mean)[: network.n - len(network.rows)].max() < 1e-6
