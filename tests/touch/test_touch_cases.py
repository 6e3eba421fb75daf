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
