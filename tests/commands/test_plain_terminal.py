"""A terminal whose encoding has few letters: everything is said, in plain letters or by number, and
JSON stays JSON.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PLAINLY = {**os.environ, "PYTHONIOENCODING": "ascii"}
POSIX = {**os.environ, "LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}


def said(*words: str, environment: dict[str, str]) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "rework", *words],
        capture_output=True,
        cwd=ROOT,
        env=environment,
        check=False,
    )
    return done.returncode, done.stdout.decode("ascii"), done.stderr.decode("ascii")


@pytest.mark.parametrize(
    "environment", [PLAINLY, POSIX], ids=["PYTHONIOENCODING=ascii", "LC_ALL=C"]
)
@pytest.mark.parametrize(
    "words",
    [
        ["check", "circuits/pager/pager.circuit"],
        ["tubes", "UY85"],
        ["rules", "exchange-tube"],
        ["signal", "tests/cases/two-tube-bench-set.circuit"],
        ["apply", "circuits/skihut/skihut.job"],
        ["--help"],
    ],
    ids=" ".join,
)
def test_every_command_speaks_in_the_letters_there_are(words, environment):
    status, out, err = said(*words, environment=environment)
    assert status in (0, 1)
    assert out
    assert "failed in a way" not in err


def test_what_has_a_plain_letter_gets_it_and_the_rest_its_number(tmp_path):
    named = tmp_path / "named.circuit"
    named.write_text(
        'circuit "4 Ω, Röhre 電源 \U0001f50c"\nP1 plug two-blade : line=L1, neutral=N1\nR1 resistor'
        " 1k : L1 -- N1\n",
        encoding="utf-8",
    )
    status, out, _ = said("tidy", str(named), environment=PLAINLY)
    assert status == 0
    assert r"4 ohm, R\u00f6hre \u96fb\u6e90 \ud83d\udd0c" in out


def test_json_is_still_json(tmp_path):
    named = tmp_path / "named.circuit"
    named.write_text(
        'circuit "µ"\nP1 plug two-blade : line=L1, neutral=N1\nJ1 jack : tip=Röhre\n',
        encoding="utf-8",
    )
    status, out, _ = said("check", str(named), "--json", environment=PLAINLY)
    assert status == 2
    assert any("Röhre" in problem["text"] for problem in json.loads(out)["problems"])


def test_a_mistake_in_letters_the_terminal_has_not_is_told_with_its_line(tmp_path):
    named = tmp_path / "named.circuit"
    named.write_text("P1 plug two-blade : line=L1, neutral=Ω1\n", encoding="utf-8")
    status, _, err = said("check", str(named), environment=PLAINLY)
    assert status == 2
    assert "neutral=ohm1" in err
