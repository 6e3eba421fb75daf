"""No line that a command prints is wider than the terminal: 100 columns, or 80 where it says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.cli import main
from rework.report.terminal import table, width

CIRCUITS = Path(__file__).parents[2] / "circuits"
PAGER = str(CIRCUITS / "pager" / "pager.job")
FOUND = str(CIRCUITS / "pager" / "pager.circuit")
COMMANDS = (
    ["check", "--all", PAGER],
    ["touch", FOUND],
    ["faults", FOUND],
    ["ohms", PAGER],
    ["volts", PAGER, "--samples", "40"],
    ["rules"],
    ["rules", "cut-heater-string"],
    ["tubes"],
    ["tubes", "UCL82"],
    ["kinds"],
    ["kinds", "tube"],
    ["relatives", "50C5"],
    ["manual"],
)


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_every_line_fits_on_80_columns(words, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert main(words) in (0, 1)
    said = capsys.readouterr().out.splitlines()
    assert len(said) > 3
    assert [line for line in said if width(line) > 80] == []


def test_a_table_gives_up_space_between_words_then_between_columns():
    row = ["a reading", "0.0176 mA", "some cannot let go"]
    assert table([row], width=40) == "a reading  0.0176 mA  some cannot let go"
    assert table([row], width=30).splitlines() == [
        "a         0.0176 mA  some",
        "reading              cannot",
        "                     let go",
    ]
    assert table([row], width=24).splitlines() == [
        "a       0.0176 mA some",
        "reading           cannot",
        "                  let go",
    ]
