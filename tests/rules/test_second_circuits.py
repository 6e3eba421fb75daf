"""Rules for what only some sets have, on sets unlike those of their own examples."""

from __future__ import annotations

import pytest

from rework.circuit.circuit import Circuit
from rework.cli import main
from rework.language.resolve import read_circuit

U_STRING = """circuit "U string"
mains 220 V 50 Hz
P1 plug two-blade : line=L1, neutral=COMMON
S1 switch SPST : L1 -- L2
V2 tube UY85 : heater=HA -- HB, plate=L2, cathode=B1
R1 resistor dropper 680 ohm 10 W : L2 -- HA
V1 tube UCL82 : triode.grid=G1, triode.cathode=COMMON, triode.plate=B1, pentode.grid=G1,
                pentode.cathode=COMMON, pentode.screen=B1, pentode.plate=B1, heater=HB -- COMMON
R2 resistor 10M : G1 -- COMMON
"""
CENTRE_TAPPED = """circuit "A double triode on a transformer of its own"
mains 230 V 50 Hz
P1 plug two-blade : line=L1, neutral=N1
S1 switch DPST : L1 -- L2, N1 -- N2
T3 transformer 6 VA : primary 230 V = L2 -- N2, secondary 12.6 V 0.3 A tap 50% = HX -- N2 -- HY
V1 tube 12AX7 : triode1.plate=PA, triode1.grid=G1, triode1.cathode=N2, triode2.plate=PB,
                triode2.grid=G1, triode2.cathode=N2, 4=HX, 5=HY, unused 9
R1 resistor 1M : G1 -- N2
R2 resistor 220k : PA -- PB
R3 resistor 100k : PB -- L2
"""


def applied(text: str, line: str, folder) -> Circuit | int:
    """Return the circuit after one line of a job, or the exit status where it was refused."""
    (folder / "set.circuit").write_text(text, encoding="utf-8")
    (folder / "set.job").write_text(f'job "one"\ncircuit "set.circuit"\n{line}\n', encoding="utf-8")
    after = folder / "after.circuit"
    status = main(["apply", str(folder / "set.job"), "-o", str(after), "--force"])
    if not after.exists():
        return status
    circuit, problems = read_circuit(after.read_text(encoding="utf-8"), file="after.circuit")
    assert circuit is not None, problems
    return circuit


@pytest.mark.parametrize(
    ("resistor", "ohms", "watts"), [("", 390.0, 10.0), (", resistor=360 ohm 7 W", 360.0, 7.0)]
)
def test_a_rectifier_that_leaves_a_u_string_leaves_its_volts_to_a_resistor(
    resistor, ohms, watts, tmp_path
):
    """38 V at 100 mA are 380 ohm and 3.8 W; E12, and at least twice the watts."""
    after = applied(U_STRING, f"apply resistor-for-heater : tube=V2{resistor}", tmp_path)
    new = after.by_name["R3"]
    assert new.value("resistance") == ohms
    assert new.value("power") == watts
    assert dict(new.pins) == {"1": "HA", "2": "HB"}
    assert {"4", "5"} <= set(after.by_name["V2"].unused)


def test_of_an_unlisted_tube_the_resistor_is_asked_for(tmp_path, capsys):
    text = U_STRING.replace(
        "tube UY85 : heater=HA -- HB,", "tube unlisted UY99 heater 38 V 0.1 A : heater=HA -- HB,"
    )
    assert applied(text, "apply resistor-for-heater : tube=V2", tmp_path) == 2
    assert "say resistor=OHMS WATTS" in capsys.readouterr().err


def test_a_tapped_heater_transformer_on_two_switched_leads_comes_out(tmp_path):
    after = applied(CENTRE_TAPPED, "apply take-out-heater-transformer", tmp_path)
    assert "T3" not in after.by_name
    assert {"4", "5", "9"} <= set(after.by_name["V1"].unused)


def test_a_heater_transformer_that_also_feeds_a_diode_stays(tmp_path, capsys):
    text = CENTRE_TAPPED + "D1 diode 1N4007 : HX -- BX\nR9 resistor 100k : BX -- N2\n"
    assert applied(text, "apply take-out-heater-transformer", tmp_path) == 2
    assert "T3 feeds more than heaters" in capsys.readouterr().err
