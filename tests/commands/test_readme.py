"""The README's console blocks are run: what it shows is what the program says.

A line of ``...`` stands for any lines.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from rework.cli import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
STEPS = [
    step
    for block in re.findall(r"```console\n(.*?)```", README, re.DOTALL)
    for step in re.split(r"^(?=\$ )", block, flags=re.MULTILINE)
    if step
]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    for path in (*(ROOT / "circuits" / "pager").glob("*.[cjr]*"), ROOT / "circuits" / "shelf.csv"):
        (folder / path.name).write_bytes(path.read_bytes())
    return folder


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.splitlines()[0])
def test_what_the_readme_shows_is_what_the_program_says(step, bench, monkeypatch, capsys):
    monkeypatch.chdir(bench)
    monkeypatch.setenv("COLUMNS", "100")
    command, *shown = step.splitlines()
    main(shlex.split(command.removeprefix("$ rework ")))
    said = capsys.readouterr().out.splitlines()
    pieces: list[list[str]] = [[]]
    for line in shown:
        if line == "...":
            pieces.append([])
        else:
            pieces[-1].append(line)
    at = 0
    for piece in filter(None, pieces):
        found = next(
            (
                start
                for start in range(at, len(said) - len(piece) + 1)
                if said[start : start + len(piece)] == piece
            ),
            None,
        )
        assert found is not None, (
            "the program does not say:\n" + "\n".join(piece) + "\nit says:\n" + "\n".join(said[at:])
        )
        at = found + len(piece)


def test_the_pictures_it_shows_are_there():
    for picture in re.findall(r"!\[[^]]*\]\(([^)]+)\)", README):
        assert (ROOT / picture).is_file(), picture


def test_it_names_every_command():
    from rework.cli import COMMANDS

    for name in COMMANDS:
        assert f"rework {name}" in README
