"""The README's console blocks are run: what it shows is what the program says.

A line of ``...`` stands for any lines.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from shown_steps import not_said, steps_in

from rework.cli import main

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
STEPS = steps_in(re.findall(r"```console\n(.*?)```", README, re.DOTALL))


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
    assert not_said(shown, capsys.readouterr().out.splitlines()) == ""


def test_it_is_what_one_needs_on_the_first_day():
    assert len(README.splitlines()) <= 200


def test_the_pictures_it_shows_are_there():
    for picture in re.findall(r"!\[[^]]*\]\(([^)]+)\)", README):
        assert (ROOT / picture).is_file(), picture


def test_it_names_every_command():
    from rework.cli import COMMANDS

    for name in COMMANDS:
        assert f"rework {name}" in README
