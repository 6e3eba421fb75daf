"""``rework kinds`` prints what a file can state, from the one table there is."""

from __future__ import annotations

import json

import pytest

from rework.circuit.kinds import KINDS
from rework.cli import main


def test_every_kind_is_listed_with_what_it_is(capsys):
    assert main(["kinds"]) == 0
    out = capsys.readouterr().out
    assert all(any(line.startswith(name) for line in out.split("\n")) for name in KINDS)


@pytest.mark.parametrize("name", KINDS)
def test_a_kind_shows_its_words_and_a_line_to_copy(name, capsys):
    assert main(["kinds", *name.split()]) == 0
    out = capsys.readouterr().out
    assert KINDS[name].example in " ".join(out.split())  # a long line goes on below, indented
    assert all(word in out for word in KINDS[name].words)


def test_another_name_of_the_trade_finds_the_kind(capsys):
    assert main(["kinds", "field", "coil"]) == 0
    assert capsys.readouterr().out.startswith("choke")


def test_a_kind_that_is_not_there_is_asked_about(capsys):
    assert main(["kinds", "resitor"]) == 2
    assert "did you mean rework kinds resistor?" in capsys.readouterr().err


def test_json_states_the_table(capsys):
    assert main(["kinds", "relay", "--json"]) == 0
    (relay,) = json.loads(capsys.readouterr().out)
    assert relay["terminals"] == ["coil1", "coil2"]
    assert relay["classes"] == ["functional", "basic", "double", "reinforced"]
