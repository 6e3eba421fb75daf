"""``rework fit-tube`` as a person uses it: a type of the library, a sheet of one's own, and every
way to write one wrong.
"""

import json
import tomllib
from pathlib import Path

import pytest

from rework.cli import main
from rework.commands.tube_file import _mistakes
from rework.tubes import library

DATA = Path(__file__).parents[2] / "rework/tubes/data"


@pytest.fixture
def sheet(tmp_path, capsys):
    """A skeleton as ``rework new`` writes it."""
    path = tmp_path / "x99.toml"
    assert main(["new", str(path)]) == 0
    capsys.readouterr()
    return path


def test_it_tells_how_well_the_law_meets_its_rows_and_foretells_the_others(capsys):
    assert main(["fit-tube", "6AQ5"]) == 0
    told = capsys.readouterr().out
    assert "Ip = Ik - Is." in told, "the formula of the law is not cut off"
    assert "It meets its rows within: plate current" in told
    assert "From row 1 alone it would foretell the others within: plate current" in told
    assert main(["fit-tube", "6AQ5", "--json"]) == 0
    unit = json.loads(capsys.readouterr().out)["6AQ5"][0]
    assert unit["law"] == "Pentode"
    assert 0 <= unit["constants"]["tail"] <= 1
    assert {miss["row"] for miss in unit["foretold_from_row_1"]} == {2, 3}


def test_the_skeleton_is_fitted_and_a_circuit_can_then_use_the_tube(
    sheet, tmp_path, monkeypatch, capsys
):
    assert main(["fit-tube", str(sheet)]) == 0
    assert "REWORK_TUBES" in capsys.readouterr().out
    circuit = tmp_path / "own.circuit"
    circuit.write_text(
        "mains 250 V 0 Hz\nP1 plug two-blade : line=BP, neutral=COMMON\nV1 tube X99 : plate=PL,"
        " grid=G, cathode=K, 3=COMMON, 4=COMMON, unused 2\nR1 resistor 22k : BP -- PL\nR2 resistor"
        " 1k : K -- COMMON\nR3 resistor 1M : G -- COMMON\n",
        encoding="utf-8",
    )
    assert main(["volts", str(circuit), "--samples", "20"]) == 2
    capsys.readouterr()
    monkeypatch.setenv(library.OWN, str(tmp_path))
    library.reread()
    try:
        assert main(["volts", str(circuit), "--samples", "20"]) == 0
        assert "V1 X99" in capsys.readouterr().out
        assert library.find("6C4").ratings["plate_volts"].value == 300
    finally:
        library.reread()


def test_a_tube_of_ones_own_replaces_none_of_the_library(sheet, tmp_path, monkeypatch):
    (tmp_path / "fake.toml").write_text(
        sheet.read_text(encoding="utf-8").replace('"X99"', '"50C5"'), encoding="utf-8"
    )
    monkeypatch.setenv(library.OWN, str(tmp_path))
    library.reread()
    try:
        assert library.find("50C5").kind == "beam tetrode"
    finally:
        library.reread()


WRONG = {
    "an empty file": ("", ["has no type", "has no pins", "has no heater"]),
    "a name misspelt": (
        ("plate_amps = 0.0105", "plate_amp = 0.0105"),
        ["plate_amp is no figure of a row", "did you mean plate_amps?"],
    ),
    "milliamps": (
        ("plate_amps = 0.0105", "plate_amps = 10.5"),
        ["plate_amps is 10.5 A", "29 mA is 0.029"],
    ),
    "no current at all": (("plate_amps = 0.0105", "plate_amps = 0"), ["plate_amps is 0 A"]),
    "words for a number": (
        ("plate_amps = 0.0105", 'plate_amps = "much"'),
        ["'much', not a number"],
    ),
    "a table misspelt": (("[[typical]]", "[[typicl]]"), ["did you mean typical?"]),
    "single brackets": (("[[typical]]", "[typical]"), ["begin each with [[typical]]"]),
    "a grade of one's own": (('grade = "memory"', 'grade = "sure"'), ["'sure'", "one of seen"]),
    "no TOML": (("[base]", "[base"), ["is not TOML", "line"]),
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_in_a_sheet_is_told_and_nothing_fitted(what, sheet, capsys):
    change, wanted = WRONG[what]
    sheet.write_text(
        sheet.read_text(encoding="utf-8").replace(*change) if change else "", encoding="utf-8"
    )
    assert main(["fit-tube", str(sheet)]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    for words in wanted:
        assert words in told.err, told.err


def test_bytes_that_are_no_text_and_rows_without_end_are_refused(sheet, capsys):
    text = sheet.read_text(encoding="utf-8")
    start, end = text.index("[[typical]]"), text.index("[[capacitance]]")
    sheet.write_text(text[:start] + text[start:end] * 500 + text[end:], encoding="utf-8")
    assert main(["fit-tube", str(sheet)]) == 2
    assert "500 rows" in capsys.readouterr().err
    sheet.write_bytes(bytes(range(256)) * 40)
    assert main(["fit-tube", str(sheet)]) == 2
    assert "no text file" in capsys.readouterr().err


def test_a_sheet_without_rows_says_what_to_add(sheet, capsys):
    text = sheet.read_text(encoding="utf-8")
    sheet.write_text(text[: text.index("[[typical]]")], encoding="utf-8")
    assert main(["fit-tube", str(sheet)]) == 2
    assert "add a printed row with its source to" in capsys.readouterr().err


def test_every_file_of_the_library_passes_as_a_sheet_of_ones_own():
    found = {
        path.name: problem.message
        for path in DATA.glob("*.toml")
        if path.name not in ("index.toml", "sources.toml", "heaters.toml")
        for problem in _mistakes(tomllib.loads(path.read_text(encoding="utf-8")), path.name)
    }
    assert not found


def test_pictures_are_the_same_bytes_twice_and_never_replace_one_unasked(tmp_path, capsys):
    one, other = tmp_path / "one.svg", tmp_path / "other.svg"
    assert main(["fit-tube", "6AQ5", "--plot", str(one)]) == 0
    assert main(["fit-tube", "6AQ5", "--plot", str(other)]) == 0
    assert one.read_bytes() == other.read_bytes()
    assert main(["fit-tube", "6AQ5", "--plot", str(one)]) == 2
    assert "is there already" in capsys.readouterr().err
    assert main(["fit-tube", "6AQ5", "--plot", str(tmp_path / "one.bmp")]) == 2
    assert main(["fit-tube", "EZ80", "--plot", str(one), "--force"]) == 0
