"""The whole answer of ``rework check`` on every case and on every set's job, kept for a person to
read.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.cli import main

TESTS = Path(__file__).parents[1]
CASES = sorted(
    path.relative_to(TESTS)
    for path in (*TESTS.glob("cases/*"), *TESTS.glob("sets/*/*.job"))
    if path.suffix in {".circuit", ".job"}
)


@pytest.mark.parametrize("file", CASES, ids=lambda path: path.name)
def test_the_check_says_what_was_read_and_approved(file, golden, monkeypatch, capsys):
    monkeypatch.chdir((TESTS / file).parent)
    main(["check", file.name])
    said = capsys.readouterr()
    golden(f"said/check/{file.name}.txt", said.out + said.err)
