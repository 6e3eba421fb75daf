"""Small circuits with the answer that touch and faults must give of each, as a table."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rework.cli import main

CASES = Path(__file__).parents[1] / "cases"

#: File, command, exit status, words in the text.
TABLE = [
    ("line-on-male-pins", "touch", 1, "L2 to L3: plug as drawn, S1 ON, X2 pulled"),
    ("line-on-male-pins", "faults", 1, "umbilical X2 pulled L2 66.2 119 132 V"),
    ("line-on-male-pins", "faults", 1, "Bare contacts of a pulled connector: X1 4 to 5"),
    ("ordinary-input-stage", "touch", 0, "under"),
    ("ordinary-input-stage", "faults", 1, "V1 plate pin 6 shorted to its grid pin 7"),
    ("divider-tolerances", "touch", 1, "tolerances: R2 high"),
    ("divider-inside-tolerances", "touch", 1, "OVER"),
    ("x-capacitor-without-bleeder", "faults", 1, "P1 line to neutral, S1 OFF: 182 V, nothing"),
    ("x-capacitor-without-bleeder", "faults", 1, "OVER the limit of IEC 60950-1"),
    ("x-capacitor-with-bleeder", "faults", 0, "within the limit of IEC 60950-1"),
    ("x-capacitor-bleeder-set", "faults", 0, "within the limit of IEC 60950-1"),
]


@pytest.fixture(autouse=True)
def _wide(monkeypatch):
    """A terminal wide enough that no cell of a table is broken."""
    monkeypatch.setenv("COLUMNS", "500")
    monkeypatch.setattr("rework.report.terminal.WIDEST", 500)


@pytest.mark.parametrize(("name", "command", "status", "words"), TABLE)
def test_a_case_gets_its_answer(name, command, status, words, capsys):
    assert main([command, str(CASES / f"{name}.circuit")]) == status
    assert words in " ".join(capsys.readouterr().out.split())


def test_the_only_fault_of_an_ordinary_input_stage_is_its_plate_on_its_grid(capsys):
    """With the cathode resistor open the grid does not conduct: it is far below its cathode."""
    main(["faults", str(CASES / "ordinary-input-stage.circuit"), "--json"])
    outcomes = json.loads(capsys.readouterr().out)["outcomes"]
    over = [one["fault"] for one in outcomes if one["verdict"] == "over"]
    assert over == ["V1 plate pin 6 shorted to its grid pin 7"]
    r4 = next(one for one in outcomes if one["fault"] == "R4 open")
    assert r4["verdict"] == "under"
    assert r4["dc_amps"] < 1e-4


#: A supply that gives B+ and heaters by the pins of its plug, so that they are bare when it is
#: pulled.
BARE_B_PLUS = """circuit "two chassis, B+ on bare pins"
mains 230 V 50 Hz
touchable CHA, CHB, J1.sleeve

P1 plug three-pin : line=L1, neutral=N1, earth=CHA
F1 fuse 0.5 A 250 V slow : L1 -- L2
S1 switch SPST 3 A 250 V : L2 -- L3
T1 transformer 40 VA : primary 230 V dcr 20 ohm = L3 -- N1, hv 190 V 80 mA dcr 180 ohm = A1 -- A2, heater 6.3 V 1.2 A = H1 -- COMA, core=CHA
D1 bridge silicon 1 A 800 V : ac1=A1, ac2=A2, plus=BA, minus=COMA
C1 electrolytic 47 uF 400 V : BA -- COMA
X1 connector plug 450 V 5 A : 1=BA, 2=COMA, 3=H1
X2 connector socket 450 V 5 A mates X1 : 1=BB, 2=CHB, 3=H2
W1 wire : COMA -- CHA
M1 chassis : CHA
M2 chassis : CHB
V2 tube 6AQ5 : grid=GB, cathode=KB, plate=PB, screen=BB, 3=H2, 4=CHB
J1 jack input : tip=GB, sleeve=CHB
R5 resistor 470k : GB -- CHB
R6 resistor 330 ohm 2 W : KB -- CHB
T2 output transformer 5 W : primary load 5k dcr 300 ohm = BB -- PB, secondary load 8 ohm = SP -- CHB
LS1 speaker 8 ohm 5 W : 1=SP, 2=CHB, frame=CHB
"""


@pytest.mark.parametrize("command", ["touch", "faults"])
def test_bare_contacts_that_keep_their_charge_are_told_with_a_bleeder_that_was_tried(
    command, tmp_path, capsys
):
    """39 kohm brings 47 uF from 295 V to 60 V in RC ln(295 / 60) = 2.9 s, both 20 % over in 4.2 s."""
    path = tmp_path / "bare.circuit"
    path.write_text(BARE_B_PLUS, encoding="utf-8")
    assert main([command, str(path)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Bare contacts of a pulled connector: X1 1 to 2" in said
    assert "Fit a bleeder of 39 kohm 3 W 350 V from BA to COMA" in said
