"""Newton on direct-current equations: where a plain run fails, the continuation comes home."""

import numpy as np
import pytest

from rework.language.resolve import read_circuit
from rework.solve import newton
from rework.solve.assemble import assemble

#: A triode whose plate drives the grid of the pentode in its bulb straight, both on 390 ohm.
DIRECT = """mains 300 V 0 Hz
P1 plug : line=L, neutral=COMMON
V1 tube UCL82 : triode.plate=P, triode.grid=G, triode.cathode=K, pentode.plate=PP, pentode.screen=L, pentode.grid=GG, pentode.cathode=KK, unused 4 5
R1 resistor 100k : L -- P
R2 resistor 390 ohm : K -- COMMON
R3 resistor 10M : G -- COMMON
R4 resistor 100k : L -- PP
R5 resistor 390 ohm : KK -- COMMON
R6 resistor 1M : GG -- P
"""


@pytest.fixture
def network():
    circuit, problems = read_circuit(DIRECT)
    assert circuit, problems
    return assemble(circuit)


def test_a_sample_that_plain_newton_loses_is_brought_home_by_continuation(network, monkeypatch):
    found = newton.operating_point(network, network.direct_source())
    assert found.converged.all()
    currents, _ = network.device_currents(found.x)
    excess = found.x @ network.g.T + currents @ network.reads - network.direct_source()
    assert np.abs(excess).max() < 1e-9
    monkeypatch.setattr(newton, "CONTINUATION", (0.0,))
    monkeypatch.setattr(newton, "WARMTH", ())
    assert not newton.operating_point(network, network.direct_source()).converged.all()
