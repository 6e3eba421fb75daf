"""The whole answers of ``rework touch`` and ``rework faults`` on cases, one of each kind, kept for
a person to read.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.cli import main

CASES = Path(__file__).parents[1] / "cases"


@pytest.mark.parametrize("command", ["touch", "faults"])
@pytest.mark.parametrize(
    "case",
    [
        "bridged-isolation-b",
        "fuse-ten-amps",
        "interstage-on-the-line",
        "line-on-male-pins",
        "open-cathode",
        "patched-to-a-hot-set",
        "three-pin-plug-common-on-neutral",
        "x-capacitor-without-bleeder",
    ],
)
def test_a_command_says_what_was_read_and_approved(command, case, golden, monkeypatch, capsys):
    monkeypatch.chdir(CASES)
    main([command, f"{case}.circuit", "--all"])
    golden(f"said/{command}/{case}.txt", capsys.readouterr().out)
