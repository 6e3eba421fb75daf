"""The heater rule of plus or minus ten per cent.

Source: M. J. Darby, "Valve Heater Voltages", The Radio Constructor, April 1962, reprinted at
r-type.org/addtext/add130.htm (reprint seen): changes up to 10 % either way should not seriously
affect life and performance.
"""

from __future__ import annotations

import pytest

from rework.language.resolve import read_circuit
from rework.safety.check import check

SET = """
mains 117 V 60 Hz
P1 plug three-pin       : line=L1, neutral=N1, earth=CH
F1 fuse 1 A slow        : L1 -- L2
T1 transformer 50 VA    : primary 117 V = L2 -- N1, heater {volts} V 2 A = H1 -- CH, core=CH
M1 chassis              : CH
V1 tube 6AV6            : grid=G, cathode=CH, 3=H1, 4=CH, diode1=CH, diode2=CH, plate=P
R1 resistor 1M          : G -- CH
R2 resistor 220k        : P -- CH
"""


@pytest.mark.parametrize(
    ("volts", "told"),
    [(6.3, False), (6.9, False), (5.7, False), (7.0, True), (5.6, True), (12.6, True)],
)
def test_darby_radio_constructor_1962_ten_per_cent_either_way(volts, told):
    circuit, problems = read_circuit(SET.format(volts=volts))
    assert circuit is not None, problems
    assert (
        any("more than 10 % off" in caution.message for caution in check(circuit).cautions) is told
    )
