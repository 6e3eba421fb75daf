"""Which node of metal in reach is bonded to earth, so that no signal is grounded."""

import pytest

from rework.language.resolve import read_circuit
from rework.supply.bonds import floating_windings, unbonded

REMOTE = """mains 117 V 60 Hz
touchable J1.tip
P1 plug three-pin : line=L, neutral=N, earth=E
C1 electrolytic 40 uF 150 V : B1 -- {common}
V1 tube 6AQ5 : heater=L -- N, plate=PO, screen=B1, grid=G1, cathode=K1
R1 resistor 270 ohm : K1 -- {common}
R2 resistor 470k : G1 -- {common}
T2 output transformer 2.5k : 3.2 : primary = PO -- B1, secondary = SPK -- {back}
S1 switch DPDT : SHOP -- MIC -- SPK, REMOTE -- SPK -- MIC
T1 transformer interstage : primary load 4 ohm = MIC -- {back}, secondary load 40k = G1 -- {common}
LS1 speaker 3.2 ohm : SHOP -- {back}
J1 jack speaker : tip=REMOTE, sleeve={back}
CH chassis : E
"""


@pytest.mark.parametrize(("back", "bonded"), [("COMMON", "COMMON"), ("SPC", "SPC")])
def test_of_a_speaker_line_with_a_jack_the_return_is_bonded_and_not_the_hot_lead(back, bonded):
    circuit, problems = read_circuit(REMOTE.format(common="COMMON", back=back))
    assert circuit, problems
    assert set(unbonded(circuit)) == {bonded}
    assert {finish for _, finish in floating_windings(circuit)} == {back} - {"COMMON"}
