"""Whole answers of the commands about safety, kept for a person to read."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.cli import main

CIRCUITS = Path(__file__).parents[2] / "circuits"


@pytest.mark.parametrize("command", ["check", "touch", "faults", "summary"])
@pytest.mark.parametrize("file", ["hostel.circuit", "rink.job"])
def test_a_command_says_what_was_read_and_approved(command, file, golden, monkeypatch, capsys):
    monkeypatch.chdir(CIRCUITS / file.partition(".")[0])
    monkeypatch.setenv("COLUMNS", "100")
    main([command, file])
    golden(f"said/{command}-{file.partition('.')[0]}.txt", capsys.readouterr().out)
